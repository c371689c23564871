//! The figures of many cases, and their table.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use ohmtrail_circuit::sheet::Sheet;

use super::Ran;
use super::case::{Case, Kind, Stratum};
use super::hands::Agreement;
use super::score::{Mark, condemns_hot};
use super::stats::{Rate, Reliability};

/// The least that a bin of a reliability curve holds.
pub const BIN: usize = 1000;

/// The figures of the cases of one sheet, or of several.
#[derive(Debug, Clone, Default)]
pub struct Summary {
    /// Cases by where they come from, what is wrong, and their mark.
    pub marks: BTreeMap<(Stratum, Kind, Mark), u64>,
    /// Hermetic compressors condemned on a hot overload, of the cases that had one.
    pub hot: Rate,
    /// What was asked for before its gate, by case.
    pub violations: Vec<(usize, String)>,
    /// The most probable suspect at every step, of the cases that the priors drew.
    pub steps: Reliability,
    /// What findings that name something say of themselves, of those cases.
    pub findings: Reliability,
    /// Minutes up to the finding, of the cases that the priors drew: sum and sum of squares.
    pub minutes: (f64, f64, u64),
    /// Asks up to the finding, of the same.
    pub asks: u64,
    /// Slips of hand, of all measurements.
    pub slips: Rate,
    /// How the two solvers compare.
    pub agreement: Agreement,
    /// Operating points that ngspice solved.
    pub solved: u64,
}

impl Summary {
    /// The figures of these cases.
    #[must_use]
    pub fn of(sheet: &Sheet, all: &[Ran]) -> Self {
        let mut summary = Summary::default();
        for ran in all {
            summary.add(sheet, ran);
        }
        summary
    }

    fn add(&mut self, sheet: &Sheet, ran: &Ran) {
        let (case, played) = (&ran.case, &ran.played);
        *self
            .marks
            .entry((case.stratum, case.kind, ran.mark))
            .or_default() += 1;
        if !played.hot.is_empty() {
            self.hot.count(condemns_hot(sheet, case, played));
        }
        let violations = played.violations.iter();
        self.violations
            .extend(violations.map(|v| (case.number, v.clone())));
        if case.stratum == Stratum::Prior {
            let truth = case.fault_names(sheet);
            for step in &played.steps {
                self.steps.say(step.p, same(&step.faults, &truth));
            }
            if let Some(found) = &played.found {
                if !found.faults.is_empty() {
                    let right = matches!(ran.mark, Mark::Right | Mark::Alike);
                    self.findings.say(found.p, right);
                }
                self.minutes.0 += played.minutes;
                self.minutes.1 += played.minutes * played.minutes;
                self.minutes.2 += 1;
                self.asks += u64::from(played.asks);
            }
        }
        self.slips.hits += u64::from(played.slips);
        self.slips.of += played.solved;
        self.agreement.join(&played.agreement);
        self.solved += played.solved;
    }

    /// Takes the figures of another sheet in.
    pub fn join(&mut self, other: &Summary) {
        for (key, count) in &other.marks {
            *self.marks.entry(*key).or_default() += count;
        }
        for (rate, more) in [(&mut self.hot, other.hot), (&mut self.slips, other.slips)] {
            rate.hits += more.hits;
            rate.of += more.of;
        }
        self.violations.extend(other.violations.iter().cloned());
        self.steps.join(&other.steps);
        self.findings.join(&other.findings);
        self.minutes.0 += other.minutes.0;
        self.minutes.1 += other.minutes.1;
        self.minutes.2 += other.minutes.2;
        self.asks += other.asks;
        self.agreement.join(&other.agreement);
        self.solved += other.solved;
    }

    /// How many of the cases that `which` takes have one of these marks.
    #[must_use]
    pub fn rate(&self, marks: &[Mark], which: impl Fn(Stratum, Kind) -> bool) -> Rate {
        let mut rate = Rate::default();
        for ((stratum, kind, mark), count) in &self.marks {
            if which(*stratum, *kind) {
                rate.of += count;
                if marks.contains(mark) {
                    rate.hits += count;
                }
            }
        }
        rate
    }

    /// Right, or named among what no check tells apart.
    #[must_use]
    pub fn right(&self, which: impl Fn(Stratum, Kind) -> bool) -> Rate {
        self.rate(&[Mark::Right, Mark::Alike], which)
    }

    /// A healthy part condemned, wherever what is wrong is a fault of the sheet.
    #[must_use]
    pub fn condemned(&self) -> Rate {
        self.rate(&[Mark::Condemned], |s, _| inside(s))
    }

    /// A name given to what the sheet does not know.
    #[must_use]
    pub fn misnamed(&self) -> Rate {
        self.rate(&[Mark::Condemned], |s, _| s == Stratum::Unknown)
    }

    /// The table as text.
    #[must_use]
    pub fn table(&self, title: &str) -> String {
        let mut text = format!("{title}\n");
        let mut row = |name: &str, value: String, bar: &str| {
            let _ = writeln!(text, "  {name:<44} {value:<38} {bar}");
        };
        let is = |want: Kind| move |s: Stratum, k: Kind| inside(s) && k == want;
        let doubles = |s, k| inside(s) && matches!(k, Kind::Double | Kind::Caused);
        row(
            "single faults right",
            self.right(is(Kind::Single)).to_string(),
            "99 %",
        );
        row(
            "  by the priors",
            self.right(|s, k| s == Stratum::Prior && k == Kind::Single)
                .to_string(),
            "",
        );
        row(
            "  every fault alike",
            self.right(|s, k| s == Stratum::Uniform && k == Kind::Single)
                .to_string(),
            "",
        );
        row(
            "  of these named only as alike",
            self.rate(&[Mark::Alike], is(Kind::Single)).to_string(),
            "",
        );
        row(
            "double faults right",
            self.right(doubles).to_string(),
            "96 %",
        );
        row("  coincident", self.right(is(Kind::Double)).to_string(), "");
        row("  caused", self.right(is(Kind::Caused)).to_string(), "");
        row(
            "  one named, nothing healthy",
            self.rate(&[Mark::Partly], doubles).to_string(),
            "",
        );
        row(
            "healthy units called so",
            self.right(is(Kind::Healthy)).to_string(),
            "",
        );
        row(
            "undecided",
            self.rate(&[Mark::Undecided], |s, k| inside(s) && k != Kind::Healthy)
                .to_string(),
            "",
        );
        row(
            "another fault of the broken part",
            self.rate(&[Mark::Place], |s, _| inside(s)).to_string(),
            "",
        );
        row(
            "healthy part condemned",
            self.condemned().to_string(),
            "0.2 %",
        );
        row(
            "compressor condemned on a hot overload",
            self.hot.to_string(),
            "none",
        );
        row(
            "dialogue broken off",
            self.rate(&[Mark::Broken], |_, _| true).to_string(),
            "none",
        );
        row("gate violations", self.violations.len().to_string(), "none");
        let values = |s, _| s == Stratum::Values;
        row(
            "values outside the priors: right",
            self.right(values).to_string(),
            "",
        );
        row(
            "  healthy part condemned",
            self.rate(&[Mark::Condemned], values).to_string(),
            "",
        );
        let unknown = |s: Stratum, k: Kind| s == Stratum::Unknown && k == Kind::Flaw;
        let unlisted = |s: Stratum, k: Kind| s == Stratum::Unknown && k != Kind::Flaw;
        row(
            "unknown faults: a wrong name given",
            self.misnamed().to_string(),
            "2 %",
        );
        row(
            "  flaws: a wrong name given",
            self.rate(&[Mark::Condemned], unknown).to_string(),
            "",
        );
        row(
            "  flaws: named by their place",
            self.rate(&[Mark::Place], unknown).to_string(),
            "",
        );
        row(
            "  unlisted pairs: healthy part condemned",
            self.rate(&[Mark::Condemned], unlisted).to_string(),
            "",
        );
        row(
            "  unlisted pairs: one named, nothing healthy",
            self.rate(&[Mark::Partly], unlisted).to_string(),
            "",
        );
        row(
            "  unlisted pairs: both named",
            self.right(unlisted).to_string(),
            "",
        );
        let (sum, squares, n) = self.minutes;
        let count = n as f64;
        let mean = sum / count;
        let half = 1.96 * ((squares / count - mean * mean).max(0.0) / count).sqrt();
        row(
            "minutes to the finding (by the priors)",
            format!("{mean:.1} [{:.1}, {:.1}]", mean - half, mean + half),
            "",
        );
        row(
            "asks to the finding",
            format!("{:.1}", self.asks as f64 / count),
            "",
        );
        row("probes and dials that slipped", self.slips.to_string(), "");
        row(
            "ngspice and our solver, worst deviation",
            format!(
                "{:.3} of 1e-6 + 1 uV ({} values)",
                self.agreement.worst, self.agreement.values
            ),
            "1",
        );
        row("  at", self.agreement.at.clone(), "");
        let ninety_five = self.steps.around(0.93, 0.97);
        row(
            "says 93 to 97 %, is right",
            ninety_five.came.to_string(),
            "93..97 %",
        );
        row(
            "findings of at least 95 %, right",
            self.findings.around(0.95, 1.01).came.to_string(),
            "",
        );
        if !self.steps.is_empty() {
            let _ = writeln!(
                text,
                "  the top suspect at {} steps, Brier score {:.4}:",
                self.steps.len(),
                self.steps.brier()
            );
            for bin in self.steps.bins(BIN) {
                let _ = writeln!(
                    text,
                    "    said {:.3} ({:.3} to {:.3})  came {}",
                    bin.said, bin.range.0, bin.range.1, bin.came
                );
            }
        }
        text
    }
}

fn inside(stratum: Stratum) -> bool {
    matches!(stratum, Stratum::Prior | Stratum::Uniform)
}

fn same(a: &[String], b: &[String]) -> bool {
    a.len() == b.len() && a.iter().all(|x| b.contains(x))
}

/// The line of a case that did not go right.
#[must_use]
pub fn failure(sheet: &Sheet, ran: &Ran) -> Option<String> {
    if matches!(ran.mark, Mark::Right | Mark::Alike) && ran.played.violations.is_empty() {
        return None;
    }
    let Case {
        number, stratum, ..
    } = ran.case;
    let found = ran.played.found.as_ref();
    let named = found.map_or_else(
        || ran.played.broken.clone().unwrap_or_default(),
        |f| format!("[{}] {:.3}", f.faults.join(" + "), f.p),
    );
    let gates = ran.played.violations.first();
    Some(format!(
        "{} --case {number}: {} ({stratum:?}, {} slips): {} -> {named}{}",
        sheet.name,
        ran.mark.word(),
        ran.played.slips,
        ran.case.words(sheet),
        gates.map_or_else(String::new, |v| format!("; GATE: {v}"))
    ))
}
