//! What is held probable before anything is measured: how often each fault is expected, how far
//! looks and customers are trusted. The numbers are in a file: the built-in `priors.toml`, and one
//! of the user's that replaces any part of it.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::Path;

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::units::Celsius;

use crate::parts::{KINDS, LookKind, Unit};
use crate::sheet::toml::{Keys, Text};
use crate::sheet::{Problem, SheetError, quantity};

/// The name and text of the built-in file.
pub const BUILTIN: (&str, &str) = ("priors.toml", include_str!("priors.toml"));

/// How far a look is trusted.
#[derive(Debug, Clone, PartialEq)]
pub struct Trust {
    /// How probable a *yes* is where the thing is so.
    pub sensitivity: f64,
    /// How probable a *no* is where it is not.
    pub specificity: f64,
    /// What a customer's word on it is worth, where it differs from [`Priors::customer_share`].
    pub customer: Option<f64>,
    /// Where the numbers come from.
    pub source: String,
}

/// The priors, read and checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Priors {
    /// Prior probability that nothing of the sheet is wrong.
    pub no_fault: f64,
    /// Prior probability of a fault that the sheet does not know.
    pub none_of_these: f64,
    /// Pairs of faults that nothing links are kept if their joint prior is at least this.
    pub pair_floor: f64,
    /// Relative prior weight of an open wire.
    pub wire_open: f64,
    /// How much of a look of one's own the customer's word is worth: the share of the time that
    /// they speak of the same moment and the same thing.
    pub customer_share: f64,
    /// The temperature of the air around a unit before it is measured.
    pub air: Quantity<Celsius>,
    /// Where each table's numbers come from, by its name in the file.
    pub sources: BTreeMap<String, String>,
    looks: BTreeMap<&'static str, Trust>,
    weights: BTreeMap<(&'static str, &'static str), f64>,
}

impl Priors {
    /// The built-in priors.
    ///
    /// # Errors
    /// What is wrong with the built-in file: a defect of this program.
    pub fn builtin() -> Result<Priors, SheetError> {
        let empty = Priors {
            no_fault: f64::NAN,
            none_of_these: f64::NAN,
            pair_floor: f64::NAN,
            wire_open: f64::NAN,
            customer_share: f64::NAN,
            air: Quantity::new(Celsius(f64::NAN), f64::NAN),
            sources: BTreeMap::new(),
            looks: BTreeMap::new(),
            weights: BTreeMap::new(),
        };
        empty.with(BUILTIN.0, BUILTIN.1)
    }

    /// These priors with what `text` replaces of them; `name` is what problems call it.
    ///
    /// # Errors
    /// Everything that is wrong with the text.
    pub fn with(&self, name: &str, text: &str) -> Result<Priors, SheetError> {
        let problems = RefCell::new(Vec::new());
        let mut priors = self.clone();
        let text = Text {
            name,
            text,
            problems: &problems,
            removed: Vec::new(),
        };
        if let Some(table) = text.parse() {
            let top = Keys::new(&text, 0..0, table.get_ref());
            priors.read(&top);
            priors.check(&text);
        }
        let mut problems = problems.take();
        if problems.is_empty() {
            return Ok(priors);
        }
        problems.sort_by_key(|p| p.line);
        problems.dedup();
        Err(SheetError { problems })
    }

    /// These priors with what a file replaces of them.
    ///
    /// # Errors
    /// That the file cannot be read, or everything that is wrong with it.
    pub fn with_file(&self, path: &Path) -> Result<Priors, SheetError> {
        let shown = path.display().to_string();
        match std::fs::read_to_string(path) {
            Ok(text) => self.with(&shown, &text),
            Err(e) => Err(SheetError {
                problems: vec![Problem {
                    file: shown,
                    line: 1,
                    what: e.to_string(),
                    remedy: "check the path".to_owned(),
                }],
            }),
        }
    }

    /// How probable a *yes* to a look is where the thing is so, and where it is not.
    #[must_use]
    pub fn yes(&self, look: &LookKind, is_so: bool) -> f64 {
        // Every look of every kind has its trust: `check` sees to it.
        self.looks.get(look.name).map_or(0.5, |t| {
            if is_so {
                t.sensitivity
            } else {
                1.0 - t.specificity
            }
        })
    }

    /// How far each look is trusted, by its name.
    #[must_use]
    pub fn looks(&self) -> &BTreeMap<&'static str, Trust> {
        &self.looks
    }

    /// What the customer's word on a look is worth.
    #[must_use]
    pub fn customer(&self, look: &LookKind) -> f64 {
        self.looks
            .get(look.name)
            .and_then(|t| t.customer)
            .unwrap_or(self.customer_share)
    }

    /// The prior weight of a fault of a kind, where a file states it.
    #[must_use]
    pub fn weight(&self, kind: &str, fault: &str) -> Option<f64> {
        self.weights
            .iter()
            .find(|((k, f), _)| *k == kind && *f == fault)
            .map(|(_, w)| *w)
    }

    fn read(&mut self, top: &Keys<'_, '_>) {
        let source = top.need("source").map_or("", |s| s.0);
        if let Some(keys) = top.table("hypotheses") {
            self.source(&keys, "hypotheses", source);
            let share = |key, into: &mut f64| probability(&keys, key, 0.5, into);
            share("no-fault", &mut self.no_fault);
            share("none-of-these", &mut self.none_of_these);
            probability(&keys, "pair-floor", 0.1, &mut self.pair_floor);
            keys.finish();
        }
        if let Some(keys) = top.table("wires") {
            self.source(&keys, "wires", source);
            weight(&keys, "open", |w| self.wire_open = w);
            keys.finish();
        }
        if let Some(keys) = top.table("complaints") {
            self.source(&keys, "complaints", source);
            probability(&keys, "share", 1.0, &mut self.customer_share);
            keys.finish();
        }
        if let Some(keys) = top.table("air") {
            self.source(&keys, "air", source);
            let kelvins = |key, zero| match keys.string(key) {
                None => None,
                Some((text, span)) => match quantity::read(text, Unit::Kelvin) {
                    Ok(k) if k > 0.0 => Some(k - zero),
                    Ok(_) => {
                        let what = format!("`{key}` is not over zero");
                        keys.text
                            .problem(span, what, "give a temperature in Cel, a spread in K");
                        None
                    }
                    Err(why) => {
                        keys.text.problem(span, why, format!("correct `{key}`"));
                        None
                    }
                },
            };
            let air = self.air;
            self.air = Quantity::new(
                kelvins("temperature", 273.15).map_or(air.value, Celsius),
                kelvins("spread", 0.0).unwrap_or(air.u),
            );
            keys.finish();
        }
        if let Some(looks) = top.table("looks") {
            for name in look_names() {
                if let Some(keys) = looks.table(name) {
                    self.look(&keys, name, source);
                }
            }
            looks.finish();
        }
        if let Some(kinds) = top.table("faults") {
            for kind in KINDS {
                let Some(keys) = kinds.table(kind.name) else {
                    continue;
                };
                self.source(&keys, &format!("faults.{}", kind.name), source);
                for fault in kind.faults {
                    weight(&keys, fault.name, |w| {
                        self.weights.insert((kind.name, fault.name), w);
                    });
                }
                keys.finish();
            }
            kinds.finish();
        }
        top.finish();
    }

    fn source(&mut self, keys: &Keys<'_, '_>, table: &str, of_the_file: &str) {
        let own = keys.string("source").map_or(of_the_file, |s| s.0);
        self.sources.insert(table.to_owned(), own.to_owned());
    }

    fn look(&mut self, keys: &Keys<'_, '_>, name: &'static str, source: &str) {
        let known = self.looks.get(name).cloned();
        let mut trust = known.unwrap_or(Trust {
            sensitivity: f64::NAN,
            specificity: f64::NAN,
            customer: None,
            source: String::new(),
        });
        probability(keys, "sensitivity", 1.0, &mut trust.sensitivity);
        probability(keys, "specificity", 1.0, &mut trust.specificity);
        let mut customer = trust.customer.unwrap_or(f64::NAN);
        probability(keys, "customer", 1.0, &mut customer);
        trust.customer = (!customer.is_nan()).then_some(customer);
        trust.source = keys.string("source").map_or(source, |s| s.0).to_owned();
        keys.finish();
        if trust.sensitivity.is_nan() || trust.specificity.is_nan() {
            keys.text.problem(
                keys.span.clone(),
                format!("the look \"{name}\" has no `sensitivity` or no `specificity`"),
                "give both",
            );
        } else if trust.sensitivity + trust.specificity <= 1.0 {
            keys.text.problem(
                keys.span.clone(),
                format!(
                    "the look \"{name}\" says the opposite of what is so: a yes is no more \
                     probable where it is so ({}) than where it is not ({})",
                    trust.sensitivity,
                    1.0 - trust.specificity
                ),
                "`sensitivity` plus `specificity` must be over 1",
            );
        }
        self.looks.insert(name, trust);
    }

    /// What only the whole can be held against.
    fn check(&self, text: &Text<'_>) {
        for (what, value) in [
            ("hypotheses] no-fault", self.no_fault),
            ("hypotheses] none-of-these", self.none_of_these),
            ("hypotheses] pair-floor", self.pair_floor),
            ("wires] open", self.wire_open),
            ("complaints] share", self.customer_share),
            ("air] temperature", self.air.value.get()),
            ("air] spread", self.air.u),
        ] {
            if value.is_nan() {
                text.problem(0..0, format!("[{what} is missing"), "give it");
            }
        }
        if self.no_fault + self.none_of_these >= 0.5 {
            text.problem(
                0..0,
                format!(
                    "`no-fault` ({}) and `none-of-these` ({}) leave the sheet's faults less than half",
                    self.no_fault, self.none_of_these
                ),
                "a unit that is called for has a fault, mostly one that its sheet knows: lower them",
            );
        }
        for name in look_names() {
            if !self.looks.contains_key(name) {
                text.problem(
                    0..0,
                    format!("there is no [looks.{name}]"),
                    "say how far that look is trusted: `sensitivity`, `specificity`",
                );
            }
        }
    }
}

/// The name of every look of every kind, once.
fn look_names() -> Vec<&'static str> {
    let mut names: Vec<&'static str> = KINDS
        .iter()
        .flat_map(|k| k.looks.iter().map(|l| l.name))
        .collect();
    names.sort_unstable();
    names.dedup();
    names
}

/// Reads a probability over 0 and under `most`.
fn probability(keys: &Keys<'_, '_>, key: &'static str, most: f64, into: &mut f64) {
    let Some(p) = keys.number(key) else { return };
    if p > 0.0 && p < most {
        *into = p;
        return;
    }
    keys.text.problem(
        keys.get(key).map_or(0..0, toml::Spanned::span),
        format!("`{key}` is {p}, which is no probability between 0 and {most}"),
        "nothing is certain before it is measured: give a number between them, neither of them itself",
    );
}

/// Reads a weight over zero.
fn weight(keys: &Keys<'_, '_>, key: &'static str, set: impl FnOnce(f64)) {
    let Some(w) = keys.number(key) else { return };
    if w > 0.0 && w <= 1000.0 {
        set(w);
        return;
    }
    keys.text.problem(
        keys.get(key).map_or(0..0, toml::Spanned::span),
        format!("`{key}` weighs {w}"),
        "give a weight over 0 and up to 1000; a fault that is never expected gets a small one",
    );
}
