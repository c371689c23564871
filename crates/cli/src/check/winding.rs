//! Checks of windings: open pairs and the sum rule, which terminal is which, three-phase spread.

use ohmtrail_core::accuracy::{Circuit, Quantity, Void};
use ohmtrail_core::leads::{self, Leads, SumError};
use ohmtrail_core::reading::{Function, Shown};
use ohmtrail_core::rules::three_phase;
use ohmtrail_core::rules::winding::{
    self as rule, Pairs, Path, Pattern, RESIDUAL, SUM, SumOutcome, Terminal, UNPROVEN,
};
use ohmtrail_core::units::Ohms;
use serde_json::json;

use super::Stop;
use super::answer::{Answer, Level};
use super::input::{Bench, LeadsArgs};
use super::number::show;

/// Said with every check of ohms.
pub const DEAD: &str = "dead, locked and discharged, leads lifted; at the wire ends, never at the \
                        terminals of a compressor under power";

/// `check winding`.
#[derive(Debug, clap::Args)]
pub struct Winding {
    /// Ohms common to start, such as 2.2Ohm, or OL
    #[arg(long, value_name = "OHMS")]
    common_start: String,
    /// Ohms common to run
    #[arg(long, value_name = "OHMS")]
    common_run: String,
    /// Ohms start to run
    #[arg(long, value_name = "OHMS")]
    start_run: String,
    /// The motor had time to cool fully since it last ran or tried to
    #[arg(long)]
    cooled: bool,
    /// Estimate the leads from the sum of the three; then nothing is left to judge the sum by
    #[arg(long, conflicts_with = "leads")]
    leads_from_sum: bool,
    #[command(flatten)]
    leads: LeadsArgs,
}

impl Winding {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let pairs = Pairs {
            common_start: path(bench, "common-start", &self.common_start)?,
            common_run: path(bench, "common-run", &self.common_run)?,
            start_run: path(bench, "start-run", &self.start_run)?,
        };
        let pattern = rule::pattern(&pairs, self.cooled);
        let (Path::Closed(cs), Path::Closed(cr), Path::Closed(sr)) =
            (pairs.common_start, pairs.common_run, pairs.start_run)
        else {
            return Ok(open(pattern));
        };
        if self.leads_from_sum {
            return self.estimate(cs, cr, sr);
        }
        let (leads, words) = self.leads.leads(bench)?;
        let closed = Pairs {
            common_start: cs,
            common_run: cr,
            start_run: sr,
        };
        let sum = rule::sum_rule(&closed, &leads)?;
        let (level, sentence) = match sum.outcome {
            SumOutcome::Consistent => (
                Level::Good,
                "The windings are continuous and the three readings agree; that is not health.",
            ),
            SumOutcome::Inconsistent => (
                Level::Check,
                "The three readings do not agree: zero the leads and measure again before anything else.",
            ),
            SumOutcome::NotJudged => (Level::Open, "The sum rule is not judged."),
        };
        let residual = sum.residual.measured();
        Ok(Answer::new(sentence)
            .leads(words)
            .found(
                "continuity",
                "closed",
                "all three pairs have a path",
                Level::Good,
                Some(pattern.source()),
                json!({"pattern": pattern}),
            )
            .found(
                "sum",
                word(&json!(sum.outcome)),
                format!(
                    "C-S + C-R - S-R less the leads is {} \u{b1} {}",
                    show(residual.value, "Ohm"),
                    show(residual.expanded(), "Ohm")
                ),
                level,
                Some(RESIDUAL),
                json!({
                    "outcome": sum.outcome, "residual": residual.value,
                    "uncertainty": residual.u, "unit": "Ohm", "p": sum.p, "rule": SUM.what,
                }),
            )
            .unproven(&UNPROVEN)
            .caution(DEAD))
    }

    fn estimate(
        &self,
        cs: Quantity<Ohms>,
        cr: Quantity<Ohms>,
        sr: Quantity<Ohms>,
    ) -> Result<Answer, Stop> {
        let estimate = match leads::estimate_from_sum(cs, cr, sr) {
            Ok(estimate) => estimate,
            Err(SumError::Void(why)) => return Err(Stop::Void("leads", why)),
            Err(SumError::NotLeads) => {
                return Ok(Answer::void(
                    "What is left over in the sum cannot be leads: measure again, with the leads zeroed."
                        .to_owned(),
                ));
            }
        };
        let mut answer = Answer::new(
            "The leads are estimated from the sum, so the sum itself is not judged; all pairs are closed.",
        )
        .leads("estimated from the three readings".to_owned())
        .found(
            "continuity",
            "closed",
            "all three pairs have a path",
            Level::Good,
            Some(rule::TOPOLOGY),
            json!({"pattern": Pattern::Closed}),
        );
        for (name, words, q) in [
            ("leads", "both leads together", estimate.leads),
            ("common-start", "leads taken off", estimate.common_start),
            ("common-run", "leads taken off", estimate.common_run),
            ("start-run", "leads taken off", estimate.start_run),
        ] {
            let source = leads::THREE_TERMINALS;
            answer = answer.number(name, words, q.value.get(), q.u, "Ohm", source);
        }
        Ok(answer.unproven(&UNPROVEN).caution(DEAD))
    }
}

/// One pair: a path or none.
fn path(bench: &mut Bench, name: &'static str, text: &str) -> Result<Path, Stop> {
    let reading = bench.reading(name, text, Function::Ohms)?;
    let read = Quantity::read(&reading, Function::Ohms, Circuit::Dead, bench.table());
    match (reading.shown, read) {
        (_, Ok(ohms)) => Ok(Path::Closed(ohms)),
        (Shown::Overload, Err(Void::Overload)) => Ok(Path::Open),
        (_, Err(why)) => Err(Stop::Void(name, why)),
    }
}

/// The answer where a pair has no path.
fn open(pattern: Pattern) -> Answer {
    let (level, sentence) = match pattern {
        Pattern::ProtectorTripped => (
            Level::Open,
            "The common leg is open and both windings are whole: the protector has tripped. \
             Wait until it closes, find the cause, and measure again; the compressor is not condemned.",
        ),
        Pattern::CommonStaysOpen => (
            Level::Fails,
            "The common leg stays open after full cooling: protector, common pin or lead.",
        ),
        Pattern::StartOpen => (
            Level::Fails,
            "The start winding, its pin or its lead is open.",
        ),
        Pattern::RunOpen => (
            Level::Fails,
            "The run winding, its pin or its lead is open.",
        ),
        Pattern::AllOpen => (
            Level::Open,
            "No pair has a path: look at the connector, and with a hot motor wait for the protector.",
        ),
        Pattern::Contradiction => (
            Level::Open,
            "One pair open and two closed cannot be: measure again.",
        ),
        Pattern::Closed => (Level::Good, "All three pairs have a path."),
    };
    Answer::new(sentence)
        .found(
            "continuity",
            word(&json!(pattern)),
            "pattern of open and closed pairs",
            level,
            Some(pattern.source()),
            json!({"pattern": pattern}),
        )
        .unproven(&UNPROVEN)
        .caution(DEAD)
}

/// The name that an enum has in JSON.
fn word(value: &serde_json::Value) -> String {
    value.as_str().unwrap_or_default().replace('-', " ")
}

/// `check terminals`.
#[derive(Debug, clap::Args)]
pub struct Terminals {
    /// Ohms between terminals A and B
    a_b: String,
    /// Ohms between terminals B and C
    b_c: String,
    /// Ohms between terminals A and C
    a_c: String,
    #[command(flatten)]
    leads: LeadsArgs,
}

impl Terminals {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let a_b = bench.read("a-b", &self.a_b, Function::Ohms)?;
        let b_c = bench.read("b-c", &self.b_c, Function::Ohms)?;
        let a_c = bench.read("a-c", &self.a_c, Function::Ohms)?;
        let (leads, words): (Leads, String) = self.leads.leads(bench)?;
        let naming = rule::name_terminals(a_b, b_c, a_c, &leads)?;
        let names = naming.names;
        let (level, sentence) = match (naming.inconsistent, naming.ambiguous) {
            (true, _) => (
                Level::Open,
                "In no way do the three readings add up: measure again.".to_owned(),
            ),
            (false, true) => (
                Level::Open,
                "Two readings are too near each other to tell the terminals apart.".to_owned(),
            ),
            (false, false) => (
                Level::Good,
                format!(
                    "{:?} is common, {:?} is start, {:?} is run.",
                    names.common, names.start, names.run
                ),
            ),
        };
        let letter = |t: Terminal| format!("{t:?}");
        let ways: Vec<_> = naming
            .ways
            .iter()
            .map(|(n, p)| {
                json!({"common": letter(n.common), "start": letter(n.start), "run": letter(n.run), "p": p})
            })
            .collect();
        Ok(Answer::new(sentence)
            .leads(words)
            .found(
                "names",
                format!(
                    "C = {:?}, S = {:?}, R = {:?}",
                    names.common, names.start, names.run
                ),
                format!("probability {:.3}", naming.p),
                level,
                Some(SUM),
                json!({
                    "common": letter(names.common), "start": letter(names.start),
                    "run": letter(names.run), "p": naming.p, "ways": ways,
                    "ambiguous": naming.ambiguous, "inconsistent": naming.inconsistent,
                }),
            )
            .unproven(&UNPROVEN)
            .caution(DEAD))
    }
}

/// `check spread`.
#[derive(Debug, clap::Args)]
pub struct Spread {
    /// The ohms of the three pairs
    #[arg(num_args = 3, required = true, value_names = ["A", "B", "C"])]
    ohms: Vec<String>,
    #[command(flatten)]
    leads: LeadsArgs,
}

impl Spread {
    /// Judges.
    pub fn judge(&self, bench: &mut Bench) -> Result<Answer, Stop> {
        let mut pairs = Vec::new();
        for (name, text) in ["first", "second", "third"].into_iter().zip(&self.ohms) {
            pairs.push(bench.read_side_by_side::<Ohms>(name, text, Function::Ohms)?);
        }
        let (leads, words) = self.leads.leads(bench)?;
        let mut off = Vec::new();
        for pair in pairs {
            // The leads are the same in all three, so their uncertainty cancels in the spread.
            let left = leads
                .take_off(pair)
                .map_err(|why| Stop::Void("leads", why))?;
            off.push(Quantity { u: pair.u, ..left });
        }
        let [a, b, c] = off[..] else {
            return Err(crate::fail::Fail::usage("spread takes three readings").into());
        };
        let v = three_phase::spread([a, b, c])?;
        Ok(Answer::new(format!(
            "The largest and the smallest winding are {} of the mean apart.",
            show(v.spread.value.get(), "1")
        ))
        .leads(words)
        .verdict("warn", "1", v.warn)
        .verdict("reject", "1", v.reject)
        .unproven(&[UNPROVEN[1], UNPROVEN[2]])
        .caution(DEAD))
    }
}
