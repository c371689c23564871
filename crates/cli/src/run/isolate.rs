//! `ohmtrail isolate --stdio`: the isolation as a dialogue of JSON lines, so that any program can
//! be the technician.

use std::io::BufRead;
use std::path::PathBuf;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

use ohmtrail_core::reading::MeterId;
use ohmtrail_core::units::Micros;
use ohmtrail_daemon::clock::wall_us;
use ohmtrail_daemon::desk::DeskError;
use ohmtrail_meters::profile::Profile;
use ohmtrail_trail::event::{Event, MeterJoined, Opened, Stamp};
use ohmtrail_visit::{Book, Input, Inputs, Stage};
use serde_json::json;

use super::cooling::{self, ColdArgs};
use super::desk::{Desk, Passing};
use super::dialogue;
use super::earlier::{EarlierArgs, Told};
use crate::beforehand::Beforehand;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::known::KnownArgs;
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
    #[command(flatten)]
    known: KnownArgs,
    #[command(flatten)]
    cold: ColdArgs,
    #[command(flatten)]
    earlier: EarlierArgs,
    /// The meter's profile; without one, the cautious default accuracy
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// Keep the visit in a new trail
    #[arg(long, value_name = "FILE")]
    trail: Option<PathBuf>,
    /// How time passes: as it does, or by the minutes of each ask, for a simulated technician
    #[arg(long, value_enum, default_value_t = ClockKind::Wall)]
    clock: ClockKind,
    /// Hold one dialogue after another: after `left`, the next line in begins a new visit
    #[arg(long, conflicts_with = "trail")]
    many: bool,
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

/// Holds the dialogue until the unit is left, or the other side ends it; or one after another.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let profile = match &args.profile {
        Some(file) => Profile::load(file).map_err(Fail::input)?,
        None => Profile::cautious(),
    };
    let (bundle, told) = args
        .earlier
        .bundle(&args.sheet, &args.beforehand, &args.known)?;
    let book = Book::new(&bundle).map_err(Fail::input)?;
    if args.many && told.is_some() {
        return Err(Fail::usage(
            "--many holds dialogues of one unit after another, --earlier is of one unit: leave one out",
        ));
    }
    let mut lines = Lines {
        from: read_lines(),
        number: 0,
        next: None,
    };
    if !args.many {
        return Ok(
            match hold(args, &profile, &book, told.as_ref(), &mut lines, out)? {
                Ended::Left => Exit::Done,
                Ended::Cut { found: true } => Exit::Done,
                Ended::Cut { found: false } => Exit::Open,
            },
        );
    }
    let mut all = Exit::Done;
    // No visit is opened before its first line is there.
    while lines.wait() {
        if let Ended::Cut { found: false } =
            hold(args, &profile, &book, told.as_ref(), &mut lines, out)?
        {
            all = Exit::Open;
        }
    }
    Ok(all)
}

/// How a dialogue ended.
enum Ended {
    /// With `left`.
    Left,
    /// The other side ended it.
    Cut { found: bool },
}

/// Standard input as it comes, its lines counted.
struct Lines {
    from: mpsc::Receiver<std::io::Result<String>>,
    number: u64,
    next: Option<std::io::Result<String>>,
}

impl Lines {
    /// Waits until there is a line; false if there is none any more.
    fn wait(&mut self) -> bool {
        if self.next.is_none() {
            self.next = self.from.recv().ok();
        }
        self.next.is_some()
    }

    /// The next line, if it comes within that time.
    fn get(
        &mut self,
        within: Option<Duration>,
    ) -> Result<std::io::Result<String>, RecvTimeoutError> {
        let line = match (self.next.take(), within) {
            (Some(line), _) => Ok(line),
            (None, Some(within)) => self.from.recv_timeout(within),
            (None, None) => self.from.recv().map_err(|_| RecvTimeoutError::Disconnected),
        };
        self.number += u64::from(line.is_ok());
        line
    }
}

/// Holds one dialogue.
fn hold(
    args: &Args,
    profile: &Profile,
    book: &Book<'_>,
    told: Option<&Told>,
    lines: &mut Lines,
    out: &mut Out,
) -> Result<Ended, Fail> {
    let mut time = match args.clock {
        ClockKind::Wall => Time::Wall {
            start: Instant::now(),
        },
        ClockKind::Asked => Time::Asked(Passing::start()),
    };
    let mut opened = Opened {
        tool: concat!("ohmtrail ", env!("CARGO_PKG_VERSION")).to_owned(),
        work_order: String::new(),
        technician: "a program, by isolate --stdio".to_owned(),
        unit: String::new(),
        sheet: book.sheet.name.clone(),
        sheet_hash: book.sheet.hash,
        previous: None,
        simulated: args.clock == ClockKind::Asked,
    };
    if let Some(told) = told {
        told.link(&mut opened)?;
    }
    let mut desk = Desk::open(book, opened, args.trail.as_deref(), time.now())?;
    let joined = Input::MeterJoined {
        joined: MeterJoined {
            meter: MeterId(1),
            driver: "keyed".to_owned(),
            place: "stdio".to_owned(),
            profile: profile.name.clone(),
            accuracy_assumed: profile.ranges.is_empty(),
        },
        accuracy: profile.specs(),
        inputs: Inputs {
            ohms: profile.input_ohm,
            low_impedance_ohms: profile.low_impedance_ohm,
        },
    };
    desk.say(joined, time.now())?;
    if let Some(told) = told {
        told.say(&mut desk, time.now())?;
    }
    args.cold.say(&mut desk, time.now())?;
    desk.beforehand(&args.beforehand, &args.known, time.now())?;

    let mut begun = false;
    let mut untold = told;
    loop {
        let wait = desk.visit().waiting().map(|w| w.until);
        let got = match (&mut time, wait) {
            (Time::Asked(passing), Some(until)) => {
                passing.to(until);
                None
            }
            (Time::Wall { .. }, Some(until)) => {
                let left = until.since(time.now().steady);
                Some(lines.get(Some(Duration::from_micros(left))))
            }
            (_, None) => Some(lines.get(None)),
        };
        let line = match got {
            None | Some(Err(RecvTimeoutError::Timeout)) => None,
            Some(Ok(line)) => Some(line),
            Some(Err(RecvTimeoutError::Disconnected)) => {
                out.finish()?;
                let found = desk.visit().record().finding.is_some();
                return Ok(Ended::Cut { found });
            }
        };
        if let Some(line) = line {
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
                    out.json_line(&json!({ "error": { "line": lines.number, "what": what } }))?;
                    out.finish()?;
                    continue;
                }
                Err(Answer::Fatal(fail)) => return Err(fail),
            }
        }
        if begun {
            if let Some(told) = untold.take() {
                out.json_line(&json!({ "earlier": told.words() }))?;
            }
            let events = desk.go_on(time.now())?;
            tell(&events, out)?;
            for cooling in desk.visit().cooling_news(time.now()) {
                out.json_line(&cooling::line(&cooling))?;
            }
            if let (Time::Wall { .. }, Some(waiting)) = (&time, desk.visit().waiting()) {
                let seconds = waiting.until.since(time.now().steady) / 1_000_000;
                out.json_line(&json!({ "wait": { "seconds": seconds, "why": waiting.why } }))?;
            }
        }
        out.finish()?;
        if desk.visit().stage() == Stage::Left {
            desk.say(Input::Close, time.now())?;
            return Ok(Ended::Left);
        }
    }
}

enum Answer {
    /// The line is wrong; the dialogue goes on.
    Wrong(String),
    Fatal(Fail),
}

fn answer(line: &str, desk: &mut Desk<'_>, time: &mut Time) -> Result<Vec<Event>, Answer> {
    let input = dialogue::input(line, desk.visit().record()).map_err(Answer::Wrong)?;
    let Some(input) = input else {
        return Ok(Vec::new());
    };
    if let Time::Asked(passing) = time {
        let minutes = desk.visit().record().open_ask().map_or(0.0, |a| a.minutes);
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
        DeskError::Trail(error) => Answer::Fatal(error.into()),
        refused => Answer::Wrong(refused.to_string()),
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
