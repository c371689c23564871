//! An invented unit, and a technician who answers every step honestly.

use ohmtrail_core::gates::{
    Act, Event, Gate, GatePlan, Gates, Known, OtherSource, Outcome, Pair, PointId, Protector, Seen,
    Step,
};
use ohmtrail_core::reading::{Flags, Function, MeterId};
use ohmtrail_core::units::Micros;

pub const L1: PointId = PointId(1);
pub const L2: PointId = PointId(2);
pub const T1: PointId = PointId(3);
pub const T2: PointId = PointId(4);
pub const GROUND: PointId = PointId(0);
pub const R: PointId = PointId(5);
pub const CAP_C: PointId = PointId(6);
pub const CAP_HERM: PointId = PointId(7);
pub const CAP_FAN: PointId = PointId(8);
pub const WIRE: PointId = PointId(9);
pub const PIN: PointId = PointId(10);
pub const ELSEWHERE: PointId = PointId(99);
pub const METER: MeterId = MeterId(1);
pub const CLAMP: MeterId = MeterId(2);

pub const UNIT: GatePlan<'static> = GatePlan {
    line: &[L1, L2],
    load: &[T1, T2],
    load_sides: &[],
    ground: GROUND,
    sources: &[OtherSource { poles: &[R] }],
    capacitors: &[[CAP_C, CAP_HERM], [CAP_C, CAP_FAN], [CAP_HERM, CAP_FAN]],
    covers: &[CAP_C, CAP_HERM, CAP_FAN, WIRE],
    keep_off: &[PIN],
    protectors: &[Protector {
        hanging: &[T1, WIRE],
    }],
};

pub const PART: GatePlan<'static> = GatePlan {
    line: &[],
    load: &[],
    load_sides: &[],
    ground: GROUND,
    sources: &[],
    capacitors: &[[CAP_C, CAP_HERM]],
    covers: &[CAP_C, CAP_HERM],
    keep_off: &[],
    protectors: &[],
};

pub const SECOND: u64 = 1_000_000;

pub fn seen(function: Function, value: f64, points: Pair, at: Micros) -> Seen {
    Seen {
        function,
        value,
        uncertainty: 0.1,
        flags: Flags::NONE,
        meter: METER,
        points: Some(points),
        at,
    }
}

/// The technician, the unit and a clock that moves twenty seconds per act.
pub struct Bench {
    pub gates: Gates<'static>,
    pub now: Micros,
    pub steps: Vec<Step>,
    /// What stands on every capacitor until it is drained.
    pub charge: f64,
}

impl Bench {
    pub fn new(plan: GatePlan<'static>) -> Self {
        Bench {
            gates: Gates::new(plan).expect("a sound plan"),
            now: Micros(SECOND),
            steps: Vec::new(),
            charge: 300.0,
        }
    }

    pub fn tick(&mut self) -> Micros {
        self.now = Micros(self.now.0 + 20 * SECOND);
        self.now
    }

    pub fn act(&mut self, act: Act) -> Outcome {
        let at = self.tick();
        if act == Act::Drain {
            self.charge = 0.2;
        }
        self.gates.on(&Event::Act { act, at })
    }

    pub fn take(&mut self, function: Function, value: f64, points: Pair) -> Outcome {
        let at = self.tick();
        self.gates
            .on(&Event::Take(seen(function, value, points, at)))
    }

    pub fn reading(&mut self, function: Function, value: f64, points: Pair) -> Outcome {
        let at = self.tick();
        self.gates
            .on(&Event::Reading(seen(function, value, points, at)))
    }

    pub fn prove(&mut self, value: f64) -> Outcome {
        let at = self.tick();
        self.gates.on(&Event::Proof {
            meter: METER,
            seen: Some(Known {
                function: Function::VoltsAc,
                value,
                uncertainty: 0.5,
                flags: Flags::NONE,
            }),
            at,
        })
    }

    pub fn next(&self, gate: Gate) -> Step {
        self.gates.next_step(gate, self.now)
    }

    /// Does what the step asks for, on a unit that is as it should be.
    pub fn answer(&mut self, step: Step) -> Outcome {
        self.steps.push(step);
        match step {
            Step::ReadLine(points) => self.take(Function::VoltsAc, 238.4, points),
            Step::OpenBreaker => self.act(Act::OpenBreaker),
            Step::LockDisconnect => self.act(Act::LockDisconnect),
            Step::LockAndTag => self.act(Act::LockAndTag),
            Step::OpenSource(n) => self.act(Act::OpenSource(n)),
            Step::ProveMeter => self.prove(120.3),
            Step::ReadDead {
                function, points, ..
            } => self.take(function, 0.3, points),
            Step::Drain => self.act(Act::Drain),
            Step::ReadCharge { points, .. } => {
                let value = self.charge;
                self.take(Function::VoltsDc, value, points)
            }
            Step::LayOnBench => self.act(Act::OnBench),
            Step::Insulate(end) => self.act(Act::Insulate(end)),
            Step::CheckGround(point) => {
                self.open(Gate::DischargedToMeasure);
                self.take(Function::VoltsAc, 0.1, [point, GROUND]);
                self.take(Function::Ohms, f64::INFINITY, [point, GROUND])
            }
            Step::Wait { until } => {
                self.now = until;
                self.gates.on(&Event::Tick { at: until })
            }
            Step::FitCovers => self.act(Act::CoversOn),
            Step::ClearPeople => self.act(Act::PeopleClear),
            other => panic!("no answer to {other:?}"),
        }
    }

    /// Walks until the gate is open.
    pub fn open(&mut self, gate: Gate) {
        for _ in 0..200 {
            match self.next(gate) {
                Step::Open => return,
                step => {
                    self.answer(step);
                }
            }
        }
        panic!("{gate:?} does not open: {:?}", self.steps);
    }

    pub fn is_dead(&self) -> bool {
        self.gates.proved_dead().is_some()
    }
}
