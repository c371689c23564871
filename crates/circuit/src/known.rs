//! What is known of a unit's own parts, and of the air around it: a value read in another year
//! narrows this year's prior.
//!
//! A winding's resistance is drawn from `N(plate, spread)`. A reading `x ± u` of that very winding,
//! brought to the model's temperature by the 234.5 + t rule, makes it a narrower one, precisions
//! added (the conjugate prior of a normal mean, any textbook of Bayesian statistics). So shorted
//! turns, which keep the sum of the three readings, show against the winding's own value.

use std::cell::RefCell;
use std::path::Path;

use ohmtrail_core::accuracy::{AccuracyTable, Cautious, Quantity, standard_uncertainty};
use ohmtrail_core::cooldown::COLD_AT;
use ohmtrail_core::reading::{Decimal, Function};
use ohmtrail_core::rules::RuleError;
use ohmtrail_core::rules::temperature::{Metal, resistance_at};
use ohmtrail_core::units::{Celsius, Ohms};

use crate::parts::Unit;
use crate::sheet::toml::{Keys, Text};
use crate::sheet::{Fault, Part, Problem, Sheet, SheetError, quantity};

/// The temperature that a sheet's cold values are stated at, degrees Celsius.
pub const STATED_AT: Celsius = Celsius(25.0);

/// A reading this many standard uncertainties from what the sheet says is of another part.
const MISFIT: f64 = 3.0;

/// A winding's resistance as it was once read.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// The part.
    pub part: usize,
    /// Which of its kind's values.
    pub value: usize,
    /// What was read, without leads and wires.
    pub ohms: Quantity<Ohms>,
    /// The winding's temperature then.
    pub at: Quantity<Celsius>,
    /// What it is made of.
    pub metal: Metal,
    /// When, as it was noted.
    pub date: String,
    /// Where it comes from.
    pub source: String,
}

/// Why a value cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Misfit {
    /// It is no resistance at that temperature.
    #[error("{what}: {}", .why.words())]
    Value {
        /// Of what.
        what: String,
        /// Why.
        why: RuleError,
    },
    /// It is far from what the sheet says.
    #[error(
        "{what}: {known:.3} ohm at 25 Cel is far from the sheet's {stated:.3} ohm: another part, or a \
         winding that had failed already"
    )]
    Far {
        /// Of what.
        what: String,
        /// What is known, ohms.
        known: f64,
        /// What the sheet says, ohms.
        stated: f64,
    },
}

impl Known {
    /// The resistance at [`STATED_AT`].
    ///
    /// # Errors
    /// [`RuleError`] on a resistance that is none, or a temperature below the metal's zero.
    pub fn stated(&self) -> Result<Quantity<Ohms>, RuleError> {
        resistance_at(self.ohms, self.at, STATED_AT, self.metal)
    }

    /// `part.value`.
    #[must_use]
    pub fn name(&self, sheet: &Sheet) -> String {
        let part = &sheet.parts[self.part];
        format!("{}.{}", part.name, part.kind.params[self.value].name)
    }

    /// Reads a `[[known]]` table; none, with its problems, if it cannot be read.
    pub(crate) fn read(keys: &Keys<'_, '_>, parts: &[Part]) -> Option<Known> {
        let (part, value) = (keys.need("part"), keys.need("quantity"));
        let (ohms, at) = (keys.need("value"), keys.need("at"));
        let (u, at_u) = (keys.string("uncertainty"), keys.string("at-uncertainty"));
        let (metal, date) = (keys.string("metal"), keys.need("date"));
        let source = keys.need("source");
        keys.finish();
        let wrong = |span, what: String, remedy: String| {
            keys.text.problem(span, what, remedy);
        };
        let (name, span) = part?;
        let Some(part) = parts.iter().position(|p| p.name == name) else {
            wrong(
                span,
                format!("\"{name}\" is not a part of this sheet"),
                "name the part whose value is known".to_owned(),
            );
            return None;
        };
        let (name, span) = value?;
        let params = parts[part].kind.params;
        let Some(value) = params.iter().position(|p| p.name == name && p.winding) else {
            let known: Vec<&str> = params
                .iter()
                .filter(|p| p.winding)
                .map(|p| p.name)
                .collect();
            wrong(
                span,
                format!(
                    "\"{name}\" is not a winding's resistance of {}",
                    parts[part].name
                ),
                if known.is_empty() {
                    "only values of windings narrow a prior; remove this table".to_owned()
                } else {
                    format!("it has {}", known.join(", "))
                },
            );
            return None;
        };
        let number = |of: Option<(&str, std::ops::Range<usize>)>, unit| {
            let (text, span) = of?;
            match quantity::read(text, unit) {
                Ok(v) => Some(v),
                Err(why) => {
                    wrong(span, why, "correct it".to_owned());
                    None
                }
            }
        };
        let (ohms_text, ohms_span) = ohms?;
        let r = number(Some((ohms_text, ohms_span.clone())), Unit::Ohm)?;
        let t = number(at, Unit::Kelvin)? - 273.15;
        // Uncertainties are written as expanded ones, U = 2u.
        let (u, assumed) = match u {
            Some(given) => (number(Some(given), Unit::Ohm)? / 2.0, false),
            None => (digits_u(ohms_text, r), true),
        };
        let at_u = match at_u {
            Some(given) => number(Some(given), Unit::Kelvin)? / 2.0,
            None => COLD_AT.upper.unwrap_or(0.0) / 2.0,
        };
        let metal = match metal {
            None | Some(("copper", _)) => Metal::Copper,
            Some(("aluminium", _)) => Metal::Aluminium,
            Some((other, span)) => {
                wrong(
                    span,
                    format!("\"{other}\" is neither copper nor aluminium"),
                    "name one of them".to_owned(),
                );
                return None;
            }
        };
        let known = Known {
            part,
            value,
            ohms: Quantity {
                assumed,
                ..Quantity::new(Ohms(r), u)
            },
            at: Quantity::new(Celsius(t), at_u),
            metal,
            date: date?.0.to_owned(),
            source: source?.0.to_owned(),
        };
        match known.stated() {
            Ok(stated) if stated.value.get() > 0.0 && u >= 0.0 => Some(known),
            Ok(_) => {
                wrong(
                    ohms_span,
                    format!("\"{ohms_text}\" is no resistance of a winding"),
                    "give the ohms that were read, over zero, and their uncertainty".to_owned(),
                );
                None
            }
            Err(why) => {
                let what = format!("\"{ohms_text}\" at that temperature: {}", why.words());
                wrong(ohms_span, what, "correct both".to_owned());
                None
            }
        }
    }
}

/// The standard uncertainty of these digits with a meter of which nothing is known, in ohms.
#[must_use]
pub fn digits_u(text: &str, ohms: f64) -> f64 {
    let digits: String = text
        .chars()
        .take_while(|c| c.is_ascii_digit() || *c == '.')
        .collect();
    let decimals = digits.split_once('.').map_or(0, |(_, d)| d.len());
    let mantissa = digits.replace('.', "").parse::<i32>().unwrap_or(i32::MAX);
    let exponent = i8::try_from(decimals).unwrap_or(i8::MAX);
    let shown = Decimal::new(mantissa, exponent.saturating_neg());
    let factor = ohms / shown.value();
    let accuracy = Cautious.accuracy(Function::Ohms, shown.value());
    accuracy.map_or(f64::INFINITY, |a| standard_uncertainty(shown, &a) * factor)
}

impl Sheet {
    /// Takes in what is known of a part; a value known before is replaced. Faults that show only
    /// against it are faults of the sheet from now on.
    ///
    /// # Errors
    /// [`Misfit`]: the sheet stays as it is.
    pub fn learn(&mut self, known: Known) -> Result<(), Misfit> {
        let what = known.name(self);
        let stated = known.stated().map_err(|why| Misfit::Value {
            what: what.clone(),
            why,
        })?;
        let (mean, sd) = self.plate_prior(known.part, known.value);
        if (stated.value.get() - mean).abs() > MISFIT * sd.hypot(stated.u) {
            return Err(Misfit::Far {
                what,
                known: stated.value.get(),
                stated: mean,
            });
        }
        let (part, value) = (known.part, known.value);
        let owner = &self.parts[part];
        let param = owner.kind.params[value].name;
        for fault in owner.kind.faults.iter().filter(|f| f.needs == Some(param)) {
            let name = format!("{}.{}", owner.name, fault.name);
            if self.fault(&name).is_none() {
                let weight = self.priors.weight(owner.kind.name, fault.name);
                self.faults.push(Fault {
                    name,
                    words: format!("{}: {}", owner.words, fault.words),
                    weight: weight.unwrap_or(fault.weight),
                    owner: part,
                    kind_name: fault.name,
                });
            }
        }
        self.known.retain(|k| (k.part, k.value) != (part, value));
        self.known.push(known);
        Ok(())
    }

    /// Takes in what a file of `[[known]]` tables says.
    ///
    /// # Errors
    /// Everything that is wrong with the file; the sheet stays as it is.
    pub fn learn_file(&mut self, path: &Path) -> Result<(), SheetError> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path).map_err(|e| SheetError {
            problems: vec![Problem {
                file: name.clone(),
                line: 1,
                what: e.to_string(),
                remedy: "check the path".to_owned(),
            }],
        })?;
        self.learn_text(&name, &text)
    }

    /// The same of a text; `name` is what problems call it.
    ///
    /// # Errors
    /// Everything that is wrong with the text; the sheet stays as it is.
    pub fn learn_text(&mut self, name: &str, text: &str) -> Result<(), SheetError> {
        let problems = RefCell::new(Vec::new());
        let text = Text {
            name,
            text,
            problems: &problems,
            removed: Vec::new(),
        };
        let mut learnt = self.clone();
        if let Some(table) = text.parse() {
            let top = Keys::new(&text, 0..0, table.get_ref());
            learnt.learn_tables(&top);
            top.finish();
        }
        let problems = problems.take();
        if !problems.is_empty() {
            return Err(SheetError { problems });
        }
        *self = learnt;
        Ok(())
    }

    /// Takes in the `[[known]]` tables of a file.
    pub(crate) fn learn_tables(&mut self, top: &Keys<'_, '_>) {
        for keys in top.tables("known") {
            if let Some(known) = Known::read(&keys, &self.parts)
                && let Err(misfit) = self.learn(known)
            {
                keys.text.problem(
                    keys.span.clone(),
                    misfit.to_string(),
                    "correct the part's value in the sheet, or leave this table out",
                );
            }
        }
    }

    /// What is known of a part's value.
    #[must_use]
    pub fn known(&self, part: usize, value: usize) -> Option<&Known> {
        self.known
            .iter()
            .find(|k| (k.part, k.value) == (part, value))
    }

    /// Mean and standard deviation of a part's value before anything is known of the part itself.
    fn plate_prior(&self, part: usize, value: usize) -> (f64, f64) {
        let part = &self.parts[part];
        let mean = part.values[value];
        (mean, mean * part.kind.params[value].spread)
    }

    /// Mean and standard deviation that a part's value is drawn with.
    #[must_use]
    pub fn prior(&self, part: usize, value: usize) -> (f64, f64) {
        let (mean, sd) = self.plate_prior(part, value);
        let known = self.known(part, value).and_then(|k| k.stated().ok());
        let Some(known) = known.filter(|k| k.u > 0.0 && sd > 0.0) else {
            return known.map_or((mean, sd), |k| (k.value.get(), k.u));
        };
        let (of_plate, of_known) = (sd.powi(-2), known.u.powi(-2));
        let precision = of_plate + of_known;
        let mean = (of_plate * mean + of_known * known.value.get()) / precision;
        (mean, precision.sqrt().recip())
    }

    /// The temperature of the air around the unit, with its standard uncertainty: measured, else
    /// by the priors. Where no winding is known by itself, the spread of the windings from motor to
    /// motor stands for that of the air as well.
    #[must_use]
    pub fn air(&self) -> Quantity<Celsius> {
        let expected = if self.known.is_empty() {
            Quantity::new(STATED_AT, 0.0)
        } else {
            self.priors.air
        };
        self.measured_air.unwrap_or(expected)
    }
}
