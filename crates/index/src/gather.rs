//! From files to rows: finds the trails, reads those that changed, and names what cannot be read.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use ohmtrail_trail::Hash;

use crate::error::Error;
use crate::fold::{Folded, fold_file};
use crate::index::Index;
use crate::sheets::Sheets;
use crate::value::{Row, Value};

/// How a trail's file ends.
const ENDING: &str = "trail";

/// What a rebuild or an update did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Gathered {
    /// Trails that lie there.
    pub trails: u64,
    /// Trails that were read; the others had not changed.
    pub read: u64,
    /// Entries in those.
    pub entries: u64,
    /// Trails that were indexed before and lie there no more.
    pub gone: Vec<PathBuf>,
    /// What is wrong with which trails. None of it stops the rest.
    pub problems: Vec<Problem>,
}

/// Something that is wrong with a trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Its file.
    pub path: PathBuf,
    /// What.
    pub what: String,
}

/// A trail's file as it lies there.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Lies {
    bytes: i64,
    changed_ns: i64,
}

/// A trail's file as it was indexed.
#[derive(Debug, Clone)]
struct Had {
    lies: Lies,
    visit: Option<i64>,
    records: i64,
    head: String,
}

/// Makes an index anew from the trails in these folders, in place of the one at `path`, which stays
/// until the new one is whole.
///
/// # Errors
/// [`Error`]; the index at `path` is then as it was.
pub fn rebuild(
    path: &Path,
    folders: &[PathBuf],
    sheets_folder: Option<&Path>,
) -> Result<Gathered, Error> {
    if path.exists() {
        // Nobody's file is written over that is no index.
        match Index::open(path) {
            Ok(_) | Err(Error::OtherVersion { .. }) => {}
            Err(error) => return Err(error),
        }
    }
    let folders = absolute(folders)?;
    let sheets_folder = sheets_folder.map(absolute_path).transpose()?;
    let new = beside(path, "new");
    remove_index(&new)?;
    let sheets = Sheets::new(sheets_folder.as_deref());
    let gathered = fill(&new, &folders, sheets_folder.as_deref(), &sheets)?;
    let whole = fs::File::open(&new).and_then(|file| file.sync_all());
    whole.map_err(Error::io(&new, "waiting for the disk"))?;
    // What belongs to the old one must not be read with the new one.
    for end in ["-wal", "-shm"] {
        remove(&with_end(path, end))?;
    }
    fs::rename(&new, path).map_err(Error::io(path, "putting the new index in its place"))?;
    Ok(gathered)
}

/// Fills a new index at `path`.
pub(crate) fn fill(
    path: &Path,
    folders: &[PathBuf],
    sheets_folder: Option<&Path>,
    sheets: &Sheets,
) -> Result<Gathered, Error> {
    let mut index = Index::create(path)?;
    index.together(|index| {
        index.tell_folders(folders, sheets_folder)?;
        index.learn(sheets)?;
        gather(index, folders, sheets, true)
    })
}

impl Index {
    /// Reads the trails that changed since; those in `folders`, or in the folders that it was made
    /// with where none is named.
    ///
    /// # Errors
    /// [`Error`]; the index is then as it was.
    pub fn update(&mut self, folders: &[PathBuf]) -> Result<Gathered, Error> {
        let folders = if folders.is_empty() {
            self.folders()?
        } else {
            absolute(folders)?
        };
        if folders.is_empty() {
            return Err(Error::NoFolders {
                name: self.name().to_owned(),
            });
        }
        let sheets_folder = self.sheets_folder()?;
        let sheets = Sheets::new(sheets_folder.as_deref());
        self.together(|index| {
            index.tell_folders(&folders, sheets_folder.as_deref())?;
            if !index.knows(&sheets)? {
                index.learn(&sheets)?;
                // Every row may be another one now.
                index.store.run("UPDATE files SET changed_ns = -1", &[])?;
            }
            gather(index, &folders, &sheets, false)
        })
    }

    /// What is wrong with which trails, by path, as far as they were read.
    ///
    /// # Errors
    /// What the store says.
    pub fn problems(&mut self) -> Result<Vec<Problem>, Error> {
        let sql = "SELECT path, problem FROM files WHERE problem IS NOT NULL ORDER BY path";
        let rows = self.store.rows(sql, &[])?;
        let problem = |row: &Row| Problem {
            path: PathBuf::from(row[0].text()),
            what: row[1].text().to_owned(),
        };
        Ok(rows.iter().map(problem).collect())
    }

    fn had(&mut self) -> Result<BTreeMap<PathBuf, Had>, Error> {
        let sql = "SELECT path, bytes, changed_ns, visit, records, head FROM files";
        let rows = self.store.rows(sql, &[])?;
        let had = |row: &Row| {
            let number = |n: usize| row[n].int().unwrap_or(-1);
            let had = Had {
                lies: Lies {
                    bytes: number(1),
                    changed_ns: number(2),
                },
                visit: row[3].int(),
                records: number(4),
                head: row[5].text().to_owned(),
            };
            (PathBuf::from(row[0].text()), had)
        };
        Ok(rows.iter().map(had).collect())
    }
}

/// The state of one gathering.
struct Gathering<'i> {
    index: &'i mut Index,
    sheets: &'i Sheets,
    lie: BTreeMap<PathBuf, Lies>,
    /// What was indexed, kept up to date.
    had: BTreeMap<PathBuf, Had>,
    /// Which file's rows a visit has.
    holders: BTreeMap<i64, PathBuf>,
    /// Files that are still to be read.
    queue: BTreeSet<PathBuf>,
    /// Units whose visits changed.
    units: BTreeSet<(String, bool)>,
    gathered: Gathered,
}

fn gather(
    index: &mut Index,
    folders: &[PathBuf],
    sheets: &Sheets,
    anew: bool,
) -> Result<Gathered, Error> {
    let lie = trails(folders)?;
    let had = if anew { BTreeMap::new() } else { index.had()? };
    let gone: Vec<PathBuf> = had
        .keys()
        .filter(|path| !lie.contains_key(*path))
        .cloned()
        .collect();
    let mut gathering = Gathering {
        queue: lie
            .iter()
            .filter(|(path, lies)| had.get(*path).is_none_or(|had| had.lies != **lies))
            .map(|(path, _)| path.clone())
            .collect(),
        holders: holders(&had),
        units: BTreeSet::new(),
        gathered: Gathered {
            trails: lie.len() as u64,
            gone: gone.clone(),
            ..Gathered::default()
        },
        index,
        sheets,
        lie,
        had,
    };
    for path in &gone {
        gathering.release(path)?;
    }
    while let Some(path) = gathering.queue.pop_first() {
        gathering.trail(&path)?;
    }
    let units = std::mem::take(&mut gathering.units);
    gathering.index.count(&units)?;
    let mut gathered = gathering.gathered;
    gathered.problems = index.problems()?;
    Ok(gathered)
}

/// Of several files of one visit the one with the most records counts; of equals, the first.
fn holders(had: &BTreeMap<PathBuf, Had>) -> BTreeMap<i64, PathBuf> {
    let mut holders: BTreeMap<i64, PathBuf> = BTreeMap::new();
    for (path, file) in had {
        if let Some(visit) = file.visit
            && holders
                .get(&visit)
                .and_then(|holder| had.get(holder))
                .is_none_or(|holder| holder.records < file.records)
        {
            holders.insert(visit, path.clone());
        }
    }
    holders
}

impl Gathering<'_> {
    /// Reads one trail.
    fn trail(&mut self, path: &Path) -> Result<(), Error> {
        self.gathered.read += 1;
        let had = self.had.get(path).cloned();
        let held: Option<Hash> = had.as_ref().and_then(|h| h.head.parse().ok());
        let folded = match fold_file(path, self.sheets, held.as_ref()) {
            Ok(folded) => folded,
            Err(error) => {
                self.release(path)?;
                let what = error.to_string();
                let named = format!("{}: ", path.display());
                let what = what.strip_prefix(&named).unwrap_or(&what).to_owned();
                return self.file(path, None, Some(what));
            }
        };
        self.gathered.entries += u64::from(folded.entries);
        let same = had.is_some_and(|h| h.visit == Some(folded.visit));
        if !same {
            self.release(path)?;
        }
        let problem = match (&held, folded.damage.first()) {
            (Some(head), _) if same && !folded.holds => Some(format!(
                "it was changed since it was indexed: the record of head {head} is in it no more"
            )),
            (_, Some(first)) => Some(match folded.damage.len() {
                1 => first.to_string(),
                n => format!("{first}; and {} more", n - 1),
            }),
            (_, None) => None,
        };
        let holder = self.holders.get(&folded.visit).cloned();
        let holder = holder.filter(|holder| holder != path);
        let records = |path: &Path, had: &BTreeMap<PathBuf, Had>| had.get(path).map(|h| h.records);
        let stronger = holder.as_ref().filter(|holder| {
            let (ours, theirs) = (i64::from(folded.records), records(holder, &self.had));
            theirs > Some(ours) || (theirs == Some(ours) && holder.as_path() < path)
        });
        if let Some(stronger) = stronger {
            let problem = problem.or_else(|| disagree(stronger, &folded.head.to_string()));
            return self.file(path, Some(&folded), problem);
        }
        self.index.put(&folded, !same && holder.is_none())?;
        self.units.insert(folded.unit.clone());
        self.holders.insert(folded.visit, path.to_path_buf());
        self.file(path, Some(&folded), problem)?;
        if let Some(weaker) = holder {
            let head = self.had.get(&weaker).map(|h| h.head.clone());
            if let Some(problem) = disagree(path, &head.unwrap_or_default()) {
                self.index.store.run(
                    "UPDATE files SET problem = $1 WHERE path = $2",
                    &[problem.into(), name(&weaker)],
                )?;
            }
        }
        Ok(())
    }

    /// Lets go of what a file gave. Another file of the same visit is read in its place.
    fn release(&mut self, path: &Path) -> Result<(), Error> {
        let Some(had) = self.had.remove(path) else {
            return Ok(());
        };
        let sql = "DELETE FROM files WHERE path = $1";
        self.index.store.run(sql, &[name(path)])?;
        let Some(visit) = had.visit else {
            return Ok(());
        };
        if self.holders.get(&visit).is_none_or(|holder| holder != path) {
            return Ok(());
        }
        self.holders.remove(&visit);
        let sql = "SELECT unit, simulated FROM visits WHERE visit = $1";
        for row in self.index.store.rows(sql, &[visit.into()])? {
            self.units.insert((row[0].text().to_owned(), row[1].yes()));
        }
        self.index.remove(visit)?;
        let others = self.had.iter().filter(|(_, h)| h.visit == Some(visit));
        let others = others.map(|(path, _)| path.clone());
        self.queue
            .extend(others.filter(|path| self.lie.contains_key(path)));
        Ok(())
    }

    /// Keeps how a file lies there, and what is wrong with it.
    fn file(
        &mut self,
        path: &Path,
        folded: Option<&Folded>,
        problem: Option<String>,
    ) -> Result<(), Error> {
        let Some(lies) = self.lie.get(path).cloned() else {
            return Ok(());
        };
        let had = Had {
            lies,
            visit: folded.map(|f| f.visit),
            records: folded.map_or(0, |f| f.records.into()),
            head: folded.map(|f| f.head.to_string()).unwrap_or_default(),
        };
        let store = &mut self.index.store;
        store.run("DELETE FROM files WHERE path = $1", &[name(path)])?;
        store.run(
            "INSERT INTO files VALUES ($1, $2, $3, $4, $5, $6, $7)",
            &[
                name(path),
                had.lies.bytes.into(),
                had.lies.changed_ns.into(),
                had.visit.into(),
                had.records.into(),
                had.head.as_str().into(),
                problem.into(),
            ],
        )?;
        self.had.insert(path.to_path_buf(), had);
        Ok(())
    }
}

/// What is to be said of a file that is of the same visit as a stronger one: nothing if it is an older
/// state of it.
fn disagree(stronger: &Path, head: &str) -> Option<String> {
    let held = head
        .parse()
        .ok()
        .and_then(|head: Hash| ohmtrail_trail::locate(stronger, &head).ok().flatten());
    held.is_none().then(|| {
        format!(
            "not indexed: {} is of the same visit with as many records or more, and does not hold this \
             one's head: one of the two was changed",
            stronger.display()
        )
    })
}

fn name(path: &Path) -> Value {
    path.display().to_string().into()
}

/// The trails in these folders, at any depth, and the files that are named themselves.
fn trails(folders: &[PathBuf]) -> Result<BTreeMap<PathBuf, Lies>, Error> {
    let mut found = BTreeMap::new();
    let mut open: Vec<PathBuf> = folders.to_vec();
    while let Some(path) = open.pop() {
        let about = fs::metadata(&path).map_err(Error::io(&path, "looking for trails"))?;
        if about.is_dir() {
            for entry in fs::read_dir(&path).map_err(Error::io(&path, "looking for trails"))? {
                let entry = entry.map_err(Error::io(&path, "looking for trails"))?;
                let kind = entry
                    .file_type()
                    .map_err(Error::io(&path, "looking for trails"))?;
                let inside = entry.path();
                // What a link leads to may be the folder that it is in.
                let is_trail = inside.extension().is_some_and(|e| e == ENDING) && !kind.is_dir();
                if kind.is_dir() || (is_trail && inside.is_file()) {
                    open.push(inside);
                }
            }
        } else {
            let changed = about.modified().ok();
            let changed = changed.and_then(|at| at.duration_since(UNIX_EPOCH).ok());
            let ns = changed.map_or(0, |since| since.as_nanos());
            let lies = Lies {
                bytes: i64::try_from(about.len()).unwrap_or(i64::MAX),
                changed_ns: i64::try_from(ns).unwrap_or(i64::MAX),
            };
            found.insert(path, lies);
        }
    }
    Ok(found)
}

fn absolute(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Error> {
    paths.iter().map(|path| absolute_path(path)).collect()
}

fn absolute_path(path: &Path) -> Result<PathBuf, Error> {
    fs::canonicalize(path).map_err(Error::io(path, "looking for trails"))
}

/// A file beside an index.
pub(crate) fn beside(path: &Path, end: &str) -> PathBuf {
    with_end(path, &format!(".{end}"))
}

fn with_end(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(end);
    PathBuf::from(name)
}

/// Removes an index that is not in use, with what SQLite keeps beside it.
pub(crate) fn remove_index(path: &Path) -> Result<(), Error> {
    for end in ["", "-journal", "-wal", "-shm"] {
        remove(&with_end(path, end))?;
    }
    Ok(())
}

fn remove(path: &Path) -> Result<(), Error> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            Err(Error::io(path, "removing it")(error))
        }
        _ => Ok(()),
    }
}
