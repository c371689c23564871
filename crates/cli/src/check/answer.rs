//! What a check answers: verdicts with their limits and sources, what else was found, a sentence,
//! what stays unproven, and the cautions; as text and as one JSON document.

use ohmtrail_core::class::Class;
use ohmtrail_core::source::Source;
use ohmtrail_core::verdict::{CONFORMITY, DECISION_RULE, Decision, Verdict};
use serde_json::{Value, json};

use super::input::Bench;
use super::number::{limits, show};
use crate::fail::Fail;
use crate::out::Out;

/// What one line of an answer means for the whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// It says something and decides nothing.
    Note,
    /// It passes.
    Good,
    /// Not judged: void, or too close to call.
    Open,
    /// To be checked by other means.
    Check,
    /// It fails.
    Fails,
}

/// A verdict against one limit.
#[derive(Debug)]
struct Item {
    name: &'static str,
    unit: &'static str,
    verdict: Verdict,
    counts: bool,
}

/// Something found that is no limit's verdict: a pattern, a name, a number.
#[derive(Debug)]
struct Found {
    name: &'static str,
    word: String,
    words: String,
    level: Level,
    source: Option<Source>,
    json: Value,
}

/// The answer of a check.
#[derive(Debug, Default)]
pub struct Answer {
    items: Vec<Item>,
    found: Vec<Found>,
    sentence: String,
    unproven: Vec<&'static str>,
    cautions: Vec<&'static str>,
    leads: Option<String>,
}

impl Answer {
    /// An answer with its sentence.
    pub fn new(sentence: impl Into<String>) -> Self {
        Answer {
            sentence: sentence.into(),
            ..Answer::default()
        }
    }

    /// Nothing was proved, and why.
    pub fn void(why: String) -> Self {
        let mut answer = Answer::new(why);
        answer.found.push(Found {
            name: "void",
            word: "not judged".into(),
            words: "the reading proves nothing".into(),
            level: Level::Open,
            source: None,
            json: Value::Null,
        });
        answer
    }

    /// Adds a verdict that decides.
    pub fn verdict(mut self, name: &'static str, unit: &'static str, verdict: Verdict) -> Self {
        self.items.push(Item {
            name,
            unit,
            verdict,
            counts: true,
        });
        self
    }

    /// Adds a verdict that decides, if there is one.
    pub fn verdict_if(
        self,
        name: &'static str,
        unit: &'static str,
        verdict: Option<Verdict>,
    ) -> Self {
        match verdict {
            Some(verdict) => self.verdict(name, unit, verdict),
            None => self,
        }
    }

    /// Adds a verdict that only informs.
    pub fn aside(mut self, name: &'static str, unit: &'static str, verdict: Verdict) -> Self {
        self.items.push(Item {
            name,
            unit,
            verdict,
            counts: false,
        });
        self
    }

    /// Which verdicts that only inform are outside their limit.
    pub fn asides_outside(&self) -> Vec<&'static str> {
        let asides = self.items.iter().filter(|i| !i.counts);
        asides
            .filter(|i| level(i.verdict.decision) >= Level::Check)
            .map(|i| i.name)
            .collect()
    }

    /// Puts another sentence in place of its own.
    pub fn sentence(mut self, sentence: impl Into<String>) -> Self {
        self.sentence = sentence.into();
        self
    }

    /// Adds something found, with what JSON gets besides the words.
    pub fn found(
        mut self,
        name: &'static str,
        word: impl Into<String>,
        words: impl Into<String>,
        level: Level,
        source: Option<Source>,
        json: Value,
    ) -> Self {
        self.found.push(Found {
            name,
            word: word.into(),
            words: words.into(),
            level,
            source,
            json,
        });
        self
    }

    /// Adds a number with its standard uncertainty.
    pub fn number(
        self,
        name: &'static str,
        words: &str,
        value: f64,
        u: f64,
        unit: &'static str,
        source: Source,
    ) -> Self {
        let word = format!("{} \u{b1} {}", show(value, unit), show(2.0 * u, unit));
        let json = json!({"value": value, "uncertainty": u, "unit": unit});
        self.found(name, word, words, Level::Note, Some(source), json)
    }

    /// Adds a number whose uncertainty is that of what it is worked out from.
    pub fn derived(
        self,
        name: &'static str,
        words: &str,
        value: f64,
        unit: &'static str,
        source: Source,
    ) -> Self {
        let json = json!({"value": value, "unit": unit});
        let word = show(value, unit);
        self.found(name, word, words, Level::Note, Some(source), json)
    }

    /// What the check leaves unproven.
    pub fn unproven(mut self, unproven: &[&'static str]) -> Self {
        self.unproven.extend(unproven);
        self
    }

    /// A caution that goes with the check.
    pub fn caution(mut self, caution: &'static str) -> Self {
        self.cautions.push(caution);
        self
    }

    /// What was assumed of the leads.
    pub fn leads(mut self, words: String) -> Self {
        self.leads = Some(words);
        self
    }

    /// The worst of all lines that count.
    pub fn level(&self) -> Level {
        let items = self.items.iter().filter(|i| i.counts);
        items
            .map(|i| level(i.verdict.decision))
            .chain(self.found.iter().map(|f| f.level))
            .max()
            .unwrap_or(Level::Open)
    }

    /// Prints the answer.
    pub fn print(&self, check: &str, bench: &Bench, out: &mut Out) -> Result<(), Fail> {
        if out.json() {
            out.document(&self.json(check, bench))
        } else {
            self.text(check, bench, out)
        }
    }

    fn outcome(&self) -> &'static str {
        match self.level() {
            Level::Note => "computed",
            Level::Good => "passes",
            Level::Open => "not judged",
            Level::Check => "check by other means",
            Level::Fails => "fails",
        }
    }

    fn text(&self, check: &str, bench: &Bench, out: &mut Out) -> Result<(), Fail> {
        out.line(&format!("{check}: {}", self.outcome()))?;
        out.line(&format!("  {}", self.sentence))?;
        for seen in &bench.seen {
            let d = &seen.displayed;
            let unit = seen.reading.function.ucum();
            let spread = match seen.measured {
                Some(m) => format!(" \u{b1} {}", show(m.expanded(), unit)),
                None => String::new(),
            };
            out.line(&format!("  {}: {} {}{spread}", seen.name, d.digits, d.unit))?;
        }
        for found in &self.found {
            out.line(&format!(
                "  {}: {} ({})",
                found.name, found.word, found.words
            ))?;
            if let Some(source) = found.source {
                out.line(&format!(
                    "    by {} ({})",
                    source.what,
                    source.status.words()
                ))?;
            }
        }
        for item in &self.items {
            let v = &item.verdict;
            let note = if item.counts { "" } else { ", informs only" };
            out.line(&format!("  {}: {}{note}", item.name, decision(v)))?;
            if v.void.is_none() {
                out.line(&format!("    {}", likely(v)))?;
            }
            out.line(&format!(
                "    limits {}, by {} ({})",
                limits(v.limit.lower, v.limit.upper, item.unit),
                v.limit.source.what,
                v.limit.source.status.words()
            ))?;
        }
        for unproven in &self.unproven {
            out.line(&format!("  unproven: {unproven}"))?;
        }
        if !self.items.is_empty() {
            out.line(&format!("  decision rule: {}", DECISION_RULE.what))?;
        }
        out.line(&format!("  accuracy: {}", bench.accuracy))?;
        if let Some(leads) = &self.leads {
            out.line(&format!("  leads: {leads}"))?;
        }
        for caution in &self.cautions {
            out.line(&format!("  caution: {caution}"))?;
        }
        Ok(())
    }

    /// The JSON document.
    pub fn json(&self, check: &str, bench: &Bench) -> Value {
        let readings: Vec<Value> = bench
            .seen
            .iter()
            .map(|seen| {
                json!({
                    "name": seen.name,
                    "function": seen.reading.function.name(),
                    "display": seen.displayed.digits,
                    "unit": seen.displayed.unit,
                    "flags": seen.reading.flags.names().collect::<Vec<_>>(),
                    "value": seen.measured.map(|m| m.value),
                    "uncertainty": seen.measured.map(|m| m.u),
                    "base_unit": seen.reading.function.ucum(),
                })
            })
            .collect();
        let found: Vec<Value> = self
            .found
            .iter()
            .map(|f| {
                json!({
                    "name": f.name, "word": f.word, "words": f.words, "data": f.json,
                    "source": f.source.map(|s| s.what), "status": f.source.map(|s| s.status.words()),
                })
            })
            .collect();
        json!({
            "check": check,
            "outcome": match self.level() {
                // A number that is held against nothing passes nothing.
                Level::Note => "computed",
                Level::Good => "pass",
                Level::Open => "not-judged",
                Level::Check => "check",
                Level::Fails => "fail",
            },
            "words": self.sentence,
            "readings": readings,
            "found": found,
            "verdicts": self.items.iter().map(item_json).collect::<Vec<_>>(),
            "unproven": self.unproven,
            "decision_rule": DECISION_RULE.what,
            "probabilities_by": CONFORMITY.what,
            "accuracy": {"words": bench.accuracy, "assumed": bench.assumed()},
            "leads": self.leads,
            "cautions": self.cautions,
        })
    }
}

fn level(decision: Decision) -> Level {
    match decision {
        Decision::Pass | Decision::ConditionalPass => Level::Good,
        Decision::Fail | Decision::ConditionalFail => Level::Fails,
        Decision::NotJudged => Level::Open,
        Decision::Check => Level::Check,
    }
}

fn decision(v: &Verdict) -> String {
    let mut text = v.decision.words().to_owned();
    match v.void {
        Some(why) => text.push_str(&format!(", {}", why.words())),
        None if v.too_close() => text.push_str(", too close to call"),
        None => {}
    }
    text
}

/// The classes that are not ruled out, most probable first.
fn likely(v: &Verdict) -> String {
    let mut classes: Vec<_> = Class::ALL
        .into_iter()
        .map(|c| (c, v.likely.of(c)))
        .filter(|(_, p)| *p >= 0.0005)
        .collect();
    classes.sort_by(|a, b| b.1.total_cmp(&a.1));
    let words: Vec<String> = classes
        .into_iter()
        .map(|(c, p)| format!("{} {p:.3}", c.word()))
        .collect();
    format!("probability: {}", words.join(", "))
}

fn item_json(item: &Item) -> Value {
    let v = &item.verdict;
    let finite = |x: f64| x.is_finite().then_some(x);
    let likely: serde_json::Map<String, Value> = Class::ALL
        .into_iter()
        .map(|c| (c.word().to_owned(), json!(v.likely.of(c))))
        .collect();
    json!({
        "name": item.name,
        "counts": item.counts,
        "decision": v.decision,
        "decision_words": v.decision.words(),
        "class": v.void.is_none().then(|| v.class.word()),
        "likely": likely,
        "p_within": v.p_within,
        "too_close": v.too_close(),
        "void": v.void.map(|w| w.words()),
        "value": finite(v.measured.value),
        "uncertainty": finite(v.measured.u),
        "unit": item.unit,
        "lower": v.limit.lower,
        "upper": v.limit.upper,
        "source": v.limit.source.what,
        "status": v.limit.source.status.words(),
        "may_condemn": v.limit.source.status.may_condemn(),
    })
}
