//! `ohmtrail meters watch`: values as they come, one line each.

use std::path::PathBuf;
use std::time::Duration;

use ohmtrail_core::reading::{MeterId, Reading};
use ohmtrail_core::units::Micros;
use ohmtrail_meters::session::{Clock, Gone, Session, SessionEvent};
use ohmtrail_meters::spec::Spec;
use ohmtrail_meters::{link, replay};
use ohmtrail_trail::event::Event;
use ohmtrail_trail::{Body, Displayed, read};
use serde_json::{Value, json};
use tokio::time::{Instant, sleep, sleep_until};

use super::record::{Joined, Recorder};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which meter, and for how long.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// `serial:PATH,frame=NAME`, `tcp:HOST:PORT,frame=NAME` or `replay:FILE`, with their settings as
    /// docs/meters.md has them
    #[arg(long, value_name = "SPEC")]
    meter: Spec,
    /// Keep the readings in a new trail
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    /// End after this many readings
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..))]
    count: Option<u64>,
    /// End after this many seconds
    #[arg(long, value_name = "S", value_parser = clap::value_parser!(u64).range(1..=86_400))]
    seconds: Option<u64>,
}

const METER: MeterId = MeterId(1);

/// A reading waits no longer than this, and half a group's time, to be on disk.
const FLUSH: Duration = Duration::from_millis(500);

/// Watches.
pub fn run(args: Args, out: &mut Out) -> Result<Exit, Fail> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Fail::new(Exit::System, format!("no runtime: {e}")))?;
    runtime.block_on(watch(args, out))
}

async fn watch(mut args: Args, out: &mut Out) -> Result<Exit, Fail> {
    let profile = args.meter.load_profile().map_err(Fail::input)?;
    let clock = Clock::start();
    let (mut session, driver, place) = open(&args.meter, clock).await?;
    let mut recorder = match &args.record {
        Some(file) => Some(Recorder::begin(
            file,
            Joined {
                meter: METER,
                driver,
                place,
                profile: profile.name.clone(),
                assumed: profile.ranges.is_empty(),
            },
        )?),
        None => None,
    };
    let end = args
        .seconds
        .map(|s| Instant::now() + Duration::from_secs(s));
    let mut readings = 0_u64;
    let mut away = false;
    let exit = loop {
        let event = tokio::select! {
            event = session.recv() => event,
            () = until(end) => break None,
            () = sleep(FLUSH), if recorder.is_some() => {
                if let Some(recorder) = &mut recorder {
                    recorder.flush(clock.now())?;
                }
                continue;
            }
            _ = tokio::signal::ctrl_c() => break None,
        };
        let Some(event) = event else { break None };
        if let Some(recorder) = &mut recorder {
            recorder.heed(&event)?;
        }
        match event {
            SessionEvent::Reading(reading) => {
                readings += 1;
                away = false;
                show(&reading, out)?;
            }
            SessionEvent::Away { .. } => {
                away = true;
                tell(&event, out)?;
            }
            SessionEvent::Gone { why, .. } => {
                tell(&event, out)?;
                break (why != Gone::End).then_some(Exit::Meter);
            }
            _ => tell(&event, out)?,
        }
        if out.closed() || args.count.is_some_and(|count| readings >= count) {
            break None;
        }
    };
    let tally = session.tally();
    tracing::info!(
        readings,
        bytes = tally.bytes,
        skipped = tally.skipped,
        refused = tally.all_rejected(),
        "watched"
    );
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
        None if away => Exit::Meter,
        None => Exit::Done,
    })
}

async fn until(end: Option<Instant>) {
    match end {
        Some(end) => sleep_until(end).await,
        None => std::future::pending().await,
    }
}

/// Starts the session, and says which driver reads what.
async fn open(spec: &Spec, clock: Clock) -> Result<(Session, String, String), Fail> {
    match spec {
        Spec::Stream(spec) => {
            let session = link::keep(spec, METER, spec.manner(), clock)
                .await
                .map_err(|e| Fail::new(Exit::Meter, e))?;
            let driver = spec.driver.entry.name.to_owned();
            Ok((session, driver, spec.place.to_string()))
        }
        Spec::Replay { file, pace, .. } => {
            let mut readings: Vec<(Micros, Reading)> = Vec::new();
            for item in read(file)? {
                match item {
                    Ok(record) => {
                        if let Body::Entry(entry) = record.body
                            && let Event::Readings { meter, readings: r } = entry.event
                        {
                            readings.extend(r.into_iter().map(|s| {
                                let reading = Reading {
                                    function: s.function,
                                    shown: s.shown,
                                    flags: s.flags,
                                    meter,
                                    at: s.at,
                                };
                                (s.at, reading)
                            }));
                        }
                    }
                    Err(damage) => tracing::warn!("{}: {damage}", file.display()),
                }
            }
            if readings.is_empty() {
                return Err(Fail::input(format!(
                    "{}: the trail holds no streamed readings",
                    file.display()
                )));
            }
            let place = file.display().to_string();
            Ok((replay::session(readings, *pace), "replay".into(), place))
        }
        _ => Err(Fail::usage(
            "--meter keyed: there is nothing to watch; typed values go to `ohmtrail check`",
        )),
    }
}

fn seconds(at: Micros) -> f64 {
    at.0 as f64 / 1e6
}

fn show(reading: &Reading, out: &mut Out) -> Result<(), Fail> {
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
        let text = format!(
            "{:9.3} s  {:10} {digits:>8} {:4}  {}",
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
fn tell(event: &SessionEvent, out: &mut Out) -> Result<(), Fail> {
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
        let value: Value = json!({"steady_us": at.0, "link": name, "words": words});
        out.json_line(&value)?;
        out.finish()?;
    }
    Ok(())
}
