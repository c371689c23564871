//! The kinds of parts: their terminals, the values that describe them, the circuit they make and
//! the ways they fail.
//!
//! A kind is one row of [`KINDS`]. Its `build` pushes the same elements in the same order
//! whatever the fault, so that a unit's network keeps its pattern.
//!
//! Fault weights are relative prior weights. No published split of failures by part was found:
//! they are made up for the planner from common practice, and never decide alone.

mod capacitors;
mod contacts;
mod control;
mod ecm;
mod heat;
mod motors;
mod motors3;
mod power;
mod refrigeration;
mod rows;
mod sensing;
mod start;
mod three_phase;

use crate::motor::MotorData;
use crate::network::{Element, Node, OPEN_OHMS};
use crate::surroundings::{Control, Refrigerant, Trigger, Valve};

use self::rows::{
    bonded, by_degree, by_value, fault, heat_dependent, intermittent, look, param, terminal,
    winding,
};

pub use self::ecm::{Drive, DrivenMotor};
pub use self::sensing::thermistor_ohms;
pub use self::start::StartRelay;

/// A terminal of a part.
#[derive(Debug, Clone, Copy)]
pub struct Terminal {
    /// Its name in points, such as `HERM`.
    pub name: &'static str,
    /// What it is, in words.
    pub words: &'static str,
    /// Bonded to ground inside the part: it needs no wire of the sheet.
    pub bonded: bool,
}

/// The unit of a value in a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Ohms.
    Ohm,
    /// Farads.
    Farad,
    /// Volts.
    Volt,
    /// Amperes.
    Ampere,
    /// Henries.
    Henry,
    /// Watts (synchronous watts for a torque).
    Watt,
    /// Pascals, above the air's pressure as a gauge shows them.
    Pascal,
    /// Kelvin; a temperature may be written in degrees Celsius.
    Kelvin,
    /// Metres.
    Metre,
    /// A bare ratio; may be written in percent.
    Ratio,
}

/// A value that describes a part.
#[derive(Debug, Clone, Copy)]
pub struct Param {
    /// Its key in a sheet.
    pub name: &'static str,
    /// Its unit.
    pub unit: Unit,
    /// Its value where the sheet gives none; a key without one must be given.
    pub default: Option<f64>,
    /// How far one part differs from the next: relative standard deviation of the prior.
    pub spread: f64,
    /// The resistance of a winding when it is cold: it follows the winding's temperature.
    pub winding: bool,
    /// What it is.
    pub words: &'static str,
}

/// Another part that a part depends on besides by wires: by the air or the refrigerant between
/// them. A sheet names it as it names a value.
#[derive(Debug, Clone, Copy)]
pub struct Link {
    /// Its key in a sheet.
    pub name: &'static str,
    /// What is seen of the other part: only parts that show it can be named.
    pub shows: Sight,
    /// What the other part is to this one.
    pub words: &'static str,
}

/// A way a part fails.
#[derive(Debug, Clone, Copy)]
pub struct FaultKind {
    /// Its name after the part's, such as `herm-open`.
    pub name: &'static str,
    /// What it is, in words.
    pub words: &'static str,
    /// Relative prior weight (common practice, no published source).
    pub weight: f64,
    /// It comes in degrees: how bad it is decides what the unit does.
    pub degree: bool,
    /// The value that must be known of the part itself: without it no check tells the fault from a
    /// part that is whole, and a sheet does not have it ([`crate::known`]).
    pub needs: Option<&'static str>,
    /// It comes and goes: under which condition it shows, in words.
    pub shows: Option<&'static str>,
    /// The fault of the same place that is there at all times, if only heat tells this one from it.
    pub always: Option<&'static str>,
}

/// Something that can be seen, heard or felt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sight {
    /// The contactor's armature is in.
    PulledIn,
    /// The motor turns.
    Running,
    /// The motor turns the wrong way.
    Backwards,
    /// A phase monitor shows that its lines are right.
    LinesRight,
    /// A phase sequence indicator on a phase monitor's lines shows their order right.
    InOrder,
    /// The motor hums and does not turn.
    Humming,
    /// The motor's shell is too hot to keep a hand on.
    Hot,
    /// The shaft turns freely by hand.
    FreeByHand,
    /// A capacitor's can is bulged or leaks.
    Swollen,
    /// A breaker's handle stands in its tripped position.
    Tripped,
    /// A fuse's link is seen to be gone.
    Blown,
    /// The disconnect's handle or pull-out is not in.
    Pulled,
    /// A reset button stands out.
    ResetOut,
    /// A heater gives heat.
    Heats,
    /// A valve clicks as its coil is fed.
    Clicks,
    /// The refrigerant's low side stands above the least pressure that its control closes at.
    LowSideUp,
    /// The refrigerant has its charge.
    Charged,
    /// A condenser is blocked.
    Blocked,
    /// A compressor runs on with the liquid line shut by hand.
    RunsOn,
    /// The fan of a condenser turns once a control is reset by hand.
    FanTurns,
    /// A leak of refrigerant is found.
    Leaks,
    /// Water stands up to a float.
    Flooded,
}

/// A question that eyes, ears or hands answer.
#[derive(Debug, Clone, Copy)]
pub struct LookKind {
    /// Its name after the part's, such as `swollen`.
    pub name: &'static str,
    /// What is looked for.
    pub sight: Sight,
    /// The question in words.
    pub words: &'static str,
    /// Whether it must be done under power (true), dead (false), or either.
    pub power: Option<bool>,
}

/// A kind of part.
#[derive(Debug)]
pub struct Kind {
    /// Its name in a sheet.
    pub name: &'static str,
    /// What it is.
    pub about: &'static str,
    /// Its terminals, in order.
    pub terminals: &'static [Terminal],
    /// How many nodes it has inside that no probe reaches.
    pub internals: usize,
    /// The values that describe it.
    pub params: &'static [Param],
    /// The parts it depends on besides by wires.
    pub links: &'static [Link],
    /// The ways it fails.
    pub faults: &'static [FaultKind],
    /// What can be seen of it.
    pub looks: &'static [LookKind],
    /// Whether its poles feed the unit: opening it makes the unit dead.
    pub source: bool,
    /// Pushes its elements and devices.
    pub build: fn(&mut Build<'_>),
}

impl Kind {
    /// The pairs of its terminals that it may hold charged with the power off: every pair of a
    /// capacitor's, the power plug of a module with a capacitor behind it.
    #[must_use]
    pub fn charged(&self) -> Vec<[usize; 2]> {
        let terminals = match self.name {
            "dual-run-capacitor" | "run-capacitor" | "start-capacitor" => self.terminals.len(),
            "ecm-module" => 2,
            _ => 0,
        };
        (0..terminals)
            .flat_map(|a| (a + 1..terminals).map(move |b| [a, b]))
            .collect()
    }
}

/// Every kind.
pub const KINDS: &[&Kind] = &[
    &power::SUPPLY,
    &power::BREAKER,
    &power::DISCONNECT,
    &power::CONTACTOR_1P,
    &power::CONTACTOR_2P,
    &capacitors::DUAL_RUN_CAPACITOR,
    &capacitors::RUN_CAPACITOR,
    &capacitors::START_CAPACITOR,
    &start::POTENTIAL_RELAY,
    &power::CRANKCASE_HEATER,
    &motors::COMPRESSOR,
    &motors::FAN_MOTOR,
    &ecm::MODULE,
    &ecm::MOTOR,
    &control::TRANSFORMER,
    &control::FUSE,
    &control::THERMOSTAT,
    &control::COOLING_THERMOSTAT,
    &control::PACKAGED_THERMOSTAT,
    &control::PRESSURE_SWITCH,
    &control::DEFROST_RELAY,
    &control::SOLENOID,
    &three_phase::THREE_PHASE_SUPPLY,
    &three_phase::BREAKER_3P,
    &three_phase::FUSED_DISCONNECT_3P,
    &three_phase::CONTACTOR_3P,
    &three_phase::OVERLOAD_RELAY,
    &three_phase::PHASE_MONITOR,
    &motors3::THREE_PHASE_COMPRESSOR,
    &motors3::THREE_PHASE_MOTOR,
    &contacts::ROOM_THERMOSTAT,
    &contacts::LIMIT_SWITCH,
    &contacts::LOCKOUT_CONTACT,
    &contacts::RELAY,
    &contacts::RELAY_COIL,
    &heat::THERMOSTAT,
    &heat::SEQUENCER,
    &heat::ELEMENT,
    &heat::LIMIT,
    &heat::CUT_OUT,
    &refrigeration::REFRIGERANT,
    &refrigeration::LIQUID_VALVE,
    &refrigeration::LOW_PRESSURE,
    &refrigeration::HIGH_PRESSURE,
    &refrigeration::DEFROST_TIMER,
    &sensing::THERMISTOR,
    &sensing::FLOAT_SWITCH,
];

/// The kind of that name.
#[must_use]
pub fn kind(name: &str) -> Option<&'static Kind> {
    KINDS.iter().copied().find(|k| k.name == name)
}

/// A pole of a contactor.
#[derive(Debug, Clone)]
pub struct Pole {
    /// Its element.
    pub element: usize,
    /// Ohms when closed.
    pub closed_ohms: f64,
    /// Welded (true) or never closing (false).
    pub stuck: Option<bool>,
}

/// A contactor: poles that follow a coil.
#[derive(Debug, Clone)]
pub struct Contactor {
    /// The part.
    pub part: usize,
    /// Its coil's ends.
    pub coil: [Node; 2],
    /// The least coil volts at which it pulls in; infinite for a coil that makes no field.
    pub pull_in_volts: f64,
    /// Its poles.
    pub poles: Vec<Pole>,
    /// Its contacts follow some tens of seconds after the coil: just after a start they are open.
    pub delayed: bool,
}

/// A motor behind its thermal protector.
#[derive(Debug, Clone)]
pub struct MotorDevice {
    /// The part.
    pub part: usize,
    /// The windings' element.
    pub element: usize,
    /// The elements of its own protector, which open together; none if it has none.
    pub protectors: Vec<usize>,
    /// The elements beside its windings that stand for some turns shorted: as warm as they are.
    pub shorts: Vec<usize>,
    /// Slip while running.
    pub running_slip: f64,
    /// The torque at standstill that it takes to start, synchronous watts.
    pub breakaway_watts: f64,
    /// The torque of its load while running, synchronous watts; none if it runs at its running
    /// slip whatever its volts.
    pub load_watts: Option<f64>,
    /// Rated amperes from the plate.
    pub rated_amps: f64,
    /// It cannot turn whatever the torque.
    pub seized: bool,
    /// Its protector stays open when cold.
    pub protector_failed: bool,
    /// Its protector is open from heat that had another cause than the circuit.
    pub overheated: bool,
}

/// A breaker or a fuse: opens on too much current.
#[derive(Debug, Clone)]
pub struct Overcurrent {
    /// The part.
    pub part: usize,
    /// Its poles' elements; all open together.
    pub elements: Vec<usize>,
    /// Amperes at which it opens while the motors stand still.
    pub at_once_amps: f64,
    /// Amperes at which it opens in the long run.
    pub held_amps: f64,
    /// It is open already.
    pub open: bool,
    /// It breaks the unit's line: opened by hand to make the unit dead.
    pub line: bool,
    /// What is said of it once it has opened: `tripped`, `blown`.
    pub opens: &'static str,
}

/// What a protective relay watches.
#[derive(Debug, Clone)]
pub enum Watches {
    /// The current through its heaters: trips in the long run, closes again as it cools.
    Heaters {
        /// The heaters' elements.
        heaters: Vec<usize>,
        /// Amperes above which it trips in the long run.
        amps: f64,
    },
    /// The volts of three lines: trips at once on a lost line, on reversal, on unbalance; its
    /// contact is open without power.
    Lines {
        /// The three lines, in order.
        lines: [Node; 3],
        /// The unbalance above which it trips, by NEMA MG-1: the largest deviation from the mean
        /// over the mean.
        unbalance: f64,
    },
}

/// A relay that watches the line circuit and opens a contact of the control circuit.
#[derive(Debug, Clone)]
pub struct ProtectiveRelay {
    /// The part.
    pub part: usize,
    /// Its contact's element.
    pub contact: usize,
    /// What it watches.
    pub watches: Watches,
    /// It has tripped from heat that had another cause than the circuit.
    pub tripped: bool,
    /// It stays tripped whatever it watches.
    pub failed: bool,
}

/// What the parts of a unit made of it: elements and the devices that change them.
#[derive(Debug, Clone, Default)]
pub struct Assembly {
    /// Every element.
    pub elements: Vec<Element>,
    /// Contactors.
    pub contactors: Vec<Contactor>,
    /// Motors.
    pub motors: Vec<MotorDevice>,
    /// Potential relays.
    pub start_relays: Vec<StartRelay>,
    /// Modules of electronically commutated motors.
    pub drives: Vec<Drive>,
    /// The motors that they turn.
    pub driven: Vec<DrivenMotor>,
    /// Breakers and fuses.
    pub overcurrent: Vec<Overcurrent>,
    /// Contacts that heat or pressure moves.
    pub controls: Vec<Control>,
    /// Valves of refrigerant.
    pub valves: Vec<Valve>,
    /// Refrigerant circuits.
    pub refrigerants: Vec<Refrigerant>,
    /// Heaters: the elements that give the heat, each with the watts that it gives at least.
    pub heaters: Vec<(usize, f64)>,
    /// Overload relays and phase monitors.
    pub relays: Vec<ProtectiveRelay>,
    /// Which part (or wire, after the parts) each element is of.
    pub owners: Vec<usize>,
}

/// What a kind's `build` works with.
pub struct Build<'a> {
    pub(crate) part: usize,
    pub(crate) terminals: &'a [Node],
    pub(crate) internals: &'a [Node],
    pub(crate) params: &'static [Param],
    pub(crate) values: &'a [f64],
    pub(crate) links: &'a [usize],
    pub(crate) faults: &'a [&'static str],
    /// How bad a fault of degree is, from 0 to 1.
    pub(crate) severity: f64,
    pub(crate) assembly: &'a mut Assembly,
}

impl Build<'_> {
    fn t(&self, terminal: usize) -> Node {
        self.terminals[terminal]
    }

    fn inside(&self, internal: usize) -> Node {
        self.internals[internal]
    }

    fn value(&self, name: &str) -> f64 {
        self.params
            .iter()
            .zip(self.values)
            .find(|(p, _)| p.name == name)
            .map_or(f64::NAN, |(_, v)| *v)
    }

    /// The part that the kind's `link`-th link names.
    fn linked(&self, link: usize) -> usize {
        self.links[link]
    }

    fn has(&self, fault: &str) -> bool {
        self.faults.contains(&fault)
    }

    /// `bad` under that fault, else `good`.
    fn under(&self, fault: &str, bad: f64, good: f64) -> f64 {
        if self.has(fault) { bad } else { good }
    }

    fn push(&mut self, element: Element) -> usize {
        self.assembly.elements.push(element);
        self.assembly.owners.push(self.part);
        self.assembly.elements.len() - 1
    }

    fn resistor(&mut self, a: Node, b: Node, ohms: f64) -> usize {
        self.push(Element::Resistor { ends: [a, b], ohms })
    }

    /// A contact that is closed unless that fault holds it open.
    fn contact(&mut self, a: Node, b: Node, closed_ohms: f64, open_fault: &str) -> usize {
        let ohms = self.under(open_fault, OPEN_OHMS, closed_ohms);
        self.resistor(a, b, ohms)
    }

    /// A contact that is closed unless the fault `open` holds it open, and that opens under the fault
    /// `running` once the unit runs.
    fn shaken(&mut self, ends: [Node; 2], closed_ohms: f64, open: &str, running: &str) {
        self.comes_and_goes(ends, closed_ohms, open, running, Trigger::Running);
    }

    /// The same that opens under the fault `hot` once current has warmed it.
    fn warmed(&mut self, ends: [Node; 2], closed_ohms: f64, open: &str, hot: &str) {
        self.comes_and_goes(ends, closed_ohms, open, hot, Trigger::Warm);
    }

    fn comes_and_goes(
        &mut self,
        ends: [Node; 2],
        closed_ohms: f64,
        open: &str,
        fault: &str,
        trigger: Trigger,
    ) {
        let element = self.contact(ends[0], ends[1], closed_ohms, open);
        if self.has(fault) {
            let stuck = self.has(open).then_some(false);
            self.assembly.controls.push(Control {
                part: self.part,
                element,
                closed_ohms,
                stuck,
                tripped: false,
                trigger,
            });
        }
    }

    /// A contact that heat or pressure moves, that these two faults hold open or closed, and that
    /// has tripped already under the fault `tripped`.
    fn control(&mut self, ends: [Node; 2], trigger: Trigger, open: &str, closed: &str) {
        let stuck = match (self.has(open), self.has(closed)) {
            (true, _) => Some(false),
            (_, true) => Some(true),
            _ => None,
        };
        let closed_ohms = LINE_CONTACT_OHMS;
        let at_rest = stuck.unwrap_or(trigger.rests_closed());
        let ohms = if at_rest { closed_ohms } else { OPEN_OHMS };
        let element = self.resistor(ends[0], ends[1], ohms);
        self.assembly.controls.push(Control {
            part: self.part,
            element,
            closed_ohms,
            stuck,
            tripped: self.has("tripped"),
            trigger,
        });
    }

    fn motor_data(&self) -> MotorData {
        MotorData {
            main_ohms: self.value("run-ohms"),
            main_reactance: self.value("run-reactance"),
            aux_ohms: self.value("start-ohms"),
            aux_reactance: self.value("start-reactance"),
            turns_ratio: self.value("turns-ratio"),
            rotor_ohms: self.value("rotor-ohms"),
            rotor_reactance: self.value("rotor-reactance"),
            magnetising_reactance: self.value("magnetising-reactance"),
        }
    }
}

/// Resistance of a healthy closed contact of the line circuit, ohms. Data sheets of large new
/// contactors give 0.45 to 0.6 milliohm; two milliohm for a small worn one is common practice, no
/// published source.
const LINE_CONTACT_OHMS: f64 = 2e-3;

/// Resistance of a healthy closed contact of the control circuit, ohms (common practice, no
/// published source).
const CONTROL_CONTACT_OHMS: f64 = 0.05;
