//! What a value is: its class with a probability for each, and how it stands to a limit under a
//! decision rule that is named.
//!
//! Probabilities are those of JCGM 106:2012, 7.2, for a normal distribution about the measured
//! value ([`CONFORMITY`]). The decision rule is the non-binary one of ILAC-G8:09/2019, 4.2.3,
//! with a guard band of one expanded uncertainty, `w = U = 2u` ([`DECISION_RULE`]).

use serde::{Deserialize, Serialize};

pub use crate::accuracy::Void;
use crate::accuracy::{AccuracyTable, Circuit, Measured, admit, measure};
use crate::class::{CLASSES, Class, Likely};
use crate::math::phi_between;
use crate::reading::{Function, Reading, Shown};
use crate::source::{Source, Status};

/// Where the probabilities of [`Bands::judge`] and [`Limit::p_within`] come from.
pub const CONFORMITY: Source = Source::new(
    "JCGM 106:2012, 7.2: conformity probability of a normal distribution",
    Status::Memory,
);

/// The rule of [`Limit::decide`].
pub const DECISION_RULE: Source = Source::new(
    "ILAC-G8:09/2019, clause 4: non-binary statement, guard band w = U = 2u",
    Status::Verified,
);

/// Five ordered bins along the value's axis:
/// `bottom < edges[0] <= Low < edges[1] <= Within <= edges[2] < High <= edges[3] < top`.
///
/// Edges may be equal or infinite, which leaves bins out. An edge that is NaN or below the one
/// before it counts as equal to that one, so every value has a bin whatever the edges are.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Bands {
    /// The class below `edges[0]`: absent, or short on an ohmmeter.
    pub bottom: Class,
    /// The class above `edges[3]`: high, or open on an ohmmeter.
    pub top: Class,
    /// The four edges, ascending, in the base unit of the function.
    pub edges: [f32; 4],
}

impl Bands {
    /// Low, within and high about two limits; a limit that is none is never crossed.
    #[must_use]
    pub fn about(lower: Option<f64>, upper: Option<f64>) -> Self {
        Bands {
            bottom: Class::Low,
            top: Class::High,
            edges: [
                f32::NEG_INFINITY,
                lower.map_or(f32::NEG_INFINITY, |x| x as f32),
                upper.map_or(f32::INFINITY, |x| x as f32),
                f32::INFINITY,
            ],
        }
    }

    /// These bands with a class of its own below `edge`, which is at most the lower limit.
    #[must_use]
    pub fn with_bottom(self, bottom: Class, edge: f64) -> Self {
        let [_, low, high, top] = self.edges;
        Bands {
            bottom,
            edges: [edge as f32, low, high, top],
            ..self
        }
        .in_order()
    }

    /// These bands with a class of its own above `edge`, which is at least the upper limit.
    #[must_use]
    pub fn with_top(self, top: Class, edge: f64) -> Self {
        let [bottom, low, high, _] = self.edges;
        Bands {
            top,
            edges: [bottom, low, high, edge as f32],
            ..self
        }
        .in_order()
    }

    /// The same bands with their edges ascending.
    fn in_order(self) -> Self {
        Bands {
            edges: self.ascending(),
            ..self
        }
    }

    /// The edges, made ascending.
    fn ascending(&self) -> [f32; 4] {
        let [a, b, c, d] = self.edges;
        let a = if a.is_nan() { f32::NEG_INFINITY } else { a };
        // `max` takes the other operand where one is NaN.
        let b = b.max(a);
        let c = c.max(b);
        [a, b, c, d.max(c)]
    }

    /// The probability of each class for a value with standard uncertainty `u` (base unit).
    ///
    /// With `u == 0`, or an infinite value, the bin that holds the value gets all. A value or
    /// uncertainty that is NaN, and an uncertainty that is infinite or negative, tell nothing:
    /// every bin that is not empty gets the same share. The sum is always one.
    #[must_use]
    pub fn judge(&self, value: f64, u: f64) -> Likely {
        if value.is_nan() || !u.is_finite() || u < 0.0 {
            return self.unknown();
        }
        if u == 0.0 || value.is_infinite() {
            return Likely::certain(self.bin(value));
        }
        let [a, b, c, d] = self.ascending().map(|edge| (f64::from(edge) - value) / u);
        self.spread([
            phi_between(f64::NEG_INFINITY, a),
            phi_between(a, b),
            phi_between(b, c),
            phi_between(c, d),
            phi_between(d, f64::INFINITY),
        ])
    }

    /// The probability of each class for what a display showed: an overload is the last bin that
    /// is not empty.
    ///
    /// # Errors
    /// [`Void::Blank`] for a display with nothing readable.
    pub fn judge_shown(&self, shown: Shown, u: f64) -> Result<Likely, Void> {
        match shown {
            Shown::Value(decimal) => Ok(self.judge(decimal.value(), u)),
            Shown::Overload => Ok(Likely::certain(self.bin(f64::INFINITY))),
            Shown::Blank => Err(Void::Blank),
        }
    }

    /// The class of the bin that holds a value; edges are kept as binary32, so the value is
    /// rounded to it before it is compared. An infinite value lies in the last bin that is not
    /// empty, or the first.
    fn bin(&self, value: f64) -> Class {
        let [a, b, c, d] = self.ascending();
        let value = value as f32;
        if value < a {
            self.bottom
        } else if value < b {
            Class::Low
        } else if value <= c {
            Class::Within
        } else if value <= d {
            Class::High
        } else {
            self.top
        }
    }

    /// The same share for every bin that is not empty.
    fn unknown(&self) -> Likely {
        let [a, b, c, d] = self.ascending();
        let there = [
            a > f32::NEG_INFINITY,
            b > a,
            c > b,
            d > c,
            d < f32::INFINITY,
        ];
        let count = there.into_iter().filter(|t| *t).count();
        if count == 0 {
            return Likely::certain(Class::Within);
        }
        self.spread(there.map(|t| if t { 1.0 / count as f64 } else { 0.0 }))
    }

    /// Puts the five bins' probabilities on their classes. Bins of one class add.
    fn spread(&self, bins: [f64; 5]) -> Likely {
        let sum: f64 = bins.into_iter().sum();
        let classes = [
            self.bottom,
            Class::Low,
            Class::Within,
            Class::High,
            self.top,
        ];
        let mut all = [0.0_f64; CLASSES];
        for (class, p) in classes.into_iter().zip(bins) {
            if let Some(slot) = all.get_mut(class as usize) {
                *slot += p / sum;
            }
        }
        Likely(all.map(|p| p as f32))
    }
}

/// A limit of "within", and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Limit {
    /// The lower limit, base unit; none if there is none.
    pub lower: Option<f64>,
    /// The upper limit, base unit; none if there is none.
    pub upper: Option<f64>,
    /// Where the numbers come from.
    pub source: Source,
}

/// The outcome under [`DECISION_RULE`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Decision {
    /// Inside the limits by at least the guard band.
    Pass,
    /// Inside the limits, within a guard band of one.
    ConditionalPass,
    /// Outside a limit, by no more than the guard band.
    ConditionalFail,
    /// Outside a limit by more than the guard band.
    Fail,
    /// Within a guard band of a limit, with an expanded uncertainty over half the tolerance: this
    /// meter cannot tell. Or there is nothing to judge.
    NotJudged,
    /// Outside a limit that rests on memory or common practice, which never condemns alone: check
    /// by other means.
    Check,
}

impl Decision {
    /// The outcome in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Decision::Pass => "pass",
            Decision::ConditionalPass => "conditional pass",
            Decision::ConditionalFail => "conditional fail",
            Decision::Fail => "fail",
            Decision::NotJudged => "not judged",
            Decision::Check => "check by other means",
        }
    }
}

impl Limit {
    /// A limit from its two sides.
    #[must_use]
    pub const fn new(lower: Option<f64>, upper: Option<f64>, source: Source) -> Self {
        Limit {
            lower,
            upper,
            source,
        }
    }

    /// The lower side, minus infinity where there is none.
    #[must_use]
    pub fn low(&self) -> f64 {
        self.lower.unwrap_or(f64::NEG_INFINITY)
    }

    /// The upper side, plus infinity where there is none.
    #[must_use]
    pub fn high(&self) -> f64 {
        self.upper.unwrap_or(f64::INFINITY)
    }

    /// Half the width between the sides: the tolerance. Infinite for a limit with one side.
    #[must_use]
    pub fn tolerance(&self) -> f64 {
        (self.high() - self.low()) / 2.0
    }

    /// Whether the sides are numbers, in order.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.low() <= self.high()
    }

    /// Probability that the true value is within the limits ([`CONFORMITY`]): two-sided
    /// `Phi((upper - y) / u) - Phi((lower - y) / u)`, one-sided with the other term left out.
    /// None if the limit, the value or the uncertainty is unsound.
    #[must_use]
    pub fn p_within(&self, m: Measured) -> Option<f64> {
        if !self.is_sound() || !m.is_sound() {
            return None;
        }
        if m.u == 0.0 {
            let within = self.low() <= m.value && m.value <= self.high();
            return Some(if within { 1.0 } else { 0.0 });
        }
        let z = |edge: f64| (edge - m.value) / m.u;
        Some(phi_between(z(self.low()), z(self.high())))
    }

    /// The outcome under [`DECISION_RULE`].
    ///
    /// An expanded uncertainty over half the tolerance is called [`Decision::NotJudged`] only
    /// where it matters, within a guard band of a limit: a value that is further outside fails
    /// with any meter. A failure against a limit whose status may not condemn is
    /// [`Decision::Check`].
    #[must_use]
    pub fn decide(&self, m: Measured) -> Decision {
        if !self.is_sound() || !m.is_sound() {
            return Decision::NotJudged;
        }
        let guard = m.expanded();
        // Distance inside the nearer limit; negative outside.
        let inside = (m.value - self.low()).min(self.high() - m.value);
        let outcome = if inside >= guard {
            Decision::Pass
        } else if inside < -guard {
            Decision::Fail
        } else if guard > self.tolerance() / 2.0 {
            Decision::NotJudged
        } else if inside >= 0.0 {
            Decision::ConditionalPass
        } else {
            Decision::ConditionalFail
        };
        match outcome {
            Decision::Fail | Decision::ConditionalFail if !self.source.status.may_condemn() => {
                Decision::Check
            }
            other => other,
        }
    }

    /// Low, within and high about this limit.
    #[must_use]
    pub fn bands(&self) -> Bands {
        Bands::about(self.lower, self.upper)
    }
}

/// What a value proves against a limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Verdict {
    /// The value judged and its standard uncertainty. The value is NaN for an overload, plus the
    /// uncertainty zero; both are NaN for a void reading.
    pub measured: Measured,
    /// The most probable class; [`Class::Within`] stands there for a void reading and means
    /// nothing.
    pub class: Class,
    /// The probability of each class; all zero for a void reading.
    pub likely: Likely,
    /// The limit it was held against.
    pub limit: Limit,
    /// How it stands to the limit under [`DECISION_RULE`].
    pub decision: Decision,
    /// Probability that the true value is within the limit; none for a void reading.
    pub p_within: Option<f64>,
    /// Why the reading proves nothing, if it does not.
    pub void: Option<Void>,
}

impl Verdict {
    /// The verdict on a value.
    #[must_use]
    pub fn of(measured: Measured, limit: Limit, bands: &Bands) -> Self {
        if !measured.is_sound() {
            return Verdict::void(Void::NotFinite, limit);
        }
        let likely = bands.judge(measured.value, measured.u);
        Verdict {
            measured,
            class: likely.best().0,
            likely,
            limit,
            decision: limit.decide(measured),
            p_within: limit.p_within(measured),
            void: None,
        }
    }

    /// The verdict on an overload: more than any limit. `assumed` as in [`Measured`].
    #[must_use]
    pub fn overload(assumed: bool, limit: Limit, bands: &Bands) -> Self {
        let likely = bands.judge(f64::INFINITY, 0.0);
        let over = limit.upper.is_some();
        Verdict {
            measured: Measured {
                value: f64::NAN,
                u: 0.0,
                assumed,
            },
            class: likely.best().0,
            likely,
            limit,
            decision: match (limit.is_sound(), over, limit.source.status.may_condemn()) {
                (false, _, _) => Decision::NotJudged,
                (true, false, _) => Decision::Pass,
                (true, true, true) => Decision::Fail,
                (true, true, false) => Decision::Check,
            },
            p_within: limit.is_sound().then_some(if over { 0.0 } else { 1.0 }),
            void: None,
        }
    }

    /// A reading that proves nothing, and why.
    #[must_use]
    pub fn void(why: Void, limit: Limit) -> Self {
        Verdict {
            measured: Measured::new(f64::NAN, f64::NAN),
            class: Class::Within,
            likely: Likely::default(),
            limit,
            decision: Decision::NotJudged,
            p_within: None,
            void: Some(why),
        }
    }

    /// The verdict on a display value as it was read, nothing taken off. An overload counts as
    /// more than any limit if the meter's highest stated range reaches the limits, and is void
    /// otherwise.
    #[must_use]
    pub fn read<T: AccuracyTable + ?Sized>(
        reading: &Reading,
        wanted: Function,
        circuit: Circuit,
        table: &T,
        limit: Limit,
        bands: &Bands,
    ) -> Self {
        if reading.shown == Shown::Overload {
            if let Err(why) = admit(reading, wanted, circuit) {
                return Verdict::void(why, limit);
            }
            let limits = [limit.lower, limit.upper];
            let reaches = |top: f64| limits.into_iter().flatten().all(|l| l <= top);
            return match table.top_of_range(wanted) {
                Some(top) if !reaches(top) => Verdict::void(Void::OutOfRange, limit),
                _ => Verdict::overload(table.assumed(), limit, bands),
            };
        }
        match measure(reading, wanted, circuit, table) {
            Ok(measured) => Verdict::of(measured, limit, bands),
            Err(why) => Verdict::void(why, limit),
        }
    }

    /// The same verdict where being outside is a warning and no more: a failure becomes
    /// [`Decision::Check`].
    #[must_use]
    pub fn as_warning(self) -> Self {
        let decision = match self.decision {
            Decision::Fail | Decision::ConditionalFail => Decision::Check,
            other => other,
        };
        Verdict { decision, ..self }
    }

    /// Whether the meter cannot tell on which side of a limit the value lies.
    #[must_use]
    pub fn too_close(&self) -> bool {
        if self.void.is_some() || !self.measured.value.is_finite() {
            return false;
        }
        let guard = self.measured.expanded();
        [self.limit.low(), self.limit.high()]
            .into_iter()
            .any(|edge| (self.measured.value - edge).abs() < guard)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Decimal;

    const TABLE: Source = Source::new("a table", Status::Verified);
    const HABIT: Source = Source::new("a habit", Status::CommonPractice);

    fn ohms() -> Bands {
        Bands::about(Some(0.5), Some(2.0))
            .with_bottom(Class::Short, 0.1)
            .with_top(Class::Open, 1000.0)
    }

    #[test]
    fn a_certain_value_falls_in_the_bin_whose_edges_say_so() {
        for (value, class) in [
            (f64::NEG_INFINITY, Class::Short),
            (0.09, Class::Short),
            (0.1, Class::Low),
            (0.5, Class::Within),
            (2.0, Class::Within),
            (2.01, Class::High),
            (1000.0, Class::High),
            (1000.1, Class::Open),
            (f64::INFINITY, Class::Open),
        ] {
            assert_eq!(ohms().judge(value, 0.0), Likely::certain(class), "{value}");
        }
    }

    #[test]
    fn an_overload_is_the_last_bin_that_is_there() {
        let no_top = Bands::about(Some(1.0), Some(2.0));
        let no_high = Bands::about(Some(1.0), None);
        for (bands, class) in [
            (ohms(), Class::Open),
            (no_top, Class::High),
            (no_high, Class::Within),
        ] {
            assert_eq!(
                bands.judge_shown(Shown::Overload, 0.1),
                Ok(Likely::certain(class))
            );
            assert_eq!(bands.judge_shown(Shown::Blank, 0.1), Err(Void::Blank));
        }
        let shown = Shown::Value(Decimal::new(10, -1));
        assert_eq!(ohms().judge_shown(shown, 0.1), Ok(ohms().judge(1.0, 0.1)));
    }

    /// One uncertainty about the value holds 68.27 % of a normal distribution.
    #[test]
    fn a_value_on_an_edge_is_a_coin_toss_and_says_so() {
        let bands = Bands::about(Some(9.0), Some(11.0));
        assert!((bands.judge(10.0, 1.0).of(Class::Within) - 0.6827).abs() < 1e-4);
        assert!((bands.judge(9.0, 0.01).of(Class::Low) - 0.5).abs() < 1e-6);
    }

    #[test]
    fn nonsense_tells_nothing() {
        for (value, u) in [
            (f64::NAN, 1.0),
            (1.0, f64::NAN),
            (1.0, -1.0),
            (1.0, f64::INFINITY),
        ] {
            let likely = ohms().judge(value, u);
            assert_eq!(likely.of(Class::Low), 0.2);
            assert_eq!(likely.of(Class::Absent), 0.0);
        }
    }

    /// The four outcomes of ILAC-G8:09/2019, clause 4 (limit 10, U = 0.2), and the two of our own.
    #[test]
    fn the_decision_rule_has_its_outcomes() {
        let limit = Limit::new(Some(8.0), Some(10.0), TABLE);
        let at = |value| limit.decide(Measured::new(value, 0.1));
        assert_eq!(at(9.7), Decision::Pass);
        assert_eq!(at(9.9), Decision::ConditionalPass);
        assert_eq!(at(10.1), Decision::ConditionalFail);
        assert_eq!(at(10.3), Decision::Fail);
        assert_eq!(at(7.7), Decision::Fail);
        let coarse = |value| limit.decide(Measured::new(value, 0.3));
        assert_eq!(coarse(9.9), Decision::NotJudged);
        assert_eq!(coarse(11.0), Decision::Fail);
        let habit = Limit::new(None, Some(10.0), HABIT);
        assert_eq!(habit.decide(Measured::new(99.0, 0.1)), Decision::Check);
        assert_eq!(habit.decide(Measured::new(9.0, 0.1)), Decision::Pass);
        let nonsense = Limit::new(Some(2.0), Some(1.0), TABLE);
        assert_eq!(
            nonsense.decide(Measured::new(1.0, 0.1)),
            Decision::NotJudged
        );
        assert_eq!(nonsense.p_within(Measured::new(1.0, 0.1)), None);
    }

    /// A guard band of U = 2u leaves less than 2.5 % of false acceptance (published with
    /// ILAC-G8:09/2019).
    #[test]
    fn a_pass_is_wrong_less_than_one_time_in_forty() {
        let limit = Limit::new(None, Some(10.0), TABLE);
        let edge = Measured::new(9.8, 0.1);
        assert_eq!(limit.decide(Measured::new(9.799, 0.1)), Decision::Pass);
        assert!(limit.p_within(edge).is_some_and(|p| p > 0.975));
    }
}
