//! What a motor does at its terminals' volts: whether it starts, which way it turns, and how far
//! its load slows it down.

use crate::network::{Alternating, Element};
use crate::operate::{LINE_HERTZ, Motion, OVERLOAD_RATIO};
use crate::parts::{Assembly, MotorDevice};
use crate::settle::{solve, through};
use crate::unit::Circuit;

/// Share of its load that a fan or a scroll compressor takes when it turns the wrong way (common
/// practice, no published source: a fan moves part of its air, a scroll pumps nothing).
const BACKWARDS_LOAD: f64 = 0.4;

/// How near to its load's torque a motor's must come, as a share.
const NEAR: f64 = 0.01;

/// Steps that a motor has to find the slip at which it carries its load.
const STEPS: usize = 12;

/// A slip that no loaded motor holds: past its breakdown torque it stalls.
const LOST: f64 = 0.6;

/// Sets a motor's slip.
pub(crate) fn set_slip(element: &mut Element, value: f64) {
    if let Element::Motor { slip, .. } | Element::ThreePhaseMotor { slip, .. } = element {
        *slip = value;
    }
}

/// The torque of a motor as it stands, synchronous watts.
fn torque(now: &Alternating<'_>, element: &Element) -> f64 {
    let currents = now.currents(element);
    match element {
        Element::Motor { data, slip, .. } => {
            data.torque(LINE_HERTZ, *slip, [currents[0], currents[1]])
        }
        Element::ThreePhaseMotor { data, slip, .. } => data.torque(LINE_HERTZ, *slip, currents),
        _ => 0.0,
    }
}

/// What a motor does that stands still and has just been given these volts.
pub(crate) fn standstill(
    assembly: &Assembly,
    motor: &MotorDevice,
    now: &Alternating<'_>,
) -> Motion {
    let element = &assembly.elements[motor.element];
    let (ohms, through) = match element {
        Element::Motor { data, .. } => {
            let amps = |p: &usize| through(now, &assembly.elements[*p]);
            (
                data.impedance(LINE_HERTZ, 1.0)[0][0].norm(),
                motor.protectors.iter().map(amps).fold(0.0, f64::max),
            )
        }
        Element::ThreePhaseMotor { data, .. } => {
            let amps = now.currents(element);
            (
                data.sequences(LINE_HERTZ, 1.0)[1].norm(),
                amps.iter().map(|i| i.norm()).fold(0.0, f64::max),
            )
        }
        _ => return Motion::Still,
    };
    // Less than a tenth of what a winding draws at 100 V: nothing that heats.
    if through < 10.0 / ohms {
        return Motion::Still;
    }
    let torque = torque(now, element);
    if !motor.seized && torque.abs() >= motor.breakaway_watts {
        // Without a load of its own to hold against, which way it turns shows nowhere.
        if motor.load_watts.is_some() && torque < 0.0 {
            Motion::Backwards
        } else {
            Motion::Running
        }
    } else if through < OVERLOAD_RATIO * motor.rated_amps {
        Motion::Humming
    } else {
        Motion::Stalled
    }
}

/// Lets every turning motor that has a load slow down until it carries it: more slip, more torque,
/// up to the breakdown torque. One that cannot stalls.
pub(crate) fn balance<'c>(
    circuit: &'c Circuit<'_>,
    assembly: &mut Assembly,
    motion: &mut [Motion],
    mut now: Alternating<'c>,
) -> Alternating<'c> {
    for _ in 0..STEPS {
        let mut changed = false;
        for (motor, motion) in assembly.motors.iter().zip(motion.iter_mut()) {
            let (load, backwards) = match (motor.load_watts, *motion) {
                (Some(load), Motion::Running) => (load, false),
                (Some(load), Motion::Backwards) => (BACKWARDS_LOAD * load, true),
                _ => continue,
            };
            let element = &mut assembly.elements[motor.element];
            let Element::ThreePhaseMotor { slip, .. } = element else {
                continue;
            };
            let own = if backwards { 2.0 - *slip } else { *slip };
            let carries = if backwards { -1.0 } else { 1.0 } * torque(&now, element);
            if (carries / load - 1.0).abs() < NEAR {
                continue;
            }
            changed = true;
            // Under breakdown the torque goes with the slip.
            let next = own * (load / carries.max(0.1 * load)).clamp(0.5, 2.0);
            if next > LOST {
                *motion = Motion::Stalled;
                set_slip(element, 1.0);
            } else {
                set_slip(element, if backwards { 2.0 - next } else { next });
            }
        }
        if !changed {
            break;
        }
        now = solve(circuit, assembly);
    }
    now
}
