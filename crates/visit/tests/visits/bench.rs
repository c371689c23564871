//! The technician of these tests: answers every ask from a simulated unit, through a display of
//! 6000 counts with its own rounding.

use std::sync::OnceLock;

use ohmtrail_circuit::bench::{Bench, BenchError, Told};
use ohmtrail_circuit::meter::{Ideal, input_ohms};
use ohmtrail_circuit::sheet::{Question, Sheet, read_builtin};
use ohmtrail_core::accuracy::{Accuracy, Spec};
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{
    Act, Asked, Entry, Event, Finding, MeterJoined, Opened, Request, Stamp,
};
use ohmtrail_visit::{Book, Input, Inputs, Refusal, SheetBundle, Stage, Taken, Visit};

/// The sheet, compiled once for all tests.
pub fn bundle() -> &'static SheetBundle {
    static BUNDLE: OnceLock<SheetBundle> = OnceLock::new();
    BUNDLE.get_or_init(|| {
        let sheet = read_builtin("split-heat-pump-1ph")
            .expect("the sheet is there")
            .expect("the sheet is right");
        SheetBundle::new(sheet).expect("the sheet compiles")
    })
}

pub fn sheet() -> &'static Sheet {
    &bundle().sheet
}

pub fn at(seconds: f64) -> Stamp {
    Stamp {
        steady: Micros((seconds * 1e6) as u64),
        wall_us: 1_900_000_000_000_000 + (seconds * 1e6) as i64,
    }
}

pub fn opened() -> Opened {
    opened_on(sheet())
}

pub fn opened_on(sheet: &Sheet) -> Opened {
    Opened {
        tool: "test".into(),
        work_order: "W-17 (invented)".into(),
        technician: "an invented technician".into(),
        unit: "an invented unit".into(),
        sheet: sheet.name.clone(),
        sheet_hash: sheet.hash,
        previous: None,
        simulated: true,
    }
}

pub fn joined(meter: u16) -> Input {
    Input::MeterJoined {
        joined: MeterJoined {
            meter: MeterId(meter),
            driver: "test".into(),
            place: "bench".into(),
            profile: "none".into(),
            accuracy_assumed: false,
        },
        accuracy: STATED.to_vec(),
        inputs: Inputs::default(),
    }
}

/// What an invented hand-held meter states.
const STATED: [Spec; 5] = [
    stated(Function::VoltsAc, 1.0, 3.0),
    stated(Function::VoltsDc, 0.5, 2.0),
    stated(Function::Ohms, 0.8, 3.0),
    stated(Function::Farads, 2.0, 5.0),
    stated(Function::AmpsAc, 2.0, 5.0),
];

const fn stated(function: Function, percent: f64, counts: f64) -> Spec {
    Spec {
        function,
        accuracy: Accuracy::new(percent, counts),
    }
}

/// The finest range of 6000 counts that holds the value.
pub fn show(function: Function, ideal: Ideal) -> Shown {
    let (mut exponent, most): (i8, f64) = match function {
        Function::VoltsAc | Function::VoltsDc => (-3, 1000.0),
        Function::Ohms => (-2, 40e6),
        Function::Farads => (-9, 10e-3),
        _ => (-2, 600.0),
    };
    let value = match ideal {
        Ideal::Overload => return Shown::Overload,
        Ideal::Value(value) if value.abs() > most => return Shown::Overload,
        Ideal::Value(value) => value,
    };
    loop {
        let counts = (value / 10f64.powi(i32::from(exponent))).round();
        if counts.abs() < 6000.0 {
            return Shown::Value(Decimal::new(counts as i32, exponent));
        }
        exponent += 1;
    }
}

/// A visit in the hands of its technician.
pub struct Hands<'b> {
    pub visit: Visit<'b>,
    pub bench: Bench<'b>,
    /// The same unit with every wire in its place, where the one on the bench has a miswire.
    pub right: Option<Bench<'b>>,
    pub entries: Vec<Entry>,
    pub seconds: f64,
    pub trace: bool,
}

impl<'b> Hands<'b> {
    pub fn new(book: &'b Book<'b>, faults: &[&str], seed: u64) -> Self {
        let numbers: Vec<usize> = faults
            .iter()
            .map(|f| book.sheet.fault(f).expect("a fault of the sheet"))
            .collect();
        let mut hands = Hands {
            visit: Visit::new(book),
            bench: Bench::new(&book.circuit, seed, &numbers),
            right: None,
            entries: Vec::new(),
            seconds: 0.0,
            trace: std::env::var("TRACE").is_ok(),
        };
        let opened = opened_on(book.sheet);
        hands.say(Input::Open(opened)).expect("opens");
        hands.say(joined(1)).expect("joins");
        hands
    }

    /// With a complaint to begin with.
    pub fn complaining(book: &'b Book<'b>, faults: &[&str], seed: u64, what: &str) -> Self {
        let mut hands = Hands::new(book, faults, seed);
        hands
            .say(Input::Complaint {
                what: what.into(),
                words: String::new(),
            })
            .expect("a complaint of the sheet");
        hands
    }

    pub fn now(&self) -> Stamp {
        at(self.seconds)
    }

    pub fn keep(&mut self, events: Vec<Event>) {
        for event in events {
            if self.trace {
                println!("{:7.0} s {event:?}", self.seconds);
            }
            let entry = Entry {
                at: self.now(),
                event,
            };
            self.visit.apply(&entry);
            self.entries.push(entry);
        }
    }

    pub fn say(&mut self, input: Input) -> Result<(), Refusal> {
        let events = self.visit.handle(input, self.now())?;
        self.keep(events);
        Ok(())
    }

    /// Lets the visit go on until it asks for something, or has no more to say.
    pub fn settle(&mut self) -> Option<Asked> {
        loop {
            let events = self.visit.next(self.now());
            if !events.is_empty() {
                self.keep(events);
                continue;
            }
            match self.visit.waiting() {
                Some(waiting) => self.seconds = waiting.until.0 as f64 / 1e6 + 1.0,
                None => return self.visit.record().open_ask().cloned(),
            }
        }
    }

    /// The true answer to an ask, done on the bench where it is an act.
    pub fn answer(&mut self, asked: &Asked) -> Input {
        self.seconds += f64::from(asked.minutes) * 60.0;
        let ask = Some(asked.ask);
        match &asked.request {
            Request::Look { what } => {
                let check = self
                    .visit
                    .book()
                    .sheet
                    .look(what)
                    .expect("a look of the sheet");
                let Question::Look { part, look } = &self.visit.book().sheet.checks[check].question
                else {
                    panic!("{what} is a look");
                };
                Input::Look {
                    ask,
                    what: None,
                    answer: self.bench.look(*part, look),
                }
            }
            Request::Measure {
                function, points, ..
            } => Input::Take(self.take(*function, points, ask)),
            Request::LowImpedance {
                function, points, ..
            } => Input::Take(self.take_through(*function, points, ask, true)),
            Request::AtStart {
                function, points, ..
            } => Input::Take(self.held(*function, points, ask)),
            Request::Act { act } => {
                self.do_act(act);
                Input::Done { ask, act: None }
            }
            other => panic!("an ask that is not known: {other:?}"),
        }
    }

    pub fn take(&self, function: Function, points: &[String; 2], ask: Option<u32>) -> Taken {
        self.take_through(function, points, ask, false)
    }

    /// AC volts where ohms are to be offered next, as the meter shows them: to ground, and between.
    pub fn volts_first(&mut self, points: [&str; 2]) {
        let sheet = self.visit.book().sheet;
        let ground = sheet.point_name(sheet.dead.ground);
        for points in [[points[0], ground], points] {
            let taken = self.take(Function::VoltsAc, &points.map(String::from), None);
            self.say(Input::Take(taken)).expect("a volunteered take");
        }
    }

    /// A take with the meter in its low-impedance mode or not.
    pub fn take_through(
        &self,
        function: Function,
        points: &[String; 2],
        ask: Option<u32>,
        low: bool,
    ) -> Taken {
        let pair =
            [&points[0], &points[1]].map(|p| self.visit.book().sheet.point(p).expect("a point"));
        let input = input_ohms(low);
        let ideal = match self.bench.measure_through(function, pair, input) {
            Ok(ideal) => ideal,
            // No current where there is no power.
            Err(BenchError::NotModelled { .. }) => Ideal::Value(0.0),
            Err(error) => panic!("asked for {points:?}: {error}"),
        };
        Taken {
            ask,
            function: Some(function),
            points: Some(points.clone()),
            shown: show(function, ideal),
            // Leads zeroed.
            flags: Flags::NONE
                .with_if(Flags::RELATIVE, function == Function::Ohms)
                .with_if(Flags::LOW_IMPEDANCE, low),
            meter: None,
        }
    }

    /// What the meter held of the start.
    fn held(&self, function: Function, points: &[String; 2], ask: Option<u32>) -> Taken {
        let pair =
            [&points[0], &points[1]].map(|p| self.visit.book().sheet.point(p).expect("a point"));
        let ideal = self.bench.at_start(function, pair).expect("under power");
        let lowest = function == Function::VoltsAc;
        Taken {
            ask,
            function: Some(function),
            points: Some(points.clone()),
            shown: show(function, ideal),
            flags: Flags::NONE
                .with_if(Flags::MINIMUM, lowest)
                .with_if(Flags::MAXIMUM, !lowest),
            meter: None,
        }
    }

    pub fn do_act(&mut self, act: &Act) {
        if matches!(act, Act::PutRight(_))
            && let Some(right) = self.right.take()
        {
            self.bench = right;
        }
        let sheet = self.visit.book().sheet;
        for bench in std::iter::once(&mut self.bench).chain(&mut self.right) {
            done(bench, sheet, act);
        }
    }

    /// Answers one ask; false when none is open.
    pub fn step(&mut self) -> bool {
        let Some(asked) = self.settle() else {
            return false;
        };
        let input = self.answer(&asked);
        self.say(input).expect("an honest answer is taken");
        true
    }

    /// To the end of the visit.
    pub fn run(&mut self) -> Finding {
        for _ in 0..1500 {
            if !self.step() {
                assert_eq!(self.visit.stage(), Stage::Left);
                return self.visit.record().finding.clone().expect("a finding");
            }
        }
        panic!("the visit does not end");
    }

    /// On until a check that is no step towards a gate is asked for and fits.
    pub fn until(&mut self, fits: impl Fn(&Request) -> bool) -> Asked {
        for _ in 0..1500 {
            let asked = self.settle().expect("an ask");
            if fits(&asked.request) {
                return asked;
            }
            let input = self.answer(&asked);
            self.say(input).expect("an honest answer is taken");
        }
        panic!("never asked");
    }
}

/// Does it on one bench.
pub fn done(bench: &mut Bench<'_>, sheet: &Sheet, act: &Act) {
    match act {
        Act::OpenBreaker | Act::LockDisconnect => bench.open_breaker(),
        Act::OpenOtherSources => bench.open_other_sources(),
        Act::Discharge => bench.discharge(),
        Act::WaitCool => bench.wait_cool(),
        Act::CloseBreaker => bench.close_breaker(),
        Act::CallOn => bench.tell(Told::Call),
        Act::CallOff => bench.tell(Told::Nothing),
        Act::CallHeating => bench.tell(Told::Heating),
        Act::StartDefrost => bench.tell(Told::Defrost),
        Act::Lift(ends) => {
            for end in ends {
                bench.lift(sheet.point(end).expect("an end"));
            }
        }
        Act::PutBack(ends) => {
            for end in ends {
                bench.put_back(sheet.point(end).expect("an end"));
            }
        }
        _ => {}
    }
}

/// A visit that goes on from a part of its trail, the bench in the state that part left it in, on
/// a clock that begins again.
pub fn go_on<'b>(book: &'b Book<'b>, entries: &[Entry], faults: &[&str], seed: u64) -> Hands<'b> {
    let mut hands = Hands::new(book, faults, seed);
    for entry in entries {
        if let Event::Acted(acted) = &entry.event {
            hands.do_act(&acted.act);
        }
    }
    hands.visit = Visit::replay(book, entries).expect("its own trail");
    hands.entries = entries.to_vec();
    hands.seconds = 0.0;
    hands
}
