//! What follows the motors under power: potential relays, which take a start capacitor out as its
//! motor comes up to speed, and the modules that turn electronically commutated motors.

use crate::motion::set_slip;
use crate::network::{Alternating, OPEN_OHMS};
use crate::operate::Motion;
use crate::parts::Assembly;
use crate::settle::solve;
use crate::unit::{Circuit, set_ohms};

/// What a module draws that tries in vain to start its motor, as a share of its amperes (common
/// practice, no published source: bursts of current, with pauses).
const TRYING_SHARE: f64 = 0.25;

/// Slips that a starting motor is solved at on its way up.
const COMING_UP: [f64; 4] = [0.6, 0.4, 0.25, 0.15];

/// A relay that would open and close for ever is left closed after so many changes.
const MOST_CHANGES: usize = 4;

/// A lead between a module and its motor, ohms at most.
const LEAD_OHMS: f64 = 1.0;

/// Opens the contacts whose coils have their pick-up volts. Whether any changed.
pub(crate) fn pick_up(assembly: &mut Assembly, now: &Alternating<'_>, picked: &mut [bool]) -> bool {
    let mut changed = false;
    for (relay, picked) in assembly.start_relays.iter().zip(picked) {
        if !*picked && !relay.stuck && now.across(relay.coil).norm() >= relay.pick_up_volts {
            *picked = true;
            changed = true;
            set_ohms(&mut assembly.elements[relay.contact], OPEN_OHMS);
        }
    }
    changed
}

/// Closes the contacts whose coils are under their drop-out volts. Whether any changed.
pub(crate) fn drop_out(
    assembly: &mut Assembly,
    now: &Alternating<'_>,
    picked: &mut [bool],
) -> bool {
    let mut changed = false;
    for (relay, picked) in assembly.start_relays.iter().zip(picked) {
        if *picked && now.across(relay.coil).norm() < relay.drop_out_volts {
            *picked = false;
            changed = true;
            set_ohms(&mut assembly.elements[relay.contact], relay.closed_ohms);
        }
    }
    changed
}

/// Lets the motors that start come up to their running slip; the potential relays act on the way.
pub(crate) fn come_up(
    circuit: &Circuit<'_>,
    assembly: &mut Assembly,
    motion: &[Motion],
    picked: &mut [bool],
) {
    if !assembly.start_relays.is_empty() {
        for slip in COMING_UP {
            set_slips(assembly, motion, slip);
            let now = solve(circuit, assembly);
            pick_up(assembly, &now, picked);
        }
    }
    set_slips(assembly, motion, 0.0);
    if assembly.start_relays.is_empty() {
        return;
    }
    for _ in 0..MOST_CHANGES {
        let now = solve(circuit, assembly);
        if !pick_up(assembly, &now, picked) && !drop_out(assembly, &now, picked) {
            break;
        }
    }
}

/// Sets every running motor's slip, at least to that at which it runs.
fn set_slips(assembly: &mut Assembly, motion: &[Motion], at_least: f64) {
    for (motor, motion) in assembly.motors.iter().zip(motion) {
        if *motion == Motion::Running {
            let slip = at_least.max(motor.running_slip);
            set_slip(&mut assembly.elements[motor.element], slip);
        }
    }
}

/// What the driven motors do. A module whose motor turns is a load on its power plug; one whose motor
/// cannot turn tries again and again, and the motor hums or twitches.
pub(crate) fn drive(assembly: &mut Assembly, now: &Alternating<'_>) -> Vec<Motion> {
    let mut motion = vec![Motion::Still; assembly.driven.len()];
    for drive in &assembly.drives {
        let works = !drive.dead
            && now.across(drive.feed).norm() >= drive.least_volts
            && now.across(drive.signal).norm() >= drive.least_signal_volts;
        if !works {
            continue;
        }
        for (motor, motion) in assembly.driven.iter().zip(&mut motion) {
            let leads = drive.leads.iter().zip(motor.leads);
            let connected = leads
                .filter(|(a, b)| now.impedance([**a, *b]).norm() < LEAD_OHMS)
                .count();
            if connected == drive.leads.len() && motor.able {
                *motion = Motion::Running;
                set_ohms(&mut assembly.elements[drive.load], drive.load_ohms);
            } else if connected > 1 {
                *motion = Motion::Humming;
                let ohms = drive.load_ohms / TRYING_SHARE;
                set_ohms(&mut assembly.elements[drive.load], ohms);
            }
        }
    }
    motion
}
