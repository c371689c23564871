//! The front end: samples in codes of its converter become readings, digits and all.
//!
//! A range maps codes to counts of a display: `counts = (code - offset) * gain / 65536`, rounded to
//! nearest. Offset and gain come from the calibration against known resistors, voltages and
//! capacitors; the display's step is a power of ten of the base unit.

use ohmtrail_core::accuracy::{Quantity, Spec};
use ohmtrail_core::leads::Leads;
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::units::{Micros, Ohms};

/// The box is one meter.
pub const METER: MeterId = MeterId(0);

/// One sample of the front end. Samples come at an even rate; time is counted in them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample {
    /// The range it was made in: its place in the function's list.
    pub range: u8,
    /// The converter's code.
    pub code: i32,
}

/// A range of a function.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    /// The power of ten of one count, in the function's base unit.
    pub exponent: i8,
    /// The code at nothing.
    pub offset: i32,
    /// Counts for a code, times 65536.
    pub gain: i32,
    /// The most counts; more is an overload.
    pub full: i32,
}

/// What a front end can measure, and how well.
#[derive(Debug, Clone, Copy)]
pub struct FrontEnd {
    /// Each function and its ranges.
    pub functions: &'static [(Function, &'static [Range])],
    /// Its accuracy, as calibrated.
    pub accuracy: &'static [Spec],
    /// The resistance of its leads, ohms, which is taken off, and its standard uncertainty.
    pub leads_ohms: [f64; 2],
    /// The time from sample to sample, microseconds: 20 ms to 1 s.
    pub period_us: u32,
}

impl FrontEnd {
    /// Whether it can measure this.
    #[must_use]
    pub fn has(&self, function: Function) -> bool {
        self.functions.iter().any(|(f, _)| *f == function)
    }

    /// Its leads.
    #[must_use]
    pub const fn leads(&self) -> Leads {
        let [ohms, u] = self.leads_ohms;
        Leads::Shorted(Quantity::new(Ohms(ohms), u))
    }

    /// The reading of a sample; none if the function has no such range.
    #[must_use]
    pub fn reading(&self, function: Function, sample: Sample, at: Micros) -> Option<Reading> {
        let (_, ranges) = self.functions.iter().find(|(f, _)| *f == function)?;
        let range = ranges.get(usize::from(sample.range))?;
        let from_zero = i64::from(sample.code).saturating_sub(i64::from(range.offset));
        let scaled = from_zero.saturating_mul(i64::from(range.gain));
        let counts = scaled.saturating_add(1 << 15) >> 16;
        let shown = match i32::try_from(counts) {
            Ok(counts) if counts.saturating_abs() <= range.full => {
                Shown::Value(Decimal::new(counts, range.exponent))
            }
            _ => Shown::Overload,
        };
        Some(Reading {
            function,
            shown,
            flags: Flags::NONE,
            meter: METER,
            at,
        })
    }
}
