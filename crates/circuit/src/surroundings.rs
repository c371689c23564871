//! What couples parts besides wires: the air that cools a heater, and the refrigerant whose
//! pressures move controls. Contacts follow them as contactors follow their coils.

use crate::network::{Alternating, Element, Node, OPEN_OHMS};
use crate::operate::{AsFound, Motion};
use crate::parts::Assembly;
use crate::sheet::{Heat, Sheet};
use crate::unit::{Drawn, set_ohms};

/// Amperes from which a heating element heats its limit.
const HEATING_AMPS: f64 = 1.0;

/// Amperes from which a joint in a winding warms (common practice, no published source).
const WARMING_AMPS: f64 = 0.1;

/// How far the high side rises, as a factor, with no air over its condenser (common practice, no
/// published source: it rises until the control opens).
const NO_AIR: f64 = 2.0;

/// How far the low side falls, as a factor, with the charge gone (common practice, no published
/// source: under any control's cut-out).
const LOST: f64 = 0.05;

/// Share of time that a limit stands open where its element heats without air: it opens within
/// minutes and cools for as long or longer (common practice, no published source).
const LIMIT_OPEN_SHARE: f64 = 0.8;

/// What moves a contact.
#[derive(Debug, Clone, PartialEq)]
pub enum Trigger {
    /// Opens when current flows through it and the air stands still; closes when cool.
    Heat {
        /// The part whose motor moves the air.
        air: usize,
    },
    /// Closes above a pressure of the low side, and opens under a lower one.
    LowPressure {
        /// The refrigerant's part.
        refrigerant: usize,
        /// Pascals above the air's pressure.
        cut_in: f64,
        /// Likewise.
        cut_out: f64,
    },
    /// Opens once the unit has run for a while, shaken or warm, and closes again at rest: an
    /// intermittent fault, found while it shows.
    Running,
    /// Opens once current has warmed it, and closes again when it is cold: an intermittent fault,
    /// found while it shows.
    Warm,
    /// Opens above a pressure of the high side, until it is reset by hand.
    HighPressure {
        /// The refrigerant's part.
        refrigerant: usize,
        /// Pascals above the air's pressure.
        cut_out: f64,
    },
}

impl Trigger {
    /// Whether it is closed while nothing has moved it yet. The low side was pumped down before.
    #[must_use]
    pub fn rests_closed(&self) -> bool {
        !matches!(self, Trigger::LowPressure { .. })
    }
}

/// A contact that heat or pressure moves.
#[derive(Debug, Clone)]
pub struct Control {
    /// The part.
    pub part: usize,
    /// Its element.
    pub element: usize,
    /// Ohms when closed.
    pub closed_ohms: f64,
    /// Held closed (true) or open (false) by a fault.
    pub stuck: Option<bool>,
    /// It has opened already, by something that is over.
    pub tripped: bool,
    /// What moves it.
    pub trigger: Trigger,
}

/// A valve that lets liquid refrigerant to the evaporator while its coil is fed.
#[derive(Debug, Clone)]
pub struct Valve {
    /// The part.
    pub part: usize,
    /// Its coil's ends.
    pub coil: [Node; 2],
    /// The least coil volts that open it.
    pub pull_in_volts: f64,
}

/// A refrigerant circuit. Pressures are pascals above the air's.
#[derive(Debug, Clone)]
pub struct Refrigerant {
    /// The part.
    pub part: usize,
    /// The part of the liquid line's valve.
    pub valve: usize,
    /// The compressor's part.
    pub compressor: usize,
    /// The part of the condenser's fan.
    pub fan: usize,
    /// Low side, evaporator fed, compressor still.
    pub standstill: f64,
    /// Low side, running.
    pub suction: f64,
    /// High side, running.
    pub discharge: f64,
    /// Its charge is gone.
    pub lost: bool,
    /// Its condenser is blocked.
    pub blocked: bool,
}

impl Refrigerant {
    /// The low side with the compressor still or running. Behind a shut valve it was pumped down,
    /// and stays so.
    #[must_use]
    pub fn low_side(&self, fed: bool, running: bool) -> f64 {
        match (fed, running) {
            (false, _) => 0.0,
            (true, _) if self.lost => LOST * self.standstill,
            (true, false) => self.standstill,
            (true, true) => self.suction,
        }
    }

    /// The high side while the compressor runs, with or without air over the condenser.
    #[must_use]
    pub fn high_side(&self, air: bool) -> f64 {
        if air && !self.blocked {
            self.discharge
        } else {
            NO_AIR * self.discharge
        }
    }
}

/// Whether the valve of a refrigerant is open.
pub(crate) fn fed(assembly: &Assembly, refrigerant: &Refrigerant, now: &Alternating<'_>) -> bool {
    let valve = assembly.valves.iter().find(|v| v.part == refrigerant.valve);
    valve.is_some_and(|v| now.across(v.coil).norm() >= v.pull_in_volts)
}

/// Whether the motor of a part turns.
pub(crate) fn runs(assembly: &Assembly, motion: &[Motion], part: usize) -> bool {
    let motors = assembly.motors.iter().zip(motion);
    motors
        .filter(|(m, _)| m.part == part)
        .any(|(_, motion)| *motion == Motion::Running)
}

fn refrigerant(assembly: &Assembly, part: usize) -> Option<&Refrigerant> {
    assembly.refrigerants.iter().find(|r| r.part == part)
}

/// Whether the low side of this refrigerant stands where its controls close.
pub(crate) fn low_side_is_up(now: &AsFound<'_>, part: usize) -> bool {
    let assembly = &now.assembly;
    let Some(r) = refrigerant(assembly, part) else {
        return false;
    };
    let least = assembly.controls.iter().filter_map(|c| match c.trigger {
        Trigger::LowPressure {
            refrigerant,
            cut_in,
            ..
        } if refrigerant == part => Some(cut_in),
        _ => None,
    });
    // Running, it stands lower and is still up: what matters is that liquid feeds it.
    let pressure = r.low_side(fed(assembly, r, &now.live), false);
    least.fold(f64::INFINITY, f64::min) <= pressure
}

/// Whether the pressure closes this control, the compressor still.
fn closes(assembly: &Assembly, control: &Control, now: &Alternating<'_>) -> bool {
    let Trigger::LowPressure {
        refrigerant: of,
        cut_in,
        ..
    } = control.trigger
    else {
        return false;
    };
    refrigerant(assembly, of).is_some_and(|r| r.low_side(fed(assembly, r, now), false) >= cut_in)
}

/// Whether heat or pressure opens this closed control, the unit long on.
fn is_opened(
    assembly: &Assembly,
    control: &Control,
    now: &Alternating<'_>,
    motion: &[Motion],
) -> bool {
    match control.trigger {
        Trigger::Heat { air } => {
            let through = now.currents(&assembly.elements[control.element])[0].norm();
            through > HEATING_AMPS && !runs(assembly, motion, air)
        }
        Trigger::LowPressure {
            refrigerant: of,
            cut_out,
            ..
        } => refrigerant(assembly, of).is_some_and(|r| {
            let running = runs(assembly, motion, r.compressor);
            running && r.low_side(fed(assembly, r, now), true) < cut_out
        }),
        Trigger::HighPressure {
            refrigerant: of,
            cut_out,
        } => refrigerant(assembly, of).is_some_and(|r| {
            let running = runs(assembly, motion, r.compressor);
            running && r.high_side(runs(assembly, motion, r.fan)) > cut_out
        }),
        Trigger::Warm => now.currents(&assembly.elements[control.element])[0].norm() > WARMING_AMPS,
        Trigger::Running => assembly
            .contactors
            .iter()
            .any(|c| now.across(c.coil).norm() >= c.pull_in_volts),
    }
}

fn set_closed(elements: &mut [Element], control: &Control, closed: bool) {
    let ohms = if closed {
        control.closed_ohms
    } else {
        OPEN_OHMS
    };
    set_ohms(&mut elements[control.element], ohms);
}

/// Brings the controls to where they stand before anything has moved them, those that are held
/// open apart; returns which are closed.
pub(crate) fn rest(assembly: &mut Assembly, held: &[bool]) -> Vec<bool> {
    let controls = assembly.controls.iter().zip(held);
    controls
        .map(|(control, held)| {
            let at_rest = control.trigger.rests_closed() && !held;
            let closed = control.stuck.unwrap_or(at_rest);
            set_closed(&mut assembly.elements, control, closed);
            closed
        })
        .collect()
}

/// Closes what its pressure closes now; whether anything did.
pub(crate) fn close(
    assembly: &mut Assembly,
    now: &Alternating<'_>,
    held: &[bool],
    closed: &mut [bool],
) -> bool {
    let may = |c: usize, closed: &[bool]| {
        let control = &assembly.controls[c];
        !closed[c] && !held[c] && control.stuck.is_none() && closes(assembly, control, now)
    };
    let all = 0..assembly.controls.len();
    let closing: Vec<usize> = all.filter(|&c| may(c, closed)).collect();
    for &c in &closing {
        closed[c] = true;
        set_closed(&mut assembly.elements, &assembly.controls[c], true);
    }
    !closing.is_empty()
}

/// The first control that heat or pressure opens. One that closes when cool is found closed a
/// share of the time.
pub(crate) fn opens(
    assembly: &Assembly,
    drawn: &Drawn,
    now: &Alternating<'_>,
    motion: &[Motion],
    closed: &[bool],
) -> Option<usize> {
    // All that the same air cools open and close with it.
    let found_open = |control: &Control| match control.trigger {
        Trigger::Heat { air } => drawn.chance[air] < LIMIT_OPEN_SHARE,
        _ => true,
    };
    assembly
        .controls
        .iter()
        .zip(closed)
        .position(|(c, closed)| {
            *closed && c.stuck.is_none() && found_open(c) && is_opened(assembly, c, now, motion)
        })
}

/// The controls as they stand with the power off: what heat opened closes once it is cool, what
/// running opened closes at once, pressures stay behind their shut valve.
pub(crate) fn when_dead(assembly: &mut Assembly, closed: &[bool], heat: Heat) {
    for (control, &closed) in assembly.controls.iter().zip(closed) {
        let again = match control.trigger {
            Trigger::Heat { .. } | Trigger::Warm => heat == Heat::Cold,
            Trigger::Running => true,
            _ => false,
        };
        let closed = control.stuck.unwrap_or(closed || again);
        set_closed(&mut assembly.elements, control, closed);
    }
}

/// Which controls stand open before the unit is given power.
pub(crate) fn tripped(assembly: &Assembly) -> Vec<bool> {
    assembly.controls.iter().map(|c| c.tripped).collect()
}

/// The refrigerant that this control follows.
pub(crate) fn followed<'f>(now: &'f AsFound<'_>, part: usize) -> Option<&'f Refrigerant> {
    let assembly = &now.assembly;
    let control = assembly.controls.iter().find(|c| c.part == part)?;
    match control.trigger {
        Trigger::Heat { .. } | Trigger::Running | Trigger::Warm => None,
        Trigger::LowPressure {
            refrigerant: of, ..
        }
        | Trigger::HighPressure {
            refrigerant: of, ..
        } => refrigerant(assembly, of),
    }
}

/// The liquid lines shut by hand.
pub(crate) fn shut_valves(assembly: &mut Assembly) {
    for valve in &mut assembly.valves {
        valve.pull_in_volts = f64::INFINITY;
    }
}

/// Whether a control of this part stands open.
pub(crate) fn has_opened(now: &AsFound<'_>, part: usize) -> bool {
    let mut controls = now.assembly.controls.iter().zip(&now.closed);
    controls.any(|(c, closed)| c.part == part && !closed)
}

/// Whether this heater gives heat.
pub(crate) fn heats(now: &AsFound<'_>, part: usize) -> bool {
    now.assembly.heaters.iter().any(|&(element, watts)| {
        let heater = &now.assembly.elements[element];
        let amps = now.live.currents(heater)[0].norm();
        now.assembly.owners[element] == part
            && matches!(heater, Element::Resistor { ohms, .. } if amps * amps * ohms >= watts)
    })
}

/// Whether this valve opens on what its coil is fed.
pub(crate) fn valve_opens(now: &AsFound<'_>, part: usize) -> bool {
    let mut valves = now.assembly.valves.iter().filter(|v| v.part == part);
    valves.any(|v| now.live.across(v.coil).norm() >= v.pull_in_volts)
}

/// What heat and pressure opened, by name.
pub(crate) fn consequences(found: &AsFound<'_>, sheet: &Sheet) -> Vec<String> {
    let controls = found.assembly.controls.iter().zip(&found.closed);
    controls
        .filter(|(control, closed)| !**closed && control.stuck.is_none() && !control.tripped)
        .filter_map(|(control, _)| {
            let word = match control.trigger {
                Trigger::Heat { .. } => "open-from-heat",
                Trigger::LowPressure { .. } => "open-on-low-pressure",
                Trigger::HighPressure { .. } => "tripped-on-high-pressure",
                // That is the fault itself.
                Trigger::Running | Trigger::Warm => return None,
            };
            Some(format!("{}.{word}", sheet.parts[control.part].name))
        })
        .collect()
}
