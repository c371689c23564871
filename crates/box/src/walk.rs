//! What every walk shares: what it wants next, and the way to an open gate.

use ohmtrail_core::accuracy::{AccuracyTable, Circuit, Measured, Quantity, Void, measure};
use ohmtrail_core::gates::{
    Act, Event, Gate, GatePlan, Gates, Known, Pair, Seen, Step as GateStep,
};
use ohmtrail_core::leads::Leads;
use ohmtrail_core::reading::{Function, Reading, Shown};
use ohmtrail_core::units::{Micros, Ohms};
use ohmtrail_core::verdict::Decision;
use ohmtrail_link::card::Step;
use ohmtrail_link::message::Light;

use crate::front::{FrontEnd, METER};

/// What a walk wants next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Want {
    /// Something is to be done, and confirmed.
    Do(Step),
    /// Something is to be looked at: yes or no.
    Look(Step),
    /// A value, once the probes are said to be on the points.
    Measure {
        /// The step.
        step: Step,
        /// What the front end is set to.
        function: Function,
        /// The points; none where the value is not between two points.
        points: Option<Pair>,
    },
    /// A time must pass.
    Wait(Step),
    /// Nothing: it is over.
    Over,
}

impl Want {
    /// The step, if there is one.
    #[must_use]
    pub const fn step(&self) -> Option<Step> {
        match self {
            Want::Do(step) | Want::Look(step) | Want::Wait(step) | Want::Measure { step, .. } => {
                Some(*step)
            }
            Want::Over => None,
        }
    }
}

/// The way to an open gate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// It is open.
    Open,
    /// This is wanted first.
    Want(Want),
    /// It cannot be opened in this walk.
    Barred,
}

/// The next thing on the way to a gate.
#[must_use]
pub fn towards(gates: &Gates<'_>, gate: Gate, front: &FrontEnd, now: Micros) -> Way {
    let measure = |step, function, points| {
        if front.has(function) {
            Way::Want(Want::Measure {
                step,
                function,
                points: Some(points),
            })
        } else {
            Way::Barred
        }
    };
    match gates.next_step(gate, now) {
        GateStep::Open => Way::Open,
        GateStep::NotForThis | GateStep::Stop | GateStep::CheckGround(_) => Way::Barred,
        GateStep::ReadLine(pair) => measure(Step::ReadLine, Function::VoltsAc, pair),
        GateStep::ReadDead {
            function, points, ..
        } => {
            let nth = gates.plan().pairs().position(|p| p == points);
            let nth = nth.and_then(|n| u8::try_from(n).ok()).unwrap_or(u8::MAX);
            let step = match function {
                Function::VoltsAc => Step::DeadAc(nth),
                _ => Step::DeadDc(nth),
            };
            measure(step, function, points)
        }
        GateStep::ReadCharge { points, .. } => {
            let nth = gates.plan().capacitors.iter().position(|p| *p == points);
            let nth = nth.and_then(|n| u8::try_from(n).ok()).unwrap_or(u8::MAX);
            measure(Step::Charge(nth), Function::VoltsDc, points)
        }
        GateStep::ProveMeter => {
            let function = [Function::VoltsAc, Function::VoltsDc]
                .into_iter()
                .find(|f| front.has(*f));
            match function {
                Some(function) => Way::Want(Want::Measure {
                    step: Step::ProveMeter,
                    function,
                    points: None,
                }),
                None => Way::Barred,
            }
        }
        GateStep::Wait { .. } => Way::Want(Want::Wait(Step::Rest)),
        other => Step::try_from(other).map_or(Way::Barred, |step| Way::Want(Want::Do(step))),
    }
}

/// Tells the gates that a step was done; whether it is one of theirs.
pub fn tell(gates: &mut Gates<'_>, step: Step, at: Micros) -> bool {
    let act = match step {
        Step::LayOnBench => Act::OnBench,
        Step::Drain => Act::Drain,
        Step::OpenBreaker => Act::OpenBreaker,
        Step::LockDisconnect => Act::LockDisconnect,
        Step::LockAndTag => Act::LockAndTag,
        Step::FitCovers => Act::CoversOn,
        Step::ClearPeople => Act::PeopleClear,
        Step::OpenSource(source) => Act::OpenSource(source),
        Step::CloseBreaker => Act::CloseBreaker,
        Step::Insulate => {
            // Each end becomes insulated, so there are at most as many turns as ends.
            for _ in 0..ohmtrail_core::gates::MAX_LIFTED {
                let bare = gates.lifted().find(|(_, insulated)| !insulated);
                let Some((point, _)) = bare else { break };
                let act = Act::Insulate(point);
                gates.on(&Event::Act { act, at });
            }
            return true;
        }
        _ => return false,
    };
    gates.on(&Event::Act { act, at });
    true
}

/// Tells the gates a settled value of one of their steps; whether it is one of theirs.
pub fn tell_take(gates: &mut Gates<'_>, step: Step, seen: &Seen) -> Option<Outcome> {
    let event = match step {
        Step::ProveMeter => Event::Proof {
            meter: METER,
            seen: Some(Known {
                function: seen.function,
                value: seen.value,
                uncertainty: seen.uncertainty,
                flags: seen.flags,
            }),
            at: seen.at,
        },
        Step::ReadLine
        | Step::DeadAc(_)
        | Step::DeadDc(_)
        | Step::Charge(_)
        | Step::VoltsAt(_)
        | Step::VoltsToGround(_)
        | Step::VoltsAtEnd(..) => Event::Take(*seen),
        _ => return None,
    };
    let told = gates.on(&event);
    Some(Outcome {
        alarm: told.alarm.is_some(),
        counted: told.not_counted.is_none(),
    })
}

/// What the gates made of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outcome {
    /// A live value where there should be none.
    pub alarm: bool,
    /// It brought its gate nearer.
    pub counted: bool,
}

/// A value as the gates want it.
#[must_use]
pub fn seen(front: &FrontEnd, reading: &Reading, points: Option<Pair>) -> Seen {
    let measured = measure(reading, reading.function, Circuit::Dead, front.accuracy);
    let (value, uncertainty) = match (measured, reading.shown) {
        (Ok(m), _) => (m.value, m.u),
        (Err(_), Shown::Overload) => (f64::INFINITY, 0.0),
        // A value without a stated accuracy proves nothing.
        (Err(_), shown) => (
            shown.decimal().map_or(f64::INFINITY, |d| d.value()),
            f64::INFINITY,
        ),
    };
    Seen {
        function: reading.function,
        value,
        uncertainty,
        flags: reading.flags,
        meter: METER,
        points,
        at: reading.at,
    }
}

/// A value without the leads; none for an overload.
///
/// # Errors
/// Why it proves nothing.
pub fn weigh(front: &FrontEnd, leads: &Leads, reading: &Reading) -> Result<Option<Measured>, Void> {
    if reading.shown == Shown::Overload {
        return Ok(None);
    }
    let read = measure(reading, reading.function, Circuit::Dead, front.accuracy)?;
    if !matches!(reading.function, Function::Ohms | Function::Continuity) {
        return Ok(Some(read));
    }
    let left = leads.take_off(Quantity::<Ohms>::from_measured(read))?;
    Ok(Some(left.measured()))
}

/// Whether an overload on this function is beyond a limit: whether the highest stated range reaches
/// it.
#[must_use]
pub fn reaches(front: &FrontEnd, function: Function, limit: f64) -> bool {
    front
        .accuracy
        .top_of_range(function)
        .is_none_or(|top| top >= limit.min(10e6))
}

/// What the lights say to a decision: only a clear pass is a pass, and only a clear fail a fail.
#[must_use]
pub const fn light(decision: Decision) -> Light {
    match decision {
        Decision::Pass => Light::Pass,
        Decision::Fail => Light::Fail,
        Decision::ConditionalPass
        | Decision::ConditionalFail
        | Decision::NotJudged
        | Decision::Check => Light::Unsure,
    }
}

/// The worse of two: a fail beats an unsure, an unsure a pass.
#[must_use]
pub const fn worse(a: Light, b: Light) -> Light {
    match (a, b) {
        (Light::Fail, _) | (_, Light::Fail) => Light::Fail,
        (Light::Pass, Light::Pass) => Light::Pass,
        _ => Light::Unsure,
    }
}

/// The plan of a loose part whose first two points may hold a charge.
#[must_use]
pub const fn loose() -> GatePlan<'static> {
    use ohmtrail_core::gates::PointId;
    const FIRST: &[Pair] = &[[PointId(1), PointId(2)]];
    const COVERS: &[PointId] = &[
        PointId(1),
        PointId(2),
        PointId(3),
        PointId(10),
        PointId(11),
        PointId(12),
        PointId(13),
        PointId(20),
        PointId(21),
        PointId(22),
        PointId(23),
    ];
    GatePlan {
        line: &[],
        load: &[],
        load_sides: &[],
        ground: PointId(0),
        sources: &[],
        capacitors: FIRST,
        covers: COVERS,
        keep_off: &[],
        protectors: &[],
    }
}
