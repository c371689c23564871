//! From files to rows: reads the trails that changed, and names what cannot be read.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc::sync_channel;
use std::thread;

use ohmtrail_trail::{Damage, Hash};

use crate::error::Error;
use crate::files::{
    Lies, Listing, absolute, absolute_path, beside, next_tick, now_ns, remove, remove_index,
    with_end,
};
use crate::fold::{FoldError, Folded, fold_file};
use crate::index::Index;
use crate::lock::Lock;
use crate::sheets::Sheets;
use crate::value::{Row, Value};

/// How many trails are folded ahead of those that are taken in.
const AHEAD: usize = 64;

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

/// Something that is wrong with a trail, or with a folder of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Its file.
    pub path: PathBuf,
    /// What.
    pub what: String,
}

/// A trail's file as it was indexed.
#[derive(Debug, Clone)]
struct Had {
    lies: Lies,
    visit: Option<i64>,
    records: i64,
    head: String,
    /// What is said of it for it did not only grow, until the index is made anew.
    rewritten: Option<String>,
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
    let folders = absolute(folders)?;
    let sheets_folder = sheets_folder.map(absolute_path).transpose()?;
    rebuild_told(path, &folders, sheets_folder.as_deref())
}

/// As [`rebuild`], with whole paths that the index was told before: one that is away is named as a problem,
/// and is looked through again by every update.
///
/// # Errors
/// [`Error`]; the index at `path` is then as it was.
pub fn rebuild_told(
    path: &Path,
    folders: &[PathBuf],
    sheets_folder: Option<&Path>,
) -> Result<Gathered, Error> {
    // Nobody's file is written over that is no index.
    match Index::open(path) {
        Ok(_) | Err(Error::Missing { .. } | Error::OtherVersion { .. } | Error::Damaged { .. }) => {
        }
        Err(error) => return Err(error),
    }
    let _writing = Lock::to_write(path)?;
    let new = beside(path, "new");
    remove_index(&new)?;
    let sheets = Sheets::new(sheets_folder);
    let gathered = fill(&new, folders, sheets_folder, &sheets, true).and_then(|gathered| {
        let whole = fs::File::open(&new).and_then(|file| file.sync_all());
        whole.map_err(Error::io(&new, "waiting for the disk"))?;
        Ok(gathered)
    });
    let gathered = gathered.inspect_err(|_| {
        // What is left of it would only take the room that was missing; why it failed is what counts.
        let _ = remove_index(&new);
    })?;
    let _nobody_reads = Lock::to_replace(path)?;
    // What belongs to the old one must not be read with the new one.
    for end in ["-wal", "-shm"] {
        remove(&with_end(path, end))?;
    }
    fs::rename(&new, path).map_err(Error::io(path, "putting the new index in its place"))?;
    Ok(gathered)
}

/// Fills a new index at `path`. One that is only compared or copied needs nothing that is searched.
pub(crate) fn fill(
    path: &Path,
    folders: &[PathBuf],
    sheets_folder: Option<&Path>,
    sheets: &Sheets,
    is_searched: bool,
) -> Result<Gathered, Error> {
    let mut index = Index::create(path)?;
    index.together(|index| {
        index.tell_folders(folders, sheets_folder)?;
        index.learn(sheets)?;
        let gathered = gather(index, folders, sheets, true)?;
        index.filled(is_searched)?;
        Ok(gathered)
    })
}

impl Index {
    /// Reads the trails that changed since, in the folders that it was made with and in `folders`, which
    /// belong to it from then on.
    ///
    /// # Errors
    /// [`Error`]; the index is then as it was.
    pub fn update(&mut self, folders: &[PathBuf]) -> Result<Gathered, Error> {
        let added = absolute(folders)?;
        let _writing = Lock::to_write(self.path())?;
        self.together(|index| {
            let mut folders = index.folders()?;
            for folder in added {
                if !folders.iter().any(|known| folder.starts_with(known)) {
                    folders.push(folder);
                }
            }
            if folders.is_empty() {
                return Err(Error::NoFolders {
                    name: index.name().to_owned(),
                });
            }
            let sheets_folder = index.sheets_folder()?;
            let sheets = Sheets::new(sheets_folder.as_deref());
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
        let sql = "SELECT path, bytes, changed_ns, visit, records, head, rewritten FROM files";
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
                rewritten: row[6].some_text(),
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
    /// Files that were read.
    read: BTreeSet<PathBuf>,
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
    let listing = Listing::of(folders);
    let had = if anew { BTreeMap::new() } else { index.had()? };
    let gone = had.keys().filter(|path| listing.is_gone(path));
    let gone: Vec<PathBuf> = gone.cloned().collect();
    let Listing { trails, unread } = listing;
    let changed = |path: &PathBuf, lies: &Lies| had.get(path).is_none_or(|had| had.lies != *lies);
    let queue = trails.iter().filter(|(path, lies)| changed(path, lies));
    let queue: BTreeSet<PathBuf> = queue.map(|(path, _)| path.clone()).collect();
    next_tick(queue.iter().filter_map(|path| trails.get(path)));
    let mut gathering = Gathering {
        queue,
        read: BTreeSet::new(),
        holders: holders(&had),
        units: BTreeSet::new(),
        gathered: Gathered {
            trails: trails.len() as u64,
            gone: gone.clone(),
            ..Gathered::default()
        },
        index,
        sheets,
        lie: trails,
        had,
    };
    for path in &gone {
        gathering.release(path)?;
    }
    gathering.changed()?;
    while let Some(path) = gathering.queue.pop_first() {
        gathering.again(&path)?;
    }
    let units = std::mem::take(&mut gathering.units);
    gathering.index.count(&units)?;
    let mut gathered = gathering.gathered;
    gathered.problems = unread;
    gathered.problems.extend(index.problems()?);
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
    /// Reads the trails that changed: one thread reads and folds them, this one takes them in.
    fn changed(&mut self) -> Result<(), Error> {
        let queue = std::mem::take(&mut self.queue);
        let files: Vec<(PathBuf, Lies, Option<Hash>)> = queue
            .into_iter()
            .filter_map(|path| {
                let lies = self.lie.get(&path)?.clone();
                let held = self.held(&path);
                Some((path, lies, held))
            })
            .collect();
        let sheets = self.sheets;
        let (send, receive) = sync_channel(AHEAD);
        thread::scope(|scope| {
            scope.spawn(move || {
                for (path, lies, held) in files {
                    let lies = lies.kept(now_ns());
                    let folded = fold_file(&path, sheets, held.as_ref());
                    if send.send((path, lies, folded)).is_err() {
                        // Taking one in failed, and said so.
                        return;
                    }
                }
            });
            for (path, lies, folded) in receive {
                self.folded(&path, lies, folded)?;
            }
            Ok(())
        })
    }

    /// Reads one trail again.
    fn again(&mut self, path: &Path) -> Result<(), Error> {
        let Some(lies) = self.lie.get(path).map(|lies| lies.kept(now_ns())) else {
            return Ok(());
        };
        let folded = fold_file(path, self.sheets, self.held(path).as_ref());
        self.folded(path, lies, folded)
    }

    /// The head that a file had when it was indexed.
    fn held(&self, path: &Path) -> Option<Hash> {
        self.had.get(path).and_then(|had| had.head.parse().ok())
    }

    /// Takes in what a trail gave.
    fn folded(
        &mut self,
        path: &Path,
        lies: Lies,
        folded: Result<Folded, FoldError>,
    ) -> Result<(), Error> {
        let first = self.read.insert(path.to_path_buf());
        self.gathered.read += u64::from(first);
        let had = self.had.get(path).cloned();
        let folded = match folded {
            Ok(folded) => folded,
            Err(error) => {
                self.release(path)?;
                let what = error.to_string();
                let named = format!("{}: ", path.display());
                let what = what.strip_prefix(&named).unwrap_or(&what).to_owned();
                let unread = Had {
                    lies,
                    visit: None,
                    records: 0,
                    // When it can be read again, it must still hold this.
                    head: had.as_ref().map(|h| h.head.clone()).unwrap_or_default(),
                    rewritten: had.and_then(|h| h.rewritten),
                };
                return self.file(path, unread, Some(what));
            }
        };
        if first {
            self.gathered.entries += u64::from(folded.entries);
        }
        let grown = had.as_ref().is_some_and(|had| {
            had.visit == Some(folded.visit)
                && folded.holds
                && had.records <= i64::from(folded.records)
        });
        if !grown {
            self.release(path)?;
        }
        let now = Had {
            lies,
            visit: Some(folded.visit),
            records: folded.records.into(),
            head: folded.head.to_string(),
            rewritten: had.as_ref().and_then(|had| rewritten(had, &folded)),
        };
        let problem = now.rewritten.clone().or_else(|| say_damage(&folded.damage));
        let holder = self.holders.get(&folded.visit).cloned();
        let holder = holder.filter(|holder| holder != path);
        let stronger = holder.as_ref().filter(|holder| {
            let theirs = self.had.get(*holder).map_or(-1, |h| h.records);
            theirs > now.records || (theirs == now.records && holder.as_path() < path)
        });
        if let Some(stronger) = stronger {
            let problem = problem.or_else(|| disagree(stronger, &folded.head));
            return self.file(path, now, problem);
        }
        self.index.put(&folded, !grown && holder.is_none())?;
        self.units.insert(folded.unit.clone());
        self.holders.insert(folded.visit, path.to_path_buf());
        self.file(path, now, problem)?;
        if holder.is_some() {
            self.read_others(folded.visit, path);
        }
        Ok(())
    }

    /// The other files of a visit are read again: they may count now, or disagree with the one that does.
    fn read_others(&mut self, visit: i64, than: &Path) {
        let others = self.had.iter().filter(|(_, h)| h.visit == Some(visit));
        let others = others.map(|(path, _)| path.clone());
        self.queue
            .extend(others.filter(|path| path != than && self.lie.contains_key(path)));
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
        self.read_others(visit, path);
        Ok(())
    }

    /// Keeps how a file lies there, and what is wrong with it.
    fn file(&mut self, path: &Path, now: Had, problem: Option<String>) -> Result<(), Error> {
        let store = &mut self.index.store;
        store.run("DELETE FROM files WHERE path = $1", &[name(path)])?;
        store.run(
            "INSERT INTO files VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
            &[
                name(path),
                now.lies.bytes.into(),
                now.lies.changed_ns.into(),
                now.visit.into(),
                now.records.into(),
                now.head.as_str().into(),
                now.rewritten.clone().into(),
                problem.into(),
            ],
        )?;
        self.had.insert(path.to_path_buf(), now);
        Ok(())
    }
}

/// What is said of a trail that did not only grow; once said, it is said until the index is made anew.
fn rewritten(had: &Had, folded: &Folded) -> Option<String> {
    let said = || {
        let head = &had.head;
        match had.visit {
            Some(visit) if visit != folded.visit => format!(
                "it was changed since it was indexed: it begins with another record, and the one of head \
                 {head} is in it no more"
            ),
            _ => format!(
                "it was changed since it was indexed: the record of head {head} is in it no more"
            ),
        }
    };
    let new = (!folded.holds).then(said);
    had.rewritten.clone().or(new)
}

/// What is said of damages; none of none.
pub(crate) fn say_damage(damage: &[Damage]) -> Option<String> {
    let first = damage.first()?;
    Some(match damage.len() {
        1 => first.to_string(),
        n => format!("{first}; and {} more", n - 1),
    })
}

/// What is to be said of a file that is of the same visit as a stronger one: nothing if it is an older
/// state of it.
fn disagree(stronger: &Path, head: &Hash) -> Option<String> {
    let held = ohmtrail_trail::locate(stronger, head).ok().flatten();
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
