//! Tests of loose parts on a bench: first the gates of a loose part, then its measurements, then
//! one verdict.
//!
//! Points are numbered by the test: a capacitor's terminals are 1 and 2; a winding set's common, run
//! and start 1, 2 and 3; a contactor's coil 1 and 2, its poles 10 to 20, 11 to 21 and so on.

use ohmtrail_core::accuracy::{Measured, Quantity};
use ohmtrail_core::gates::{Event, Gate, Gates, LooseAsk, Pair, PointId, Seen};
use ohmtrail_core::leads::Leads;
use ohmtrail_core::reading::{Function, Reading};
use ohmtrail_core::rules::capacitor::{self, Known, Tolerance};
use ohmtrail_core::rules::winding::{self, Pairs, Path, Pattern, SumOutcome};
use ohmtrail_core::source::{Source, Status};
use ohmtrail_core::units::{Farads, Micros, Ohms, Ratio};
use ohmtrail_core::verdict::Limit;
use ohmtrail_link::card::Step;
use ohmtrail_link::load::Test;
use ohmtrail_link::message::Light;

use crate::front::FrontEnd;
use crate::walk::{Want, Way, light, loose, reaches, towards, weigh, worse};

/// The most measurements of a test.
pub const MEASURES: usize = 9;

/// A contact that is closed has at most this. Common practice, no published source.
const CLOSED: f64 = 1.0;
/// A contact that is open has at least this. Common practice, no published source.
const OPEN: f64 = 1e6;
/// A winding that has a path has at most this: more is an open. Common practice, no published
/// source.
const PATH: f64 = 1e5;

/// One measurement of a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measure {
    /// What is measured.
    pub function: Function,
    /// Between which points; none where it is at no point.
    pub points: Option<Pair>,
    /// In words.
    pub words: &'static str,
}

/// The measurement of this number; none if the test has no more.
#[must_use]
pub fn measure(test: &Test, nth: u8) -> Option<Measure> {
    let at = |function, a, b, words| {
        Some(Measure {
            function,
            points: Some([PointId(a), PointId(b)]),
            words,
        })
    };
    let ohms = Function::Ohms;
    match (test, nth) {
        (Test::Capacitor { .. }, 0) => at(Function::Farads, 1, 2, "the section's two terminals"),
        (Test::Windings, 0) => at(ohms, 1, 1, "the probes held together"),
        (Test::Windings, 1) => at(ohms, 1, 2, "common to run"),
        (Test::Windings, 2) => at(ohms, 1, 3, "common to start"),
        (Test::Windings, 3) => at(ohms, 3, 2, "start to run"),
        (Test::Contactor { .. }, 0) => at(ohms, 1, 2, "the coil"),
        (Test::Contactor { poles, .. }, n) if n <= poles.saturating_mul(2) => {
            let pole = u16::from(n.saturating_sub(1) / 2);
            let words = if n % 2 == 1 {
                "across the pole, as it lies"
            } else {
                "across the pole, pushed in by hand"
            };
            at(
                ohms,
                pole.saturating_add(10),
                pole.saturating_add(20),
                words,
            )
        }
        (Test::Thermistor { .. }, 0) => Some(Measure {
            function: Function::Celsius,
            points: None,
            words: "the temperature beside the thermistor, once both are the same",
        }),
        (Test::Thermistor { .. }, 1) => at(ohms, 1, 2, "the thermistor's two leads"),
        _ => None,
    }
}

/// A test under way.
#[derive(Debug)]
pub struct PartWalk {
    test: Test,
    gates: Gates<'static>,
    next: u8,
    results: [Option<Reading>; MEASURES],
}

impl PartWalk {
    /// Begins; none if the gates of a loose part cannot be drawn up, which is never.
    #[must_use]
    pub fn new(test: Test) -> Option<Self> {
        Some(PartWalk {
            test,
            gates: Gates::new(loose()).ok()?,
            next: 0,
            results: [None; MEASURES],
        })
    }

    /// The gates.
    pub fn gates(&mut self) -> &mut Gates<'static> {
        &mut self.gates
    }

    /// What is wanted next.
    #[must_use]
    pub fn want(&self, front: &FrontEnd, now: Micros) -> Want {
        let Some(measure) = measure(&self.test, self.next) else {
            return Want::Over;
        };
        let step = Step::Part(self.next);
        let Some(points) = measure.points else {
            return Want::Measure {
                step,
                function: measure.function,
                points: None,
            };
        };
        match towards(&self.gates, Gate::DischargedToMeasure, front, now) {
            Way::Want(want) => return want,
            Way::Barred => return Want::Over,
            Way::Open => {}
        }
        let (Some(loose), Some(charge)) =
            (self.gates.loose(), self.gates.discharged_to_measure(now))
        else {
            return Want::Over;
        };
        // The probes held together touch no part of it.
        let [a, b] = points;
        let asked = if a == b {
            [PointId(1), PointId(2)]
        } else {
            points
        };
        match LooseAsk::new(measure.function, loose, charge, asked) {
            Ok(ask) => Want::Measure {
                step,
                function: ask.function(),
                points: Some(points),
            },
            Err(_) => Want::Over,
        }
    }

    /// A value of a measurement of this test settled.
    pub fn take(&mut self, reading: &Reading, seen: &Seen) -> Light {
        let told = self.gates.on(&Event::Take(*seen));
        if told.alarm.is_some() {
            return Light::Alarm;
        }
        if told.void {
            return Light::Void;
        }
        if let Some(slot) = self.results.get_mut(usize::from(self.next)) {
            *slot = Some(*reading);
        }
        self.next = self.next.saturating_add(1);
        Light::Wait
    }

    /// A measurement cannot be made.
    pub fn skip(&mut self) {
        self.next = self.next.saturating_add(1);
    }

    /// The verdict on what was measured.
    #[must_use]
    pub fn verdict(&self, front: &FrontEnd) -> Light {
        let verdict = match self.test {
            Test::Capacitor {
                farads,
                minus,
                plus,
            } => self.capacitor(front, farads, minus, plus),
            Test::Windings => self.windings(front),
            Test::Contactor {
                coil_low,
                coil_high,
                poles,
            } => self.contactor(front, coil_low, coil_high, poles),
            Test::Thermistor {
                ohms_25,
                beta,
                share,
            } => self.thermistor(front, ohms_25, beta, share),
        };
        // What is missing or void decides nothing.
        verdict.unwrap_or(Light::Unsure)
    }

    /// A result; an overload is none within.
    fn result(&self, front: &FrontEnd, nth: usize, leads: &Leads) -> Option<Option<Measured>> {
        let reading = self.results.get(nth)?.as_ref()?;
        weigh(front, leads, reading).ok()
    }

    fn capacitor(&self, front: &FrontEnd, farads: f32, minus: f32, plus: f32) -> Option<Light> {
        let Some(m) = self.result(front, 0, &front.leads())? else {
            // More than the highest range shows.
            let most = f64::from(farads) * (1.0 + f64::from(plus));
            return Some(if reaches(front, Function::Farads, most) {
                Light::Fail
            } else {
                Light::Unsure
            });
        };
        let known = Known {
            marked: Some(Farads(f64::from(farads))),
            tolerance: Some(Tolerance {
                minus: Ratio(f64::from(minus)),
                plus: Ratio(f64::from(plus)),
            }),
            plate: None,
        };
        let section = capacitor::section(Quantity::from_measured(m), &known).ok()?;
        Some(light(section.replace.decision))
    }

    fn windings(&self, front: &FrontEnd) -> Option<Light> {
        let none = Leads::Shorted(Quantity::new(Ohms(0.0), 0.0));
        let leads = match self.result(front, 0, &none)? {
            Some(m) => Leads::Shorted(Quantity::from_measured(m)),
            None => return None,
        };
        let read = |nth| self.result(front, nth, &none);
        let (run, start, both) = (read(1)?, read(2)?, read(3)?);
        let path = |m: Option<Measured>| match m {
            Some(m) if m.value <= PATH => Path::Closed(Quantity::from_measured(m)),
            _ => Path::Open,
        };
        let pattern = winding::pattern(
            &Pairs {
                common_start: path(start),
                common_run: path(run),
                start_run: path(both),
            },
            false,
        );
        match pattern {
            Pattern::StartOpen | Pattern::RunOpen => return Some(Light::Fail),
            Pattern::Closed => {}
            // A protector may be open from heat; a pattern that cannot be is measured again.
            _ => return Some(Light::Unsure),
        }
        let ohms = |m: Option<Measured>| m.map(Quantity::<Ohms>::from_measured);
        let pairs = Pairs {
            common_start: ohms(start)?,
            common_run: ohms(run)?,
            start_run: ohms(both)?,
        };
        let sum = winding::sum_rule(&pairs, &leads).ok()?;
        Some(match sum.outcome {
            SumOutcome::Consistent => Light::Pass,
            SumOutcome::Inconsistent | SumOutcome::NotJudged => Light::Unsure,
        })
    }

    fn contactor(&self, front: &FrontEnd, low: f32, high: f32, poles: u8) -> Option<Light> {
        const COIL: Source = Source::new("the coil's ohms as loaded", Status::Plate);
        const CONTACT: Source = Source::new(
            "a closed contact has at most 1 ohm, an open one at least 1 megohm",
            Status::CommonPractice,
        );
        let leads = front.leads();
        let coil = Limit::new(Some(f64::from(low)), Some(f64::from(high)), COIL);
        let mut verdict = match self.result(front, 0, &leads)? {
            Some(m) => light(coil.decide(m)),
            None => Light::Fail,
        };
        for pole in 0..usize::from(poles) {
            let lying = pole.saturating_mul(2).saturating_add(1);
            let open = match self.result(front, lying, &leads)? {
                None => Light::Pass,
                Some(m) if m.value <= CLOSED => Light::Fail,
                Some(m) => light(Limit::new(Some(OPEN), None, CONTACT).decide(m)),
            };
            let closed = match self.result(front, lying.saturating_add(1), &leads)? {
                None => Light::Fail,
                Some(m) if m.value >= OPEN => Light::Fail,
                Some(m) => light(Limit::new(None, Some(CLOSED), CONTACT).decide(m)),
            };
            verdict = worse(verdict, worse(open, closed));
        }
        Some(verdict)
    }

    /// `R = R25 exp(B (1/T - 1/298.15 K))`, the beta equation of NTC thermistors (IEC 60539-1, from
    /// memory), held for some tens of kelvins about 25 degrees Celsius. A temperature off by `u`
    /// shifts the expected ohms by `R B u / T²`.
    fn thermistor(&self, front: &FrontEnd, ohms_25: f32, beta: f32, share: f32) -> Option<Light> {
        const MARKED: Source = Source::new("the thermistor's data as loaded", Status::Plate);
        const ZERO: f64 = 273.15;
        let leads = front.leads();
        let t = self.result(front, 0, &leads)??;
        let kelvins = t.value + ZERO;
        if kelvins <= 0.0 {
            return None;
        }
        let beta = f64::from(beta);
        let expected = f64::from(ohms_25) * libm::exp(beta * (1.0 / kelvins - 1.0 / (ZERO + 25.0)));
        let share = f64::from(share);
        let limit = Limit::new(
            Some(expected * (1.0 - share)),
            Some(expected * (1.0 + share)),
            MARKED,
        );
        let Some(m) = self.result(front, 1, &leads)? else {
            return Some(if reaches(front, Function::Ohms, limit.high()) {
                Light::Fail
            } else {
                Light::Unsure
            });
        };
        let shift = expected * beta * t.u / (kelvins * kelvins);
        let u = libm::sqrt(m.u * m.u + shift * shift);
        Some(light(limit.decide(Measured { u, ..m })))
    }
}
