//! `ohmtrail meters watch`: values as they come, one line each.

use std::future::poll_fn;
use std::path::PathBuf;
use std::pin::pin;
use std::task::Poll;
use std::time::Duration;

use ohmtrail_core::reading::{MeterId, Reading};
use ohmtrail_core::units::Micros;
use ohmtrail_daemon::meters::replay;
use ohmtrail_meters::link::{self, Manner};
use ohmtrail_meters::ports::ports;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::session::{Clock, Gone, Session, SessionEvent};
use ohmtrail_meters::spec::{Spec, StreamSpec};
use ohmtrail_trail::Displayed;
use serde_json::{Value, json};
use tokio::time::{Instant, sleep, sleep_until};

use super::find;
use super::record::{Joined, Recorder};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which meter, and for how long. Without a meter, every serial port that is plugged in is listened
/// at, and what is found there is shown; what advertises by radio is named.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// `serial:PATH,frame=NAME`, `tcp:HOST:PORT,frame=NAME`, `ble:NAME` or `replay:FILE`, with their
    /// settings as docs/meters.md has them
    #[arg(long, value_name = "SPEC")]
    meter: Option<Spec>,
    /// Listen at this port instead of those that are plugged in; may be given again
    #[arg(long, value_name = "PATH", conflicts_with = "meter")]
    port: Vec<PathBuf>,
    /// Ask a port that stays silent who is there: this sends bytes to whatever is on it
    #[arg(long, conflicts_with = "meter")]
    ask: bool,
    /// Keep the readings in a new trail, and the bytes on the line in FILE.bytes
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    /// End after this many readings
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..))]
    count: Option<u64>,
    /// End after this many seconds
    #[arg(long, value_name = "S", value_parser = clap::value_parser!(u64).range(1..=86_400))]
    seconds: Option<u64>,
}

/// A reading waits no longer than this, and half a group's time, to be on disk.
const FLUSH: Duration = Duration::from_millis(500);

/// A meter that is watched.
struct Watched {
    joined: Joined,
    /// None after it ended.
    session: Option<Session>,
    bytes: bool,
    away: bool,
}

/// Watches.
pub fn run(args: Args, out: &mut Out) -> Result<Exit, Fail> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Fail::new(Exit::System, format!("no runtime: {e}")))?;
    runtime.block_on(watch(args, out))
}

/// The meter that is named, or those that are found.
async fn meters(args: &mut Args, clock: Clock, out: &mut Out) -> Result<Vec<Watched>, Fail> {
    let raw = args.record.is_some();
    if let Some(spec) = &mut args.meter {
        let profile = spec.load_profile().map_err(Fail::input)?;
        let assumed = profile.ranges.is_empty();
        return Ok(vec![open(spec, (profile.name, assumed), raw, clock).await?]);
    }
    let ports = if args.port.is_empty() {
        ports()
    } else {
        args.port.clone()
    };
    let found = find::find(ports, args.ask, args.port.is_empty(), clock, out).await?;
    let mut watched = Vec::new();
    for (spec, number) in found.into_iter().zip(1..) {
        let profile = Profile::cautious();
        watched.push(keep(&spec, MeterId(number), (profile.name, true), raw, clock).await?);
    }
    Ok(watched)
}

async fn watch(mut args: Args, out: &mut Out) -> Result<Exit, Fail> {
    let clock = Clock::start();
    let mut meters = meters(&mut args, clock, out).await?;
    let mut recorder = match &args.record {
        Some(file) => {
            let joined = meters.iter().map(|m| m.joined.clone()).collect();
            let bytes = meters.iter().any(|m| m.bytes);
            Some(Recorder::begin(file, joined, bytes)?)
        }
        None => None,
    };
    let several = meters.len() > 1;
    let end = args
        .seconds
        .map(|s| Instant::now() + Duration::from_secs(s));
    // One for all turns: an interrupt in the middle of one is not lost.
    let mut interrupt = pin!(tokio::signal::ctrl_c());
    let mut readings = 0_u64;
    let exit = loop {
        let (nth, event) = tokio::select! {
            next = any(&mut meters) => match next {
                Some(next) => next,
                None => break None,
            },
            () = until(end) => break None,
            () = sleep(FLUSH), if recorder.is_some() => {
                if let Some(recorder) = &mut recorder {
                    recorder.flush(clock.now())?;
                }
                continue;
            }
            _ = &mut interrupt => break None,
        };
        let Some(watched) = meters.get_mut(nth) else {
            continue;
        };
        let meter = watched.joined.meter;
        if let Some(recorder) = &mut recorder {
            recorder.heed(meter, &event)?;
        }
        let which = several.then_some(meter);
        match event {
            SessionEvent::Reading(reading) => {
                readings += 1;
                watched.away = false;
                show(&reading, which, out)?;
            }
            SessionEvent::Gone { why, .. } => {
                tell(&event, meter, out)?;
                if why != Gone::End {
                    break Some(Exit::Meter);
                }
            }
            _ => {
                watched.away |= matches!(event, SessionEvent::Away { .. });
                tell(&event, meter, out)?;
            }
        }
        if out.closed() || args.count.is_some_and(|count| readings >= count) {
            break None;
        }
    };
    for watched in &meters {
        if let Some(session) = &watched.session {
            let tally = session.tally();
            tracing::info!(
                meter = watched.joined.meter.0,
                readings = tally.readings,
                bytes = tally.bytes,
                skipped = tally.skipped,
                refused = tally.all_rejected(),
                "watched"
            );
        }
    }
    if let Some(recorder) = recorder {
        let head = recorder.end()?;
        tracing::info!(%head, "recorded");
    }
    Ok(match exit {
        Some(exit) => exit,
        // Whoever asked for values and got none has not reached the meter.
        None if readings == 0 && !out.closed() => {
            eprintln!("ohmtrail: no reading came: switch the meter on, and its data link too");
            Exit::Meter
        }
        None if meters.iter().any(|m| m.away) => Exit::Meter,
        None => Exit::Done,
    })
}

/// The next event of any meter, and which one's; none when all have ended. Each is looked at in
/// turn, so that none that talks much holds up the others for ever: a session's events are few.
async fn any(meters: &mut [Watched]) -> Option<(usize, SessionEvent)> {
    poll_fn(|context| {
        let mut waits = false;
        for (nth, watched) in meters.iter_mut().enumerate() {
            let Some(session) = &mut watched.session else {
                continue;
            };
            match session.poll_recv(context) {
                Poll::Ready(Some(event)) => return Poll::Ready(Some((nth, event))),
                Poll::Ready(None) => watched.session = None,
                Poll::Pending => waits = true,
            }
        }
        if waits {
            Poll::Pending
        } else {
            Poll::Ready(None)
        }
    })
    .await
}

async fn until(end: Option<Instant>) {
    match end {
        Some(end) => sleep_until(end).await,
        None => std::future::pending().await,
    }
}

/// A meter on a port, opened again whenever it went away.
async fn keep(
    spec: &StreamSpec,
    meter: MeterId,
    (profile, assumed): (String, bool),
    raw: bool,
    clock: Clock,
) -> Result<Watched, Fail> {
    let manner = Manner {
        raw,
        ..spec.manner()
    };
    let session = link::keep(spec, meter, manner, clock)
        .await
        .map_err(|e| Fail::new(Exit::Meter, e))?;
    Ok(Watched {
        joined: Joined {
            meter,
            driver: spec.driver.entry.name.to_owned(),
            place: spec.place.to_string(),
            profile,
            assumed,
        },
        session: Some(session),
        bytes: true,
        away: false,
    })
}

/// A session with the meter that is named, and what is known of it.
pub async fn connect(spec: &mut Spec, clock: Clock) -> Result<(Session, Profile), Fail> {
    let profile = spec.load_profile().map_err(Fail::input)?;
    let named = (profile.name.clone(), profile.ranges.is_empty());
    let watched = open(spec, named, false, clock).await?;
    let session = watched
        .session
        .ok_or_else(|| Fail::new(Exit::Meter, "the meter is gone".to_owned()))?;
    Ok((session, profile))
}

/// Starts the session of the meter that is named.
async fn open(
    spec: &Spec,
    profile: (String, bool),
    raw: bool,
    clock: Clock,
) -> Result<Watched, Fail> {
    const METER: MeterId = MeterId(1);
    let (file, session, driver) = match spec {
        Spec::Stream(spec) => return keep(spec, METER, profile, raw, clock).await,
        Spec::Replay { file, pace, driver } => {
            let session = replay(file, *pace, driver.as_ref())?;
            (
                file,
                session,
                driver.as_ref().map_or("replay", |d| d.entry.name),
            )
        }
        _ => {
            return Err(Fail::usage(
                "--meter keyed: there is nothing to watch; typed values go to `ohmtrail check`",
            ));
        }
    };
    let (profile, assumed) = profile;
    Ok(Watched {
        joined: Joined {
            meter: METER,
            driver: driver.to_owned(),
            place: file.display().to_string(),
            profile,
            assumed,
        },
        session: Some(session),
        bytes: false,
        away: false,
    })
}

fn seconds(at: Micros) -> f64 {
    at.0 as f64 / 1e6
}

/// A reading; with the meter's number where there are several.
fn show(reading: &Reading, which: Option<MeterId>, out: &mut Out) -> Result<(), Fail> {
    let d = Displayed::of(reading.function, reading.shown);
    let flags: Vec<&str> = reading.flags.names().collect();
    if out.json() {
        out.json_line(&json!({
            "steady_us": reading.at.0, "meter": reading.meter.0,
            "function": reading.function.name(), "display": d.digits, "unit": d.unit,
            "flags": flags,
        }))?;
    } else {
        let digits = if d.digits.is_empty() {
            "----"
        } else {
            &d.digits
        };
        let which = which.map_or(String::new(), |meter| format!("{:2}  ", meter.0));
        let text = format!(
            "{which}{:9.3} s  {:10} {digits:>8} {:4}  {}",
            seconds(reading.at),
            reading.function.name(),
            d.unit,
            flags.join(" ")
        );
        out.line(text.trim_end())?;
    }
    out.finish()
}

/// What happened to the link: JSON lines on standard output, or the log.
pub fn tell(event: &SessionEvent, meter: MeterId, out: &mut Out) -> Result<(), Fail> {
    let (name, at, words): (&str, Micros, String) = match event {
        SessionEvent::Up { at, gap_us } => (
            "up",
            *at,
            format!("readings come, after {:.1} s", *gap_us as f64 / 1e6),
        ),
        SessionEvent::Rejected { at, reason } => ("refused", *at, reason.words().to_owned()),
        SessionEvent::Silent { at, since } => (
            "silent",
            *at,
            format!("no byte since {:.1} s: is the meter on?", seconds(*since)),
        ),
        SessionEvent::Garbage {
            at, bytes, likely, ..
        } => ("garbage", *at, format!("{bytes} bytes: {}", likely.words())),
        SessionEvent::Told { at, told } => ("told", *at, told.words()),
        SessionEvent::Away { at, why } => ("away", *at, format!("{}; trying again", why.words())),
        SessionEvent::Gone { at, why } => ("gone", *at, why.words()),
        _ => return Ok(()),
    };
    match event {
        SessionEvent::Up { .. } | SessionEvent::Told { .. } => tracing::info!("{words}"),
        SessionEvent::Rejected { .. } => tracing::debug!("frame refused: {words}"),
        SessionEvent::Gone { why: Gone::End, .. } => tracing::info!("{words}"),
        _ => tracing::warn!("{name}: {words}"),
    }
    if out.json() {
        let value: Value =
            json!({"steady_us": at.0, "meter": meter.0, "link": name, "words": words});
        out.json_line(&value)?;
        out.finish()?;
    }
    Ok(())
}
