//! `ohmtrail visit`: a visit with a real meter, or with values keyed in, at a terminal.

use std::path::PathBuf;
use std::time::Duration;

use ohmtrail_core::reading::{MeterId, Reading};
use ohmtrail_core::settle::Settler;
use ohmtrail_daemon::clock::wall_us;
use ohmtrail_daemon::desk::DeskError;
use ohmtrail_daemon::forms::request_words;
use ohmtrail_meters::link;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::session::{Clock, Session, SessionEvent};
use ohmtrail_meters::spec::Spec;
use ohmtrail_paper::tag;
use ohmtrail_trail::event::{Event, MeterJoined, Opened, Proved, Stamp, Streamed};
use ohmtrail_visit::{Book, Input, Inputs, Record, Stage, Taken};
use ohmtrail_words::Tongue;
use tokio::time::sleep;

use super::cooling::{self, ColdArgs};
use super::desk::Desk;
use super::earlier::{EarlierArgs, Told};
use super::repair::{Found, RepairArgs};
use super::typed::{self, Typed};
use super::{dialogue, tell};
use crate::beforehand::Beforehand;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::known::KnownArgs;
use crate::lines::read_lines;
use crate::out::Out;

/// The unit, the meter and the trail.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// `serial:PATH,frame=NAME`, `tcp:HOST:PORT,frame=NAME`, `ble:NAME` or `keyed`, with their
    /// settings as docs/meters.md has them
    #[arg(long, value_name = "SPEC")]
    meter: Spec,
    /// The unit's sheet: built in, or a file
    #[arg(long, value_name = "SHEET", default_value = "split-heat-pump-1ph")]
    sheet: PathBuf,
    #[command(flatten)]
    beforehand: Beforehand,
    #[command(flatten)]
    known: KnownArgs,
    #[command(flatten)]
    cold: ColdArgs,
    #[command(flatten)]
    earlier: EarlierArgs,
    #[command(flatten)]
    repair: RepairArgs,
    /// The trail: a new file
    #[arg(
        long,
        value_name = "FILE",
        required_unless_present = "resume",
        conflicts_with = "resume"
    )]
    trail: Option<PathBuf>,
    /// Go on with the visit of this trail; every safety gate is asked for anew
    #[arg(long, value_name = "FILE")]
    resume: Option<PathBuf>,
    /// The work order
    #[arg(long, value_name = "TEXT", default_value = "")]
    work_order: String,
    /// Who does the visit
    #[arg(long, value_name = "NAME", default_value = "")]
    technician: String,
    /// The unit, as the shop names it
    #[arg(long, value_name = "NAME", default_value = "")]
    unit: String,
    /// What the customer reports; `ohmtrail sheet complaints NAME` lists what there is
    #[arg(long, value_name = "NAME")]
    complaint: Option<String>,
}

const METER: MeterId = MeterId(1);

/// How often streamed readings are handed to the trail.
const GROUP: Duration = Duration::from_millis(500);

/// Holds the visit.
pub fn run(args: Args, out: &mut Out) -> Result<Exit, Fail> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Fail::new(Exit::System, format!("no runtime: {e}")))?;
    runtime.block_on(hold(args, out))
}

async fn hold(mut args: Args, out: &mut Out) -> Result<Exit, Fail> {
    let profile = args.meter.load_profile().map_err(Fail::input)?;
    let (bundle, told) = args
        .earlier
        .bundle(&args.sheet, &args.beforehand, &args.known)?;
    let book = Book::new(&bundle).map_err(Fail::input)?;
    let clock = Clock::start();
    let line = match &args.meter {
        Spec::Stream(spec) => {
            let session = link::keep(spec, METER, spec.manner(), clock).await;
            Some(session.map_err(|e| Fail::new(Exit::Meter, e))?)
        }
        Spec::Keyed { .. } => None,
        _ => {
            return Err(Fail::usage(
                "a visit reads a meter on a port, or values keyed in",
            ));
        }
    };
    let found = args.repair.read(&book)?;
    let at = stamp(clock);
    let (desk, path) = match (&args.trail, &args.resume) {
        (Some(path), _) => {
            let mut opened = opened(&args, &book);
            if let Some(told) = &told {
                told.link(&mut opened)?;
            }
            if let Some(found) = &found {
                found.link(&mut opened)?;
            }
            (Desk::open(&book, opened, Some(path), at)?, path.clone())
        }
        (None, Some(path)) => {
            let (desk, recovery) = Desk::resume(&book, path)?;
            for damage in &recovery.damage {
                eprintln!("ohmtrail: {}: {damage}", path.display());
            }
            (desk, path.clone())
        }
        (None, None) => return Err(Fail::usage("name a trail with --trail or --resume")),
    };
    let mut table = Table {
        book: &book,
        desk,
        clock,
        line,
        settler: None,
        group: Vec::new(),
        path,
    };
    table.repairs(found, out)?;
    table.begin(&args, told.as_ref(), &profile, out)?;
    table.run(out).await
}

fn stamp(clock: Clock) -> Stamp {
    Stamp {
        steady: clock.now(),
        wall_us: wall_us(),
    }
}

fn opened(args: &Args, book: &Book<'_>) -> Opened {
    Opened {
        tool: concat!("ohmtrail ", env!("CARGO_PKG_VERSION")).to_owned(),
        work_order: args.work_order.clone(),
        technician: args.technician.clone(),
        unit: args.unit.clone(),
        sheet: book.sheet.name.clone(),
        sheet_hash: book.sheet.hash,
        previous: None,
        simulated: false,
    }
}

struct Table<'b> {
    book: &'b Book<'b>,
    desk: Desk<'b>,
    clock: Clock,
    /// The meter's session, which opens its port again by itself.
    line: Option<Session>,
    /// Watches for a take, once the probes are on the points.
    settler: Option<Settler>,
    group: Vec<Streamed>,
    path: PathBuf,
}

/// What the table waits for.
enum Heard {
    Line(Option<String>),
    Meter(SessionEvent),
    Tick,
}

impl Table<'_> {
    /// Tells the visit what it repairs, before anything else.
    fn repairs(&mut self, found: Option<Found>, out: &mut Out) -> Result<(), Fail> {
        let Some(found) = found else { return Ok(()) };
        let words = found.words();
        self.desk
            .say(Input::Repair(found.repair), stamp(self.clock))?;
        if out.json() {
            return out.json_line(&serde_json::json!({ "repairs": words }));
        }
        out.line(&words)
    }

    fn begin(
        &mut self,
        args: &Args,
        told: Option<&Told>,
        profile: &Profile,
        out: &mut Out,
    ) -> Result<(), Fail> {
        let (driver, place) = match &args.meter {
            Spec::Stream(spec) => (spec.driver.entry.name.to_owned(), spec.place.to_string()),
            _ => ("keyed".to_owned(), "terminal".to_owned()),
        };
        let joined = Input::MeterJoined {
            joined: MeterJoined {
                meter: METER,
                driver,
                place,
                profile: profile.name.clone(),
                accuracy_assumed: profile.ranges.is_empty(),
            },
            accuracy: profile.specs(),
            inputs: Inputs {
                ohms: profile.input_ohm,
                low_impedance_ohms: profile.low_impedance_ohm,
            },
        };
        let mut events = self.desk.say(joined, stamp(self.clock))?;
        if let Some(told) = told {
            told.say(&mut self.desk, stamp(self.clock))?;
            if out.json() {
                out.json_line(&serde_json::json!({ "earlier": told.words() }))?;
            } else {
                out.line(&format!("      from {}", told.words()))?;
            }
        }
        args.cold.say(&mut self.desk, stamp(self.clock))?;
        self.desk
            .beforehand(&args.beforehand, &args.known, stamp(self.clock))?;
        if let Some(what) = &args.complaint {
            let complaint = Input::Complaint {
                what: what.clone(),
                words: String::new(),
            };
            events.extend(self.desk.say(complaint, stamp(self.clock))?);
        }
        if !out.json() {
            out.line("Local codes and licensed practice come first. Nothing here says that a circuit is safe: it says what was measured.")?;
            out.line("Type `help` for what can be said.\n")?;
        }
        self.tell(&events, out)?;
        // The ask that was open when the visit was left.
        match self.desk.visit().record().open_ask().cloned() {
            Some(asked) => self.tell(&[Event::Asked(asked)], out),
            None => Ok(()),
        }
    }

    async fn run(&mut self, out: &mut Out) -> Result<Exit, Fail> {
        let mut lines = read_lines();
        loop {
            let events = self.desk.go_on(stamp(self.clock))?;
            self.tell(&events, out)?;
            for cooling in self.desk.visit().cooling_news(stamp(self.clock)) {
                if out.json() {
                    out.json_line(&cooling::line(&cooling))?;
                } else {
                    out.line(&format!("      {}", cooling::words(&cooling)))?;
                }
            }
            out.finish()?;
            if self.desk.visit().stage() == Stage::Left {
                return self.end(out);
            }
            let wait = self.desk.visit().waiting();
            let until = wait.map_or(GROUP, |w| {
                Duration::from_micros(w.until.since(self.clock.now())).min(GROUP)
            });
            let session = self.line.as_mut();
            let heard = tokio::select! {
                line = lines.recv() => Heard::Line(line),
                event = hear(session) => Heard::Meter(event),
                () = sleep(until) => Heard::Tick,
            };
            match heard {
                Heard::Line(Some(line)) => {
                    if self.line(line.trim(), out)? {
                        return self.stop(out);
                    }
                }
                Heard::Line(None) => return self.stop(out),
                Heard::Meter(event) => self.meter(event, out)?,
                Heard::Tick => self.stream(out)?,
            }
        }
    }

    /// What the meter's session says.
    fn meter(&mut self, event: SessionEvent, out: &mut Out) -> Result<(), Fail> {
        match event {
            SessionEvent::Reading(reading) => self.reading(reading, out),
            SessionEvent::Up { gap_us, .. } => {
                let back = gap_us;
                if back > 0 {
                    self.say(
                        Input::MeterBack {
                            meter: METER,
                            gap_us: back,
                        },
                        out,
                    )?;
                }
                Ok(())
            }
            SessionEvent::Silent { .. } => self.lost("silent", out),
            SessionEvent::Garbage { likely, .. } => {
                let why = likely.words();
                self.lost(&why, out)
            }
            SessionEvent::Away { why, .. } | SessionEvent::Gone { why, .. } => {
                let why = why.words();
                self.lost(&why, out)
            }
            SessionEvent::Told { told, .. } => {
                if out.json() {
                    return Ok(());
                }
                out.line(&format!("      {}", told.words()))
            }
            _ => Ok(()),
        }
    }

    fn lost(&mut self, why: &str, out: &mut Out) -> Result<(), Fail> {
        self.settler = None;
        self.stream(out)?;
        if !out.json() {
            out.line(&format!(
                "      the meter is away: {why}; a take in progress is void"
            ))?;
        }
        self.say(
            Input::MeterLost {
                meter: METER,
                why: why.to_owned(),
            },
            out,
        )
    }

    fn reading(&mut self, reading: Reading, out: &mut Out) -> Result<(), Fail> {
        self.group.push(Streamed {
            at: reading.at,
            function: reading.function,
            shown: reading.shown,
            flags: reading.flags,
        });
        self.say(Input::Live(reading), out)?;
        let settled = self
            .settler
            .as_mut()
            .and_then(|s| s.push(&reading).settled().copied());
        let Some(settled) = settled else {
            return Ok(());
        };
        self.settler = None;
        self.stream(out)?;
        let ask = self.desk.visit().record().open;
        self.say(
            Input::Take(Taken {
                ask,
                meter: Some(METER),
                function: Some(settled.function),
                points: None,
                shown: settled.shown,
                flags: settled.flags,
            }),
            out,
        )
    }

    /// Hands the streamed readings to the trail.
    fn stream(&mut self, out: &mut Out) -> Result<(), Fail> {
        if self.group.is_empty() {
            return self.desk.commit();
        }
        let readings = std::mem::take(&mut self.group);
        self.say(
            Input::Readings {
                meter: METER,
                readings,
            },
            out,
        )
    }

    /// Says something to the visit and tells what came of it; a refusal is told, too.
    fn say(&mut self, input: Input, out: &mut Out) -> Result<(), Fail> {
        match self.desk.say(input, stamp(self.clock)) {
            Ok(events) => {
                if let Some(alarm) = self.desk.visit().alarm() {
                    // The bell: it must be heard.
                    eprintln!("\x07ALARM: {alarm}");
                }
                self.tell(&events, out)
            }
            Err(DeskError::Trail(error)) => Err(error.into()),
            Err(refused) => {
                eprintln!("      {refused}");
                Ok(())
            }
        }
    }

    /// A typed line; true to stop.
    fn line(&mut self, line: &str, out: &mut Out) -> Result<bool, Fail> {
        let asked = self.desk.visit().record().open_ask().cloned();
        match typed::read(line, asked.as_ref(), self.line.is_some(), &self.path) {
            Typed::Nothing => {}
            Typed::Say(input) => self.say(*input, out)?,
            Typed::Help => out.line(typed::HELP)?,
            Typed::Watch => {
                self.settler = Some(Settler::new());
                out.line("      waiting for the display to stand still…")?;
            }
            Typed::Wrong(what) => eprintln!("      {what}"),
            Typed::Quit => return Ok(true),
        }
        Ok(false)
    }

    fn tell(&self, events: &[Event], out: &mut Out) -> Result<(), Fail> {
        for event in events {
            if out.json() {
                if let Some(line) = dialogue::line(event) {
                    out.json_line(&line)?;
                }
                continue;
            }
            match event {
                Event::Asked(asked) => {
                    out.line(&format!("{:4}  {}", asked.ask, request_words(asked)))?;
                    out.line(&format!("      why: {}", asked.why))?;
                }
                Event::Took(take) => {
                    out.line(&format!("      take {}: {}", take.take, tell::take(take)))?;
                }
                Event::Found(finding) => out.line(&format!("\n{}", tell::finding(finding)))?,
                other => {
                    if let Some(text) = tell::event(other) {
                        out.line(&format!("      {text}"))?;
                    }
                }
            }
        }
        Ok(())
    }

    /// Stops in the middle: the trail has everything.
    fn stop(&mut self, out: &mut Out) -> Result<Exit, Fail> {
        self.stream(out)?;
        self.desk.commit()?;
        if !out.json() {
            out.line(&format!(
                "Stopped. Go on with `ohmtrail visit --resume {}`; every safety gate is asked for anew.",
                self.path.display()
            ))?;
        }
        Ok(Exit::Open)
    }

    /// Hangs the tag and ends the visit.
    fn end(&mut self, out: &mut Out) -> Result<Exit, Fail> {
        self.stream(out)?;
        self.desk.commit()?;
        let head = self.desk.head().unwrap_or(ohmtrail_trail::Hash([0; 32]));
        let card = tag(
            self.book,
            self.desk.visit().record(),
            &head,
            Tongue::English,
        )
        .text();
        let at = stamp(self.clock);
        self.desk.say(Input::Tagged(card.clone()), at)?;
        self.desk.say(Input::Close, at)?;
        self.desk.commit()?;
        if out.json() {
            out.json_line(&serde_json::json!({ "tag": card, "trail": self.path }))?;
        } else {
            out.line(&card)?;
            out.line(&format!("Trail: {}", self.path.display()))?;
        }
        Ok(outcome(self.desk.visit().record()))
    }
}

/// How a visit came out, as an exit code: a fault was found, or a repair was proven.
pub(super) fn outcome(record: &Record) -> Exit {
    if let Some(mended) = &record.mended {
        return match mended.end.as_ref().map(|e| e.proved) {
            Some(Proved::Proven) => Exit::Done,
            Some(Proved::LeftOff) => Exit::Fails,
            Some(Proved::Monitor) | None => Exit::Open,
        };
    }
    let found = record.finding.as_ref();
    if found.is_some_and(|f| !f.faults.is_empty()) {
        Exit::Done
    } else {
        Exit::Open
    }
}

/// The next event of a session.
async fn hear(session: Option<&mut Session>) -> SessionEvent {
    match session {
        Some(session) => match session.recv().await {
            Some(event) => event,
            None => std::future::pending().await,
        },
        None => std::future::pending().await,
    }
}
