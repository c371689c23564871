//! What was typed: the meter's accuracy, readings with their uncertainty, ratings, the leads.

use std::path::PathBuf;

use ohmtrail_core::accuracy::{
    Accuracy, AccuracyTable, CAUTIOUS_DEFAULT, Cautious, Circuit, Measured, Quantity, Unit, Void,
    measure, side_by_side_uncertainty,
};
use ohmtrail_core::leads::{Leads, UNKNOWN_LEADS};
use ohmtrail_core::reading::{Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::{Micros, Ohms, Ratio};
use ohmtrail_meters::keyed;
use ohmtrail_meters::profile::Profile;
use ohmtrail_trail::Displayed;

use super::Stop;
use crate::fail::Fail;

/// How accurate the meter is, and what its display shows besides digits.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "The meter")]
pub struct Meter {
    /// The meter's profile (docs/meters.md); without it a cautious default, named in the verdict
    #[arg(long, global = true, value_name = "FILE", conflicts_with = "accuracy")]
    meter: Option<PathBuf>,
    /// The accuracy as its manual states it, percent of reading and counts: "0.5%+3", or for one
    /// function "ohms=0.9%+3"
    #[arg(long, global = true, value_name = "[FUNCTION=]P%+C")]
    accuracy: Vec<String>,
    /// An annunciator that is lit: hold, relative, low-battery, minimum, maximum, peak…
    #[arg(long, global = true, value_name = "NAME")]
    flag: Vec<String>,
}

/// An accuracy stated on the command line.
#[derive(Debug)]
struct Stated(Vec<(Option<Function>, Accuracy)>);

impl AccuracyTable for Stated {
    fn accuracy(&self, function: Function, _magnitude: f64) -> Option<Accuracy> {
        let of = |wanted| self.0.iter().find(|(f, _)| *f == wanted).map(|(_, a)| *a);
        of(Some(function)).or_else(|| of(None))
    }

    fn top_of_range(&self, _function: Function) -> Option<f64> {
        None
    }
}

/// A reading as it was typed, and what became of it.
#[derive(Debug)]
pub struct Seen {
    /// What it is in this check.
    pub name: &'static str,
    /// The reading.
    pub reading: Reading,
    /// The display's text.
    pub displayed: Displayed,
    /// The value and its uncertainty, if it has one.
    pub measured: Option<Measured>,
}

/// The meter at hand and what was read with it.
pub struct Bench {
    table: Box<dyn AccuracyTable>,
    /// What the accuracy rests on.
    pub accuracy: String,
    flags: Flags,
    /// The readings so far.
    pub seen: Vec<Seen>,
}

impl Bench {
    /// The meter that the command line names.
    pub fn new(meter: &Meter) -> Result<Bench, Fail> {
        let mut flags = Flags::NONE;
        for name in &meter.flag {
            let flag = Flags::by_name(name).ok_or_else(|| {
                let known: Vec<&str> = Flags(u16::MAX).names().collect();
                Fail::usage(format!(
                    "--flag {name}: no such annunciator; one of {}",
                    known.join(", ")
                ))
            })?;
            flags = flags.with(flag);
        }
        let (table, accuracy): (Box<dyn AccuracyTable>, String) = match &meter.meter {
            Some(file) => {
                let profile = Profile::load(file).map_err(Fail::input)?;
                let name = profile.name.clone();
                (Box::new(profile), name)
            }
            None if !meter.accuracy.is_empty() => {
                let rows = meter.accuracy.iter().map(|text| stated(text));
                let table = Stated(rows.collect::<Result<_, _>>()?);
                (
                    Box::new(table),
                    format!("stated on the command line: {}", meter.accuracy.join(", ")),
                )
            }
            None => (Box::new(Cautious), CAUTIOUS_DEFAULT.what.to_owned()),
        };
        Ok(Bench {
            table,
            accuracy,
            flags,
            seen: Vec::new(),
        })
    }

    /// Whether the accuracy is assumed.
    pub fn assumed(&self) -> bool {
        self.table.assumed()
    }

    /// The accuracy table.
    pub fn table(&self) -> &dyn AccuracyTable {
        self.table.as_ref()
    }

    /// A typed value as a reading. Whoever types it answers for the circuit: functions that drive
    /// a current are taken as used on a dead one, as the cautions say.
    pub fn reading(
        &mut self,
        name: &'static str,
        text: &str,
        function: Function,
    ) -> Result<Reading, Fail> {
        let shown =
            keyed::parse_line(text, function).map_err(|e| Fail::input(format!("{name}: {e}")))?;
        let reading = Reading {
            function,
            shown,
            flags: self.flags,
            meter: MeterId(0),
            at: Micros(0),
        };
        self.seen.push(Seen {
            name,
            reading,
            displayed: Displayed::of(function, shown),
            measured: measure(&reading, function, Circuit::Dead, self.table()).ok(),
        });
        Ok(reading)
    }

    /// A typed value as a quantity with its uncertainty.
    pub fn read<Q: Unit>(
        &mut self,
        name: &'static str,
        text: &str,
        function: Function,
    ) -> Result<Quantity<Q>, Stop> {
        let reading = self.reading(name, text, function)?;
        Quantity::read(&reading, function, Circuit::Dead, self.table())
            .map_err(|why| Stop::Void(name, why))
    }

    /// A typed value as a quantity that is compared with others of the same meter and range: what
    /// they share of its error is left out.
    pub fn read_side_by_side<Q: Unit>(
        &mut self,
        name: &'static str,
        text: &str,
        function: Function,
    ) -> Result<Quantity<Q>, Stop> {
        let whole: Quantity<Q> = self.read(name, text, function)?;
        let shown = self.seen.last().and_then(|s| s.reading.shown.decimal());
        let value = whole.value.number();
        match (shown, self.table().accuracy(function, value)) {
            (Some(shown), Some(accuracy)) => Ok(Quantity {
                u: side_by_side_uncertainty(shown, &accuracy),
                ..whole
            }),
            _ => Err(Stop::Void(name, Void::NotStated)),
        }
    }

    /// The coarsest display step among the readings of ohms.
    fn step(&self) -> Ohms {
        let steps = self
            .seen
            .iter()
            .filter(|s| s.reading.function == Function::Ohms)
            .filter_map(|s| s.reading.shown.decimal())
            .map(|d| d.resolution());
        Ohms(steps.fold(0.0, f64::max))
    }
}

/// `0.5%+3`, or `ohms=0.9%+3`.
fn stated(text: &str) -> Result<(Option<Function>, Accuracy), Fail> {
    let wrong = |what: String| Fail::usage(format!("--accuracy {text}: {what}"));
    let (function, statement) = match text.split_once('=') {
        None => (None, text),
        Some((name, statement)) => {
            let function = Function::by_name(name).ok_or_else(|| {
                let known: Vec<&str> = Function::ALL.iter().map(|f| f.name()).collect();
                wrong(format!("no such function; one of {}", known.join(", ")))
            })?;
            (Some(function), statement)
        }
    };
    let number = |text: &str| {
        text.trim()
            .parse::<f64>()
            .ok()
            .filter(|x| x.is_finite() && *x >= 0.0)
    };
    let plain = statement.trim_start_matches(['\u{b1}', '+']);
    let parsed = plain.split_once('%').and_then(|(percent, counts)| {
        Some((number(percent)?, number(counts.trim().strip_prefix('+')?)?))
    });
    match parsed {
        Some((percent, counts)) => Ok((function, Accuracy::new(percent, counts))),
        None => Err(wrong(
            "write percent of reading and counts as 0.5%+3".into(),
        )),
    }
}

/// A rating or a marking: a number with its unit, taken as exact.
pub fn rating(name: &str, text: &str, function: Function) -> Result<f64, Fail> {
    match keyed::parse_line(text, function) {
        Ok(Shown::Value(decimal)) => Ok(decimal.value()),
        Ok(Shown::Overload | Shown::Blank) => Err(Fail::input(format!(
            "--{name} {text}: a rating is a number with its unit"
        ))),
        Err(e) => Err(Fail::input(format!("--{name}: {e}"))),
    }
}

/// A rating that may be left out.
pub fn rating_if<Q: Unit>(
    name: &str,
    text: Option<&String>,
    function: Function,
) -> Result<Option<Q>, Fail> {
    text.map(|t| rating(name, t, function).map(Q::from_number))
        .transpose()
}

/// `10%`, `6 %`, or `-5/+10%`: shares below and above.
pub fn tolerance(text: &str) -> Result<(Ratio, Ratio), Fail> {
    let wrong = || {
        Fail::input(format!(
            "--tolerance {text}: write it as marked, such as 6% or -5/+10%"
        ))
    };
    let plain = text.trim().strip_suffix('%').ok_or_else(wrong)?.trim();
    let share = |text: &str| {
        text.trim()
            .trim_end_matches('%')
            .trim()
            .parse::<f64>()
            .ok()
            .filter(|x| x.is_finite() && *x >= 0.0)
            .map(|x| Ratio(x / 100.0))
            .ok_or_else(wrong)
    };
    match plain.split_once('/') {
        Some((minus, plus)) => {
            let minus = minus
                .trim()
                .strip_prefix(['-', '\u{2212}'])
                .ok_or_else(wrong)?;
            let plus = plus.trim().strip_prefix('+').ok_or_else(wrong)?;
            Ok((share(minus)?, share(plus)?))
        }
        None => {
            let both = share(plain.trim_start_matches(['\u{b1}', '+', '-']))?;
            Ok((both, both))
        }
    }
}

/// What was done about the resistance of the test leads.
#[derive(Debug, clap::Args)]
pub struct LeadsArgs {
    /// The test leads: zeroed on the meter, their resistance read with the probes held together
    /// (such as 0.2Ohm), or unknown
    #[arg(long, value_name = "zeroed|unknown|OHMS", default_value = "unknown")]
    leads: String,
}

impl LeadsArgs {
    /// The leads, once the readings they are in are known. With them the words for a person.
    pub fn leads(&self, bench: &mut Bench) -> Result<(Leads, String), Stop> {
        match self.leads.as_str() {
            "zeroed" => Ok((
                Leads::Zeroed { step: bench.step() },
                "leads zeroed on the meter".to_owned(),
            )),
            "unknown" => Ok((Leads::Unknown, UNKNOWN_LEADS.what.to_owned())),
            text => {
                let r = bench.read("leads", text, Function::Ohms)?;
                Ok((
                    Leads::Shorted(r),
                    "leads measured with the probes held together".to_owned(),
                ))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_accuracy_is_read_as_manuals_write_it() {
        let row = |text| stated(text).map(|(f, a)| (f, a.percent, a.counts)).ok();
        assert_eq!(row("0.5%+3"), Some((None, 0.5, 3.0)));
        assert_eq!(row("\u{b1}0.9 % + 3"), Some((None, 0.9, 3.0)));
        assert_eq!(row("ohms=0.9%+3"), Some((Some(Function::Ohms), 0.9, 3.0)));
        for bad in ["0.5", "0.5%", "%+3", "-1%+3", "0.5%+-3", "watts=1%+1", ""] {
            assert_eq!(row(bad), None, "{bad}");
        }
    }

    #[test]
    fn tolerances_are_read_as_marked() {
        let read = |text| tolerance(text).map(|(m, p)| (m.get(), p.get())).ok();
        assert_eq!(read("10%"), Some((0.1, 0.1)));
        assert_eq!(read("\u{b1}6 %"), Some((0.06, 0.06)));
        assert_eq!(read("-5/+10%"), Some((0.05, 0.1)));
        for bad in ["10", "ten%", "5/10%", "+5/-10%", "%", ""] {
            assert_eq!(read(bad), None, "{bad}");
        }
    }
}
