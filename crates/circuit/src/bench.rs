//! The simulated bench: one unit with its faults, and a technician's hands on it. What a probe
//! would see is solved for the state that the unit is in.

use std::collections::BTreeSet;

use ohmtrail_core::reading::Function;

use crate::meter::{Ideal, Scene, State, VOLTMETER_OHMS, amps};
use crate::netlist::Analysis;
use crate::network::Element;
use crate::operate::Unit;
use crate::parts::{LookKind, Sight};
use crate::sheet::{FaultId, Heat, PointId, Sheet};
use crate::unit::{Circuit, Drawn};

/// A unit on the bench, in the state that the acts so far have brought it to.
#[derive(Debug)]
pub struct Bench<'c> {
    unit: Unit<'c>,
    power: bool,
    other_sources_open: bool,
    lifted: BTreeSet<PointId>,
    heat: Heat,
    /// Volts that the capacitors still hold; zero once discharged.
    held_volts: f64,
    /// The unit as its thermostat and its defrost board have it now, if that is not as it was found.
    turned: Option<Unit<'c>>,
}

/// What a unit is told by its thermostat and its defrost board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Told {
    /// No call.
    Nothing,
    /// The call that units are found with: for cooling, where they cool and heat.
    Call,
    /// A call for heating: the reversing valve's contact stands open.
    Heating,
    /// A defrost: the contact of the outdoor fan stands open, the valve is fed.
    Defrost,
}

/// What cannot be done on the bench.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BenchError {
    /// A function that the simulation does not know in this state.
    #[error("the simulated unit cannot be measured in {function} with its power {}", if *.power { "on" } else { "off" })]
    NotModelled {
        /// The function's name.
        function: &'static str,
        /// Whether the power is on.
        power: bool,
    },
    /// A meter that drives its own current on a live circuit.
    #[error("{0} on a live circuit would have damaged the meter and its user")]
    OnLive(&'static str),
    /// A meter that drives its own current on a charged capacitor.
    #[error("{0} on a charged capacitor would have damaged the meter: discharge it first")]
    Charged(&'static str),
    /// Power on with wire ends lifted: the model does not know what then runs.
    #[error(
        "the simulated unit cannot be measured under power with wire ends lifted: put them back first"
    )]
    Lifted,
}

impl<'c> Bench<'c> {
    /// Puts a unit with these faults on the bench, under power with a call on.
    #[must_use]
    pub fn new(circuit: &'c Circuit<'c>, seed: u64, faults: &[FaultId]) -> Self {
        Bench::with(Unit::new(circuit, Drawn::draw(circuit.sheet, seed), faults))
    }

    /// Puts this unit on the bench, under power with a call on.
    #[must_use]
    pub fn with(unit: Unit<'c>) -> Self {
        Bench {
            unit,
            power: true,
            other_sources_open: false,
            lifted: BTreeSet::new(),
            heat: Heat::AsFound,
            held_volts: 0.0,
            turned: None,
        }
    }

    /// Turns the thermostat, or starts a defrost.
    pub fn tell(&mut self, told: Told) {
        // The contact that stands open then, by the fault that would hold it open.
        let held = match told {
            Told::Nothing => "no-call",
            Told::Call => "",
            Told::Heating => "no-valve-call",
            Told::Defrost => "stuck-open",
        };
        let sheet = self.sheet();
        let faults = sheet.faults.iter().enumerate().filter(|(_, fault)| {
            let kind = sheet.parts.get(fault.owner).map(|p| p.kind.name);
            fault.kind_name == held
                && kind.is_some_and(|k| k.ends_with("thermostat") || k == "defrost-relay")
        });
        let faults: Vec<FaultId> = faults.map(|(f, _)| f).collect();
        self.turned = (!faults.is_empty()).then(|| self.unit.besides(&faults));
    }

    /// The unit as it is now.
    fn now(&self) -> &Unit<'c> {
        self.turned.as_ref().unwrap_or(&self.unit)
    }

    /// What a perfect meter holds of a start from cold: the lowest volts between two points, or the
    /// highest amperes in the wire between them.
    ///
    /// # Errors
    /// [`BenchError`].
    pub fn at_start(&self, function: Function, points: [PointId; 2]) -> Result<Ideal, BenchError> {
        let not_modelled = BenchError::NotModelled {
            function: function.name(),
            power: self.power,
        };
        if !self.power {
            return Err(not_modelled);
        }
        if !self.lifted.is_empty() {
            return Err(BenchError::Lifted);
        }
        let (live, elements) = self.now().starting();
        let ends = points.map(Some);
        match function {
            Function::VoltsAc => Ok(Ideal::Value(live.voltmeter(ends, VOLTMETER_OHMS))),
            Function::AmpsAc => Ok(Ideal::Value(amps(&live, &elements, ends))),
            _ => Err(not_modelled),
        }
    }

    /// The sheet.
    #[must_use]
    pub fn sheet(&self) -> &'c Sheet {
        self.unit.circuit().sheet
    }

    /// The unit, for what is true of it.
    #[must_use]
    pub fn unit(&self) -> &Unit<'c> {
        &self.unit
    }

    /// Opens the unit's breaker: the capacitors keep some charge.
    pub fn open_breaker(&mut self) {
        if self.power {
            self.power = false;
            self.held_volts = 48.0;
            self.heat = Heat::AsFound;
        }
    }

    /// Opens every other source that the sheet names. Until then the control circuit is live.
    pub fn open_other_sources(&mut self) {
        self.other_sources_open = true;
    }

    /// Closes the breakers.
    pub fn close_breaker(&mut self) {
        self.power = true;
        self.other_sources_open = false;
        self.held_volts = 0.0;
    }

    /// Discharges the capacitors.
    pub fn discharge(&mut self) {
        if !self.power {
            self.held_volts = 0.0;
        }
    }

    /// Lifts a wire end.
    pub fn lift(&mut self, end: PointId) {
        self.lifted.insert(end);
    }

    /// Puts a wire end back.
    pub fn put_back(&mut self, end: PointId) {
        self.lifted.remove(&end);
    }

    /// Waits until the motors are cold.
    pub fn wait_cool(&mut self) {
        if !self.power {
            self.heat = Heat::Cold;
        }
    }

    /// Whether the unit is under power.
    #[must_use]
    pub fn power(&self) -> bool {
        self.power
    }

    /// What a perfect meter of 10 megohms shows between two points in the present state.
    ///
    /// # Errors
    /// [`BenchError`].
    pub fn measure(&self, function: Function, points: [PointId; 2]) -> Result<Ideal, BenchError> {
        self.measure_through(function, points, VOLTMETER_OHMS)
    }

    /// The same on a voltmeter of that input resistance.
    ///
    /// # Errors
    /// [`BenchError`].
    pub fn measure_through(
        &self,
        function: Function,
        points: [PointId; 2],
        input_ohms: f64,
    ) -> Result<Ideal, BenchError> {
        if function.injects() {
            if self.power || self.live_from_others(points) {
                return Err(BenchError::OnLive(function.name()));
            }
            let charged = self.sheet().dead.capacitors.iter().flatten();
            if self.held_volts > 1.0 && charged.into_iter().any(|c| points.contains(c)) {
                return Err(BenchError::Charged(function.name()));
            }
        }
        if function == Function::VoltsDc {
            return Ok(Ideal::Value(self.held_across(points)));
        }
        if self.power && !self.lifted.is_empty() {
            return Err(BenchError::Lifted);
        }
        let lifted: Vec<PointId> = self.lifted.iter().copied().collect();
        if function == Function::VoltsAc && !self.power {
            let network = self
                .now()
                .opened(&lifted, self.heat, self.other_sources_open);
            return Ok(Scene::Opened(network).shows(function, points, input_ohms));
        }
        let state = State {
            power: self.power,
            lifted: &lifted,
            heat: self.heat,
        };
        Scene::new(self.now(), function, state)
            .map(|scene| scene.shows(function, points, input_ohms))
            .ok_or(BenchError::NotModelled {
                function: function.name(),
                power: self.power,
            })
    }

    /// The network that a meter meets in the present state, for another solver than ours: what
    /// is solved, the elements, and the direct volts that the sheet's capacitors hold. None for a
    /// function that the simulation does not know in this state.
    #[must_use]
    pub fn network(&self, function: Function) -> Option<(Analysis, Vec<Element>, f64)> {
        let lifted: Vec<PointId> = self.lifted.iter().copied().collect();
        let standing = || self.now().standing(self.heat).assembly.elements.clone();
        let dead = || self.now().dead_elements(&lifted, self.heat);
        let (analysis, elements) = match (function, self.power) {
            (Function::VoltsAc | Function::AmpsAc, true) => (Analysis::Live, standing()),
            (Function::VoltsDc, true) => (Analysis::Held, standing()),
            (Function::VoltsAc | Function::AmpsAc, false) => {
                let others = self.other_sources_open;
                let elements = self.now().opened_elements(&lifted, self.heat, others);
                (Analysis::Live, elements)
            }
            (Function::VoltsDc, false) => (Analysis::Held, dead()),
            (Function::Farads, false) => (Analysis::Farads, dead()),
            (f, false) if f.injects() => (Analysis::Ohms, dead()),
            _ => return None,
        };
        Some((analysis, elements, self.held_volts))
    }

    /// Whether one of these points is live from a source that is not opened yet.
    fn live_from_others(&self, points: [PointId; 2]) -> bool {
        if self.other_sources_open {
            return false;
        }
        let lifted: Vec<PointId> = self.lifted.iter().copied().collect();
        let network = self.now().opened(&lifted, self.heat, false);
        let ground = Some(self.sheet().dead.ground);
        let [a, b] = points.map(Some);
        [[a, b], [a, ground], [b, ground]]
            .into_iter()
            .any(|ends| network.voltmeter(ends, VOLTMETER_OHMS) > 1.0)
    }

    /// The direct volts that a capacitor holds across these points.
    fn held_across(&self, points: [PointId; 2]) -> f64 {
        let pairs = &self.sheet().dead.capacitors;
        if pairs.iter().any(|p| *p == points || [p[1], p[0]] == points) {
            self.held_volts
        } else {
            0.0
        }
    }

    /// What is truly seen, heard or felt.
    #[must_use]
    pub fn look(&self, part: usize, look: &LookKind) -> bool {
        let turns = matches!(look.sight, Sight::Running | Sight::Humming);
        if turns && !self.power {
            return false;
        }
        self.now().sees(part, look.sight, self.heat)
    }
}
