//! What an earlier visit of the same unit says of it: cold windings narrow what is expected of them
//! now and are the reference of a wait for an overload; capacitances are told as history.
//!
//! Only takes that count, of motors that had time to cool, in air that was measured in that visit.
//! A part that the visit found a fault of has been replaced since, for all that is known.

use std::collections::BTreeMap;

use ohmtrail_circuit::known::Known;
use ohmtrail_circuit::sheet::{Heat, Question, Sheet};
use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::cooldown::rested;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::temperature::Metal;
use ohmtrail_core::units::{Celsius, Micros, Ohms};
use ohmtrail_trail::event::{Entry, Event, PlateEntry};
use ohmtrail_trail::rfc3339;

use crate::book::{Book, WindingPair, Windings};
use crate::cooldown::COLD_KEY;
use crate::known::{beside, value_of};
use crate::record::{Record, Took};
use crate::words::displayed;

/// What an earlier visit says of the unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Earlier {
    /// The day of the visit.
    pub date: String,
    /// The unit, as the shop named it then.
    pub unit: String,
    /// Whether the unit was a simulated one.
    pub simulated: bool,
    /// Its cold windings.
    pub known: Vec<Known>,
    /// The cold references of start to run, as plate entries.
    pub plates: Vec<PlateEntry>,
    /// What is told as history, and narrows nothing.
    pub history: Vec<String>,
    /// What could not be used, and why.
    pub left_out: Vec<String>,
}

/// Why an earlier trail says nothing of a unit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EarlierError {
    /// It has no first event.
    #[error("the earlier trail does not say what was visited: it is no use here")]
    NotOpened,
    /// It is of another sheet.
    #[error(
        "the earlier trail is of the sheet \"{earlier}\", this visit of \"{now}\": name a trail of the \
         same unit"
    )]
    OtherSheet {
        /// Its sheet.
        earlier: String,
        /// This visit's.
        now: String,
    },
}

impl Earlier {
    /// What the entries of an earlier trail say.
    ///
    /// # Errors
    /// [`EarlierError`].
    pub fn of<'e>(
        book: &Book<'_>,
        entries: impl IntoIterator<Item = &'e Entry>,
    ) -> Result<Earlier, EarlierError> {
        let mut record = Record::default();
        // When the unit had been switched off, at each take.
        let mut off: BTreeMap<u32, Micros> = BTreeMap::new();
        for entry in entries {
            record.apply(book, entry);
            if let (Event::Took(take), Some(at)) = (&entry.event, record.off_at) {
                off.insert(take.take, at);
            }
        }
        let (Some(opened), Some(at)) = (&record.opened, record.opened_at) else {
            return Err(EarlierError::NotOpened);
        };
        if opened.sheet != book.sheet.name {
            return Err(EarlierError::OtherSheet {
                earlier: opened.sheet.clone(),
                now: book.sheet.name.clone(),
            });
        }
        let date = rfc3339(at.wall_us).unwrap_or_default();
        let mut earlier = Earlier {
            date: date.split('T').next().unwrap_or_default().to_owned(),
            unit: opened.unit.clone(),
            simulated: opened.simulated,
            known: Vec::new(),
            plates: Vec::new(),
            history: Vec::new(),
            left_out: Vec::new(),
        };
        for motor in book.windings() {
            earlier.motor(book, &record, motor, &off);
        }
        earlier.capacitances(book, &record);
        Ok(earlier)
    }

    /// Tells a sheet what is known; what does not fit it is left out.
    pub fn teach(&mut self, sheet: &mut Sheet) {
        for known in std::mem::take(&mut self.known) {
            match sheet.learn(known.clone()) {
                Ok(()) => self.known.push(known),
                Err(misfit) => self.left_out.push(misfit.to_string()),
            }
        }
    }

    /// The words that the trail of this visit keeps.
    #[must_use]
    pub fn note(&self, sheet: &Sheet) -> String {
        let known = self.known.iter().map(|k| {
            format!(
                "{} {:.3} ohm at {:.1} Cel",
                k.name(sheet),
                k.ohms.value.get(),
                k.at.value.get()
            )
        });
        let list = |what: &str, all: Vec<String>| {
            if all.is_empty() {
                String::new()
            } else {
                format!("; {what}: {}", all.join(", "))
            }
        };
        format!(
            "the visit of {}{}{}{}",
            self.date,
            list("known from it", known.collect()),
            list("history", self.history.clone()),
            list("left out", self.left_out.clone()),
        )
    }

    /// The cold windings of one motor.
    fn motor(
        &mut self,
        book: &Book<'_>,
        record: &Record,
        motor: &Windings,
        off: &BTreeMap<u32, Micros>,
    ) {
        let part = &book.sheet.parts[motor.part];
        let cold: Vec<(WindingPair, usize, &Took)> = WindingPair::ALL
            .into_iter()
            .filter_map(|pair| {
                let check = motor.check(pair, Heat::Cold)?;
                let took = record.latest(check)?;
                let reads = took.take.value.is_finite() && took.take.value > 0.0;
                (took.take.state.cooled && reads).then_some((pair, check, took))
            })
            .collect();
        if cold.is_empty() {
            return;
        }
        let found = record.finding.iter().flat_map(|f| &f.faults);
        if let Some(fault) = found
            .filter_map(|name| book.sheet.fault(name))
            .find(|f| book.sheet.faults[*f].owner == motor.part)
        {
            let fault = &book.sheet.faults[fault].name;
            self.left_out.push(format!(
                "the windings of {}: that visit found {fault}",
                part.name
            ));
            return;
        }
        let Some(air) = record.ambient() else {
            let what = format!("the windings of {}: the air was not measured", part.name);
            self.left_out.push(what);
            return;
        };
        for (pair, check, took) in cold {
            let Some(at) = off
                .get(&took.take.take)
                .and_then(|o| rested(air, took.elapsed.since(*o) as f64 / 60e6))
            else {
                continue;
            };
            let read = Quantity::new(Ohms(took.take.value), took.take.uncertainty);
            if pair == WindingPair::StartRun {
                self.plates.push(self.reference(&part.name, read, at));
                continue;
            }
            let Some(value) = value_of(part, pair) else {
                continue;
            };
            let Some(beside) = beside(book, check, motor.part, value) else {
                continue;
            };
            self.known.push(Known {
                part: motor.part,
                value,
                ohms: Quantity::new(Ohms(read.value.get() - beside), read.u),
                at,
                metal: Metal::Copper,
                date: self.date.clone(),
                source: format!("the visit of {}", self.date),
            });
        }
    }

    /// A reading of start to run as the reference of a wait for the overload.
    fn reference(&self, part: &str, read: Quantity<Ohms>, at: Quantity<Celsius>) -> PlateEntry {
        PlateEntry {
            part: part.to_owned(),
            key: COLD_KEY.to_owned(),
            value: format!(
                "{:.4}Ohm@{:.2}Cel+-{:.4}+-{:.2}K the visit of {}",
                read.value.get(),
                at.value.get(),
                2.0 * read.u,
                2.0 * at.u,
                self.date
            ),
            unit: String::new(),
        }
    }

    /// Capacitances: they age, so that what they were narrows nothing.
    fn capacitances(&mut self, book: &Book<'_>, record: &Record) {
        for (c, check) in book.sheet.checks.iter().enumerate() {
            if let Question::Measure {
                function: Function::Farads,
                points,
                ..
            } = &check.question
                && let Some(took) = record.latest(c)
            {
                let [a, b] = points.map(|p| book.sheet.point_name(p));
                let shown = displayed(Function::Farads, took.take.shown);
                self.history.push(format!("{a} to {b} {shown}"));
            }
        }
    }
}
