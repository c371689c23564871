//! `ohmtrail demo`: a whole invented visit on the simulated bench. The unit is solved by the
//! circuit crate; the meter's bytes come through a real pseudo-terminal and the same serial driver
//! that reads hardware. With `--repair` the visit that repairs what it found comes after it.

mod repair;

use std::path::{Path, PathBuf};
use std::time::Duration;

use ohmtrail_circuit::bench::{Bench, BenchError, Told};
use ohmtrail_circuit::meter::{Ideal, input_ohms};
use ohmtrail_circuit::sheet::Question;
use ohmtrail_core::reading::{Function, MeterId, Reading};
use ohmtrail_core::settle::Settler;
use ohmtrail_core::units::Micros;
use ohmtrail_daemon::clock::wall_us;
use ohmtrail_daemon::forms::request_words;
use ohmtrail_meters::driver::driver;
use ohmtrail_meters::link;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::session::{Clock, Session, SessionEvent};
use ohmtrail_meters::sim::face::Moves;
use ohmtrail_meters::sim::meter::{SimConfig, SimMeter};
use ohmtrail_meters::spec::Spec;
use ohmtrail_paper::tag;
use ohmtrail_trail::event::{
    Act, Asked, Event, Measurement, MeterJoined, Opened, Request, Streamed,
};
use ohmtrail_visit::{Book, Input, Inputs, Taken};
use ohmtrail_words::Tongue;
use serde_json::json;

use super::desk::{Desk, Passing};
use super::visit::outcome;
use super::{bundle, cooling, dialogue, tell};
use crate::beforehand::Beforehand;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::known::KnownArgs;
use crate::out::Out;

/// What is broken, and where the trail goes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What is broken, such as run-cap.fan-open; may be given twice. `ohmtrail sheet faults NAME`
    /// lists them. Without it, a dual capacitor of which both sections have failed
    #[arg(long, value_name = "FAULT")]
    fault: Vec<String>,
    /// Nothing is broken
    #[arg(long, conflicts_with = "fault")]
    healthy: bool,
    /// Draws the unit, the meter's errors and the probes' bounce
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// The unit's sheet: built in, or a file
    #[arg(long, value_name = "SHEET", default_value = "split-heat-pump-1ph")]
    sheet: PathBuf,
    #[command(flatten)]
    beforehand: Beforehand,
    #[command(flatten)]
    known: KnownArgs,
    /// What the customer reports; `ohmtrail sheet complaints NAME` lists what there is
    #[arg(long, value_name = "NAME")]
    complaint: Option<String>,
    /// The repair comes after it: the quote, the part, every wire back, and the proof
    #[arg(long)]
    repair: bool,
    /// Where the trail is written; a new file under visits/ by default
    #[arg(long, value_name = "FILE")]
    trail: Option<PathBuf>,
}

/// The simulated meters by their frames: one with fine ohms for volts, ohms and farads, and a
/// clamp that holds a locked rotor's amperes.
const FRAMES: [&str; 2] = ["count14", "lcd14"];

/// One frame every 10 ms, taken for one every 200 ms: the demo runs this many times faster than
/// a meter that sends five values a second.
const FASTER: u64 = 20;
const FRAME_EVERY: Duration = Duration::from_millis(10);

/// A take that does not settle for so long of the demo's own time is given up.
const GIVE_UP: Micros = Micros(120_000_000);

/// Runs the visit.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let bundle = bundle(&args.sheet, &args.beforehand, &args.known)?;
    let book = Book::new(&bundle).map_err(Fail::input)?;
    let names: Vec<String> = if args.healthy {
        Vec::new()
    } else if args.fault.is_empty() {
        vec![
            "run-cap.herm-open".to_owned(),
            "run-cap.fan-open".to_owned(),
        ]
    } else {
        args.fault.clone()
    };
    let mut faults = Vec::new();
    for name in &names {
        faults.push(book.sheet.fault(name).ok_or_else(|| {
            Fail::input(format!(
                "the sheet has no fault \"{name}\"; list them with `ohmtrail sheet faults {}`",
                book.sheet.name
            ))
        })?);
    }
    let path = match &args.trail {
        Some(path) => path.clone(),
        None => fresh_trail()?,
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Fail::new(Exit::System, format!("no runtime: {e}")))?;
    let mut demo = runtime.block_on(Demo::begin(&book, args, &faults, &path))?;
    let found = runtime.block_on(demo.visit(args, &names, &path, out))?;
    if !args.repair || found != Exit::Done {
        return Ok(found);
    }
    runtime.block_on(demo.repair(args, &faults, &path, out))
}

/// A new file under visits/, named after the moment.
fn fresh_trail() -> Result<PathBuf, Fail> {
    let folder = Path::new("visits");
    std::fs::create_dir_all(folder).map_err(|e| {
        Fail::new(
            Exit::System,
            format!("visits/ cannot be made: {e}; name a file with --trail"),
        )
    })?;
    Ok(folder.join(format!("demo-{}.trail", wall_us() / 1000)))
}

struct Demo<'b> {
    book: &'b Book<'b>,
    bench: Bench<'b>,
    desk: Desk<'b>,
    time: Passing,
    clock: Clock,
    instruments: [Instrument; 2],
}

/// A simulated meter, and the session that reads it.
struct Instrument {
    id: MeterId,
    frame: &'static str,
    meter: SimMeter,
    session: Session,
    profile: Profile,
}

impl Instrument {
    async fn start(
        frame: &'static str,
        number: u16,
        seed: u64,
        clock: Clock,
    ) -> Result<Self, Fail> {
        let system = |e: &dyn std::fmt::Display| Fail::new(Exit::System, e);
        let entry = driver(frame).ok_or_else(|| system(&"the demo's frame is not built in"))?;
        let profile = Profile::simulated(frame)
            .ok_or_else(|| system(&"the demo's meter profile is not built in"))?;
        let meter = SimMeter::start(SimConfig {
            entry,
            profile: profile.clone(),
            seed,
            interval: FRAME_EVERY,
            // A range that changes would flash an overload, which on volts is an alarm.
            moves: Moves {
                ranging: 0,
                ..Moves::default()
            },
        })
        .map_err(|e| system(&e))?;
        let spec = format!("serial:{},frame={frame}", meter.path().display());
        let spec = match spec.parse() {
            Ok(Spec::Stream(spec)) => spec,
            Ok(_) => return Err(system(&"the simulated port is no serial port")),
            Err(e) => return Err(system(&e)),
        };
        let id = MeterId(number);
        let session = link::open(&spec, id, spec.manner(), clock)
            .await
            .map_err(|e| Fail::new(Exit::Meter, e))?;
        Ok(Instrument {
            id,
            frame,
            meter,
            session,
            profile,
        })
    }

    fn joins(&self) -> Input {
        Input::MeterJoined {
            joined: MeterJoined {
                meter: self.id,
                driver: self.frame.to_owned(),
                place: self.meter.path().display().to_string(),
                profile: self.profile.name.clone(),
                accuracy_assumed: self.profile.ranges.is_empty(),
            },
            accuracy: self.profile.specs(),
            inputs: Inputs {
                ohms: self.profile.input_ohm,
                low_impedance_ohms: self.profile.low_impedance_ohm,
            },
        }
    }
}

impl<'b> Demo<'b> {
    async fn begin(
        book: &'b Book<'b>,
        args: &Args,
        faults: &[usize],
        path: &Path,
    ) -> Result<Self, Fail> {
        let clock = Clock::start();
        let instruments = [
            Instrument::start(FRAMES[0], 1, args.seed, clock).await?,
            Instrument::start(FRAMES[1], 2, args.seed, clock).await?,
        ];
        let time = Passing::start();
        let opened = Opened {
            tool: concat!("ohmtrail ", env!("CARGO_PKG_VERSION")).to_owned(),
            work_order: format!("DEMO-{} (invented)", args.seed),
            technician: "an invented technician".to_owned(),
            unit: "an invented heat pump behind an invented bakery".to_owned(),
            sheet: book.sheet.name.clone(),
            sheet_hash: book.sheet.hash,
            previous: None,
            simulated: true,
        };
        let mut desk = Desk::open(book, opened, Some(path), time.now())?;
        for instrument in &instruments {
            desk.say(instrument.joins(), time.now())?;
        }
        desk.beforehand(&args.beforehand, &args.known, time.now())?;
        Ok(Demo {
            book,
            bench: Bench::new(&book.circuit, args.seed, faults),
            desk,
            time,
            clock,
            instruments,
        })
    }

    async fn visit(
        &mut self,
        args: &Args,
        names: &[String],
        path: &Path,
        out: &mut Out,
    ) -> Result<Exit, Fail> {
        if !out.json() {
            let broken = if names.is_empty() {
                "nothing".to_owned()
            } else {
                names.join(" and ")
            };
            out.line(
                "An invented visit on a simulated unit: nothing here was measured on a real one.",
            )?;
            out.line(&format!(
                "Sheet: {}. Broken: {broken}. Seed {}.",
                self.book.sheet.title, args.seed
            ))?;
            for Instrument { frame, meter, .. } in &self.instruments {
                out.line(&format!(
                    "Meter: {frame} frames over the pseudo-terminal {}.",
                    meter.path().display()
                ))?;
            }
            out.line("Time runs faster than on a roof.")?;
        }
        let complaint = args.complaint.clone().unwrap_or_else(|| self.complaint());
        if !out.json() {
            out.line(&format!("Reported: {complaint}\n"))?;
        }
        let input = Input::Complaint {
            what: complaint,
            words: String::new(),
        };
        let events = self.desk.say(input, self.time.now())?;
        self.hold(events, out).await?;
        self.end(path, out)
    }

    /// Answers what is asked, until nothing more is.
    async fn hold(&mut self, mut events: Vec<Event>, out: &mut Out) -> Result<(), Fail> {
        loop {
            events.extend(self.desk.go_on(self.time.now())?);
            for event in events.drain(..) {
                self.tell(&event, out)?;
            }
            for cooling in self.desk.visit().cooling_news(self.time.now()) {
                if out.json() {
                    out.json_line(&cooling::line(&cooling))?;
                } else {
                    out.line(&format!("      {}", cooling::words(&cooling)))?;
                }
            }
            if let Some(waiting) = self.desk.visit().waiting() {
                if !out.json() {
                    out.line(&format!("      wait: {}", waiting.why))?;
                }
                self.time.to(waiting.until);
                continue;
            }
            let Some(asked) = self.desk.visit().record().open_ask().cloned() else {
                return Ok(());
            };
            events = self.answer(&asked).await?;
            out.finish()?;
        }
    }

    /// What a customer would report of this unit: the complaint that fits what is seen of it.
    fn complaint(&self) -> String {
        let sheet = self.book.sheet;
        let fits = |says: &[(usize, bool)]| {
            says.iter()
                .all(|(check, yes)| match &sheet.checks[*check].question {
                    Question::Look { part, look } => self.bench.look(*part, look) == *yes,
                    Question::Measure { .. } => false,
                })
        };
        sheet
            .complaints
            .iter()
            .find(|c| fits(&c.says))
            .or(sheet.complaints.first())
            .map_or_else(String::new, |c| c.name.clone())
    }

    fn tell(&self, event: &Event, out: &mut Out) -> Result<(), Fail> {
        if out.json() {
            return match dialogue::line(event) {
                Some(line) => out.json_line(&line),
                None => Ok(()),
            };
        }
        match event {
            Event::Asked(asked) => {
                out.line(&format!("{:4}  {}", asked.ask, request_words(asked)))?;
                out.line(&format!("      why: {}", asked.why))
            }
            Event::Looked { answer, .. } => {
                out.line(&format!("      {}", if *answer { "yes" } else { "no" }))
            }
            Event::Took(take) => out.line(&format!("      {}", tell::take(take))),
            Event::Acted(_) => out.line("      done"),
            Event::Found(finding) => out.line(&format!("\n{}", tell::finding(finding))),
            other => match tell::event(other) {
                Some(text) => out.line(&format!("      {text}")),
                None => Ok(()),
            },
        }
    }

    /// The simulated technician's answer.
    async fn answer(&mut self, asked: &Asked) -> Result<Vec<Event>, Fail> {
        self.time.minutes(asked.minutes);
        let ask = Some(asked.ask);
        let input = match &asked.request {
            Request::Look { what } => {
                let check = self
                    .book
                    .sheet
                    .look(what)
                    .map(|c| &self.book.sheet.checks[c].question);
                match check {
                    Some(Question::Look { part, look }) => Input::Look {
                        ask,
                        what: None,
                        answer: self.bench.look(*part, look),
                    },
                    _ => skip(asked, "nothing of that name is on the bench"),
                }
            }
            Request::Act {
                act: Act::Fit(part),
            } => return self.fit(asked, part),
            Request::Act { act } => {
                self.act(act);
                Input::Done { ask, act: None }
            }
            request => match request.measurement() {
                Some(wanted) => return self.measure(asked, &wanted).await,
                None => skip(asked, "the bench does not know how"),
            },
        };
        Ok(self.desk.say(input, self.time.now())?)
    }

    fn act(&mut self, act: &Act) {
        let sheet = self.book.sheet;
        match act {
            Act::OpenBreaker | Act::LockDisconnect => self.bench.open_breaker(),
            Act::OpenOtherSources => self.bench.open_other_sources(),
            Act::Discharge => self.bench.discharge(),
            Act::WaitCool => self.bench.wait_cool(),
            Act::CloseBreaker => self.bench.close_breaker(),
            Act::CallOn => self.bench.tell(Told::Call),
            Act::CallOff => self.bench.tell(Told::Nothing),
            Act::CallHeating => self.bench.tell(Told::Heating),
            Act::StartDefrost => self.bench.tell(Told::Defrost),
            Act::Lift(ends) => {
                for end in ends.iter().filter_map(|e| sheet.point(e)) {
                    self.bench.lift(end);
                }
            }
            Act::PutBack(ends) => {
                for end in ends.iter().filter_map(|e| sheet.point(e)) {
                    self.bench.put_back(end);
                }
            }
            _ => {}
        }
    }

    /// Puts the probes on, and reads the meter until a take settles.
    async fn measure(
        &mut self,
        asked: &Asked,
        wanted: &Measurement<'_>,
    ) -> Result<Vec<Event>, Fail> {
        let (sheet, function) = (self.book.sheet, wanted.function);
        let [Some(a), Some(b)] = wanted.points.each_ref().map(|p| sheet.point(p)) else {
            let input = skip(asked, "a point that the bench does not have");
            return Ok(self.desk.say(input, self.time.now())?);
        };
        let input = input_ohms(wanted.low_impedance);
        let read = if wanted.at_start {
            self.bench.at_start(function, [a, b])
        } else {
            self.bench.measure_through(function, [a, b], input)
        };
        let value = match read {
            Ok(Ideal::Value(value)) => value,
            Ok(Ideal::Overload) => f64::INFINITY,
            // A clamp around a wire of a dead unit.
            Err(BenchError::NotModelled { .. }) => 0.0,
            Err(error) => return Err(Fail::new(Exit::System, error)),
        };
        let which = usize::from(function == Function::AmpsAc);
        if let Err(error) = self.instruments[which].meter.set(function, value) {
            let input = skip(asked, &error.to_string());
            return Ok(self.desk.say(input, self.time.now())?);
        }
        let mut settler = Settler::new();
        let mut events = Vec::new();
        let mut group: Vec<Streamed> = Vec::new();
        let origin = self.time.now().steady;
        // Frames that were on their way when the probes moved belong to the points before.
        let fresh = Micros(self.clock.now().0 + 2 * FRAME_EVERY.as_micros() as u64);
        let mut first = None;
        // What the meter sent while nobody asked.
        loop {
            let reading = match self.instruments[which].session.recv().await {
                Some(SessionEvent::Reading(reading)) => reading,
                Some(SessionEvent::Gone { why, .. }) => {
                    return Err(Fail::new(Exit::Meter, why.words()));
                }
                Some(_) => continue,
                None => return Err(Fail::new(Exit::Meter, "the simulated meter is gone")),
            };
            if reading.at < fresh || reading.function != function {
                continue;
            }
            let first = *first.get_or_insert(reading.at);
            let at = Micros(origin.0 + reading.at.since(first) * FASTER);
            let reading = Reading { at, ..reading };
            self.time.to(at);
            group.push(Streamed {
                at,
                function: reading.function,
                shown: reading.shown,
                flags: reading.flags,
            });
            events.extend(self.desk.say(Input::Live(reading), self.time.now())?);
            if self.desk.visit().record().open != Some(asked.ask) {
                // An alarm withdrew the ask.
                events.extend(self.stream(which, group)?);
                return Ok(events);
            }
            if let Some(settled) = settler.push(&reading).settled() {
                // The probes come off, so that what is still on the line shows nothing.
                let air = if function.injects() && function != Function::Farads {
                    f64::INFINITY
                } else {
                    0.0
                };
                self.instruments[which].meter.change(air);
                events.extend(self.stream(which, group)?);
                let input = Input::Take(Taken {
                    ask: Some(asked.ask),
                    meter: Some(self.instruments[which].id),
                    function: Some(function),
                    points: Some(wanted.points.clone()),
                    shown: settled.shown,
                    flags: settled.flags,
                });
                events.extend(self.desk.say(input, self.time.now())?);
                return Ok(events);
            }
            if at.since(origin) > GIVE_UP.0 {
                events.extend(self.stream(which, group)?);
                let input = skip(asked, "the display did not settle");
                events.extend(self.desk.say(input, self.time.now())?);
                return Ok(events);
            }
        }
    }

    fn stream(&mut self, which: usize, readings: Vec<Streamed>) -> Result<Vec<Event>, Fail> {
        let input = Input::Readings {
            meter: self.instruments[which].id,
            readings,
        };
        Ok(self.desk.say(input, self.time.now())?)
    }

    /// Hangs the tag, ends the visit, and says where the trail is.
    fn end(&mut self, path: &Path, out: &mut Out) -> Result<Exit, Fail> {
        self.desk.commit()?;
        let head = self.desk.head().unwrap_or(ohmtrail_trail::Hash([0; 32]));
        let card = tag(
            self.book,
            self.desk.visit().record(),
            &head,
            Tongue::English,
        )
        .text();
        self.desk
            .say(Input::Tagged(card.clone()), self.time.now())?;
        self.desk.say(Input::Close, self.time.now())?;
        self.desk.commit()?;
        let outcome = outcome(self.desk.visit().record());
        if out.json() {
            out.json_line(&json!({ "tag": card, "trail": path }))?;
        } else {
            out.line(&card)?;
            out.line(&format!("Trail: {}", path.display()))?;
            out.line(&format!(
                "  ohmtrail trail show {0}\n  ohmtrail paper write-up {0}",
                path.display()
            ))?;
        }
        Ok(outcome)
    }
}

fn skip(asked: &Asked, why: &str) -> Input {
    Input::Skip {
        ask: asked.ask,
        why: why.to_owned(),
    }
}
