//! What a tray came to: its parts sorted by verdict, the yield, and where the values lie.

use ohmtrail_core::verdict::Decision;
use serde::Serialize;
use statrs::distribution::{Beta, ContinuousCDF};

use super::record::Row;

/// The confidence of the yield's interval.
pub const CONFIDENCE: f64 = 0.95;

/// The order in which parts are put: what may be used first.
const ORDER: [Decision; 6] = [
    Decision::Pass,
    Decision::ConditionalPass,
    Decision::NotJudged,
    Decision::Check,
    Decision::ConditionalFail,
    Decision::Fail,
];

fn place(decision: Decision) -> usize {
    ORDER.iter().position(|d| *d == decision).unwrap_or(0)
}

/// One part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Part {
    /// Which, from 1.
    pub part: u32,
    /// The worst of its values that were judged; not judged where none was.
    pub decision: Decision,
    /// Its values.
    pub rows: Vec<Row>,
}

/// Values of one step over all parts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spread {
    /// The step.
    pub step: String,
    /// The meter's function.
    pub function: String,
    /// The values, base unit, in the order of the parts.
    pub values: Vec<f64>,
    /// The limits, where all parts have the same.
    pub limits: Option<(Option<f64>, Option<f64>)>,
    /// The mean.
    pub mean: f64,
    /// The standard deviation; none of one value.
    pub deviation: Option<f64>,
}

/// A tray.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sorted {
    /// The parts: by verdict, then by number.
    pub parts: Vec<Part>,
    /// How many parts came to each verdict, best first; only those that there are.
    pub counts: Vec<(Decision, usize)>,
    /// The share of parts that pass, conditionally or not.
    pub share: f64,
    /// Its interval at [`CONFIDENCE`]: exact, of the binomial distribution (C. J. Clopper and
    /// E. S. Pearson, Biometrika 26, 1934; from memory).
    pub interval: [f64; 2],
    /// Each step's values.
    pub spreads: Vec<Spread>,
}

impl Sorted {
    /// Sorts what was written down. A part that was measured twice stands as it was measured last.
    #[must_use]
    pub fn of(rows: &[Row]) -> Sorted {
        let mut parts: Vec<Part> = Vec::new();
        for row in rows {
            let part = match parts.iter_mut().find(|p| p.part == row.part) {
                Some(part) => part,
                None => {
                    parts.push(Part {
                        part: row.part,
                        decision: Decision::NotJudged,
                        rows: Vec::new(),
                    });
                    let last = parts.len() - 1;
                    &mut parts[last]
                }
            };
            part.rows.retain(|r| r.step != row.step);
            part.rows.push(row.clone());
        }
        for part in &mut parts {
            let judged = part.rows.iter().filter_map(|r| r.decision);
            if let Some(worst) = judged.max_by_key(|d| place(*d)) {
                part.decision = worst;
            }
        }
        parts.sort_by_key(|p| (place(p.decision), p.part));
        let count = |d: Decision| parts.iter().filter(|p| p.decision == d).count();
        let counts: Vec<(Decision, usize)> = ORDER
            .into_iter()
            .map(|d| (d, count(d)))
            .filter(|(_, n)| *n > 0)
            .collect();
        let passed = count(Decision::Pass) + count(Decision::ConditionalPass);
        Sorted {
            share: passed as f64 / parts.len().max(1) as f64,
            interval: interval(passed, parts.len()),
            spreads: spreads(&parts),
            counts,
            parts,
        }
    }

    /// The worst verdict of the tray.
    #[must_use]
    pub fn worst(&self) -> Option<Decision> {
        self.counts.last().map(|(d, _)| *d)
    }
}

/// The exact interval of a share.
fn interval(passed: usize, of: usize) -> [f64; 2] {
    let tail = (1.0 - CONFIDENCE) / 2.0;
    let (k, n) = (passed as f64, of as f64);
    let quantile = |a: f64, b: f64, q: f64| Beta::new(a, b).map(|beta| beta.inverse_cdf(q)).ok();
    let low = if passed == 0 {
        Some(0.0)
    } else {
        quantile(k, n - k + 1.0, tail)
    };
    let high = if passed == of {
        Some(1.0)
    } else {
        quantile(k + 1.0, n - k, 1.0 - tail)
    };
    [low.unwrap_or(0.0), high.unwrap_or(1.0)]
}

fn spreads(parts: &[Part]) -> Vec<Spread> {
    let mut rows: Vec<(u32, &Row)> = Vec::new();
    for part in parts {
        rows.extend(part.rows.iter().map(|row| (part.part, row)));
    }
    rows.sort_by_key(|(part, _)| *part);
    let rows: Vec<&Row> = rows.into_iter().map(|(_, row)| row).collect();
    let mut names: Vec<(&String, &String)> = Vec::new();
    for row in &rows {
        if !names.contains(&(&row.step, &row.function)) {
            names.push((&row.step, &row.function));
        }
    }
    let each = names.into_iter().filter_map(|(step, function)| {
        let own: Vec<&Row> = rows
            .iter()
            .copied()
            .filter(|r| &r.step == step && &r.function == function)
            .collect();
        let values: Vec<f64> = own.iter().filter_map(|r| r.value).collect();
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        let limits = own.first().map(|r| (r.low, r.high));
        let same = own.iter().all(|r| Some((r.low, r.high)) == limits);
        let some = |l: &(Option<f64>, Option<f64>)| l.0.is_some() || l.1.is_some();
        (!values.is_empty()).then(|| Spread {
            step: step.clone(),
            function: function.clone(),
            limits: limits.filter(|l| same && some(l)),
            deviation: (values.len() > 1).then(|| (squares / (count - 1.0)).sqrt()),
            mean,
            values,
        })
    });
    each.collect()
}
