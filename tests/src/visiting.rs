//! One visit in a technician's hands, in this process: to its finding, with one mistake on the way if
//! that is wanted.

use ohmtrail_circuit::bench::{Bench, BenchError};
use ohmtrail_circuit::meter::{Ideal, input_ohms};
use ohmtrail_circuit::sheet::PointId;
use ohmtrail_core::reading::{Flags, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::sim::noise::Noise;
use ohmtrail_trail::event::{
    Act, Asked, Entry, Event, Finding, Measurement, MeterJoined, Opened, Request, Stamp,
};
use ohmtrail_visit::{Book, Input, Inputs, Taken, Visit};

use crate::technician::{FRAMES, Technician, which};

/// A visit that asks for more than this does not end.
const MOST_ASKS: usize = 1500;

/// One mistaken take.
#[derive(Debug, Clone)]
pub struct Mistake {
    /// At which take of the visit, counted from zero.
    pub take: usize,
    /// Where and how comes from here.
    pub noise: Noise,
}

/// How a visit ended.
#[derive(Debug)]
pub struct Ended {
    /// What it found.
    pub finding: Finding,
    /// The leading suspect.
    pub lead: String,
    /// How many asks it took.
    pub asks: usize,
    /// How many takes it took.
    pub takes: usize,
    /// The mistake that was made, in words; none if none could be made at that take.
    pub slip: Option<String>,
}

/// What a mistaken technician read.
struct Slip {
    shown: Shown,
    function: Function,
    words: String,
}

fn act_name(act: &Act) -> (String, Vec<String>) {
    match act {
        Act::Lift(ends) => ("lift".to_owned(), ends.clone()),
        Act::PutBack(ends) => ("put-back".to_owned(), ends.clone()),
        Act::CheckWire(end) => ("check-wire".to_owned(), vec![end.clone()]),
        other => {
            let name = serde_json::to_value(other).expect("an act is JSON");
            (name.as_str().expect("a plain act").to_owned(), Vec::new())
        }
    }
}

/// What is truly there, in base units; none where the meter or its user would have come to harm.
fn truth(bench: &Bench<'_>, function: Function, pair: [PointId; 2], input: f64) -> Option<f64> {
    match bench.measure_through(function, pair, input) {
        Ok(Ideal::Value(value)) => Some(value),
        Ok(Ideal::Overload) => Some(f64::INFINITY),
        Err(BenchError::NotModelled { .. }) => Some(0.0),
        Err(_) => None,
    }
}

/// The meter on a wrong point, or with its dial on a wrong function: by turns that is noticed, so that
/// the function is told, or not, so that what is shown is taken for what was asked.
fn slip(
    technician: &mut Technician<'_>,
    asked: &Measurement<'_>,
    noise: &mut Noise,
) -> Option<Slip> {
    let sheet = technician.sheet();
    let mut pair = asked.points.each_ref().map(|p| sheet.point(p));
    let input = input_ohms(asked.low_impedance);
    if noise.unit() < 0.5 {
        let which = usize::from(noise.unit() < 0.5);
        let all = sheet.points.len();
        let other = ((noise.unit() * all as f64) as usize).min(all - 1);
        if pair.contains(&Some(other)) {
            return None;
        }
        pair[which] = Some(other);
        let pair = [pair[0]?, pair[1]?];
        let value = truth(technician.bench(), asked.function, pair, input)?;
        let [a, b] = pair.map(|p| sheet.point_name(p));
        return Some(Slip {
            shown: technician.shows(asked.function, value),
            function: asked.function,
            words: format!("{} on {a} and {b}", asked.function.name()),
        });
    }
    let dial = match asked.function {
        Function::VoltsAc => Function::VoltsDc,
        f if f.injects() => Function::VoltsAc,
        _ => return None,
    };
    let value = truth(technician.bench(), dial, [pair[0]?, pair[1]?], input)?;
    let noticed = noise.unit() < 0.5;
    Some(Slip {
        shown: technician.shows(dial, value),
        function: if noticed { dial } else { asked.function },
        words: format!(
            "the dial on {}{}",
            dial.name(),
            if noticed { "" } else { ", unnoticed" }
        ),
    })
}

/// A visit, its record and its clock.
struct Running<'b, 'v> {
    visit: Visit<'b>,
    technician: &'v mut Technician<'b>,
    seconds: f64,
    takes: usize,
    mistake: Option<Mistake>,
    slip: Option<String>,
}

impl Running<'_, '_> {
    fn at(&self) -> Stamp {
        Stamp {
            steady: Micros((self.seconds * 1e6) as u64),
            wall_us: 1_900_000_000_000_000 + (self.seconds * 1e6) as i64,
        }
    }

    fn apply(&mut self, events: Vec<Event>) {
        for event in events {
            let at = self.at();
            self.visit.apply(&Entry { at, event });
        }
    }

    fn say(&mut self, input: Input) {
        let at = self.at();
        let events = self.visit.handle(input, at).expect("an answer is taken");
        self.apply(events);
    }

    /// Lets the visit go on until it asks, or has found what it can.
    fn settle(&mut self) {
        loop {
            let at = self.at();
            let events = self.visit.next(at);
            if !events.is_empty() {
                self.apply(events);
            } else if let Some(waiting) = self.visit.waiting() {
                self.seconds = waiting.until.0 as f64 / 1e6 + 1.0;
            } else {
                return;
            }
        }
    }

    fn answer(&mut self, asked: &Asked) -> Input {
        self.seconds += f64::from(asked.minutes) * 60.0;
        let ask = Some(asked.ask);
        match &asked.request {
            Request::Look { what } => Input::Look {
                ask,
                what: None,
                answer: self.technician.look(what).expect("a look of the sheet"),
            },
            Request::Act { act } => {
                let (name, ends) = act_name(act);
                self.technician.act(&name, &ends);
                Input::Done { ask, act: None }
            }
            request => {
                let wanted = request.measurement().expect("an ask that is known");
                Input::Take(self.take(asked.ask, &wanted))
            }
        }
    }

    fn take(&mut self, ask: u32, wanted: &Measurement<'_>) -> Taken {
        let number = self.takes;
        self.takes += 1;
        let mut function = wanted.function;
        let mut shown = None;
        if let Some(mistake) = self.mistake.as_mut().filter(|m| m.take == number)
            && let Some(slip) = slip(self.technician, wanted, &mut mistake.noise)
        {
            function = slip.function;
            shown = Some(slip.shown);
            self.slip = Some(format!("take {number}: {}", slip.words));
        }
        let shown = shown.unwrap_or_else(|| {
            let sheet = self.technician.sheet();
            let pair = wanted.points.each_ref();
            let pair = pair.map(|p| sheet.point(p).expect("a point of the sheet"));
            let input = input_ohms(wanted.low_impedance);
            let value = truth(self.technician.bench(), wanted.function, pair, input);
            let value = value.unwrap_or_else(|| panic!("asked for {:?}: harm", wanted.points));
            self.technician.shows(wanted.function, value)
        });
        Taken {
            ask: Some(ask),
            function: Some(function),
            points: Some(wanted.points.clone()),
            shown,
            // Leads zeroed.
            flags: Flags::NONE.with_if(Flags::RELATIVE, function == Function::Ohms),
            meter: Some(MeterId(1 + which(wanted.function) as u16)),
        }
    }
}

/// One visit in a technician's hands: the seed draws the unit, the meter and what looks mislead.
///
/// # Panics
/// If the visit does not end, or asks for what would have hurt somebody.
#[must_use]
pub fn visit(
    book: &Book<'_>,
    profiles: &[Profile; 2],
    seed: u64,
    faults: &[usize],
    mistake: Option<Mistake>,
) -> Ended {
    let mut technician = Technician::new(&book.circuit, seed, faults);
    let complaint = technician.complaint();
    let mut running = Running {
        visit: Visit::new(book),
        technician: &mut technician,
        seconds: 0.0,
        takes: 0,
        mistake,
        slip: None,
    };
    running.say(Input::Open(Opened {
        tool: "test".to_owned(),
        work_order: "invented".to_owned(),
        technician: "invented".to_owned(),
        unit: "invented".to_owned(),
        sheet: book.sheet.name.clone(),
        sheet_hash: book.sheet.hash,
        previous: None,
        simulated: true,
    }));
    for (meter, profile) in (1..).zip(profiles) {
        running.say(Input::MeterJoined {
            joined: MeterJoined {
                meter: MeterId(meter),
                driver: FRAMES[usize::from(meter) - 1].to_owned(),
                place: "bench".to_owned(),
                profile: profile.name.clone(),
                accuracy_assumed: false,
            },
            accuracy: profile.specs(),
            inputs: Inputs {
                ohms: profile.input_ohm,
                low_impedance_ohms: profile.low_impedance_ohm,
            },
        });
    }
    running.say(Input::Complaint {
        what: complaint,
        words: String::new(),
    });
    for asks in 0..MOST_ASKS {
        running.settle();
        let record = running.visit.record();
        if let Some(finding) = &record.finding {
            let lead = record.suspects.first();
            let lead = lead.map_or_else(String::new, |s| format!("{:?} {:.2}", s.faults, s.p));
            return Ended {
                finding: finding.clone(),
                lead,
                asks,
                takes: running.takes,
                slip: running.slip,
            };
        }
        let asked = record.open_ask().cloned();
        let asked = asked.expect("a visit without a finding asks");
        let input = running.answer(&asked);
        running.say(input);
    }
    panic!("the visit does not end");
}
