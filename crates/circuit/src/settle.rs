//! How a unit under power comes to stand: relays judge the lines, contactors follow their coils
//! and controls heat and pressure, motors start, stall or trip, start relays and driven
//! fans follow, breakers and fuses open on too much current.

use crate::follow;
use crate::motion::{balance, set_slip, standstill};
use crate::network::{Alternating, Element, Node, OPEN_OHMS, Phasor};
use crate::operate::{AsFound, LINE_HERTZ, Motion, OVERLOAD_RATIO, STALLED_OPEN_SHARE};
use crate::parts::{Assembly, MotorDevice, Overcurrent, ProtectiveRelay, Watches};
use crate::sheet::FaultId;
use crate::surroundings;
use crate::unit::{Circuit, Drawn, set_ohms};

/// How the motors were before the power came on.
pub(crate) enum Before<'a> {
    /// Left to themselves for long: what stalls has opened its overload, or will.
    LongOn,
    /// The same with the liquid line shut by hand.
    PumpedDown,
    /// In the first seconds after every control was reset by hand; what is hot is hot still.
    Reset(&'a AsFound<'a>),
    /// Cold: overloads closed, and nothing had time to open. Breakers and fuses stand as they were
    /// found; what is reset by hand was reset.
    Cold(&'a AsFound<'a>),
}

pub(crate) fn open_all(elements: &mut [Element], which: &[usize]) {
    for &e in which {
        set_ohms(&mut elements[e], OPEN_OHMS);
    }
}

pub(crate) fn release(assembly: &mut Assembly) {
    for contactor in &assembly.contactors {
        for pole in &contactor.poles {
            let closed = pole.stuck == Some(true);
            set_ohms(
                &mut assembly.elements[pole.element],
                if closed { pole.closed_ohms } else { OPEN_OHMS },
            );
        }
    }
}

/// Puts a unit under power and lets it settle. Returns also the breakers and fuses that opened by
/// their current.
pub(crate) fn run<'c>(
    circuit: &'c Circuit<'_>,
    drawn: &Drawn,
    faults: &[FaultId],
    before: &Before<'_>,
) -> (AsFound<'c>, Vec<usize>) {
    let mut assembly = circuit.assemble(drawn, faults);
    let mut open: Vec<bool> = assembly.overcurrent.iter().map(|o| o.open).collect();
    // Controls that heat or pressure opened, and that stay open.
    let mut held = surroundings::tripped(&assembly);
    let long_on = matches!(before, Before::LongOn | Before::PumpedDown);
    if let Before::Reset(found) | Before::Cold(found) = before {
        open.clone_from(&found.open);
        held.fill(false);
    }
    let mut tripped: Vec<bool> = assembly
        .relays
        .iter()
        .map(|r| r.failed || (r.tripped && long_on))
        .collect();
    let mut opened = Vec::new();
    loop {
        if matches!(before, Before::PumpedDown) {
            surroundings::shut_valves(&mut assembly);
        }
        for (device, &open) in assembly.overcurrent.clone().iter().zip(&open) {
            if open {
                open_all(&mut assembly.elements, &device.elements);
            }
        }
        for (relay, &tripped) in assembly.relays.iter().zip(&tripped) {
            if tripped {
                set_ohms(&mut assembly.elements[relay.contact], OPEN_OHMS);
            }
        }
        let stands = Stands {
            open: &open,
            tripped: &tripped,
            held: &held,
            hot: !matches!(before, Before::Cold(_)),
        };
        match settle(circuit, drawn, &mut assembly, &stands, long_on) {
            Settled::Stands {
                live,
                pulled_in,
                motion,
                closed,
                driven,
            } => {
                let found = AsFound {
                    live,
                    assembly,
                    pulled_in,
                    motion,
                    driven,
                    open,
                    tripped,
                    closed,
                };
                return (found, opened);
            }
            Settled::Opens(over) => {
                open[over] = true;
                opened.push(over);
            }
            Settled::Trips(relay) => tripped[relay] = true,
            Settled::Holds(control) => held[control] = true,
        }
        // From rest: nothing of the last attempt is left.
        assembly = circuit.assemble(drawn, faults);
    }
}

/// What comes of letting a unit settle.
enum Settled<'c> {
    /// It stands so.
    Stands {
        live: Alternating<'c>,
        pulled_in: Vec<bool>,
        motion: Vec<Motion>,
        closed: Vec<bool>,
        driven: Vec<Motion>,
    },
    /// This breaker or fuse opens by its current.
    Opens(usize),
    /// This protective relay trips.
    Trips(usize),
    /// This control opens by heat or pressure, and stays open.
    Holds(usize),
}

/// What stands open while a unit settles.
struct Stands<'a> {
    /// Breakers and fuses.
    open: &'a [bool],
    /// Protective relays.
    tripped: &'a [bool],
    /// Controls that heat or pressure opened.
    held: &'a [bool],
    /// Overloads that heat opened from a cause outside the circuit.
    hot: bool,
}

/// Lets contactors, controls and motors settle with breakers, fuses, relays and held controls as they
/// stand.
fn settle<'c>(
    circuit: &'c Circuit<'_>,
    drawn: &Drawn,
    assembly: &mut Assembly,
    stands: &Stands<'_>,
    long_on: bool,
) -> Settled<'c> {
    let Stands {
        open,
        tripped,
        held,
        ..
    } = *stands;
    let mut pulled_in = vec![false; assembly.contactors.len()];
    let mut motion = vec![Motion::Still; assembly.motors.len()];
    let mut picked = vec![false; assembly.start_relays.len()];
    release(assembly);
    let mut closed = surroundings::rest(assembly, held);
    for (m, motor) in assembly.motors.iter().enumerate() {
        set_slip(&mut assembly.elements[motor.element], 1.0);
        if motor.overheated && stands.hot {
            motion[m] = Motion::Tripped;
            open_all(&mut assembly.elements, &motor.protectors);
        }
    }
    // Coils first: motors stand still while the contactors pull in.
    let at_rest = loop {
        let now = solve(circuit, assembly);
        if let Some(over) = overcurrent(assembly, open, &now, |o| o.at_once_amps) {
            return Settled::Opens(over);
        }
        // A monitor waits some seconds before it trips: a start does not trip it.
        if !pulled_in.contains(&true)
            && let Some(relay) = wrong_lines(assembly, tripped, &now)
        {
            return Settled::Trips(relay);
        }
        let mut changed = follow::pick_up(assembly, &now, &mut picked);
        for (c, contactor) in assembly.contactors.iter().enumerate() {
            let pulls = now.across(contactor.coil).norm() >= contactor.pull_in_volts;
            if pulls && !pulled_in[c] && (long_on || !contactor.delayed) {
                pulled_in[c] = true;
                changed = true;
                for pole in contactor.poles.iter().filter(|p| p.stuck.is_none()) {
                    set_ohms(&mut assembly.elements[pole.element], pole.closed_ohms);
                }
            }
        }
        changed |= surroundings::close(assembly, &now, held, &mut closed);
        if !changed {
            break now;
        }
    };
    // Motors at standstill: start, stall, or nothing to stall on.
    for (m, motor) in assembly.motors.iter().enumerate() {
        if motion[m] != Motion::Tripped {
            motion[m] = standstill(assembly, motor, &at_rest);
        }
    }
    let mut changed = false;
    for (m, motor) in assembly.motors.iter().enumerate() {
        match motion[m] {
            Motion::Running => changed = true,
            Motion::Backwards => {
                let slip = 2.0 - motor.running_slip;
                set_slip(&mut assembly.elements[motor.element], slip);
                changed = true;
            }
            Motion::Stalled if long_on && opens(motor, drawn) => {
                motion[m] = Motion::Tripped;
                open_all(&mut assembly.elements, &motor.protectors);
                changed = true;
            }
            _ => {}
        }
    }
    follow::come_up(circuit, assembly, &motion, &mut picked);
    let mut live = if changed {
        solve(circuit, assembly)
    } else {
        at_rest
    };
    if changed {
        live = balance(circuit, assembly, &mut motion, live);
    }
    let overloads: Vec<bool> = assembly
        .motors
        .iter()
        .zip(&motion)
        .map(|(motor, motion)| match motion {
            Motion::Stalled => true,
            Motion::Running | Motion::Backwards => {
                let limit = OVERLOAD_RATIO * motor.rated_amps;
                let over = |&p: &usize| through(&live, &assembly.elements[p]) > limit;
                motor.protectors.iter().any(over)
            }
            _ => false,
        })
        .collect();
    if long_on {
        let mut changed = false;
        for (m, motor) in assembly.motors.iter().enumerate() {
            if overloads[m] && opens(motor, drawn) {
                motion[m] = Motion::Tripped;
                set_slip(&mut assembly.elements[motor.element], 1.0);
                open_all(&mut assembly.elements, &motor.protectors);
                changed = true;
            }
        }
        if changed {
            live = solve(circuit, assembly);
            if follow::drop_out(assembly, &live, &mut picked) {
                live = solve(circuit, assembly);
            }
        }
        if let Some(relay) = overloaded(assembly, tripped, drawn, &live) {
            return Settled::Trips(relay);
        }
    }
    let driven = follow::drive(assembly, &live);
    if driven.iter().any(|m| *m != Motion::Still) {
        live = solve(circuit, assembly);
    }
    // Such a motor opens its overload long before the breaker's thermal element opens.
    if !overloads.contains(&true) {
        if let Some(over) = overcurrent(assembly, open, &live, |o| o.held_amps) {
            return Settled::Opens(over);
        }
        if let Some(relay) = wrong_lines(assembly, tripped, &live) {
            return Settled::Trips(relay);
        }
    }
    if long_on && let Some(c) = surroundings::opens(assembly, drawn, &live, &motion, &closed) {
        return Settled::Holds(c);
    }
    Settled::Stands {
        live,
        pulled_in,
        motion,
        closed,
        driven,
    }
}

/// Whether an overloaded motor's own protector stands open when it is looked at.
fn opens(motor: &MotorDevice, drawn: &Drawn) -> bool {
    !motor.protectors.is_empty() && drawn.chance[motor.part] < STALLED_OPEN_SHARE
}

pub(crate) fn solve<'c>(circuit: &'c Circuit<'_>, assembly: &Assembly) -> Alternating<'c> {
    Alternating::solve(&circuit.pattern, &assembly.elements, LINE_HERTZ, true)
}

/// Amperes through a two-terminal element.
pub(crate) fn through(now: &Alternating<'_>, element: &Element) -> f64 {
    now.currents(element)[0].norm()
}

/// The breaker or fuse that opens: of those over their limit the one that is most over it.
fn overcurrent(
    assembly: &Assembly,
    open: &[bool],
    now: &Alternating<'_>,
    limit: impl Fn(&Overcurrent) -> f64,
) -> Option<usize> {
    let over = |device: &Overcurrent| {
        let amps = device.elements.iter();
        amps.map(|&e| through(now, &assembly.elements[e]) / limit(device))
            .fold(0.0, f64::max)
    };
    assembly
        .overcurrent
        .iter()
        .enumerate()
        .filter(|(o, _)| !open[*o])
        .map(|(o, device)| (o, over(device)))
        .filter(|(_, over)| *over > 1.0)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(o, _)| o)
}

fn standing<'a>(
    assembly: &'a Assembly,
    tripped: &'a [bool],
) -> impl Iterator<Item = (usize, &'a ProtectiveRelay)> {
    let relays = assembly.relays.iter().enumerate();
    relays.filter(|(r, _)| !tripped[*r])
}

/// The volts line to line of three lines: first to second, second to third, third to first.
fn line_volts(now: &Alternating<'_>, [a, b, c]: [Node; 3]) -> [Phasor; 3] {
    [[a, b], [b, c], [c, a]].map(|pair| now.across(pair))
}

/// Whether three lines are there and in order: the second line-to-line volts lag the first by
/// about a third of a turn.
pub(crate) fn in_order(now: &Alternating<'_>, lines: [Node; 3]) -> bool {
    let [first, second, _] = line_volts(now, lines);
    let size = first.norm() * second.norm();
    size > 1.0 && (first * second.conj()).im > 0.5 * size
}

/// A monitor that trips on what it sees of its three lines.
fn wrong_lines(assembly: &Assembly, tripped: &[bool], now: &Alternating<'_>) -> Option<usize> {
    standing(assembly, tripped)
        .find(|(_, relay)| match &relay.watches {
            Watches::Lines { lines, unbalance } => {
                let size = line_volts(now, *lines).map(|v| v.norm());
                let mean = size.iter().sum::<f64>() / 3.0;
                let most = size.iter().map(|v| (v - mean).abs()).fold(0.0, f64::max);
                !in_order(now, *lines) || most > unbalance * mean
            }
            Watches::Heaters { .. } => false,
        })
        .map(|(r, _)| r)
}

/// Over so many times its trip current an overload relay closes only to open again at once: its
/// contact is found open (common practice, no published source).
const AT_ONCE_RATIO: f64 = 2.5;

/// An overload relay whose heaters carry too much for long.
fn overloaded(
    assembly: &Assembly,
    tripped: &[bool],
    drawn: &Drawn,
    now: &Alternating<'_>,
) -> Option<usize> {
    standing(assembly, tripped)
        .find(|(_, relay)| match &relay.watches {
            Watches::Heaters { heaters, amps } => {
                let carried = heaters.iter();
                let over = carried
                    .map(|&h| through(now, &assembly.elements[h]) / amps)
                    .fold(0.0, f64::max);
                // It opens and closes again with the heat, as a motor's own does.
                let open = drawn.chance[relay.part] < STALLED_OPEN_SHARE;
                over > AT_ONCE_RATIO || (over > 1.0 && open)
            }
            Watches::Lines { .. } => false,
        })
        .map(|(r, _)| r)
}
