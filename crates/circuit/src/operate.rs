//! What a unit does: under power contactors follow their coils, motors start or stall, stalled
//! motors open their overloads, breakers and fuses open on too much current; and what is left of
//! that once it is made dead.

use std::cell::OnceCell;

use crate::network::{Alternating, Direct, Element, OPEN_OHMS};
use crate::parts::{Assembly, MotorDevice, Sight};
use crate::sheet::{FaultId, Heat, PointId};
use crate::unit::{Circuit, Drawn, set_ohms};

/// Line frequency, hertz.
pub const LINE_HERTZ: f64 = 60.0;

/// Share of time that the overload of a stalled motor stands open: it opens within seconds and
/// cools for minutes (common practice, no published source).
const STALLED_OPEN_SHARE: f64 = 0.8;

/// An overload opens in the long run above this many times the rated amperes of the plate: 1.56
/// is the ratio of the most continuous to the rated-load current of a hermetic (verified at second
/// hand: UL practice as compressor makers restate it).
const OVERLOAD_RATIO: f64 = 1.56;

/// What a motor does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Motion {
    /// No current to speak of: no volts, or a winding or lead open.
    Still,
    /// It turns.
    Running,
    /// It draws current and does not turn, but too little to open its overload.
    Humming,
    /// It draws its locked-rotor current and does not turn.
    Stalled,
    /// Its overload is open from heat.
    Tripped,
}

/// How a unit stands under power with a call on.
#[derive(Debug)]
pub struct AsFound<'c> {
    /// Its network as it stands, solved.
    pub live: Alternating<'c>,
    /// Its elements, every switch where it stands.
    pub assembly: Assembly,
    /// Whether each contactor is pulled in.
    pub pulled_in: Vec<bool>,
    /// What each motor does.
    pub motion: Vec<Motion>,
    /// Whether each breaker or fuse stands open.
    pub open: Vec<bool>,
}

/// One unit under one set of faults.
#[derive(Debug)]
pub struct Unit<'c> {
    circuit: &'c Circuit<'c>,
    drawn: Drawn,
    faults: Vec<FaultId>,
    found: AsFound<'c>,
    /// Breakers and fuses that opened by the current through them.
    opened: Vec<usize>,
    /// How it stands just after a start from cold, once asked for.
    restarted: OnceCell<AsFound<'c>>,
}

/// How the motors were before the power came on.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Before {
    /// Left to themselves for long: what stalls has opened its overload, or will.
    LongOn,
    /// Cold: overloads closed, and nothing had time to open.
    Cold,
}

impl<'c> Unit<'c> {
    /// Puts the unit under power, and lets it settle.
    #[must_use]
    pub fn new(circuit: &'c Circuit<'c>, drawn: Drawn, faults: &[FaultId]) -> Self {
        let (found, opened) = run(circuit, &drawn, faults, &[], Before::LongOn);
        Unit {
            circuit,
            drawn,
            faults: faults.to_vec(),
            found,
            opened,
            restarted: OnceCell::new(),
        }
    }

    /// How it stands in the first seconds after a start from cold. Breakers and fuses that stood
    /// open still do.
    pub fn restarted(&self) -> &AsFound<'c> {
        self.restarted.get_or_init(|| {
            run(
                self.circuit,
                &self.drawn,
                &self.faults,
                &self.found.open,
                Before::Cold,
            )
            .0
        })
    }

    /// How it stands under power: long on, or just started from cold.
    #[must_use]
    pub fn standing(&self, heat: Heat) -> &AsFound<'c> {
        match heat {
            Heat::AsFound => &self.found,
            Heat::Cold => self.restarted(),
        }
    }

    /// How it stands under power.
    #[must_use]
    pub fn found(&self) -> &AsFound<'c> {
        &self.found
    }

    /// The names of what follows from its faults: an overload open from heat, a breaker or fuse
    /// open from the current through it.
    #[must_use]
    pub fn consequences(&self) -> Vec<String> {
        let sheet = self.circuit.sheet;
        let devices = &self.found.assembly;
        let mut all: Vec<String> = self
            .opened
            .iter()
            .map(|&o| {
                let part = &sheet.parts[devices.overcurrent[o].part];
                let word = if devices.overcurrent[o].line {
                    "tripped"
                } else {
                    "blown"
                };
                format!("{}.{word}", part.name)
            })
            .collect();
        for (motor, motion) in devices.motors.iter().zip(&self.found.motion) {
            if matches!(motion, Motion::Tripped | Motion::Stalled) && !motor.overheated {
                all.push(format!(
                    "{}.overload-open-from-heat",
                    sheet.parts[motor.part].name
                ));
            }
        }
        all
    }

    /// Its elements when dead: breakers of the line opened by hand, contactors released, these
    /// wire ends lifted, overloads as hot as found or cold.
    #[must_use]
    pub fn dead_elements(&self, lifted: &[PointId], heat: Heat) -> Vec<Element> {
        let mut assembly = self.circuit.assemble(&self.drawn, &self.faults);
        for (device, &open) in assembly.overcurrent.clone().iter().zip(&self.found.open) {
            if open || device.line {
                open_all(&mut assembly.elements, &device.elements);
            }
        }
        release(&mut assembly);
        if heat == Heat::AsFound {
            for (motor, motion) in assembly.motors.clone().iter().zip(&self.found.motion) {
                // A stalled one opens within seconds: by the time the unit is dead it is open too.
                if matches!(motion, Motion::Tripped | Motion::Stalled) {
                    set_ohms(&mut assembly.elements[motor.protector], OPEN_OHMS);
                }
                if let Element::Motor { data, .. } = &mut assembly.elements[motor.element] {
                    let warmer = warmth(*motion);
                    data.main_ohms *= warmer;
                    data.aux_ohms *= warmer;
                }
            }
        }
        self.circuit.lift(&mut assembly, lifted);
        assembly.elements
    }

    /// The network with the unit's breaker opened by hand, the supplies still live before it.
    /// Unless `others_open`, the breakers of other sources are still closed.
    #[must_use]
    pub fn opened(&self, lifted: &[PointId], heat: Heat, others_open: bool) -> Alternating<'c> {
        let mut elements = self.dead_elements(lifted, heat);
        if !others_open {
            let devices = &self.found.assembly.overcurrent;
            let line = devices.iter().zip(&self.found.open).filter(|(d, _)| d.line);
            for (device, &open) in line.skip(1) {
                for &e in device.elements.iter().filter(|_| !open) {
                    elements[e] = self.found.assembly.elements[e].clone();
                }
            }
        }
        Alternating::solve(&self.circuit.pattern, &elements, LINE_HERTZ, true)
    }

    /// The circuit it is drawn on.
    #[must_use]
    pub fn circuit(&self) -> &'c Circuit<'c> {
        self.circuit
    }

    /// What an ohmmeter's current sees when dead.
    #[must_use]
    pub fn dead(&self, lifted: &[PointId], heat: Heat) -> Direct<'c> {
        Direct::new(&self.circuit.pattern, &self.dead_elements(lifted, heat))
    }

    /// What a capacitance meter's current of that frequency sees when dead.
    #[must_use]
    pub fn dead_alternating(&self, lifted: &[PointId], heat: Heat, hertz: f64) -> Alternating<'c> {
        Alternating::solve(
            &self.circuit.pattern,
            &self.dead_elements(lifted, heat),
            hertz,
            false,
        )
    }

    /// What is truly seen, heard or felt.
    #[must_use]
    pub fn sees(&self, part: usize, sight: Sight, heat: Heat) -> bool {
        let now = self.standing(heat);
        let devices = &now.assembly;
        let motor = devices.motors.iter().position(|m| m.part == part);
        let motion = motor.map(|m| now.motion[m]);
        let open = devices
            .overcurrent
            .iter()
            .position(|o| o.part == part)
            .is_some_and(|o| now.open[o]);
        let has = |name: &str| {
            self.faults.iter().any(|&f| {
                let fault = &self.circuit.sheet.faults[f];
                fault.owner == part && fault.kind_name == name
            })
        };
        match sight {
            Sight::PulledIn => devices
                .contactors
                .iter()
                .position(|c| c.part == part)
                .is_some_and(|c| now.pulled_in[c] || has("welded")),
            Sight::Running => motion == Some(Motion::Running),
            Sight::Humming => matches!(motion, Some(Motion::Stalled | Motion::Humming)),
            // A start from cold has not heated it yet.
            Sight::Hot => {
                heat == Heat::AsFound && matches!(motion, Some(Motion::Stalled | Motion::Tripped))
            }
            Sight::FreeByHand => !has("seized"),
            Sight::Swollen => self
                .faults
                .iter()
                .any(|&f| self.circuit.sheet.faults[f].owner == part),
            Sight::Tripped | Sight::Blown => open,
            Sight::Pulled => has("left-open"),
        }
    }
}

/// How much a copper winding's resistance stands over its cold value just after that motion, by
/// (234.5 + t) / (234.5 + 25): 100 degrees Celsius behind an open overload, 65 after running, 45
/// after humming (the law verified at second hand; the temperatures common practice).
fn warmth(motion: Motion) -> f64 {
    let celsius = match motion {
        Motion::Still => 25.0,
        Motion::Humming => 45.0,
        Motion::Running => 65.0,
        Motion::Stalled | Motion::Tripped => 100.0,
    };
    (234.5 + celsius) / (234.5 + 25.0)
}

fn open_all(elements: &mut [Element], which: &[usize]) {
    for &e in which {
        set_ohms(&mut elements[e], OPEN_OHMS);
    }
}

fn release(assembly: &mut Assembly) {
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

/// Puts a unit under power and lets it settle; `stand_open` are breakers and fuses that are open
/// besides those of the faults. Returns also those that opened by their current.
fn run<'c>(
    circuit: &'c Circuit<'_>,
    drawn: &Drawn,
    faults: &[FaultId],
    stand_open: &[bool],
    before: Before,
) -> (AsFound<'c>, Vec<usize>) {
    let mut assembly = circuit.assemble(drawn, faults);
    let mut open: Vec<bool> = assembly.overcurrent.iter().map(|o| o.open).collect();
    for (open, stands) in open.iter_mut().zip(stand_open) {
        *open |= *stands;
    }
    let mut opened = Vec::new();
    loop {
        for (device, &open) in assembly.overcurrent.clone().iter().zip(&open) {
            if open {
                open_all(&mut assembly.elements, &device.elements);
            }
        }
        match settle(circuit, drawn, &mut assembly, &open, before) {
            Settled::Stands {
                live,
                pulled_in,
                motion,
            } => {
                let found = AsFound {
                    live,
                    assembly,
                    pulled_in,
                    motion,
                    open,
                };
                return (found, opened);
            }
            Settled::Opens(over) => {
                open[over] = true;
                opened.push(over);
            }
        }
    }
}

/// What comes of letting a unit settle.
enum Settled<'c> {
    /// It stands so.
    Stands {
        live: Alternating<'c>,
        pulled_in: Vec<bool>,
        motion: Vec<Motion>,
    },
    /// This breaker or fuse opens by its current.
    Opens(usize),
}

/// Lets contactors and motors settle with breakers and fuses as they stand.
fn settle<'c>(
    circuit: &'c Circuit<'_>,
    drawn: &Drawn,
    assembly: &mut Assembly,
    open: &[bool],
    before: Before,
) -> Settled<'c> {
    let mut pulled_in = vec![false; assembly.contactors.len()];
    let mut motion = vec![Motion::Still; assembly.motors.len()];
    release(assembly);
    for (m, motor) in assembly.motors.iter().enumerate() {
        if let Element::Motor { slip, .. } = &mut assembly.elements[motor.element] {
            *slip = 1.0;
        }
        if motor.overheated && before == Before::LongOn {
            motion[m] = Motion::Tripped;
            set_ohms(&mut assembly.elements[motor.protector], OPEN_OHMS);
        }
    }
    // Coils first: motors stand still while the contactors pull in.
    let standing = loop {
        let now = solve(circuit, assembly);
        if let Some(over) = overcurrent(assembly, open, &now, |o| o.at_once_amps) {
            return Settled::Opens(over);
        }
        let mut changed = false;
        for (c, contactor) in assembly.contactors.iter().enumerate() {
            let pulls = now.across(contactor.coil).norm() >= contactor.pull_in_volts;
            if pulls && !pulled_in[c] {
                pulled_in[c] = true;
                changed = true;
                for pole in contactor.poles.iter().filter(|p| p.stuck.is_none()) {
                    set_ohms(&mut assembly.elements[pole.element], pole.closed_ohms);
                }
            }
        }
        if !changed {
            break now;
        }
    };
    // Motors at standstill: start, stall, or nothing to stall on.
    for (m, motor) in assembly.motors.iter().enumerate() {
        if motion[m] != Motion::Tripped {
            motion[m] = standstill(assembly, motor, &standing);
        }
    }
    let mut changed = false;
    for (m, motor) in assembly.motors.iter().enumerate() {
        match motion[m] {
            Motion::Running => {
                if let Element::Motor { slip, .. } = &mut assembly.elements[motor.element] {
                    *slip = motor.running_slip;
                }
                changed = true;
            }
            Motion::Stalled
                if before == Before::LongOn && drawn.chance[motor.part] < STALLED_OPEN_SHARE =>
            {
                motion[m] = Motion::Tripped;
                set_ohms(&mut assembly.elements[motor.protector], OPEN_OHMS);
                changed = true;
            }
            _ => {}
        }
    }
    let live = if changed {
        solve(circuit, assembly)
    } else {
        standing
    };
    // A stalled motor opens its overload long before the breaker's thermal element opens.
    if !motion.contains(&Motion::Stalled)
        && let Some(over) = overcurrent(assembly, open, &live, |o| o.held_amps)
    {
        return Settled::Opens(over);
    }
    Settled::Stands {
        live,
        pulled_in,
        motion,
    }
}

fn solve<'c>(circuit: &'c Circuit<'_>, assembly: &Assembly) -> Alternating<'c> {
    Alternating::solve(&circuit.pattern, &assembly.elements, LINE_HERTZ, true)
}

fn standstill(assembly: &Assembly, motor: &MotorDevice, now: &Alternating<'_>) -> Motion {
    let element = &assembly.elements[motor.element];
    let currents = now.currents(element);
    let Element::Motor { data, .. } = element else {
        return Motion::Still;
    };
    let through = now.currents(&assembly.elements[motor.protector])[0].norm();
    // Less than a tenth of what the run winding draws at 100 V: nothing that heats.
    if through < 10.0 / data.impedance(LINE_HERTZ, 1.0)[0][0].norm() {
        return Motion::Still;
    }
    let torque = data.torque(LINE_HERTZ, 1.0, currents);
    if !motor.seized && torque.abs() >= motor.breakaway_watts {
        Motion::Running
    } else if through < OVERLOAD_RATIO * motor.rated_amps {
        Motion::Humming
    } else {
        Motion::Stalled
    }
}

fn overcurrent(
    assembly: &Assembly,
    open: &[bool],
    now: &Alternating<'_>,
    limit: impl Fn(&crate::parts::Overcurrent) -> f64,
) -> Option<usize> {
    assembly
        .overcurrent
        .iter()
        .enumerate()
        .filter(|(o, _)| !open[*o])
        .find(|(_, device)| {
            device
                .elements
                .iter()
                .any(|&e| now.currents(&assembly.elements[e])[0].norm() > limit(device))
        })
        .map(|(o, _)| o)
}
