//! The part that matches: what is stamped on a failed part against the ratings of one that is at
//! hand. Each criterion comes to *fits*, *unknown* or *does not fit*, with its reason, both values
//! and the rule that it was held to; the part comes to the worst of them.
//!
//! The same form describes both parts. A value that the failed part does not bear is not asked of
//! the other, except for those without which nothing can be said (capacitance, volts, poles, coil,
//! amps, volt-amperes, phases, a maker's number): these are unknown then. A value that the failed part bears and the
//! other does not is unknown, never taken for granted.
//!
//! To refuse a part is the cautious side, so a rule of common practice or from memory may refuse
//! here; its status is given with every row. None of this says that a part is safe to use: the
//! instructions of the unit's maker prevail, and a qualified person decides.

pub mod capacitor;
pub mod contactor;
pub mod motor;
pub mod numbered;
pub mod relay;
pub mod rules;
pub mod transformer;

use serde::Serialize;

use crate::rules::Rule;
use crate::source::Source;
use crate::units::Volts;

/// What a criterion, or a whole part, comes to. From good to bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Nothing speaks against it.
    Fits,
    /// Not to be said from what is known: look, ask, or read the maker's instructions.
    Unknown,
    /// It must not be fitted in place of the other.
    Refused,
}

impl Outcome {
    /// The outcome in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Outcome::Fits => "fits",
            Outcome::Unknown => "unknown",
            Outcome::Refused => "does not fit",
        }
    }
}

/// What is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Aspect {
    /// Marked capacitance.
    Capacitance,
    /// Marked tolerance.
    Tolerance,
    /// Rated volts.
    Volts,
    /// Rated frequency.
    Frequency,
    /// Continuous or intermittent.
    Duty,
    /// Highest temperature it may work at.
    Hottest,
    /// Lowest temperature it may work at.
    Coldest,
    /// What happens when it fails: protection of a capacitor.
    Protection,
    /// Hours of life that its class stands for.
    Life,
    /// Switched poles.
    Poles,
    /// Volts of the coil.
    CoilVolts,
    /// Frequency of the coil.
    CoilFrequency,
    /// Full-load (rated-load) amps of a motor.
    FullLoadAmps,
    /// Locked-rotor amps of a motor.
    LockedRotorAmps,
    /// Amps of heaters.
    ResistiveAmps,
    /// Apparent power.
    VoltAmps,
    /// Volts of the primary.
    PrimaryVolts,
    /// Volts of the secondary.
    SecondaryVolts,
    /// Limited to Class 2.
    ClassTwo,
    /// Thermal class of the insulation.
    ThermalClass,
    /// Shaft power.
    Power,
    /// Phases.
    Phases,
    /// Speed, by its magnetic poles.
    Speed,
    /// Speeds that can be chosen.
    Speeds,
    /// Direction of turning.
    Rotation,
    /// Diameter of the shaft.
    Shaft,
    /// Length of the shaft.
    ShaftLength,
    /// Frame.
    Frame,
    /// Enclosure and cooling.
    Enclosure,
    /// Volts at which a relay opens its contact.
    PickUp,
    /// Volts under which it closes it again.
    DropOut,
    /// Volts that its coil bears for good.
    ContinuousVolts,
    /// The maker's number.
    Number,
}

impl Aspect {
    /// The aspect in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Aspect::Capacitance => "capacitance",
            Aspect::Tolerance => "tolerance",
            Aspect::Volts => "rated volts",
            Aspect::Frequency => "frequency",
            Aspect::Duty => "duty",
            Aspect::Hottest => "highest temperature",
            Aspect::Coldest => "lowest temperature",
            Aspect::Protection => "protection",
            Aspect::Life => "class of operation, hours",
            Aspect::Poles => "poles",
            Aspect::CoilVolts => "coil volts",
            Aspect::CoilFrequency => "coil frequency",
            Aspect::FullLoadAmps => "full-load amps",
            Aspect::LockedRotorAmps => "locked-rotor amps",
            Aspect::ResistiveAmps => "resistive amps",
            Aspect::VoltAmps => "volt-amperes",
            Aspect::PrimaryVolts => "primary volts",
            Aspect::SecondaryVolts => "secondary volts",
            Aspect::ClassTwo => "Class 2",
            Aspect::ThermalClass => "thermal class",
            Aspect::Power => "power",
            Aspect::Phases => "phases",
            Aspect::Speed => "speed",
            Aspect::Speeds => "number of speeds",
            Aspect::Rotation => "rotation",
            Aspect::Shaft => "shaft diameter",
            Aspect::ShaftLength => "shaft length",
            Aspect::Frame => "frame",
            Aspect::Enclosure => "enclosure",
            Aspect::PickUp => "pick-up volts",
            Aspect::DropOut => "drop-out volts",
            Aspect::ContinuousVolts => "continuous coil volts",
            Aspect::Number => "maker's number",
        }
    }
}

/// Why a criterion came out as it did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Reason {
    /// The same value.
    Same,
    /// Another value, on the good side.
    Better,
    /// Within what is allowed.
    Within,
    /// Under what is asked.
    Below,
    /// Over what is allowed.
    Above,
    /// Not what is asked.
    Different,
    /// The failed part's value is not known.
    OriginalNotKnown,
    /// The other part's value is not known.
    CandidateNotKnown,
    /// A rating that is no positive number.
    NotARating,
    /// Another value, but each such part lies within the band of the failed one.
    InsideTheBand,
    /// Within the band only if the pieces' deviations are independent.
    OnlyStatistically,
    /// No tolerance was marked; within that of common practice.
    UnmarkedWithin,
    /// No tolerance was marked; wider than common practice warns at.
    UnmarkedWider,
    /// A capacitor for running where one for starting was.
    RunForStart,
    /// A capacitor for starting where one for running was.
    StartForRun,
    /// Fewer poles: a leg that was cut off stays live while the contactor is open.
    LegStaysLive,
    /// One pole was there: what is fed past it (a crankcase heater) loses its feed.
    FeedPastThePole,
    /// Near the coil's rating, within the share at which a contactor must close.
    CoilCloses,
    /// Rated for heaters only, and the load is a motor.
    OnlyResistive,
    /// Not among the ratings, but within 10 % of one.
    NearTheRating,
    /// One size up.
    OneSizeUp,
    /// More than wires, overload and breaker were chosen for.
    CircuitToBeChecked,
    /// Can be connected to turn either way.
    Reversible,
    /// The capacitors have one side in common.
    OneCommon,
    /// The capacitors have no side in common: one can would join two lines.
    NoCommon,
    /// Whether the capacitors have one side in common is not known.
    CommonNotKnown,
    /// Its maker names it in the place of the failed one's number.
    Replaces,
    /// Another number, which its maker does not name in that place as far as is known.
    OtherNumber,
}

impl Reason {
    /// The reason in words, with what to do where something is to be done.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Reason::Same => "the same",
            Reason::Better => "better than asked",
            Reason::Within => "within what is asked",
            Reason::Below => "under what is asked",
            Reason::Above => "over what is allowed",
            Reason::Different => "not what is asked",
            Reason::OriginalNotKnown => "not known of the failed part: read its plate",
            Reason::CandidateNotKnown => "not known of this part: read it, and add it to the stock",
            Reason::NotARating => "no positive number: read the plate again",
            Reason::InsideTheBand => {
                "another value, though each such part lies within the failed one's band: the maker's instructions decide"
            }
            Reason::OnlyStatistically => {
                "within the band only if the pieces deviate independently; the worst case decides, and is outside"
            }
            Reason::UnmarkedWithin => {
                "no tolerance is known of the failed part; within that of common practice"
            }
            Reason::UnmarkedWider => {
                "no tolerance is known of the failed part; wider than common practice"
            }
            Reason::RunForStart => {
                "a run capacitor where a start capacitor was: the maker's instructions decide"
            }
            Reason::StartForRun => {
                "a start capacitor is made for seconds: it overheats where a run capacitor was"
            }
            Reason::LegStaysLive => {
                "fewer poles: a leg that was cut off would stay live while the contactor is open"
            }
            Reason::FeedPastThePole => {
                "more than the one pole that was there: look whether a crankcase heater or another load is fed past it"
            }
            Reason::CoilCloses => {
                "not its rating, though within the share at which a contactor must close: measure the control volts under load first"
            }
            Reason::OnlyResistive => {
                "rated for resistive loads only, which says nothing of a motor's amps: find its motor rating"
            }
            Reason::NearTheRating => {
                "not among its ratings, though within 10 % of one: read its plate and the maker's instructions"
            }
            Reason::OneSizeUp => {
                "more power than was there: the load decides what it draws; the maker's instructions decide"
            }
            Reason::CircuitToBeChecked => {
                "draws more than the failed one: check wires, overload and breaker first"
            }
            Reason::Reversible => "turns either way: connect it for the failed one's direction",
            Reason::OneCommon => "both have one side on the same terminal",
            Reason::NoCommon => {
                "the two have no side in common: one can with one common terminal would join them"
            }
            Reason::CommonNotKnown => {
                "one can has one common terminal: look whether both have a side on the same line"
            }
            Reason::Replaces => "its maker names it in the place of that number",
            Reason::OtherNumber => "another number: the maker's list of replacements decides",
        }
    }
}

/// One criterion.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Row {
    /// What was compared.
    pub aspect: Aspect,
    /// What it came to.
    pub outcome: Outcome,
    /// Why.
    pub reason: Reason,
    /// The value that is asked for, where it is a number and known.
    pub asked: Option<f64>,
    /// The other part's.
    pub offered: Option<f64>,
    /// The UCUM code of both; `1` for a share or a count.
    pub unit: &'static str,
    /// The rule's name.
    pub rule: &'static str,
    /// Where the rule comes from.
    pub source: Source,
}

/// The most rows that a report has: no kind of part has more criteria.
pub const MOST_ROWS: usize = 20;

/// Every criterion of one part against another.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Report {
    rows: heapless::Vec<Row, MOST_ROWS>,
}

impl Report {
    /// The criteria, in the order of the part's plate.
    #[must_use]
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// The worst of the criteria; unknown where there is none.
    #[must_use]
    pub fn outcome(&self) -> Outcome {
        let worst = self.rows.iter().map(|row| row.outcome).max();
        worst.unwrap_or(Outcome::Unknown)
    }

    /// The criterion of this aspect, if it was compared.
    #[must_use]
    pub fn row(&self, aspect: Aspect) -> Option<&Row> {
        self.rows.iter().find(|row| row.aspect == aspect)
    }

    fn push(&mut self, row: Row) {
        // `MOST_ROWS` holds every kind's criteria: a test counts them.
        let _ = self.rows.push(row);
    }
}

/// Volts from low to high: what a part is rated for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Span {
    /// The lower end.
    pub low: Volts,
    /// The upper end; the lower one again where there is one value.
    pub high: Volts,
}

impl Span {
    /// One value.
    #[must_use]
    pub const fn at(volts: Volts) -> Self {
        Span {
            low: volts,
            high: volts,
        }
    }

    /// Both ends.
    fn ends(self) -> [f64; 2] {
        [self.low.get(), self.high.get()]
    }

    /// Whether it is a rating: over zero, and not from high to low.
    fn is_sound(self) -> bool {
        let [low, high] = self.ends();
        low > 0.0 && high >= low
    }

    /// Whether the whole of another lies within it.
    fn holds(self, other: Span) -> bool {
        let [low, high] = self.ends();
        let within = |v: f64| (v > low || same(v, low)) && (v < high || same(v, high));
        other.ends().into_iter().all(within)
    }
}

/// The mains frequencies that a part is marked for. Of a failed part: those that it works at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub struct Mains {
    /// 50 Hz.
    pub fifty: bool,
    /// 60 Hz.
    pub sixty: bool,
}

impl Mains {
    /// 60 Hz alone.
    pub const SIXTY: Mains = Mains {
        fifty: false,
        sixty: true,
    };
    /// 50 Hz alone.
    pub const FIFTY: Mains = Mains {
        fifty: true,
        sixty: false,
    };
    /// Both.
    pub const BOTH: Mains = Mains {
        fifty: true,
        sixty: true,
    };

    /// The lower one, if there is any.
    #[must_use]
    pub const fn lowest(self) -> Option<f64> {
        match (self.fifty, self.sixty) {
            (true, _) => Some(50.0),
            (false, true) => Some(60.0),
            (false, false) => None,
        }
    }

    /// The higher one, if there is any.
    #[must_use]
    pub const fn highest(self) -> Option<f64> {
        match (self.fifty, self.sixty) {
            (_, true) => Some(60.0),
            (true, false) => Some(50.0),
            (false, false) => None,
        }
    }

    /// Whether everything that `other` has is here too.
    #[must_use]
    pub const fn covers(self, other: Mains) -> bool {
        (self.fifty || !other.fifty) && (self.sixty || !other.sixty)
    }

    /// What both have.
    #[must_use]
    pub const fn common(self, other: Mains) -> Mains {
        Mains {
            fifty: self.fifty && other.fifty,
            sixty: self.sixty && other.sixty,
        }
    }
}

/// Continuous or intermittent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Duty {
    /// For short times: a start capacitor, a motor of short-time duty.
    Intermittent,
    /// For good: a run capacitor, a motor of continuous duty.
    Continuous,
}

/// Numbers that are meant to be the same come from decimal text: they differ by rounding alone.
const ROUNDING: f64 = 1e-9;

/// Whether a value that the failed part does not bear is asked for all the same.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Need {
    Always,
    IfMarked,
}

/// What two values are compared by.
#[derive(Clone, Copy)]
struct By {
    aspect: Aspect,
    unit: &'static str,
    rule: &'static Rule,
    need: Need,
}

const fn always(aspect: Aspect, unit: &'static str, rule: &'static Rule) -> By {
    By {
        aspect,
        unit,
        rule,
        need: Need::Always,
    }
}

const fn if_marked(aspect: Aspect, unit: &'static str, rule: &'static Rule) -> By {
    By {
        aspect,
        unit,
        rule,
        need: Need::IfMarked,
    }
}

impl By {
    fn row(
        self,
        (outcome, reason): (Outcome, Reason),
        asked: Option<f64>,
        offered: Option<f64>,
    ) -> Row {
        Row {
            aspect: self.aspect,
            outcome,
            reason,
            asked,
            offered,
            unit: self.unit,
            rule: self.rule.id,
            source: self.rule.source,
        }
    }

    /// The row of two values: what `judge` says of both; that one is missing. Nothing where nothing is
    /// asked. `number` is what is shown of a value.
    fn judge<T: Copy>(
        self,
        report: &mut Report,
        asked: Option<T>,
        offered: Option<T>,
        number: impl Fn(T) -> Option<f64>,
        judge: impl FnOnce(T, T) -> (Outcome, Reason),
    ) {
        let said = match (asked, offered) {
            (Some(a), Some(o)) => judge(a, o),
            (None, _) if self.need == Need::IfMarked => return,
            (None, _) => (Outcome::Unknown, Reason::OriginalNotKnown),
            (Some(_), None) => (Outcome::Unknown, Reason::CandidateNotKnown),
        };
        report.push(self.row(said, asked.and_then(&number), offered.and_then(&number)));
    }

    /// The offered value as a share of the asked one, against the rule.
    fn share(self, report: &mut Report, asked: Option<f64>, offered: Option<f64>) {
        self.compare(report, asked, offered, |a, o| {
            (a > 0.0 && o > 0.0).then_some(o / a)
        });
    }

    /// The offered value less the asked one, against the rule.
    fn difference(self, report: &mut Report, asked: Option<f64>, offered: Option<f64>) {
        self.compare(report, asked, offered, |a, o| Some(o - a));
    }

    fn compare(
        self,
        report: &mut Report,
        asked: Option<f64>,
        offered: Option<f64>,
        relation: impl Fn(f64, f64) -> Option<f64>,
    ) {
        self.judge(report, asked, offered, Some, |a, o| {
            let x = relation(a, o).filter(|x| x.is_finite());
            x.map_or((Outcome::Unknown, Reason::NotARating), |x| {
                held(self.rule, x, a, o)
            })
        });
    }
}

/// A relation of the two values against a rule.
fn held(rule: &Rule, x: f64, asked: f64, offered: f64) -> (Outcome, Reason) {
    if rule.lower.is_some_and(|low| x < low - ROUNDING) {
        (Outcome::Refused, Reason::Below)
    } else if rule.upper.is_some_and(|high| x > high + ROUNDING) {
        (Outcome::Refused, Reason::Above)
    } else if same(asked, offered) {
        (Outcome::Fits, Reason::Same)
    } else {
        (Outcome::Fits, Reason::Better)
    }
}

/// Whether two numbers differ by rounding alone.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= ROUNDING * a.abs().max(b.abs())
}

/// The frequencies of a coil or a motor: each of the failed part's must be among the other's.
fn frequencies(by: By, report: &mut Report, asked: Option<Mains>, offered: Option<Mains>) {
    by.judge(report, asked, offered, Mains::highest, |a, o| {
        if a == o {
            (Outcome::Fits, Reason::Same)
        } else if o.covers(a) {
            (Outcome::Fits, Reason::Within)
        } else {
            (Outcome::Refused, Reason::Different)
        }
    });
}
