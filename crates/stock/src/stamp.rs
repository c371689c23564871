//! What is stamped on a new part, held against the part that failed.

use ohmtrail_core::fit::{Outcome, Reason};

use crate::offer::{Offer, offers, whole};
use crate::part::{FIELDS, Part, Wrong, no_field};
use crate::sheet::{Failed, PlateValue, field_of};
use crate::stock::{Item, Stock};

/// How a new part matches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Match {
    /// What it came to.
    pub outcome: Outcome,
    /// Which criteria are not simply the same; empty where all are, and of another kind of part.
    pub differs: Vec<Differs>,
}

/// A criterion that is not simply the same, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Differs {
    /// The section that it is of; empty where there is one.
    pub section: String,
    /// What was compared.
    pub aspect: &'static str,
    /// What it came to.
    pub reason: &'static str,
    /// The source of the rule.
    pub source: &'static str,
}

/// Holds a new part against the failed one, by the rules that the search of a stock goes by.
///
/// # Errors
/// What of the stamp is not understood.
pub fn held(failed: &Failed, stamp: &[PlateValue]) -> Result<Match, Vec<Wrong>> {
    let kind = failed.wanted.kind();
    let known = |key: &str| {
        let mut fields = FIELDS.iter();
        fields.any(|f| f.name == field_of(key) && f.of.contains(&kind))
    };
    let odd = stamp.iter().filter(|p| !known(&p.key));
    let odd: Vec<Wrong> = odd
        .map(|p| Wrong {
            field: p.key.clone(),
            what: no_field(kind, &p.key),
        })
        .collect();
    if !odd.is_empty() {
        return Err(odd);
    }
    let of = |field: &str| {
        let mut stamp = stamp.iter().rev();
        let own = stamp.find(|p| field_of(&p.key) == field);
        own.map(|p| p.text.clone())
    };
    let item = Item {
        line: 1,
        name: "the new part".to_owned(),
        quantity: 1,
        place: String::new(),
        note: String::new(),
        part: Part::read(kind, &of)?,
    };
    if let Some(offer) = whole(&failed.wanted, &item) {
        return Ok(told(&offer));
    }
    let found = offers(&failed.wanted, &Stock { items: vec![item] });
    let mut all = (found.fits.iter())
        .chain(&found.unknown)
        .chain(&found.refused);
    Ok(all.next().map_or_else(
        || Match {
            outcome: Outcome::Refused,
            differs: Vec::new(),
        },
        told,
    ))
}

fn told(offer: &Offer) -> Match {
    let each = offer.judged.iter().flat_map(|judged| {
        let rows = judged.report.rows().iter();
        let differ = rows.filter(|r| r.reason != Reason::Same);
        differ.map(|row| Differs {
            section: judged.section.clone(),
            aspect: row.aspect.words(),
            reason: row.reason.words(),
            source: row.source.what,
        })
    });
    Match {
        outcome: offer.outcome,
        differs: each.collect(),
    }
}

#[cfg(test)]
mod tests {
    use ohmtrail_circuit::sheet::read_builtin;

    use super::*;
    use crate::sheet::failed;

    #[test]
    fn a_new_capacitor_is_held_by_the_rules_of_the_stock() {
        let sheet = read_builtin("split-heat-pump-1ph")
            .expect("there")
            .expect("right");
        let part = sheet.parts.iter().position(|p| p.name == "run-cap");
        let part = part.expect("a capacitor");
        let failed = failed(&sheet, &[part], &[], None)
            .remove(0)
            .expect("a rule");
        let stamped = |rows: &[(&str, &str)]| -> Vec<PlateValue> {
            let all = rows.iter().map(|(key, text)| PlateValue {
                part: "run-cap".into(),
                key: (*key).into(),
                text: (*text).into(),
            });
            all.collect()
        };
        let same = [
            ("capacitance-herm", "35 uF"),
            ("capacitance-fan", "5 uF"),
            ("tolerance", "6 %"),
            ("rated-volts", "440 V"),
            ("duty", "run"),
        ];
        let fits = held(&failed, &stamped(&same)).expect("understood");
        assert_eq!((fits.outcome, fits.differs), (Outcome::Fits, vec![]));
        let mut weak = same;
        weak[3].1 = "370 V";
        let refused = held(&failed, &stamped(&weak)).expect("understood");
        assert_eq!(refused.outcome, Outcome::Refused);
        assert!(refused.differs.iter().any(|d| d.aspect == "rated volts"));
        let unknown = held(&failed, &stamped(&same[..4])).expect("understood");
        assert_eq!(unknown.outcome, Outcome::Unknown);
        let odd = held(&failed, &stamped(&[("poles", "2")])).expect_err("no capacitor has poles");
        assert_eq!(odd[0].field, "poles");
    }
}
