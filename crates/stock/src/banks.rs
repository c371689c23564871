//! Capacitors of the stock that stand for one section: one by itself, or up to three in parallel.

use ohmtrail_core::fit::capacitor::{Bank, Capacitor, bank};
use ohmtrail_core::fit::{Aspect, Outcome};
use ohmtrail_core::units::Farads;
use serde::Serialize;

use crate::part::{Can, Part};
use crate::stock::Stock;

/// The most pieces that are put in place of one part.
pub const MOST_PIECES: usize = 3;
/// The most combinations that are looked at; more are counted as left off.
const MOST_FOUND: usize = 2_000;
/// Sums are of decimal text: they differ by rounding alone.
const ROUNDING: f64 = 1e-9;

/// How a piece is connected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Use {
    /// As it is.
    Whole,
    /// A dual capacitor's compressor section alone.
    Herm,
    /// A dual capacitor's fan section alone.
    Fan,
    /// A dual capacitor's two sections joined.
    Joined,
}

/// A part of the stock in an offer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Piece {
    /// Its name in the stock.
    pub name: String,
    /// Its line in the stock's file.
    pub line: u64,
    /// Where it is.
    pub place: String,
    /// What was noted about it.
    pub note: String,
    /// How it is connected.
    pub uses: Use,
    /// The section that it is for; empty where there is one.
    pub section: String,
}

/// A can of the stock in one use of it.
#[derive(Debug, Clone)]
pub(crate) struct Element {
    /// The item's place in the stock.
    pub item: usize,
    /// The use.
    pub uses: Use,
    /// The sections that stand in parallel.
    pub sections: Vec<Capacitor>,
    farads: f64,
}

/// Elements in parallel, with what they come to.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    pub elements: Vec<Element>,
    pub bank: Bank,
}

fn element(item: usize, uses: Use, sections: Vec<Capacitor>) -> Element {
    let farads = sections
        .iter()
        .map(|s| s.farads.map_or(f64::NAN, Farads::get));
    Element {
        item,
        uses,
        farads: farads.sum(),
        sections,
    }
}

/// Every can that is there, in every use.
pub(crate) fn elements(stock: &Stock) -> Vec<Element> {
    let mut all = Vec::new();
    for (i, item) in stock.items.iter().enumerate() {
        match item.part {
            _ if item.quantity == 0 => {}
            Part::Capacitor(Can::One(one)) => all.push(element(i, Use::Whole, vec![one])),
            Part::Capacitor(Can::Two { herm, fan }) => {
                all.push(element(i, Use::Herm, vec![herm]));
                all.push(element(i, Use::Fan, vec![fan]));
                all.push(element(i, Use::Joined, vec![herm, fan]));
            }
            _ => {}
        }
    }
    all
}

/// What elements come to in parallel.
pub(crate) fn judge(original: &Capacitor, elements: Vec<Element>) -> Found {
    let pieces: Vec<Capacitor> = elements.iter().flat_map(|e| e.sections.clone()).collect();
    Found {
        bank: bank(original, &pieces),
        elements,
    }
}

/// Combinations of two up to `most` elements whose capacitance adds up to that of the original.
/// Elements whose other ratings refuse them are not tried. Gives how many were left off besides.
pub(crate) fn combinations(
    original: &Capacitor,
    stock: &Stock,
    all: &[Element],
    most: usize,
) -> (Vec<Found>, bool) {
    let Some(target) = original.farads.map(Farads::get).filter(|f| f.is_finite()) else {
        return (Vec::new(), false);
    };
    let other = |aspect| !matches!(aspect, Aspect::Capacitance | Aspect::Tolerance);
    let mut usable: Vec<&Element> = all
        .iter()
        .filter(|e| e.farads > 0.0 && e.farads < target)
        .filter(|e| {
            let report = bank(original, &e.sections).report;
            let mut rows = report.rows().iter();
            !rows.any(|row| other(row.aspect) && row.outcome == Outcome::Refused)
        })
        .collect();
    usable.sort_by(|a, b| a.farads.total_cmp(&b.farads));
    let mut search = Search {
        usable: &usable,
        stock,
        rounding: target * ROUNDING,
        found: Vec::new(),
    };
    search.go(0, target, most, &mut Vec::new());
    let more = search.found.len() >= MOST_FOUND;
    let found = search.found.into_iter().map(|chosen| {
        let elements = chosen.iter().map(|&i| usable[i].clone()).collect();
        judge(original, elements)
    });
    (found.collect(), more)
}

struct Search<'s> {
    usable: &'s [&'s Element],
    stock: &'s Stock,
    rounding: f64,
    found: Vec<Vec<usize>>,
}

impl Search<'_> {
    /// Goes on with elements from `from`, which are no smaller than those chosen.
    fn go(&mut self, from: usize, missing: f64, left: usize, chosen: &mut Vec<usize>) {
        if self.found.len() >= MOST_FOUND {
            return;
        }
        if missing.abs() <= self.rounding {
            self.found.push(chosen.clone());
            return;
        }
        if left == 0 {
            return;
        }
        let begin = if left == 1 {
            // The last one must be the rest: the first that is no smaller.
            let least = missing - self.rounding;
            from + self.usable[from..].partition_point(|e| e.farads < least)
        } else {
            from
        };
        for i in begin..self.usable.len() {
            let element = self.usable[i];
            if element.farads > missing + self.rounding {
                break;
            }
            let used = chosen
                .iter()
                .filter(|&&c| self.usable[c].item == element.item);
            let there = self.stock.items[element.item].quantity;
            if u32::try_from(used.count()).is_ok_and(|used| used < there) {
                chosen.push(i);
                self.go(i, missing - element.farads, left - 1, chosen);
                chosen.pop();
            }
        }
    }
}
