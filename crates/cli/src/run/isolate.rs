//! `ohmtrail isolate --stdio`: the isolation as a dialogue of JSON lines, so that any program can
//! be the technician.

use std::io::BufRead;
use std::path::PathBuf;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

use ohmtrail_core::reading::MeterId;
use ohmtrail_core::units::Micros;
use ohmtrail_meters::profile::Profile;
use ohmtrail_trail::event::{Event, MeterJoined, Opened, Stamp};
use ohmtrail_visit::{Book, Input, Stage};
use serde_json::json;

use super::desk::{Desk, DeskError, Passing, wall_us};
use super::{bundle, dialogue};
use crate::beforehand::Beforehand;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// How the dialogue is held.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Hold the dialogue on standard input and output
    #[arg(long, required = true)]
    stdio: bool,
    /// The unit's sheet: built in, or a file
    #[arg(long, value_name = "SHEET", default_value = "split-heat-pump-1ph")]
    sheet: PathBuf,
    #[command(flatten)]
    beforehand: Beforehand,
    /// The meter's profile; without one, the cautious default accuracy
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// Keep the visit in a new trail
    #[arg(long, value_name = "FILE")]
    trail: Option<PathBuf>,
    /// How time passes: as it does, or by the minutes of each ask, for a simulated technician
    #[arg(long, value_enum, default_value_t = ClockKind::Wall)]
    clock: ClockKind,
}

/// How time passes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum ClockKind {
    /// As it does.
    Wall,
    /// By the minutes of each ask that is answered.
    Asked,
}

enum Time {
    Wall { start: Instant },
    Asked(Passing),
}

impl Time {
    fn now(&self) -> Stamp {
        match self {
            Time::Wall { start } => Stamp {
                steady: Micros(start.elapsed().as_micros() as u64),
                wall_us: wall_us(),
            },
            Time::Asked(passing) => passing.now(),
        }
    }
}

/// Holds the dialogue until the unit is left, or the other side ends it.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let profile = match &args.profile {
        Some(file) => Profile::load(file).map_err(Fail::input)?,
        None => Profile::cautious(),
    };
    let bundle = bundle(&args.sheet, &args.beforehand)?;
    let book = Book::new(&bundle).map_err(Fail::input)?;
    let mut time = match args.clock {
        ClockKind::Wall => Time::Wall {
            start: Instant::now(),
        },
        ClockKind::Asked => Time::Asked(Passing::start()),
    };
    let opened = Opened {
        tool: concat!("ohmtrail ", env!("CARGO_PKG_VERSION")).to_owned(),
        work_order: String::new(),
        technician: "a program, by isolate --stdio".to_owned(),
        unit: String::new(),
        sheet: book.sheet.name.clone(),
        sheet_hash: book.sheet.hash,
        previous: None,
        simulated: args.clock == ClockKind::Asked,
    };
    let mut desk = Desk::open(&book, opened, args.trail.as_deref(), time.now())?;
    let joined = Input::MeterJoined {
        joined: MeterJoined {
            meter: MeterId(1),
            driver: "keyed".to_owned(),
            place: "stdio".to_owned(),
            profile: profile.name.clone(),
            accuracy_assumed: profile.ranges.is_empty(),
        },
        accuracy: profile.specs(),
    };
    desk.say(joined, time.now())?;
    desk.beforehand(&args.beforehand, time.now())?;

    let lines = read_lines();
    let mut number = 0_u64;
    let mut begun = false;
    loop {
        let wait = desk.visit.waiting().map(|w| w.until);
        let line = match (&mut time, wait) {
            (Time::Asked(passing), Some(until)) => {
                passing.to(until);
                None
            }
            (Time::Wall { .. }, Some(until)) => {
                let left = until.since(time.now().steady);
                match lines.recv_timeout(Duration::from_micros(left)) {
                    Ok(line) => Some(line),
                    Err(RecvTimeoutError::Timeout) => None,
                    Err(RecvTimeoutError::Disconnected) => return ended(&desk, out),
                }
            }
            (_, None) => match lines.recv() {
                Ok(line) => Some(line),
                Err(_) => return ended(&desk, out),
            },
        };
        if let Some(line) = line {
            number += 1;
            let line = line.map_err(|e| Fail::new(Exit::System, format!("standard input: {e}")))?;
            if line.trim().is_empty() {
                continue;
            }
            match answer(&line, &mut desk, &mut time) {
                Ok(events) => {
                    begun = true;
                    tell(&events, out)?;
                }
                Err(Answer::Wrong(what)) => {
                    out.json_line(&json!({ "error": { "line": number, "what": what } }))?;
                    out.finish()?;
                    continue;
                }
                Err(Answer::Fatal(fail)) => return Err(fail),
            }
        }
        if begun {
            let events = desk.go_on(time.now())?;
            tell(&events, out)?;
            if let (Time::Wall { .. }, Some(waiting)) = (&time, desk.visit.waiting()) {
                let seconds = waiting.until.since(time.now().steady) / 1_000_000;
                out.json_line(&json!({ "wait": { "seconds": seconds, "why": waiting.why } }))?;
            }
        }
        out.finish()?;
        if desk.visit.stage() == Stage::Left {
            desk.say(Input::Close, time.now())?;
            return Ok(Exit::Done);
        }
    }
}

enum Answer {
    /// The line is wrong; the dialogue goes on.
    Wrong(String),
    Fatal(Fail),
}

fn answer(line: &str, desk: &mut Desk<'_>, time: &mut Time) -> Result<Vec<Event>, Answer> {
    let input = dialogue::input(line, desk.visit.record()).map_err(Answer::Wrong)?;
    let Some(input) = input else {
        return Ok(Vec::new());
    };
    if let Time::Asked(passing) = time {
        let minutes = desk.visit.record().open_ask().map_or(0.0, |a| a.minutes);
        let answers = matches!(
            &input,
            Input::Look { ask: Some(_), .. }
                | Input::Done { ask: Some(_), .. }
                | Input::Skip { .. }
        ) || matches!(&input, Input::Take(t) if t.ask.is_some());
        if answers {
            passing.minutes(minutes);
        }
    }
    desk.say(input, time.now()).map_err(|e| match e {
        DeskError::Refused(refusal) => Answer::Wrong(refusal.to_string()),
        DeskError::Trail(fail) => Answer::Fatal(fail),
    })
}

fn tell(events: &[Event], out: &mut Out) -> Result<(), Fail> {
    for event in events {
        if let Some(line) = dialogue::line(event) {
            out.json_line(&line)?;
        }
    }
    Ok(())
}

/// The other side ended the dialogue: done if there is a finding.
fn ended(desk: &Desk<'_>, out: &mut Out) -> Result<Exit, Fail> {
    out.finish()?;
    let found = desk.visit.record().finding.is_some();
    Ok(if found { Exit::Done } else { Exit::Open })
}

/// Standard input, line by line, from a thread of its own.
fn read_lines() -> mpsc::Receiver<std::io::Result<String>> {
    let (to, from) = mpsc::channel();
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            if to.send(line).is_err() {
                break;
            }
        }
    });
    from
}
