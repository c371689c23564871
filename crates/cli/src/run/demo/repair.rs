//! The second half of the demo: what was found is quoted and approved, and another visit repairs it
//! and proves the unit.

use std::path::Path;

use ohmtrail_circuit::bench::Bench;
use ohmtrail_circuit::sheet::Part;
use ohmtrail_core::reading::Function;
use ohmtrail_trail::event::{
    Asked, Event, LineKind, Opened, PlateEntry, Quote, QuoteLine, QuoteOption, Repair,
};
use ohmtrail_visit::{Input, amount};

use super::{Args, Demo, skip};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;
use crate::run::desk::Desk;
use crate::run::repair;

impl Demo<'_> {
    /// The quote, then the repair in a trail of its own beside the first.
    pub(super) async fn repair(
        &mut self,
        args: &Args,
        faults: &[usize],
        path: &Path,
        out: &mut Out,
    ) -> Result<Exit, Fail> {
        self.quote()?;
        let found = repair::found(path, &[], self.book)?;
        if !out.json() {
            out.line("\nAn invented quote, approved. Another day, the repair:")?;
            out.line(&found.words())?;
        }
        let parts = &found.repair.parts;
        let sheet = self.book.sheet;
        // What was fitted is whole; what else was broken still is.
        let left = faults.iter().copied().filter(|f| {
            let owner = sheet.parts.get(sheet.faults[*f].owner);
            owner.is_none_or(|p| !parts.contains(&p.name))
        });
        let left: Vec<usize> = left.collect();
        self.bench = Bench::new(&self.book.circuit, args.seed, &left);
        self.bench.open_breaker();
        let off = found.repair.wires.iter().filter(|w| w.back_on.is_none());
        for end in off.filter_map(|w| sheet.point(&w.end)) {
            self.bench.lift(end);
        }
        let mut opened = Opened {
            work_order: format!("DEMO-{}-R (invented)", args.seed),
            ..found.opened.clone()
        };
        found.link(&mut opened)?;
        let path = path.with_extension("repair.trail");
        self.time.minutes(24.0 * 60.0);
        self.desk = Desk::open(self.book, opened, Some(&path), self.time.now())?;
        let mut events = self.begin_repair(found.repair)?;
        events.retain(|e| matches!(e, Event::Gate(_)));
        self.hold(events, out).await?;
        self.end(&path, out)
    }

    /// The repair is told of first, then the meters join.
    fn begin_repair(&mut self, repair: Repair) -> Result<Vec<Event>, Fail> {
        let mut events = self.desk.say(Input::Repair(repair), self.time.now())?;
        for instrument in &self.instruments {
            events.extend(self.desk.say(instrument.joins(), self.time.now())?);
        }
        Ok(events)
    }

    /// An invented quote of what was found, approved on the paper as it then is.
    fn quote(&mut self) -> Result<(), Fail> {
        let line = |what: &str, kind, price| QuoteLine {
            what: what.to_owned(),
            kind,
            quantity: 1000,
            price,
            taxed: kind == LineKind::Part,
        };
        let quote = Quote {
            version: 1,
            currency: "USD".to_owned(),
            decimals: 2,
            valid_until: "9999-12-31".to_owned(),
            options: vec![QuoteOption {
                name: "a".to_owned(),
                title: "Replace what failed (invented)".to_owned(),
                recommended: true,
                lines: vec![
                    line(
                        "the part that failed, by its stamp (invented)",
                        LineKind::Part,
                        3850,
                    ),
                    line("work on the roof (invented)", LineKind::Labour, 9500),
                ],
                tax: 8250,
            }],
        };
        self.desk.say(Input::Quote(quote), self.time.now())?;
        self.desk.commit()?;
        let paper = self.desk.head().map_or([0; 32], |head| head.0);
        let decide = Input::Decide {
            option: Some("a".to_owned()),
            by: "an invented owner".to_owned(),
            means: "signed on the paper (invented)".to_owned(),
            paper,
        };
        self.desk.say(decide, self.time.now())?;
        self.desk.commit()
    }

    /// The new part, with what is stamped on it; one that must not be fitted is not.
    pub(super) fn fit(&mut self, asked: &Asked, name: &str) -> Result<Vec<Event>, Fail> {
        let mut events = Vec::new();
        let part = self.book.sheet.parts.iter().find(|p| p.name == name);
        for (key, value, unit) in part.map(stamped).unwrap_or_default() {
            let plate = Input::Plate(PlateEntry {
                part: name.to_owned(),
                key,
                value,
                unit,
            });
            events.extend(self.desk.say(plate, self.time.now())?);
        }
        let done = Input::Done {
            ask: Some(asked.ask),
            act: None,
        };
        match self.desk.say(done, self.time.now()) {
            Ok(done) => events.extend(done),
            Err(refused @ ohmtrail_daemon::desk::DeskError::Refused(_)) => {
                let skip = skip(asked, &refused.to_string());
                events.extend(self.desk.say(skip, self.time.now())?);
            }
            Err(error) => return Err(error.into()),
        }
        Ok(events)
    }
}

/// What is stamped on a capacitor that is the same as the sheet's; nothing is known of other kinds.
fn stamped(part: &Part) -> Vec<(String, String, String)> {
    let keys = [
        ("marked", "capacitance", Some(Function::Farads)),
        ("herm", "capacitance-herm", Some(Function::Farads)),
        ("fan", "capacitance-fan", Some(Function::Farads)),
        ("rated", "rated-volts", Some(Function::VoltsAc)),
        ("tolerance", "tolerance", None),
    ];
    let params = || part.kind.params.iter().zip(&part.values);
    let mut rows: Vec<(String, String, String)> = keys
        .into_iter()
        .filter_map(|(name, key, function)| {
            let (_, value) = params().find(|(p, _)| p.name == name)?;
            let share = || format!("{} %", (value * 1e4).round() / 1e2);
            let text = function.map_or_else(share, |function| amount(function, *value));
            let (value, unit) = text.split_once(' ')?;
            Some((key.to_owned(), value.to_owned(), unit.to_owned()))
        })
        .collect();
    let duty = match part.kind.name {
        "run-capacitor" | "dual-run-capacitor" => "run",
        "start-capacitor" => "start",
        _ => return Vec::new(),
    };
    rows.push(("duty".to_owned(), duty.to_owned(), String::new()));
    rows
}
