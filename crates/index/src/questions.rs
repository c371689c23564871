//! Questions that need no line: units, search, what a unit has behind it, what is said at the door.

use std::collections::BTreeSet;

use crate::error::Error;
use crate::fold::words;
use crate::index::Index;
use crate::value::{Row, Value};

/// A unit of the index.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unit {
    /// As the shop names it.
    pub unit: String,
    /// Whether it is simulated.
    pub simulated: bool,
    /// The sheet of its latest visit.
    pub sheet: String,
    /// How many visits.
    pub visits: i64,
    /// When it was first and last visited, microseconds since 1970.
    pub first_us: i64,
    /// See `first_us`.
    pub last_us: i64,
}

/// A visit, in short.
#[derive(Debug, Clone, PartialEq)]
pub struct Visited {
    /// The visit's number.
    pub visit: i64,
    /// Its trail's head hash.
    pub head: String,
    /// Where its trail lies.
    pub path: Option<String>,
    /// The unit, and whether it is simulated.
    pub unit: String,
    /// See `unit`.
    pub simulated: bool,
    /// The sheet, the work order, the technician.
    pub sheet: String,
    /// Whether the index was made with that very sheet; none if it knows none of that name.
    pub sheet_same: Option<bool>,
    /// See `sheet`.
    pub work_order: String,
    /// See `sheet`.
    pub technician: String,
    /// When it was opened, microseconds since 1970.
    pub opened_us: i64,
    /// When it was closed.
    pub closed_us: Option<i64>,
    /// What the customer reported.
    pub complaint: Option<String>,
    /// What the isolation came to.
    pub outcome: Option<String>,
    /// The faults found.
    pub faults: Vec<String>,
    /// How a repair came out: `proven`, `monitor` or `left off`.
    pub proved: Option<String>,
    /// How the unit was left: `on` or `off`.
    pub left: Option<String>,
    /// How many damages its trail has.
    pub damage: i64,
}

/// A fault that was found of a unit before.
#[derive(Debug, Clone, PartialEq)]
pub struct Failure {
    /// The visit.
    pub visit: i64,
    /// When it was found, microseconds since 1970.
    pub at_us: i64,
    /// The fault.
    pub fault: String,
    /// How the part failed.
    pub mode: String,
    /// The probability of the finding.
    pub p: f64,
    /// What the fault was to the others of its finding.
    pub role: Option<String>,
    /// Whether a repair was approved in that visit, as last decided; none if nothing was.
    pub approved: Option<bool>,
    /// When the part was fitted next, microseconds since 1970; none if no visit says so.
    pub fitted_us: Option<i64>,
}

/// A repair of a unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Repaired {
    /// The visit.
    pub visit: i64,
    /// When it was opened, microseconds since 1970.
    pub at_us: i64,
    /// How it came out: `proven`, `monitor` or `left off`.
    pub proved: String,
    /// Why, as its trail says it.
    pub why: String,
}

/// What is said at the door of a unit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Door {
    /// What was found before, by part: those that failed again first, then those that were found more than
    /// once, then the latest.
    pub parts: Vec<Behind>,
    /// The repairs, the latest first.
    pub repairs: Vec<Repaired>,
}

impl Door {
    /// The last repair, if it was not proven.
    #[must_use]
    pub fn unproven(&self) -> Option<&Repaired> {
        self.repairs.first().filter(|r| r.proved != "proven")
    }
}

/// What a part of a unit has behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Behind {
    /// The part.
    pub part: String,
    /// Its kind, if the sheet is known.
    pub kind: Option<String>,
    /// What was found of it, the latest first; one for each visit and fault.
    pub failures: Vec<Failure>,
}

impl Behind {
    /// In how many visits it was found to have failed.
    #[must_use]
    pub fn times(&self) -> usize {
        let visits: BTreeSet<i64> = self.failures.iter().map(|f| f.visit).collect();
        visits.len()
    }

    /// Whether it failed again: it was found to have failed after it had been replaced, as far as a visit
    /// says so. What two visits found of a part that nobody is known to have replaced may be one failure.
    #[must_use]
    pub fn again(&self) -> bool {
        self.failures.iter().any(|earlier| {
            earlier
                .fitted_us
                .is_some_and(|at| self.failures.iter().any(|later| later.at_us > at))
        })
    }
}

const VISITED: &str = "SELECT v.visit, v.head, \
    (SELECT min(path) FROM files f WHERE f.visit = v.visit AND f.head = v.head), v.unit, v.simulated, \
    v.sheet, v.work_order, v.technician, v.opened_us, v.closed_us, v.complaint, v.outcome, v.left_power, \
    v.damage, v.sheet_same, \
    (SELECT string_agg(fault, '\n' ORDER BY fault) FROM findings f WHERE f.visit = v.visit), \
    v.proved FROM visits v";

impl Index {
    /// The units, the latest visited first, from the `skip`th on.
    ///
    /// # Errors
    /// What the store says.
    pub fn units(&mut self, simulated: bool, skip: u32, limit: u32) -> Result<Vec<Unit>, Error> {
        let rows = self.store.rows(
            "SELECT unit, simulated, sheet, visits, first_us, last_us FROM units WHERE simulated = $1 \
             ORDER BY last_us DESC, unit LIMIT $2 OFFSET $3",
            &[simulated.into(), limit.into(), skip.into()],
        )?;
        Ok(rows.iter().map(unit).collect())
    }

    /// How many units and visits there are.
    ///
    /// # Errors
    /// What the store says.
    pub fn size(&mut self, simulated: bool) -> Result<(i64, i64), Error> {
        let rows = self.store.rows(
            "SELECT count(*), CAST(coalesce(sum(visits), 0) AS BIGINT) FROM units WHERE simulated = $1",
            &[simulated.into()],
        )?;
        let number = |n: usize| rows.first().and_then(|row| row[n].int()).unwrap_or(0);
        Ok((number(0), number(1)))
    }

    /// The visits that have every word of `text`, or one that begins with it; the latest first.
    ///
    /// # Errors
    /// What the store says.
    pub fn search(&mut self, text: &str, limit: u32) -> Result<Vec<Visited>, Error> {
        let words: Vec<String> = words(text).collect();
        if words.is_empty() {
            return Ok(Vec::new());
        }
        let visits: Vec<String> = self
            .store
            .search(&words, limit)?
            .iter()
            .map(i64::to_string)
            .collect();
        let these = self.store.these();
        let sql = format!("{VISITED} WHERE v.visit IN ({these}) ORDER BY v.visit DESC");
        self.visited(&sql, &[visits.join(",").into()])
    }

    /// A unit's visits, the latest first.
    ///
    /// # Errors
    /// [`Error::NoUnit`], and what the store says.
    pub fn history(
        &mut self,
        unit: &str,
        simulated: bool,
        limit: u32,
    ) -> Result<Vec<Visited>, Error> {
        self.know_unit(unit, simulated)?;
        let sql = format!(
            "{VISITED} WHERE v.unit = $1 AND v.simulated = $2 ORDER BY v.visit DESC LIMIT $3"
        );
        self.visited(&sql, &[unit.into(), simulated.into(), limit.into()])
    }

    /// What was found of a unit before, and how its repairs came out.
    ///
    /// # Errors
    /// [`Error::NoUnit`], and what the store says.
    pub fn door(&mut self, unit: &str, simulated: bool) -> Result<Door, Error> {
        self.know_unit(unit, simulated)?;
        let rows = self.store.rows(
            "SELECT f.part, f.kind, f.visit, f.at_us, f.fault, f.mode, f.p, f.role, \
             (SELECT CASE WHEN d.option_of IS NULL THEN 0 ELSE 1 END FROM decisions d \
              WHERE d.visit = f.visit ORDER BY d.record DESC LIMIT 1), \
             (SELECT min(n.at_us) FROM fitted n JOIN visits w ON w.visit = n.visit \
              WHERE w.unit = v.unit AND w.simulated = v.simulated AND n.part = f.part \
              AND n.at_us > f.at_us) \
             FROM visits v JOIN findings f ON f.visit = v.visit \
             WHERE v.unit = $1 AND v.simulated = $2 ORDER BY f.visit DESC, f.fault",
            &[unit.into(), simulated.into()],
        )?;
        let mut parts: Vec<Behind> = Vec::new();
        for row in &rows {
            let failure = Failure {
                visit: row[2].int().unwrap_or_default(),
                at_us: row[3].int().unwrap_or_default(),
                fault: row[4].text().to_owned(),
                mode: row[5].text().to_owned(),
                p: row[6].real().unwrap_or_default(),
                role: row[7].some_text(),
                approved: row[8].int().map(|n| n == 1),
                fitted_us: row[9].int(),
            };
            match parts.iter_mut().find(|b| b.part == row[0].text()) {
                Some(behind) => behind.failures.push(failure),
                None => parts.push(Behind {
                    part: row[0].text().to_owned(),
                    kind: row[1].some_text(),
                    failures: vec![failure],
                }),
            }
        }
        parts.sort_by_key(|behind| (!behind.again(), behind.times() < 2));
        let repairs = self.store.rows(
            "SELECT visit, opened_us, proved, proved_why FROM visits \
             WHERE unit = $1 AND simulated = $2 AND proved IS NOT NULL ORDER BY visit DESC",
            &[unit.into(), simulated.into()],
        )?;
        let repairs = repairs.iter().map(|row| Repaired {
            visit: row[0].int().unwrap_or_default(),
            at_us: row[1].int().unwrap_or_default(),
            proved: row[2].text().to_owned(),
            why: row[3].text().to_owned(),
        });
        Ok(Door {
            parts,
            repairs: repairs.collect(),
        })
    }

    /// Sees that there is such a unit.
    pub(crate) fn know_unit(&mut self, unit: &str, simulated: bool) -> Result<(), Error> {
        let which: [Value; 2] = [unit.into(), simulated.into()];
        let sql = "SELECT 1 FROM units WHERE unit = $1 AND simulated = $2";
        if !self.store.rows(sql, &which)?.is_empty() {
            return Ok(());
        }
        let other: [Value; 2] = [unit.into(), (!simulated).into()];
        let near = if !self.store.rows(sql, &other)?.is_empty() {
            match simulated {
                true => ": it is a real one; leave --simulated out",
                false => ": it is a simulated one; ask with --simulated",
            }
            .to_owned()
        } else {
            let found = self.search(unit, 1)?;
            found
                .first()
                .map(|v| format!("; did you mean \"{}\"?", v.unit))
                .unwrap_or_default()
        };
        Err(Error::NoUnit {
            unit: unit.to_owned(),
            near,
        })
    }

    fn visited(&mut self, sql: &str, with: &[Value]) -> Result<Vec<Visited>, Error> {
        let rows = self.store.rows(sql, with)?;
        Ok(rows.iter().map(visited).collect())
    }
}

fn visited(row: &Row) -> Visited {
    Visited {
        visit: row[0].int().unwrap_or_default(),
        head: row[1].text().to_owned(),
        path: row[2].some_text(),
        unit: row[3].text().to_owned(),
        simulated: row[4].yes(),
        sheet: row[5].text().to_owned(),
        work_order: row[6].text().to_owned(),
        technician: row[7].text().to_owned(),
        opened_us: row[8].int().unwrap_or_default(),
        closed_us: row[9].int(),
        complaint: row[10].some_text(),
        outcome: row[11].some_text(),
        faults: row[15].text().lines().map(str::to_owned).collect(),
        proved: row[16].some_text(),
        left: row[12].some_text(),
        damage: row[13].int().unwrap_or_default(),
        sheet_same: row[14].int().map(|n| n == 1),
    }
}

fn unit(row: &Row) -> Unit {
    let number = |n: usize| row[n].int().unwrap_or_default();
    Unit {
        unit: row[0].text().to_owned(),
        simulated: row[1].yes(),
        sheet: row[2].text().to_owned(),
        visits: number(3),
        first_us: number(4),
        last_us: number(5),
    }
}
