//! Rows to a database. A visit's rows are put in together or not at all, and only in place of those of an
//! earlier state of the same trail.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use ohmtrail_trail::{Hash, read};

use super::keys::State;
use super::staged::{Staged, rows_of};
use super::trails::Read;
use crate::error::Error;
use crate::gather::Problem;
use crate::index::counts;
use crate::postgres::{Database, Postgres};
use crate::store::Store;
use crate::tables::TABLES;
use crate::value::{Row, Value};

/// Visits that are put in as one transaction.
const CHUNK: usize = 200;
/// Visits that make the planner look at the tables anew.
const MANY: u64 = 1000;
/// The visits of a list in text.
const THESE: &str = "visit = ANY (string_to_array($1, ',')::bigint[])";

/// What a push of rows did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PushedRows {
    /// Trails that lie here.
    pub trails: u64,
    /// Visits that the database did not have.
    pub new: u64,
    /// Visits that it had an earlier state of, or a damaged one.
    pub grown: u64,
    /// Visits that it had without the kinds of their parts, or by another version of the sheet.
    pub known_better: u64,
    /// Visits that it had.
    pub there: u64,
    /// What is wrong with which trails. None of it stops the rest.
    pub problems: Vec<Problem>,
}

/// A visit as it is here, or there.
#[derive(Debug, Clone)]
struct Visit {
    visit: i64,
    trail: String,
    head: String,
    records: i64,
    /// Whether the sheet was known: the same one 1, another version of it 0, none -1.
    sheet: i64,
    damage: i64,
    /// Its file here.
    path: PathBuf,
}

/// What is to be done with a visit.
#[derive(Debug, Clone, PartialEq, Eq)]
enum What {
    New,
    Grown,
    KnownBetter,
    There,
    Not(String),
}

/// Brings the rows of the trails in these folders to a database. `addresses` is where a store has them, by
/// their files here: as [`push_trails`](crate::push_trails) told it.
///
/// # Errors
/// [`Error`]; what was put in until then stays, and the next push goes on from there.
pub fn push_rows(
    database: &Database,
    folders: &[PathBuf],
    sheets: Option<&Path>,
    addresses: &BTreeMap<PathBuf, String>,
) -> Result<PushedRows, Error> {
    // What cannot be reached is said before the trails are read.
    let store = Postgres::open_or_make(database)?;
    let staged = Staged::of(folders, sheets)?;
    let mut push = Push {
        pushed: PushedRows {
            trails: staged.gathered.trails,
            problems: staged.gathered.problems.clone(),
            ..PushedRows::default()
        },
        store,
        staged,
        addresses,
    };
    push.parts()?;
    let visits = push.staged.index.store.rows(OURS, &[])?;
    for chunk in visits.chunks(CHUNK) {
        push.chunk(chunk)?;
    }
    if push.pushed.new + push.pushed.grown >= MANY {
        push.store.analyze()?;
    }
    Ok(push.pushed)
}

const VISITS: &str =
    "SELECT visit, trail, head, records, coalesce(sheet_same, -1), damage FROM visits";

/// The same with the file that its rows are of.
const OURS: &str = "SELECT visit, trail, head, records, coalesce(sheet_same, -1), damage, \
    (SELECT min(path) FROM files f WHERE f.visit = v.visit AND f.head = v.head AND f.records = v.records) \
    FROM visits v ORDER BY visit";

struct Push<'a> {
    store: Postgres,
    staged: Staged,
    addresses: &'a BTreeMap<PathBuf, String>,
    pushed: PushedRows,
}

impl Push<'_> {
    /// The parts of the sheets that are known here; those of other sheets stay.
    fn parts(&mut self) -> Result<(), Error> {
        let sql = "SELECT sheet, part, kind FROM parts ORDER BY sheet, part";
        let ours = self.staged.index.store.rows(sql, &[])?;
        let sheets: BTreeSet<String> = ours.iter().map(|row| row[0].text().to_owned()).collect();
        let mut theirs = self.store.rows(sql, &[])?;
        theirs.retain(|row| sheets.contains(row[0].text()));
        if theirs == ours {
            return Ok(());
        }
        self.store.writing(|store| {
            for sheet in sheets {
                store.run("DELETE FROM parts WHERE sheet = $1", &[sheet.into()])?;
            }
            store.insert("parts", &ours)
        })
    }

    /// Puts in what the database lacks of some visits that follow each other.
    fn chunk(&mut self, chunk: &[Row]) -> Result<(), Error> {
        // Most pushes change little, and looking needs no lock.
        let plan = self.plan(chunk)?;
        if plan.is_done() {
            self.tell(plan);
            return Ok(());
        }
        match self.put(chunk) {
            Err(Error::NotTaken { .. }) if chunk.len() > 1 => {
                // One of them cannot be put in, and must not keep the others out.
                chunk.chunks(1).try_for_each(|one| self.chunk(one))
            }
            Err(Error::NotTaken { why, .. }) => {
                let path = chunk.first().map(|row| visit(row).path);
                let path = path.unwrap_or_default();
                self.pushed.problems.push(Problem {
                    path,
                    what: format!("not put in the database: {why}"),
                });
                Ok(())
            }
            done => done,
        }
    }

    fn put(&mut self, chunk: &[Row]) -> Result<(), Error> {
        self.store.batch("BEGIN")?;
        let done = self
            .store
            .lock()
            .and_then(|()| self.plan(chunk))
            .and_then(|plan| {
                self.apply(chunk, &plan)?;
                Ok(plan)
            });
        match done {
            Ok(plan) => {
                self.store.batch("COMMIT")?;
                self.tell(plan);
                Ok(())
            }
            Err(error) => {
                // What went wrong first is what counts.
                let _ = self.store.batch("ROLLBACK");
                Err(error)
            }
        }
    }

    /// What is to be done with each visit, by what the database has of it now.
    fn plan(&mut self, chunk: &[Row]) -> Result<Plan, Error> {
        let ours: Vec<Visit> = chunk.iter().map(visit).collect();
        let list = list(ours.iter().map(|v| v.visit));
        let sql = format!("{VISITS} WHERE {THESE}");
        let theirs = self.store.rows(&sql, &[list.as_str().into()])?;
        let theirs: BTreeMap<i64, Visit> = theirs
            .iter()
            .map(|row| (row[0].int().unwrap_or(-1), visit(row)))
            .collect();
        let sql = format!("SELECT path, visit, head FROM files WHERE {THESE}");
        let states = self.store.rows(&sql, &[list.into()])?;
        let mut plan = Plan::default();
        for ours in ours {
            let was_pushed = states
                .iter()
                .any(|s| s[1].int() == Some(ours.visit) && s[2].text() == ours.head);
            let address = self.address(&ours);
            let is_listed = states.iter().any(|s| s[0].text() == address);
            let what = match theirs.get(&ours.visit) {
                None => What::New,
                Some(theirs) => against(&ours, theirs, was_pushed),
            };
            let lists = !is_listed && !matches!(what, What::Not(_));
            plan.visits.push((ours, what, lists.then_some(address)));
        }
        Ok(plan)
    }

    fn apply(&mut self, chunk: &[Row], plan: &Plan) -> Result<(), Error> {
        let of = |which: &dyn Fn(&What) -> bool| -> BTreeSet<i64> {
            let visits = plan.visits.iter().filter(|(_, what, _)| which(what));
            visits.map(|(ours, ..)| ours.visit).collect()
        };
        let replaced = of(&|what| matches!(what, What::Grown | What::KnownBetter));
        let put = of(&|what| matches!(what, What::New | What::Grown | What::KnownBetter));
        let store = &mut self.store;
        if !replaced.is_empty() {
            let these = list(replaced.into_iter());
            let sql = counts(&THESE.replace("$1", "$2"), "$1");
            store.run(&sql, &[(-1_i64).into(), these.as_str().into()])?;
            for table in TABLES {
                let sql = format!("DELETE FROM {} WHERE {THESE}", table.name);
                store.run(&sql, &[these.as_str().into()])?;
            }
        }
        if !put.is_empty() {
            for (table, mut rows) in rows_of(self.staged.index.store.as_mut(), chunk)? {
                rows.retain(|row| row[0].int().is_some_and(|visit| put.contains(&visit)));
                store.insert(table, &rows)?;
            }
            let these = list(put.into_iter());
            let sql = counts(&THESE.replace("$1", "$2"), "$1");
            store.run(&sql, &[1_i64.into(), these.as_str().into()])?;
            store.run("DELETE FROM counts WHERE n = 0", &[])?;
            let units = format!("(SELECT unit, simulated FROM visits WHERE {THESE})");
            let sql = format!("DELETE FROM units WHERE (unit, simulated) IN {units}");
            store.run(&sql, &[these.as_str().into()])?;
            let sql = format!(
                "INSERT INTO units SELECT v.unit, v.simulated, \
                 (SELECT l.sheet FROM visits l WHERE l.unit = v.unit AND l.simulated = v.simulated \
                  ORDER BY l.visit DESC LIMIT 1), \
                 count(*), min(v.opened_us), max(v.opened_us) \
                 FROM visits v WHERE (v.unit, v.simulated) IN {units} AND v.unit <> '' \
                 GROUP BY v.unit, v.simulated"
            );
            store.run(&sql, &[these.into()])?;
        }
        let files: Vec<Row> = plan
            .visits
            .iter()
            .filter_map(|(ours, _, address)| Some((ours, address.as_ref()?)))
            .map(|(ours, address)| {
                vec![
                    address.as_str().into(),
                    0_i64.into(),
                    0_i64.into(),
                    ours.visit.into(),
                    ours.records.into(),
                    ours.head.as_str().into(),
                    Value::Null,
                    Value::Null,
                ]
            })
            .collect();
        store.insert("files", &files)
    }

    fn tell(&mut self, plan: Plan) {
        for (ours, what, _) in plan.visits {
            match what {
                What::New => self.pushed.new += 1,
                What::Grown => self.pushed.grown += 1,
                What::KnownBetter => self.pushed.known_better += 1,
                What::There => self.pushed.there += 1,
                What::Not(what) => {
                    let path = ours.path;
                    self.pushed.problems.push(Problem { path, what });
                }
            }
        }
    }

    /// Where the store has this state; of one that it has not, the name that it would have in every store.
    fn address(&self, ours: &Visit) -> String {
        if let Some(address) = self.addresses.get(&ours.path) {
            return address.clone();
        }
        let hash = |text: &str| text.parse().unwrap_or(Hash([0; 32]));
        let sound = State {
            trail: hash(&ours.trail),
            records: u32::try_from(ours.records).unwrap_or(u32::MAX),
            hash: hash(&ours.head),
            is_sound: true,
        };
        if ours.damage == 0 {
            return sound.key();
        }
        // A damaged copy is named by its bytes.
        let copy = read(&ours.path).ok().and_then(Read::of);
        copy.map_or(sound, |copy| copy.state).key()
    }
}

/// A visit that both have.
fn against(ours: &Visit, theirs: &Visit, was_pushed: bool) -> What {
    if ours.head == theirs.head {
        // A damaged copy with the same head has lost records, or has more damage.
        let whole = |v: &Visit| (v.records, -v.damage);
        return match whole(ours).cmp(&whole(theirs)) {
            std::cmp::Ordering::Greater => What::Grown,
            std::cmp::Ordering::Equal if ours.sheet > theirs.sheet => What::KnownBetter,
            _ => What::There,
        };
    }
    if ours.records > theirs.records {
        let head = theirs.head.parse::<Hash>().ok();
        return match head.map_or(Ok(false), |head| holds(&ours.path, &head)) {
            Ok(true) => What::Grown,
            Ok(false) => What::Not(format!(
                "changed since it was pushed: the database has it with head {} of {} records, and that \
                 record is not in this one; nothing was written over",
                theirs.head, theirs.records
            )),
            Err(error) => What::Not(format!(
                "not pushed, for it could not be read a second time: {error}; push again"
            )),
        };
    }
    // An earlier state that was pushed before is what became the later one.
    if was_pushed && ours.trail == theirs.trail {
        return What::There;
    }
    What::Not(if ours.records == theirs.records {
        format!(
            "changed since it was pushed: the database has it with head {}; nothing was written over",
            theirs.head
        )
    } else {
        format!(
            "not pushed: the database has it with {} records, and this one of {} was never pushed, so \
             that nobody knows whether it became that one; `ohmtrail index fetch` brings that one",
            theirs.records, ours.records
        )
    })
}

/// What is to be done with some visits, each with the address that is to be listed.
#[derive(Debug, Default)]
struct Plan {
    visits: Vec<(Visit, What, Option<String>)>,
}

impl Plan {
    fn is_done(&self) -> bool {
        let done = |(_, what, address): &(Visit, What, Option<String>)| {
            matches!(what, What::There | What::Not(_)) && address.is_none()
        };
        self.visits.iter().all(done)
    }
}

fn visit(row: &Row) -> Visit {
    let number = |n: usize| row[n].int().unwrap_or(-1);
    Visit {
        visit: number(0),
        trail: row[1].text().to_owned(),
        head: row[2].text().to_owned(),
        records: number(3),
        sheet: number(4),
        damage: number(5),
        path: PathBuf::from(row.get(6).map_or("", Value::text)),
    }
}

fn list(visits: impl Iterator<Item = i64>) -> String {
    let all: Vec<String> = visits.map(|visit| visit.to_string()).collect();
    all.join(",")
}

/// Whether a trail has a record of that hash.
fn holds(path: &Path, head: &Hash) -> Result<bool, ohmtrail_trail::Error> {
    Ok(read(path)?.flatten().any(|record| record.hash == *head))
}
