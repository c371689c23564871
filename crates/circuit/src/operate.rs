//! What a unit does: under power contactors follow their coils, motors start or stall, stalled
//! motors open their overloads, breakers and fuses open on too much current; and what is left of
//! that once it is made dead.

use std::cell::OnceCell;

use ohmtrail_core::rules::temperature::Metal;
use ohmtrail_core::units::Celsius;

use crate::known::STATED_AT;
use crate::motion::set_slip;
use crate::network::{Alternating, Direct, Element, OPEN_OHMS};
use crate::parts::{Assembly, Sight, Watches};
use crate::settle::{Before, in_order, open_all, release, run};
use crate::sheet::{FaultId, Heat, PointId};
use crate::surroundings;
use crate::unit::{Circuit, Drawn, set_ohms};

/// Line frequency, hertz.
pub const LINE_HERTZ: f64 = 60.0;

/// Share of time that the overload of a stalled motor stands open: it opens within seconds and
/// cools for minutes (common practice, no published source).
pub(crate) const STALLED_OPEN_SHARE: f64 = 0.8;

/// An overload opens in the long run above this many times the rated amperes of the plate: 1.56
/// is the ratio of the most continuous to the rated-load current of a hermetic (verified at second
/// hand: UL practice as compressor makers restate it).
pub(crate) const OVERLOAD_RATIO: f64 = 1.56;

/// What a motor does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Motion {
    /// No current to speak of: no volts, or a winding or lead open.
    Still,
    /// It turns.
    Running,
    /// It turns the wrong way.
    Backwards,
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
    /// What each electronically commutated motor does: it stands still, turns, or is driven in vain.
    pub driven: Vec<Motion>,
    /// Whether each breaker or fuse stands open.
    pub open: Vec<bool>,
    /// Whether each protective relay has tripped.
    pub tripped: Vec<bool>,
    /// Whether each contact that heat or pressure moves is closed.
    pub closed: Vec<bool>,
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

impl<'c> Unit<'c> {
    /// Puts the unit under power, and lets it settle.
    #[must_use]
    pub fn new(circuit: &'c Circuit<'c>, drawn: Drawn, faults: &[FaultId]) -> Self {
        let (found, opened) = run(circuit, &drawn, faults, &Before::LongOn);
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
    /// open still do; controls that are reset by hand were reset.
    pub fn restarted(&self) -> &AsFound<'c> {
        self.restarted.get_or_init(|| {
            run(
                self.circuit,
                &self.drawn,
                &self.faults,
                &Before::Cold(&self.found),
            )
            .0
        })
    }

    /// The same unit under these faults besides: a contact that a fault holds open, or that its own
    /// control holds open, is the same circuit.
    #[must_use]
    pub fn besides(&self, faults: &[FaultId]) -> Unit<'c> {
        let all: Vec<FaultId> = self.faults.iter().chain(faults).copied().collect();
        Unit::new(self.circuit, self.drawn.clone(), &all)
    }

    /// Its network in the first moment of a start from cold, solved, and its elements: every motor
    /// that will turn stands still still.
    #[must_use]
    pub fn starting(&self) -> (Alternating<'c>, Vec<Element>) {
        let now = self.restarted();
        let mut elements = now.assembly.elements.clone();
        for (motor, motion) in now.assembly.motors.iter().zip(&now.motion) {
            if matches!(motion, Motion::Running | Motion::Backwards) {
                set_slip(&mut elements[motor.element], 1.0);
            }
        }
        let live = Alternating::solve(&self.circuit.pattern, &elements, LINE_HERTZ, true);
        (live, elements)
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
    /// open from the current through it, a protective relay tripped.
    #[must_use]
    pub fn consequences(&self) -> Vec<String> {
        let sheet = self.circuit.sheet;
        let devices = &self.found.assembly;
        let mut all: Vec<String> = self
            .opened
            .iter()
            .map(|&o| {
                let device = &devices.overcurrent[o];
                format!("{}.{}", sheet.parts[device.part].name, device.opens)
            })
            .collect();
        for (relay, &tripped) in devices.relays.iter().zip(&self.found.tripped) {
            if tripped && !relay.tripped && !relay.failed {
                all.push(format!("{}.tripped", sheet.parts[relay.part].name));
            }
        }
        all.extend(surroundings::consequences(&self.found, sheet));
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
        surroundings::when_dead(&mut assembly, &self.found.closed, heat);
        for (relay, &tripped) in assembly.relays.iter().zip(&self.found.tripped) {
            // A monitor's relay drops out without power; an overload's contact closes as it cools.
            let open = match relay.watches {
                Watches::Lines { .. } => true,
                Watches::Heaters { .. } => tripped && heat == Heat::AsFound,
            };
            if open || relay.failed {
                set_ohms(&mut assembly.elements[relay.contact], OPEN_OHMS);
            }
        }
        for (motor, motion) in assembly.motors.clone().iter().zip(&self.found.motion) {
            let as_found = heat == Heat::AsFound;
            // A stalled one opens within seconds: by the time the unit is dead it is open too.
            if as_found && matches!(motion, Motion::Tripped | Motion::Stalled) {
                open_all(&mut assembly.elements, &motor.protectors);
            }
            let motion = if as_found { *motion } else { Motion::Still };
            let warmer = warmth(motion, self.drawn.air);
            for &short in &motor.shorts {
                if let Element::Resistor { ohms, .. } = &mut assembly.elements[short] {
                    *ohms *= warmer;
                }
            }
            match &mut assembly.elements[motor.element] {
                Element::Motor { data, .. } => {
                    data.main_ohms *= warmer;
                    data.aux_ohms *= warmer;
                }
                Element::ThreePhaseMotor { data, .. } => data.stator_ohms *= warmer,
                _ => {}
            }
        }
        self.circuit.lift(&mut assembly, lifted);
        assembly.elements
    }

    /// The network with the unit's breaker opened by hand, the supplies still live before it.
    /// Unless `others_open`, the breakers of other sources are still closed.
    #[must_use]
    pub fn opened(&self, lifted: &[PointId], heat: Heat, others_open: bool) -> Alternating<'c> {
        let elements = self.opened_elements(lifted, heat, others_open);
        Alternating::solve(&self.circuit.pattern, &elements, LINE_HERTZ, true)
    }

    /// Its elements so.
    #[must_use]
    pub fn opened_elements(
        &self,
        lifted: &[PointId],
        heat: Heat,
        others_open: bool,
    ) -> Vec<Element> {
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
        elements
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
        let driven = devices.driven.iter().position(|m| m.part == part);
        let motion = motor
            .map(|m| now.motion[m])
            .or(driven.map(|m| now.driven[m]));
        let open = devices
            .overcurrent
            .iter()
            .position(|o| o.part == part)
            .is_some_and(|o| now.open[o]);
        let relay = devices.relays.iter().position(|r| r.part == part);
        let tripped = relay.is_some_and(|r| now.tripped[r]);
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
            Sight::Running => matches!(motion, Some(Motion::Running | Motion::Backwards)),
            Sight::Backwards => motion == Some(Motion::Backwards),
            Sight::InOrder => relay.is_some_and(|r| match devices.relays[r].watches {
                Watches::Lines { lines, .. } => in_order(&now.live, lines),
                Watches::Heaters { .. } => false,
            }),
            Sight::LinesRight => relay.is_some() && !tripped,
            Sight::Humming => matches!(motion, Some(Motion::Stalled | Motion::Humming)),
            // A start from cold has not heated it yet.
            Sight::Hot => {
                heat == Heat::AsFound && matches!(motion, Some(Motion::Stalled | Motion::Tripped))
            }
            Sight::FreeByHand => !has("seized"),
            Sight::Swollen => self.faults.iter().any(|&f| {
                let fault = &self.circuit.sheet.faults[f];
                fault.owner == part && fault.kind_name != "bleed-open"
            }),
            Sight::Tripped | Sight::Blown => open || tripped,
            Sight::Pulled => has("left-open"),
            Sight::ResetOut => surroundings::has_opened(now, part) && !has("failed-open"),
            Sight::Heats => surroundings::heats(now, part),
            Sight::Clicks => surroundings::valve_opens(now, part),
            Sight::LowSideUp => surroundings::low_side_is_up(now, part),
            Sight::Charged => !has("lost-charge"),
            Sight::Blocked => has("condenser-blocked"),
            Sight::RunsOn => self.runs_on(now, part),
            Sight::FanTurns => self.fan_turns(now, part),
            Sight::Leaks => has("lost-charge"),
            Sight::Flooded => has("tripped"),
        }
    }

    /// Whether the fan of the condenser turns once this control is reset.
    fn fan_turns(&self, now: &AsFound<'_>, control: usize) -> bool {
        let reset = || run(self.circuit, &self.drawn, &self.faults, &Before::Reset(now));
        surroundings::followed(now, control).is_some_and(|r| {
            let found = reset().0;
            surroundings::runs(&found.assembly, &found.motion, r.fan)
        })
    }

    /// Whether the compressor of this refrigerant runs, and still does with its liquid line shut
    /// by hand and the low side drawn down.
    fn runs_on(&self, now: &AsFound<'_>, refrigerant: usize) -> bool {
        let mut all = now.assembly.refrigerants.iter();
        let Some(r) = all.find(|r| r.part == refrigerant) else {
            return false;
        };
        let runs =
            |found: &AsFound<'_>| surroundings::runs(&found.assembly, &found.motion, r.compressor);
        let shut = || run(self.circuit, &self.drawn, &self.faults, &Before::PumpedDown);
        runs(now) && runs(&shut().0)
    }
}

/// How much a copper winding's resistance stands over its stated cold value just after that motion,
/// by (234.5 + t) / (234.5 + 25): over the air by 20 kelvins after humming, by 40 after running, by
/// 75 behind an open overload (the law verified at second hand; the rises common practice).
fn warmth(motion: Motion, air: Celsius) -> f64 {
    let rise = match motion {
        Motion::Still => 0.0,
        Motion::Humming => 20.0,
        Motion::Running | Motion::Backwards => 40.0,
        Motion::Stalled | Motion::Tripped => 75.0,
    };
    let k = Metal::Copper.k();
    (k + air.get() + rise) / (k + STATED_AT.get())
}
