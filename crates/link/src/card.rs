//! The numbers that a box shows for its steps. Words need paper: the host prints the card that goes
//! with a load, and the box shows the number of a line of it.

use ohmtrail_core::gates::Step as Gate;

/// A step of a walk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Confirm that the part is out of its unit, with nothing connected.
    LayOnBench,
    /// Hold the box's probes on a known live source.
    ProveMeter,
    /// Drain the capacitors through a resistor, with insulated probes.
    Drain,
    /// Open the breaker that feeds the unit.
    OpenBreaker,
    /// Open and lock a disconnect within sight.
    LockDisconnect,
    /// Hang lock and tag.
    LockAndTag,
    /// Put every lifted wire end back.
    PutBack,
    /// Insulate every lifted end.
    Insulate,
    /// Fit the covers.
    FitCovers,
    /// See that people are clear.
    ClearPeople,
    /// Take the lock off and close the breaker.
    CloseBreaker,
    /// Wait until the motors are cold.
    Cool,
    /// Wait until the compressor has rested.
    Rest,
    /// Read the line, live.
    ReadLine,
    /// Open and lock the other source of this number, 0 to 15.
    OpenSource(u8),
    /// Lift the wire ends of this set, 1 to 199.
    Lift(u8),
    /// Read AC volts at the pair of this number, 0 to 127, that must be dead.
    DeadAc(u8),
    /// Read DC volts there.
    DeadDc(u8),
    /// Read DC volts at the capacitor pair of this number, 0 to 15.
    Charge(u8),
    /// The measurement of this number of a test of a part, 0 to 15.
    Part(u8),
    /// The ask of this number, up to 1999.
    Ask(u16),
    /// Read AC volts at the points of the ask of this number, which the proof at the poles did not
    /// read, up to 1999.
    VoltsAt(u16),
    /// Read AC volts from the first of these points to ground.
    VoltsToGround(u16),
    /// Read AC volts from a wire end to ground before it is touched: the set, 1 to 124, and the
    /// place of the end in it, 0 to 7.
    VoltsAtEnd(u8, u8),
}

const ACTS: [(u16, Step); 14] = [
    (1, Step::LayOnBench),
    (2, Step::ProveMeter),
    (3, Step::Drain),
    (4, Step::OpenBreaker),
    (5, Step::LockDisconnect),
    (6, Step::LockAndTag),
    (7, Step::PutBack),
    (8, Step::Insulate),
    (9, Step::FitCovers),
    (10, Step::ClearPeople),
    (11, Step::CloseBreaker),
    (12, Step::Cool),
    (13, Step::Rest),
    (14, Step::ReadLine),
];

const SOURCES: u16 = 20;
const CHARGES: u16 = 40;
const PARTS: u16 = 60;
const LIFTS: u16 = 100;
const DEAD_AC: u16 = 300;
const DEAD_DC: u16 = 500;
const ASKS: u16 = 1000;
const VOLTS: u16 = 3000;
const TO_GROUND: u16 = 5000;
const ENDS: u16 = 9000;
/// Wire ends that a set has at most.
const IN_SET: u16 = crate::load::ENDS as u16;

impl Step {
    /// The number on the card; 0 for a step that has none.
    #[must_use]
    pub fn number(self) -> u16 {
        let within = |base: u16, n: u8, most: u8| {
            if n < most {
                base.saturating_add(u16::from(n))
            } else {
                0
            }
        };
        match self {
            Step::OpenSource(n) => within(SOURCES, n, 16),
            Step::Charge(n) => within(CHARGES, n, 16),
            Step::Part(n) => within(PARTS, n, 16),
            Step::Lift(n) => within(LIFTS, n, 200),
            Step::DeadAc(n) => within(DEAD_AC, n, 128),
            Step::DeadDc(n) => within(DEAD_DC, n, 128),
            Step::Ask(n) if n < 2000 => ASKS.saturating_add(n),
            Step::VoltsAt(n) if n < 2000 => VOLTS.saturating_add(n),
            Step::VoltsToGround(n) if n < 2000 => TO_GROUND.saturating_add(n),
            Step::VoltsAtEnd(set, nth) if (1..=124).contains(&set) && u16::from(nth) < IN_SET => {
                let set = u16::from(set).saturating_mul(IN_SET);
                ENDS.saturating_add(set).saturating_add(u16::from(nth))
            }
            Step::Ask(_) | Step::VoltsAt(_) | Step::VoltsToGround(_) | Step::VoltsAtEnd(..) => 0,
            act => ACTS
                .iter()
                .find(|(_, step)| *step == act)
                .map_or(0, |(number, _)| *number),
        }
    }

    /// The step of a number.
    #[must_use]
    pub fn of(number: u16) -> Option<Step> {
        let above = |base: u16| u8::try_from(number.saturating_sub(base)).ok();
        match number {
            1..=14 => ACTS
                .iter()
                .find(|(n, _)| *n == number)
                .map(|(_, step)| *step),
            20..=35 => above(SOURCES).map(Step::OpenSource),
            40..=55 => above(CHARGES).map(Step::Charge),
            60..=75 => above(PARTS).map(Step::Part),
            100..=299 => above(LIFTS).map(Step::Lift),
            300..=427 => above(DEAD_AC).map(Step::DeadAc),
            500..=627 => above(DEAD_DC).map(Step::DeadDc),
            1000..=2999 => Some(Step::Ask(number.saturating_sub(ASKS))),
            3000..=4999 => Some(Step::VoltsAt(number.saturating_sub(VOLTS))),
            5000..=6999 => Some(Step::VoltsToGround(number.saturating_sub(TO_GROUND))),
            9008..=9999 => {
                let end = number.saturating_sub(ENDS);
                let set = u8::try_from(end / IN_SET).ok()?;
                let nth = u8::try_from(end % IN_SET).ok()?;
                Some(Step::VoltsAtEnd(set, nth))
            }
            _ => None,
        }
    }

    /// What to do, where no sheet is needed to say it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Step::LayOnBench => "confirm: the part is out of its unit, nothing is connected to it",
            Step::ProveMeter => {
                "hold the probes on a known live source, then confirm: a dead reading proves \
                 nothing with a box that cannot read"
            }
            Step::Drain => {
                "discharge the capacitors through a resistor, with insulated probes; never with a \
                 screwdriver"
            }
            Step::OpenBreaker => "open the breaker that feeds the unit",
            Step::LockDisconnect => {
                "open and lock a disconnect in sight of the unit: the breaker is known by its \
                 label only"
            }
            Step::LockAndTag => "hang your own lock and its tag, and keep the key",
            Step::PutBack => "put every lifted wire end back where it was",
            Step::Insulate => "insulate every lifted wire end, each by itself",
            Step::FitCovers => "fit the covers",
            Step::ClearPeople => "see that people are clear and tools are out",
            Step::CloseBreaker => "take the lock off and close the breaker",
            Step::Cool => "leave the unit off until its motors are cold",
            Step::Rest => "wait: a compressor rests about 5 minutes between starts",
            Step::ReadLine => "read AC volts at the line side, before the breaker is opened",
            Step::OpenSource(_) => "open and lock the other source",
            Step::Lift(_) => "lift these wire ends, note mark and terminal of each first",
            Step::DeadAc(_) => "test for absence of voltage: read AC volts",
            Step::DeadDc(_) => "test for absence of voltage: read DC volts",
            Step::Charge(_) => "read DC volts at the capacitor",
            Step::Part(_) => "measure at the part",
            Step::Ask(_) => "measure, or look",
            Step::VoltsAt(_) => {
                "AC volts first: the test for absence of voltage did not read these points"
            }
            Step::VoltsToGround(_) => {
                "AC volts to ground first: the test for absence of voltage did not read this point"
            }
            Step::VoltsAtEnd(..) => {
                "AC volts to ground first: the test for absence of voltage did not read this wire \
                 end"
            }
        }
    }
}

impl TryFrom<Gate> for Step {
    type Error = Gate;

    /// The step that a gate asks for, where it is one by itself; one that names points or a time
    /// is given back.
    fn try_from(gate: Gate) -> Result<Self, Gate> {
        Ok(match gate {
            Gate::LayOnBench => Step::LayOnBench,
            Gate::ProveMeter => Step::ProveMeter,
            Gate::Drain => Step::Drain,
            Gate::OpenBreaker => Step::OpenBreaker,
            Gate::LockDisconnect => Step::LockDisconnect,
            Gate::LockAndTag => Step::LockAndTag,
            Gate::FitCovers => Step::FitCovers,
            Gate::ClearPeople => Step::ClearPeople,
            Gate::OpenSource(source) => Step::OpenSource(source),
            Gate::Insulate(_) => Step::Insulate,
            Gate::ReadLine(_) => Step::ReadLine,
            Gate::Wait { .. } => Step::Rest,
            other => return Err(other),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_is_one_step_and_back() {
        let mut steps = 0;
        for number in 0..=u16::MAX {
            if let Some(step) = Step::of(number) {
                assert_eq!(step.number(), number, "{step:?}");
                steps += 1;
            }
        }
        assert_eq!(steps, 14 + 16 + 16 + 16 + 200 + 128 + 128 + 3 * 2000 + 992);
        assert_eq!(Step::Charge(16).number(), 0);
        assert_eq!(Step::Ask(2000).number(), 0);
        assert_eq!(Step::VoltsAt(2000).number(), 0);
        assert_eq!(Step::VoltsAtEnd(0, 0).number(), 0);
    }
}
