//! What of the stock may be fitted in place of a failed part, and what may not, with the reasons.

use std::collections::BTreeSet;

use ohmtrail_core::fit::capacitor::{Bank, Capacitor, one_can};
use ohmtrail_core::fit::contactor::{Contactor, Load, contactor};
use ohmtrail_core::fit::motor::{Motor, motor};
use ohmtrail_core::fit::numbered::{Numbered, numbered};
use ohmtrail_core::fit::relay::{Relay, relay};
use ohmtrail_core::fit::transformer::{Transformer, transformer};
use ohmtrail_core::fit::{Outcome, Reason, Report};
use ohmtrail_core::rules::capacitor::Tolerance;
use ohmtrail_core::units::{Amps, Farads};
use serde::Serialize;

use crate::banks::{Element, Found, MOST_PIECES, Piece, Use, combinations, elements, judge};
use crate::part::{Can, Kind, Part};
use crate::stock::{Item, Stock};

/// The most combinations that are shown of each outcome.
const MOST_SHOWN: usize = 20;

/// What is looked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wanted {
    /// A capacitor.
    Capacitor(Can),
    /// Two capacitors of one section each, both failed: one can may stand for them.
    Pair {
        /// The sections, each with its name.
        sections: [(String, Capacitor); 2],
        /// Whether both have a side on the same terminal; none where nobody looked.
        common: Option<bool>,
    },
    /// A contactor, and what it switches.
    Contactor(Contactor, Load),
    /// A transformer.
    Transformer(Transformer),
    /// A motor.
    Motor {
        /// Its plate.
        plate: Motor<'static>,
        /// Its frame.
        frame: Option<String>,
        /// What its circuit and overload allow, where somebody looked.
        circuit: Option<Amps>,
    },
    /// A potential relay.
    Relay(Relay),
    /// Any other part.
    Numbered {
        /// Its maker's number.
        number: Option<String>,
    },
}

impl Wanted {
    /// A part as it is, without its load or circuit.
    #[must_use]
    pub fn of(part: Part) -> Wanted {
        match part {
            Part::Capacitor(can) => Wanted::Capacitor(can),
            Part::Contactor(plate) => Wanted::Contactor(plate, Load::default()),
            Part::Transformer(plate) => Wanted::Transformer(plate),
            Part::Motor { plate, frame } => Wanted::Motor {
                plate,
                frame,
                circuit: None,
            },
            Part::Relay(plate) => Wanted::Relay(plate),
            // What the failed part was itself put in the place of says nothing of the next one.
            Part::Numbered { number, .. } => Wanted::Numbered { number },
        }
    }

    /// Its kind.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Wanted::Capacitor(_) | Wanted::Pair { .. } => Kind::Capacitor,
            Wanted::Contactor(..) => Kind::Contactor,
            Wanted::Transformer(_) => Kind::Transformer,
            Wanted::Motor { .. } => Kind::Motor,
            Wanted::Relay(_) => Kind::Relay,
            Wanted::Numbered { .. } => Kind::Numbered,
        }
    }
}

/// One section, or the whole part, against what is offered for it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// The section; empty where there is one.
    pub section: String,
    /// Of capacitors: the marking that the pieces have together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bank: Option<Together>,
    /// Every criterion.
    pub report: Report,
}

/// What capacitors come to together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Together {
    /// The sum with its worst-case tolerance, and the weakest of every other rating.
    pub whole: Capacitor,
    /// Its tolerance if the pieces deviate independently.
    pub statistical: Option<Tolerance>,
}

/// A part of the stock, or several in parallel, against the failed part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Offer {
    /// What it comes to.
    pub outcome: Outcome,
    /// What is fitted.
    pub pieces: Vec<Piece>,
    /// The criteria, by section.
    pub judged: Vec<Judged>,
    /// Of one can for two capacitors: whether they have a side in common.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub common: Option<Reason>,
}

impl Offer {
    fn has(&self, reason: Reason) -> bool {
        let mut rows = self.judged.iter().flat_map(|j| j.report.rows());
        rows.any(|row| row.reason == reason)
    }
}

/// Everything that can be said of the stock.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Offers {
    /// What fits; fewest pieces first.
    pub fits: Vec<Offer>,
    /// What may fit: something is not known.
    pub unknown: Vec<Offer>,
    /// What does not fit, with the reasons.
    pub refused: Vec<Offer>,
    /// Parts of this kind of which there is none left.
    pub none_left: Vec<String>,
    /// How many lines are of other kinds, or of other numbers.
    pub other_kinds: usize,
    /// Whether there are more combinations than are shown.
    pub left_off: bool,
}

impl Offers {
    fn add(&mut self, offer: Offer) {
        match offer.outcome {
            Outcome::Fits => self.fits.push(offer),
            Outcome::Unknown => self.unknown.push(offer),
            Outcome::Refused => self.refused.push(offer),
        }
    }
}

/// Holds the stock against what is wanted.
#[must_use]
pub fn offers(wanted: &Wanted, stock: &Stock) -> Offers {
    let mut out = Offers::default();
    for item in &stock.items {
        if item.part.kind() != wanted.kind() {
            out.other_kinds += 1;
        } else if item.quantity == 0 {
            out.none_left.push(item.name.clone());
        }
    }
    match wanted {
        Wanted::Capacitor(Can::One(original)) => one_section(original, stock, &mut out),
        Wanted::Capacitor(Can::Two { herm, fan }) => {
            let sections = [("HERM".to_owned(), *herm), ("FAN".to_owned(), *fan)];
            two_sections(&sections, None, stock, &mut out);
        }
        Wanted::Pair { sections, common } => {
            two_sections(sections, Some(one_can(*common)), stock, &mut out);
        }
        _ => {
            for item in stock.items.iter().filter(|i| i.quantity > 0) {
                let Some(offer) = whole(wanted, item) else {
                    continue;
                };
                // A part of another number is another part: a switch for a compressor.
                if offer.has(Reason::OtherNumber) {
                    out.other_kinds += 1;
                } else {
                    out.add(offer);
                }
            }
        }
    }
    for list in [&mut out.fits, &mut out.unknown] {
        list.sort_by_key(|offer| offer.pieces.len());
        out.left_off |= list.len() > MOST_SHOWN;
        list.truncate(MOST_SHOWN);
    }
    out
}

/// One part in the place of another; none where that is not how such parts are replaced.
pub(crate) fn whole(wanted: &Wanted, item: &Item) -> Option<Offer> {
    let report = single(wanted, &item.part)?;
    Some(Offer {
        outcome: report.outcome(),
        pieces: vec![piece(item, Use::Whole, "")],
        judged: vec![Judged {
            section: String::new(),
            bank: None,
            report,
        }],
        common: None,
    })
}

/// A part that is replaced by one part; none where the kinds differ.
fn single(wanted: &Wanted, part: &Part) -> Option<Report> {
    Some(match (wanted, part) {
        (Wanted::Contactor(was, load), Part::Contactor(is)) => contactor(was, load, is),
        (Wanted::Transformer(was), Part::Transformer(is)) => transformer(was, is),
        (Wanted::Relay(was), Part::Relay(is)) => relay(was, is),
        (
            Wanted::Numbered { number },
            Part::Numbered {
                number: its,
                replaces,
            },
        ) => numbered(
            &Numbered {
                number: number.as_deref(),
                replaces: None,
            },
            &Numbered {
                number: its.as_deref(),
                replaces: replaces.as_deref(),
            },
        ),
        (
            Wanted::Motor {
                plate,
                frame,
                circuit,
            },
            Part::Motor {
                plate: is,
                frame: its,
            },
        ) => {
            let was = Motor {
                frame: frame.as_deref(),
                ..*plate
            };
            let is = Motor {
                frame: its.as_deref(),
                ..*is
            };
            motor(&was, *circuit, &is)
        }
        _ => return None,
    })
}

fn piece(item: &Item, uses: Use, section: &str) -> Piece {
    Piece {
        name: item.name.clone(),
        line: item.line,
        place: item.place.clone(),
        note: item.note.clone(),
        uses,
        section: section.to_owned(),
    }
}

fn pieces<'f>(
    stock: &'f Stock,
    found: &'f Found,
    section: &'f str,
) -> impl Iterator<Item = Piece> + 'f {
    let of = move |e: &Element| piece(&stock.items[e.item], e.uses, section);
    found.elements.iter().map(of)
}

fn judged(section: &str, bank: Bank) -> Judged {
    Judged {
        section: section.to_owned(),
        bank: Some(Together {
            whole: bank.whole,
            statistical: bank.statistical,
        }),
        report: bank.report,
    }
}

fn offer_of(stock: &Stock, parts: Vec<(&str, Found)>) -> Offer {
    let worst = parts.iter().map(|(_, f)| f.bank.report.outcome()).max();
    Offer {
        outcome: worst.unwrap_or(Outcome::Unknown),
        pieces: parts
            .iter()
            .flat_map(|(name, found)| pieces(stock, found, name))
            .collect(),
        judged: parts
            .into_iter()
            .map(|(name, found)| judged(name, found.bank))
            .collect(),
        common: None,
    }
}

/// How far a bank is off: criteria that refuse it, then its capacitance.
fn distance(found: &Found, original: &Capacitor) -> (usize, f64) {
    let rows = found.bank.report.rows();
    let refused = rows
        .iter()
        .filter(|r| r.outcome == Outcome::Refused)
        .count();
    let farads = |c: &Capacitor| c.farads.map_or(f64::INFINITY, Farads::get);
    (
        refused,
        (farads(&found.bank.whole) - farads(original)).abs(),
    )
}

fn nearest(candidates: Vec<(&str, Found, &Capacitor)>) -> Option<(String, Found)> {
    let key = |(_, found, original): &(&str, Found, &Capacitor)| distance(found, original);
    let best = candidates.into_iter().min_by(|a, b| {
        let (a, b) = (key(a), key(b));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    });
    best.map(|(name, found, _)| (name.to_owned(), found))
}

fn one_section(original: &Capacitor, stock: &Stock, out: &mut Offers) {
    let all = elements(stock);
    // A dual can stands by itself; together with others it would be a puzzle of wires.
    let singles: Vec<Element> = all
        .iter()
        .filter(|e| e.uses == Use::Whole)
        .cloned()
        .collect();
    let (together, more) = combinations(original, stock, &singles, MOST_PIECES);
    out.left_off |= more;
    for found in together {
        out.add(offer_of(stock, vec![("", found)]));
    }
    for item in 0..stock.items.len() {
        let uses = all.iter().filter(|e| e.item == item);
        let uses: Vec<Found> = uses.map(|e| judge(original, vec![e.clone()])).collect();
        let refused = |found: &Found| found.bank.report.outcome() == Outcome::Refused;
        if uses.iter().all(refused) {
            // Of a can that fits in no use, the one that comes nearest says why.
            let uses = uses
                .into_iter()
                .map(|found| ("", found, original))
                .collect();
            if let Some((name, found)) = nearest(uses) {
                out.refused.push(offer_of(stock, vec![(&name, found)]));
            }
        } else {
            for found in uses.into_iter().filter(|f| !refused(f)) {
                out.add(offer_of(stock, vec![("", found)]));
            }
        }
    }
    drop_offered(out);
}

/// What is offered in a combination is not refused besides; of combinations that are refused, the
/// first ones are kept.
fn drop_offered(out: &mut Offers) {
    let offered: BTreeSet<&str> = out
        .fits
        .iter()
        .chain(&out.unknown)
        .flat_map(|offer| &offer.pieces)
        .map(|piece| piece.name.as_str())
        .collect();
    let mut together = 0;
    out.refused.retain(|offer| match offer.pieces.as_slice() {
        [alone] => !offered.contains(alone.name.as_str()),
        _ => {
            together += 1;
            together <= MOST_SHOWN
        }
    });
    out.left_off |= together > MOST_SHOWN;
}

fn two_sections(
    sections: &[(String, Capacitor); 2],
    common: Option<(Outcome, Reason)>,
    stock: &Stock,
    out: &mut Offers,
) {
    let [(first, herm), (second, fan)] = sections;
    let all = elements(stock);
    for (i, item) in stock
        .items
        .iter()
        .enumerate()
        .filter(|(_, item)| item.quantity > 0)
    {
        if !matches!(item.part, Part::Capacitor(Can::Two { .. })) {
            continue;
        }
        let of = |uses| {
            let element = all.iter().find(|e| e.item == i && e.uses == uses);
            element.cloned()
        };
        if let (Some(h), Some(f)) = (of(Use::Herm), of(Use::Fan)) {
            let parts = vec![
                (first.as_str(), judge(herm, vec![h])),
                (second.as_str(), judge(fan, vec![f])),
            ];
            let mut offer = offer_of(stock, parts);
            // One can: it is there once.
            offer.pieces.truncate(1);
            for piece in &mut offer.pieces {
                piece.uses = Use::Whole;
                piece.section = String::new();
            }
            if let Some((outcome, reason)) = common {
                offer.outcome = offer.outcome.max(outcome);
                offer.common = Some(reason);
            }
            out.add(offer);
        }
    }
    let singles: Vec<Element> = all.into_iter().filter(|e| e.uses == Use::Whole).collect();
    let banks = |original: &Capacitor| -> (Vec<Found>, bool) {
        let (mut found, more) = combinations(original, stock, &singles, MOST_PIECES - 1);
        found.extend(singles.iter().map(|e| judge(original, vec![e.clone()])));
        found.retain(|f| f.bank.report.outcome() != Outcome::Refused);
        found.sort_by_key(|f| (f.bank.report.outcome(), f.elements.len()));
        let more = more || found.len() > MOST_SHOWN;
        found.truncate(MOST_SHOWN);
        (found, more)
    };
    let ((for_herm, more_herm), (for_fan, more_fan)) = (banks(herm), banks(fan));
    out.left_off |= more_herm || more_fan;
    for h in &for_herm {
        for f in &for_fan {
            if there(stock, h, f) {
                let parts = vec![(first.as_str(), h.clone()), (second.as_str(), f.clone())];
                out.add(offer_of(stock, parts));
            }
        }
    }
    for element in &singles {
        let of = |found: &Found| found.elements.iter().any(|e| e.item == element.item);
        if for_herm.iter().chain(&for_fan).any(of) {
            continue;
        }
        let each = sections.iter().map(|(name, original)| {
            (
                name.as_str(),
                judge(original, vec![element.clone()]),
                original,
            )
        });
        if let Some((name, found)) = nearest(each.collect()) {
            out.refused.push(offer_of(stock, vec![(&name, found)]));
        }
    }
    drop_offered(out);
}

/// Whether the stock has all pieces of both banks, and they are not too many.
fn there(stock: &Stock, a: &Found, b: &Found) -> bool {
    let both = || a.elements.iter().chain(&b.elements);
    both().count() <= MOST_PIECES
        && both().all(|e| {
            let used = both().filter(|other| other.item == e.item).count();
            u32::try_from(used).is_ok_and(|used| used <= stock.items[e.item].quantity)
        })
}
