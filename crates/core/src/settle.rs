//! When a live series of readings has become a take.
//!
//! A display settles when the last second of it (and at least six readings) stands still: one
//! kind of display, one range, a spread within a few counts, no drift from its first half to its
//! second. Probes that bounce, a range that hunts, a capacitor that charges on ohms, a display
//! that flickers between overload and a number, and ghost volts that wander do not stand still.
//!
//! What no series can tell is whether the probes are on the right points: probes in the air show
//! a steady overload on ohms and a steady zero on volts. A value that creeps by less than a count
//! in half a second is taken as it stands. And a slow meter's six like readings in a row, out of a
//! flicker, are a take: the tests measure how often.
//!
//! All limits are common practice, no published source; each says its reason.

use crate::reading::{Flags, Function, MeterId, Reading, Shown};
use crate::units::Micros;

/// A number stands still over this span at least, microseconds: 1 s, several periods of the
/// beat between mains and a meter's integration time.
pub const SPAN: u64 = 1_000_000;
/// An overload stands over this span at least, microseconds: 3 s, because probes on their way
/// to the points show it too.
pub const SPAN_OVERLOAD: u64 = 3_000_000;
/// At least this many readings, so that a meter of two readings a second is seen for 2.5 s: fewer
/// stand still by chance too often.
pub const COUNT: usize = 6;
/// Silence longer than this voids the series, microseconds: 2 s, four readings of a slow meter.
pub const GAP: u64 = 2_000_000;
/// The spread that is always allowed, counts of the last digit: one each way, and the rounding.
pub const SPREAD_COUNTS: i64 = 3;
/// The drift from the first half of the window to the second that is always allowed, counts.
pub const DRIFT_COUNTS: f64 = 1.0;
/// The drift that is always allowed, share of the spread that is: a fifth, so that a capacitor that
/// charges on ohms is told from a resistor for some minutes.
pub const DRIFT: f64 = 0.2;
/// A change between a number and an overload keeps the series unsettled for so much longer,
/// microseconds; the next one within that time for twice as long, and so on: touching down costs
/// one step, flicker soon the most.
pub const FLICKER_STEP: u64 = 1_500_000;
/// The most that flicker keeps waiting after the last change, microseconds.
pub const FLICKER_MOST: u64 = 6_000_000;

/// The spread that is allowed as a share of the value. Mains volts and the amps of a running
/// motor breathe; a resistance does not.
#[must_use]
pub const fn spread(function: Function) -> f64 {
    match function {
        Function::AmpsAc | Function::AmpsDc => 0.02,
        Function::VoltsAc | Function::Farads | Function::Megohms | Function::Pascals => 0.01,
        _ => 0.005,
    }
}

/// Why a series is not settled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// Too few readings, or over too short a time.
    Gathering,
    /// The values differ by more than they may.
    Moving,
    /// The values stand close together and go one way: charging, cooling, a ghost voltage.
    Drifting,
    /// Numbers and overload change about.
    Flicker,
    /// The display is held, or shows a stored extreme.
    NotLive,
    /// Nothing readable on the display.
    Blank,
    /// The function, an annunciator that matters, or the meter changed.
    Changed,
    /// The range changed.
    Range,
    /// The meter was silent too long, or its clock stepped back.
    Gap,
}

impl Why {
    /// The reason in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Why::Gathering => "wait",
            Why::Moving => "the value moves: hold the probes firmly",
            Why::Drifting => "the value drifts one way",
            Why::Flicker => "flickers between a number and overload",
            Why::NotLive => "the display is held or shows a stored value",
            Why::Blank => "nothing readable on the display",
            Why::Changed => "the meter's setting changed",
            Why::Range => "the meter changes its range",
            Why::Gap => "the meter was silent",
        }
    }
}

/// A settled display.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settled {
    /// The median of the window: a value that the display really showed; or overload.
    pub shown: Shown,
    /// The function that it was shown on.
    pub function: Function,
    /// The annunciators of the newest reading.
    pub flags: Flags,
    /// The meter.
    pub meter: MeterId,
    /// Highest less lowest in the window, counts of the last digit.
    pub spread: u32,
    /// Readings in the window.
    pub count: u16,
    /// When the window begins.
    pub since: Micros,
    /// When it ends: the newest reading.
    pub at: Micros,
}

/// What a series has come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Not settled.
    Unsettled {
        /// Why not.
        why: Why,
    },
    /// Settled. Told again with every reading as long as it lasts.
    Settled(Settled),
    /// It was settled and is not any more: the probes left, the value jumped, the meter changed.
    /// Told once.
    Broken {
        /// Why.
        why: Why,
    },
}

impl State {
    /// The take, if there is one.
    #[must_use]
    pub const fn settled(&self) -> Option<&Settled> {
        match self {
            State::Settled(settled) => Some(settled),
            State::Unsettled { .. } | State::Broken { .. } => None,
        }
    }
}

/// The most readings that are kept: 1 s of a meter of 60 readings a second.
const KEPT: usize = 64;

#[derive(Debug, Clone, Copy)]
struct Sample {
    at: Micros,
    mantissa: i32,
}

/// Watches one meter's readings. Fixed memory; one reading costs at most a few thousand steps.
#[derive(Debug, Clone)]
pub struct Settler {
    kept: [Sample; KEPT],
    next: usize,
    len: usize,
    last: Option<Reading>,
    /// Nothing settles before.
    wait_until: Micros,
    /// How long the last change made it wait, microseconds.
    wait: u64,
    settled: bool,
}

impl Default for Settler {
    fn default() -> Self {
        Settler::new()
    }
}

impl Settler {
    /// Nothing seen.
    #[must_use]
    pub const fn new() -> Self {
        Settler {
            kept: [Sample {
                at: Micros(0),
                mantissa: 0,
            }; KEPT],
            next: 0,
            len: 0,
            last: None,
            wait_until: Micros(0),
            wait: 0,
            settled: false,
        }
    }

    /// Forgets everything: the probes are asked to other points.
    pub fn reset(&mut self) {
        *self = Settler::new();
    }

    /// Takes in one reading.
    pub fn push(&mut self, reading: &Reading) -> State {
        let state = self.watch(reading);
        self.last = Some(*reading);
        match state {
            State::Unsettled { why } if self.settled => {
                self.settled = false;
                State::Broken { why }
            }
            State::Settled(_) => {
                self.settled = true;
                state
            }
            State::Unsettled { .. } | State::Broken { .. } => state,
        }
    }

    fn watch(&mut self, reading: &Reading) -> State {
        let mut fresh = None;
        if let Some(last) = self.last {
            let same = same_setting(&last, reading);
            if reading.at < last.at || reading.at.since(last.at) > GAP {
                self.wait_until = Micros(0);
                fresh = Some(Why::Gap);
            } else if !same {
                self.wait_until = Micros(0);
                fresh = Some(Why::Changed);
            } else {
                fresh = self.turn(&last, reading);
            }
        }
        if !reading.flags.is_live() {
            self.len = 0;
            return unsettled(Why::NotLive);
        }
        let mantissa = match reading.shown {
            Shown::Blank => {
                self.len = 0;
                return unsettled(Why::Blank);
            }
            Shown::Overload => 0,
            Shown::Value(decimal) => decimal.mantissa,
        };
        if fresh.is_some() {
            self.len = 0;
        }
        self.keep(Sample {
            at: reading.at,
            mantissa,
        });
        if let Some(why) = fresh {
            return unsettled(why);
        }
        self.judge(reading)
    }

    /// What a change of the display between two readings of one setting means.
    fn turn(&mut self, last: &Reading, reading: &Reading) -> Option<Why> {
        match (last.shown, reading.shown) {
            (Shown::Value(a), Shown::Value(b)) if a.exponent == b.exponent => None,
            (Shown::Value(_), Shown::Value(_)) => Some(Why::Range),
            (Shown::Overload, Shown::Overload) | (Shown::Blank, Shown::Blank) => None,
            (Shown::Value(_), Shown::Overload) | (Shown::Overload, Shown::Value(_)) => {
                if reading.at >= self.wait_until {
                    self.wait = 0;
                }
                let longer = self.wait.saturating_mul(2).max(FLICKER_STEP);
                self.wait = longer.min(FLICKER_MOST);
                self.wait_until = Micros(reading.at.0.saturating_add(self.wait));
                Some(Why::Flicker)
            }
            (Shown::Blank, _) | (_, Shown::Blank) => Some(Why::Blank),
        }
    }

    fn keep(&mut self, sample: Sample) {
        let newest = self.samples().last();
        let too_close = newest.is_some_and(|n| {
            n.mantissa == sample.mantissa && sample.at.since(n.at) < SPAN / KEPT as u64
        });
        // A very fast meter that repeats itself says nothing new.
        if too_close && self.len > 1 {
            return;
        }
        if let Some(slot) = self.kept.get_mut(self.next % KEPT) {
            *slot = sample;
        }
        self.next = self.next.wrapping_add(1) % KEPT;
        self.len = self.len.saturating_add(1).min(KEPT);
    }

    /// The kept samples, oldest first.
    fn samples(&self) -> impl Iterator<Item = Sample> + '_ {
        let first = self.next.wrapping_add(KEPT).wrapping_sub(self.len);
        (0..self.len).filter_map(move |i| self.kept.get(first.wrapping_add(i) % KEPT).copied())
    }

    fn judge(&mut self, reading: &Reading) -> State {
        let overload = reading.shown == Shown::Overload;
        let span = if overload { SPAN_OVERLOAD } else { SPAN };
        // The shortest window that is long enough: what came before it is let go.
        let enough = self
            .samples()
            .skip(1)
            .take_while(|s| reading.at.since(s.at) >= span)
            .count()
            .min(self.len.saturating_sub(COUNT));
        self.len = self.len.saturating_sub(enough);
        let Some(first) = self.samples().next() else {
            return unsettled(Why::Gathering);
        };
        let spans = reading.at.since(first.at) >= span;
        if overload {
            // Equal samples that came too close are not kept, so the span is what counts.
            if !spans || self.len < COUNT {
                return unsettled(Why::Gathering);
            }
            if reading.at < self.wait_until {
                return unsettled(Why::Flicker);
            }
            return self.settle(reading, first.at, Shown::Overload, 0);
        }
        let (low, high) = self.samples().fold((i32::MAX, i32::MIN), |(l, h), s| {
            (l.min(s.mantissa), h.max(s.mantissa))
        });
        let wide = i64::from(high).saturating_sub(i64::from(low));
        let size = f64::from(high).abs().max(f64::from(low).abs());
        if wide > SPREAD_COUNTS && wide as f64 > size * spread(reading.function) {
            return unsettled(Why::Moving);
        }
        if !spans || self.len < COUNT {
            return unsettled(Why::Gathering);
        }
        if self.drift() > (size * spread(reading.function) * DRIFT).max(DRIFT_COUNTS) {
            return unsettled(Why::Drifting);
        }
        if reading.at < self.wait_until {
            return unsettled(Why::Flicker);
        }
        let Shown::Value(now) = reading.shown else {
            return unsettled(Why::Blank);
        };
        let median = crate::reading::Decimal::new(self.median(), now.exponent);
        let counts = u32::try_from(wide).unwrap_or(u32::MAX);
        self.settle(reading, first.at, Shown::Value(median), counts)
    }

    fn settle(&self, reading: &Reading, since: Micros, shown: Shown, spread: u32) -> State {
        State::Settled(Settled {
            shown,
            function: reading.function,
            flags: reading.flags,
            meter: reading.meter,
            spread,
            count: u16::try_from(self.len).unwrap_or(u16::MAX),
            since,
            at: reading.at,
        })
    }

    /// How far the mean of the second half lies from that of the first, counts.
    fn drift(&self) -> f64 {
        let half = self.len / 2;
        let (mut early, mut late) = (Mean::default(), Mean::default());
        for (i, sample) in self.samples().enumerate() {
            if i < half {
                early.add(sample.mantissa);
            } else if i >= self.len.saturating_sub(half) {
                late.add(sample.mantissa);
            }
        }
        (late.get() - early.get()).abs()
    }

    /// The lower median: the value that has at most half of the others under it.
    fn median(&self) -> i32 {
        let middle = self.len.saturating_sub(1) / 2;
        for candidate in self.samples() {
            let (mut under, mut equal) = (0usize, 0usize);
            for sample in self.samples() {
                under = under.wrapping_add(usize::from(sample.mantissa < candidate.mantissa));
                equal = equal.wrapping_add(usize::from(sample.mantissa == candidate.mantissa));
            }
            if under <= middle && middle < under.wrapping_add(equal) {
                return candidate.mantissa;
            }
        }
        0
    }
}

#[derive(Default)]
struct Mean {
    sum: f64,
    n: f64,
}

impl Mean {
    fn add(&mut self, value: i32) {
        self.sum += f64::from(value);
        self.n += 1.0;
    }
    fn get(&self) -> f64 {
        if self.n > 0.0 { self.sum / self.n } else { 0.0 }
    }
}

const fn unsettled(why: Why) -> State {
    State::Unsettled { why }
}

/// Whether two readings are of one meter, on one function, with the annunciators alike that
/// change what the value means.
fn same_setting(a: &Reading, b: &Reading) -> bool {
    let told = Flags::HOLD
        .with(Flags::RELATIVE)
        .with(Flags::LOW_IMPEDANCE)
        .with(Flags::MINIMUM)
        .with(Flags::MAXIMUM)
        .with(Flags::PEAK)
        .with(Flags::LOW_PASS);
    a.meter == b.meter && a.function == b.function && (a.flags.0 ^ b.flags.0) & told.0 == 0
}
