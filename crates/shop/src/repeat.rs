//! How well a measurement repeats: the same parts measured by the same people several times each.
//!
//! The scatter is parted by a two-way analysis of variance with random effects, parts crossed with
//! people: *repeatability* is what remains when one person measures one part again, *reproducibility*
//! what people differ in, and the rest is the parts' own. Expected mean squares of the balanced
//! design: D. C. Montgomery, *Design and Analysis of Experiments*, random effects (from memory).

use std::fmt;

use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor};

use crate::table::Measured;

/// An interaction that chance alone brings about more often than this is pooled with
/// repeatability. Common practice, no published source.
pub const POOLED_FROM: f64 = 0.25;
/// A measurement whose scatter is at most this share of all scatter (or of the tolerance) tells
/// parts apart well. Handbooks of measurement systems analysis (from memory).
pub const GOOD: f64 = 0.10;
/// One above this share does not tell them apart. Handbooks of measurement systems analysis (from
/// memory).
pub const POOR: f64 = 0.30;
/// The confidence of the interval that is given.
pub const CONFIDENCE: f64 = 0.95;

/// Why a table is no study.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StudyError {
    /// Fewer than two parts.
    #[error("{0} part(s): at least two different parts are needed, better ten")]
    Parts(usize),
    /// Some part was measured once only by somebody.
    #[error("each part is measured at least twice by each person")]
    Once,
    /// Not every part was measured equally often by everybody.
    #[error(
        "{part} was measured {times} time(s) by {person}, others {wanted}: measure what is missing, or leave the part out"
    )]
    Uneven {
        /// The part.
        part: String,
        /// The person.
        person: String,
        /// How often.
        times: usize,
        /// How often the first was.
        wanted: usize,
    },
    /// Whoever measured a part again read the same, everywhere.
    #[error(
        "whoever measured a part again read the same: the display's step hides how well it repeats; use a finer range"
    )]
    NoScatter,
    /// A tolerance that is no width.
    #[error("a tolerance is a positive width, highest less lowest")]
    Tolerance,
}

/// What a share of the scatter says of the measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// At most [`GOOD`].
    TellsApart,
    /// Between the two.
    Limited,
    /// Above [`POOR`].
    DoesNotTellApart,
}

impl Standing {
    /// The standing of a share.
    #[must_use]
    pub fn of(share: f64) -> Standing {
        if share <= GOOD {
            Standing::TellsApart
        } else if share <= POOR {
            Standing::Limited
        } else {
            Standing::DoesNotTellApart
        }
    }
}

impl fmt::Display for Standing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Standing::TellsApart => "tells parts apart",
            Standing::Limited => "tells parts apart with limits",
            Standing::DoesNotTellApart => "does not tell parts apart",
        })
    }
}

/// One line of the analysis.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Line {
    /// What scatters.
    pub of: &'static str,
    /// Degrees of freedom.
    pub freedom: usize,
    /// Sum of squares, unit squared.
    pub squares: f64,
    /// Mean square, unit squared.
    pub mean_square: f64,
    /// Its ratio to the mean square that it is held against, and how often chance alone brings
    /// that about.
    pub ratio: Option<(f64, f64)>,
}

/// What a study came to. Standard deviations are in the unit of the table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Repeat {
    /// How many parts, people, and times each.
    pub design: [usize; 3],
    /// The analysis of variance.
    pub lines: Vec<Line>,
    /// Whether the interaction was pooled with repeatability.
    pub pooled: bool,
    /// One person, one part, again.
    pub repeatability: f64,
    /// Its interval at [`CONFIDENCE`].
    pub repeatability_interval: [f64; 2],
    /// People, and their ways with single parts; none with one person.
    pub reproducibility: Option<f64>,
    /// Both together.
    pub gauge: f64,
    /// The parts' own.
    pub parts: f64,
    /// All of it.
    pub total: f64,
    /// The gauge's standard deviation to the total's.
    pub share: f64,
    /// Groups of parts that can be told apart, at least one: 1.41 times the parts' to the gauge's
    /// (handbooks of measurement systems analysis, from memory).
    pub groups: u32,
    /// Six standard deviations of the gauge to the tolerance, where one is given.
    pub of_tolerance: Option<f64>,
    /// What the worse of both shares says.
    pub standing: Standing,
}

/// A balanced study.
#[derive(Debug, Clone, PartialEq)]
struct Study {
    parts: usize,
    people: usize,
    times: usize,
    /// Of each part, of each person, each time.
    values: Vec<f64>,
}

fn names<'m>(all: impl Iterator<Item = &'m String>) -> Vec<&'m String> {
    let mut names: Vec<&String> = Vec::new();
    for name in all {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

impl Study {
    fn new(measured: &[Measured]) -> Result<Study, StudyError> {
        let parts = names(measured.iter().map(|m| &m.part));
        let people = names(measured.iter().map(|m| &m.person));
        if parts.len() < 2 {
            return Err(StudyError::Parts(parts.len()));
        }
        let mut values = Vec::with_capacity(measured.len());
        let mut wanted = None;
        for part in &parts {
            for person in &people {
                let of = |m: &&Measured| m.part == **part && m.person == **person;
                let before = values.len();
                values.extend(measured.iter().filter(of).map(|m| m.value));
                let times = values.len() - before;
                let wanted = *wanted.get_or_insert(times);
                if times != wanted {
                    return Err(StudyError::Uneven {
                        part: (*part).clone(),
                        person: (*person).clone(),
                        times,
                        wanted,
                    });
                }
            }
        }
        let times = wanted.unwrap_or(0);
        if times < 2 {
            return Err(StudyError::Once);
        }
        let agree = |cell: &[f64]| cell.iter().all(|v| Some(v) == cell.first());
        if values.chunks(times).all(agree) {
            return Err(StudyError::NoScatter);
        }
        Ok(Study {
            parts: parts.len(),
            people: people.len(),
            times,
            values,
        })
    }

    /// The mean of those values that a place (part, person) is chosen for.
    fn mean(&self, chosen: impl Fn(usize, usize) -> bool) -> f64 {
        let mut sum = 0.0;
        let mut count = 0.0;
        for (nth, value) in self.values.iter().enumerate() {
            let cell = nth / self.times;
            if chosen(cell / self.people, cell % self.people) {
                sum += value;
                count += 1.0;
            }
        }
        sum / count
    }

    /// Sums of squares: of parts, people, their interaction, and repeats.
    fn squares(&self) -> [f64; 4] {
        let grand = self.mean(|_, _| true);
        let part: Vec<f64> = (0..self.parts)
            .map(|p| self.mean(|of, _| of == p))
            .collect();
        let person: Vec<f64> = (0..self.people)
            .map(|o| self.mean(|_, of| of == o))
            .collect();
        let each = self.times as f64;
        let (mut interaction, mut repeats) = (0.0, 0.0);
        for (p, of_part) in part.iter().enumerate() {
            for (o, of_person) in person.iter().enumerate() {
                let cell = self.mean(|part, person| part == p && person == o);
                interaction += each * (cell - of_part - of_person + grand).powi(2);
                let first = (p * self.people + o) * self.times;
                let values = &self.values[first..first + self.times];
                repeats += values.iter().map(|v| (v - cell).powi(2)).sum::<f64>();
            }
        }
        let of = |means: &[f64], each: f64| {
            each * means.iter().map(|m| (m - grand).powi(2)).sum::<f64>()
        };
        [
            of(&part, each * self.people as f64),
            of(&person, each * self.parts as f64),
            interaction,
            repeats,
        ]
    }
}

/// A ratio of mean squares, and how often chance alone brings it about.
fn against(mean: f64, freedom: usize, other: f64, other_freedom: usize) -> Option<(f64, f64)> {
    let ratio = mean / other;
    let by_chance = FisherSnedecor::new(freedom as f64, other_freedom as f64).ok()?;
    ratio.is_finite().then(|| (ratio, by_chance.sf(ratio)))
}

/// Parts the scatter of a study. `tolerance` is the width that the parts may have, highest less
/// lowest.
///
/// # Errors
/// What the table lacks.
pub fn repeat(measured: &[Measured], tolerance: Option<f64>) -> Result<Repeat, StudyError> {
    if tolerance.is_some_and(|t| !(t.is_finite() && t > 0.0)) {
        return Err(StudyError::Tolerance);
    }
    let study = Study::new(measured)?;
    let (p, o, r) = (study.parts, study.people, study.times);
    let [of_parts, of_people, of_both, of_repeats] = study.squares();
    let freedom = [p - 1, o - 1, (p - 1) * (o - 1), p * o * (r - 1)];
    let mean = |squares: f64, freedom: usize| squares / freedom as f64;
    let crossed = o > 1;
    let both_ratio = if crossed {
        let each = mean(of_repeats, freedom[3]);
        against(mean(of_both, freedom[2]), freedom[2], each, freedom[3])
    } else {
        None
    };
    let pooled = crossed && both_ratio.is_some_and(|(_, by_chance)| by_chance > POOLED_FROM);
    // What the repeats scatter by, and what parts and people are held against.
    let (error, error_freedom) = if pooled {
        (of_both + of_repeats, freedom[2] + freedom[3])
    } else {
        (of_repeats, freedom[3])
    };
    let each = mean(error, error_freedom);
    let (base, base_freedom) = if crossed && !pooled {
        (mean(of_both, freedom[2]), freedom[2])
    } else {
        (each, error_freedom)
    };
    let part_mean = mean(of_parts, freedom[0]);
    let mut lines = vec![Line {
        of: "parts",
        freedom: freedom[0],
        squares: of_parts,
        mean_square: part_mean,
        ratio: against(part_mean, freedom[0], base, base_freedom),
    }];
    let variance = |above: f64, times: usize| (above / times as f64).max(0.0);
    let mut reproducibility = None;
    if crossed {
        let person_mean = mean(of_people, freedom[1]);
        lines.push(Line {
            of: "people",
            freedom: freedom[1],
            squares: of_people,
            mean_square: person_mean,
            ratio: against(person_mean, freedom[1], base, base_freedom),
        });
        lines.push(Line {
            of: "parts with people",
            freedom: freedom[2],
            squares: of_both,
            mean_square: mean(of_both, freedom[2]),
            ratio: both_ratio,
        });
        let people = variance(person_mean - base, p * r);
        let ways = variance(base - each, r);
        reproducibility = Some(people + ways);
    }
    lines.push(Line {
        of: "repeats",
        freedom: freedom[3],
        squares: of_repeats,
        mean_square: mean(of_repeats, freedom[3]),
        ratio: None,
    });
    let parts = variance(part_mean - base, o * r);
    let gauge = each + reproducibility.unwrap_or(0.0);
    let total = gauge + parts;
    let share = (gauge / total).sqrt();
    let of_tolerance = tolerance.map(|width| 6.0 * gauge.sqrt() / width);
    let groups = 1.41 * (parts / gauge).sqrt();
    Ok(Repeat {
        design: [p, o, r],
        lines,
        pooled,
        repeatability: each.sqrt(),
        repeatability_interval: deviation_interval(error, error_freedom),
        reproducibility: reproducibility.map(f64::sqrt),
        gauge: gauge.sqrt(),
        parts: parts.sqrt(),
        total: total.sqrt(),
        share,
        groups: if groups < f64::from(u32::MAX) {
            (groups as u32).max(1)
        } else {
            u32::MAX
        },
        of_tolerance,
        standing: Standing::of(of_tolerance.map_or(share, |of| of.max(share))),
    })
}

/// The interval of a standard deviation by its sum of squares: chi-squared, NIST/SEMATECH
/// e-Handbook of Statistical Methods, 7.2.3 (from memory).
fn deviation_interval(squares: f64, freedom: usize) -> [f64; 2] {
    let tail = (1.0 - CONFIDENCE) / 2.0;
    ChiSquared::new(freedom as f64).map_or([0.0, f64::INFINITY], |chi| {
        [1.0 - tail, tail].map(|q| (squares / chi.inverse_cdf(q)).sqrt())
    })
}
