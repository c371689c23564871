//! Where the classes of a check begin and end: from the sheet's limits where it states some,
//! else from what healthy units of the sheet would show.
//!
//! Every margin here is common practice, no published source; it only sorts predictions into
//! classes, and is printed with a verdict where no rule with a source of its own applies.

use ohmtrail_core::class::{CLASSES, Class};
use ohmtrail_core::reading::Function;
use ohmtrail_core::verdict::Bands;

use crate::meter::Ideal;
use crate::sheet::Heat;

/// The bands of one check and the classes that can occur.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheckBands {
    /// The bands.
    pub bands: Bands,
    /// Bit `c` is set if class `c` has a bin.
    pub live: u8,
}

/// Finds the bands of a check from what healthy units show.
#[must_use]
pub fn bands(
    function: Function,
    limits: Option<(f64, f64)>,
    heat: Option<Heat>,
    healthy: &[Ideal],
) -> CheckBands {
    let values: Vec<f64> = healthy
        .iter()
        .filter_map(|i| match i {
            Ideal::Value(v) => Some(*v),
            Ideal::Overload => None,
        })
        .collect();
    let none = f64::NEG_INFINITY;
    let any = f64::INFINITY;
    if values.len() * 2 < healthy.len() {
        // Open when healthy: a path to ground or a welded contact shows as short or low. Limits of
        // the sheet say under what it is short, and over what it is open.
        let (short, open) = limits.unwrap_or((2.0, 1e6));
        return make(Class::Short, Class::Open, [short, open, open, open]);
    }
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let sd = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count).sqrt();
    let (low, high) = limits.unwrap_or_else(|| {
        let share = if function == Function::AmpsAc {
            0.15
        } else {
            0.04
        };
        // A winding behind an open overload is hotter than one that ran, and one that stood still
        // reads 13 % under it, however well the winding itself is known.
        let as_found = heat == Some(Heat::AsFound) && function == Function::Ohms;
        let (least, hot) = if as_found {
            (0.11 * mean, 1.2)
        } else {
            (0.0, 1.0)
        };
        let margin = (4.0 * sd).max(least) + share * mean;
        (mean - margin, (mean + margin) * hot)
    });
    match function {
        // Nothing across a closed contact or along a wire: the whole source across an open one.
        Function::VoltsAc if mean < 0.8 => {
            make(Class::Absent, Class::Open, [none, none, 1.0, 15.0])
        }
        Function::VoltsAc => make(Class::Absent, Class::High, [0.15 * low, low, high, any]),
        Function::AmpsAc => make(
            Class::Absent,
            Class::Short,
            [0.15 * low, low, high, 2.2 * high],
        ),
        // Between a section that is just out of its tolerance and one that has failed lies a gap:
        // the class ends in it, so that a reading near the tolerance is no evidence of failure. What
        // the marking says of the reading is the tolerance rule's to judge.
        Function::Farads => {
            let gap = 0.25 * (high - low);
            make(
                Class::Absent,
                Class::Short,
                [0.1 * low, low - gap, high + gap, 1e-3],
            )
        }
        // Ohms of a closed contact or a wire.
        _ if mean < 0.5 && limits.is_none() => {
            make(Class::Short, Class::Open, [none, none, 2.0, 100.0])
        }
        _ => make(
            Class::Short,
            Class::Open,
            [0.45 * low, low, high, (10.0 * high).max(100.0)],
        ),
    }
}

fn make(bottom: Class, top: Class, edges: [f64; 4]) -> CheckBands {
    let [a, b, c, d] = edges;
    let bins = [
        (bottom, a > f64::NEG_INFINITY),
        (Class::Low, b > a),
        (Class::Within, c > b),
        (Class::High, d > c),
        (top, d < f64::INFINITY),
    ];
    let mut live = 0u8;
    for (class, there) in bins {
        if there {
            live |= 1 << class as u8;
        }
    }
    debug_assert!(live.count_ones() <= CLASSES as u32);
    CheckBands {
        bands: Bands {
            bottom,
            top,
            edges: edges.map(|e| e as f32),
        },
        live,
    }
}
