//! `ohmtrail bench tray`: a tray of parts, measured one after the other.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::PathBuf;
use std::pin::pin;

use clap::ValueEnum;
use ohmtrail_core::accuracy::{AccuracyTable, Measured, Quantity};
use ohmtrail_core::leads::Leads;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::capacitor::Tolerance;
use ohmtrail_core::rules::insulation::Insulation;
use ohmtrail_core::units::{Amps, Celsius, Ohms, Ratio, Volts};
use ohmtrail_core::verdict::{DECISION_RULE, Decision};
use ohmtrail_meters::keyed;
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::session::{Clock, Gone, Session, SessionEvent};
use ohmtrail_meters::spec::Spec;
use ohmtrail_shop::tray::record::{self, Row};
use ohmtrail_shop::tray::run::{Told, Tray};
use ohmtrail_shop::tray::script::{Kind, Plate, Script, script};
use ohmtrail_trail::rfc3339;
use ohmtrail_visit::amount;
use serde_json::json;
use time::OffsetDateTime;
use tokio::sync::mpsc;

use super::sorted;
use crate::check::{rating, tolerance};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::lines::read_lines;
use crate::meters::watch;
use crate::out::Out;

/// What is on the tray, and what is known of every part of it.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// What is on the tray
    #[arg(value_enum)]
    kind: On,
    /// The meter, as docs/meters.md has it; `keyed` is typed values
    #[arg(long, value_name = "SPEC", default_value = "keyed")]
    meter: Spec,
    /// Where it is written down: a new CSV
    #[arg(long, short, value_name = "FILE")]
    output: PathBuf,
    /// End after this many parts; without it, at `quit`
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    parts: Option<u32>,
    /// A marked value, such as 35uF, 18 Ohm or 4.1MPa: once for each section of a capacitor; where a
    /// pressure switch opens, then where it closes
    #[arg(long, value_name = "VALUE")]
    marked: Vec<String>,
    /// The marked tolerance, such as 6% or -5/+10%
    #[arg(
        long,
        value_name = "PERCENT",
        requires = "marked",
        allow_hyphen_values = true
    )]
    tolerance: Option<String>,
    /// The current of the test circuit, for contacts, such as 10.0A
    #[arg(long, value_name = "AMPS")]
    amps: Option<String>,
    /// Its volts, such as 24V
    #[arg(long, value_name = "VOLTS")]
    source: Option<String>,
    /// How many poles a contactor has
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=4))]
    poles: u8,
    /// A motor's insulation
    #[arg(long, value_enum, requires = "at")]
    insulation: Option<Material>,
    /// The winding's temperature, such as 24Cel
    #[arg(
        long,
        value_name = "CELSIUS",
        requires = "insulation",
        allow_hyphen_values = true
    )]
    at: Option<String>,
    /// The test leads are zeroed on the meter
    #[arg(long)]
    zeroed: bool,
    /// Ring the terminal's bell: once for each value, three times for one that does not pass
    #[arg(long)]
    bell: bool,
}

/// A kind of part.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum On {
    /// Run capacitors
    Capacitor,
    /// Contactors
    Contactor,
    /// Relays
    Relay,
    /// Control transformers of 24 V
    Transformer,
    /// Single-phase motors with a start winding
    Motor,
    /// Thermistors
    Thermistor,
    /// Pressure switches
    PressureSwitch,
}

impl From<On> for Kind {
    fn from(on: On) -> Self {
        match on {
            On::Capacitor => Kind::Capacitor,
            On::Contactor => Kind::Contactor,
            On::Relay => Kind::Relay,
            On::Transformer => Kind::Transformer,
            On::Motor => Kind::Motor,
            On::Thermistor => Kind::Thermistor,
            On::PressureSwitch => Kind::PressureSwitch,
        }
    }
}

/// What a motor is insulated with.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Material {
    /// Thermoplastic, and systems before the early 1970s
    Thermoplastic,
    /// Thermosetting
    Thermosetting,
}

impl Args {
    fn plate(&self, kind: Kind, table: &dyn AccuracyTable) -> Result<Plate, Fail> {
        let marked = match (kind.marked(), self.marked.is_empty()) {
            (_, true) => Vec::new(),
            (Some(function), false) => {
                let each = self.marked.iter();
                each.map(|text| rating("marked", text, function))
                    .collect::<Result<_, _>>()?
            }
            (None, false) => {
                return Err(Fail::usage(format!(
                    "--marked: a {} is not judged by a marked value",
                    kind.name()
                )));
            }
        };
        let tolerance = match &self.tolerance {
            Some(text) => {
                let (minus, plus): (Ratio, Ratio) = tolerance(text)?;
                Some(Tolerance { minus, plus })
            }
            None => None,
        };
        let number = |name, text: &Option<String>, function| {
            text.as_ref()
                .map(|text| rating(name, text, function))
                .transpose()
        };
        // The test circuit's current was read with the same meter.
        let amps = number("amps", &self.amps, Function::AmpsAc)?.map(|amps| {
            let half = table
                .accuracy(Function::AmpsAc, amps)
                .map_or(0.05 * amps, |a| a.percent / 100.0 * amps);
            Quantity::<Amps>::from_measured(Measured::new(amps, half / 3f64.sqrt()))
        });
        let at = number("at", &self.at, Function::Celsius)?;
        let insulation = self.insulation.zip(at).map(|(material, at)| {
            let material = match material {
                Material::Thermoplastic => Insulation::Thermoplastic,
                Material::Thermosetting => Insulation::Thermosetting,
            };
            (material, Celsius(at))
        });
        Ok(Plate {
            marked,
            tolerance,
            amps,
            source: number("source", &self.source, Function::VoltsAc)?.map(Volts),
            poles: usize::from(self.poles),
            insulation,
        })
    }
}

/// Measures the tray.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Fail::new(Exit::System, format!("no runtime: {e}")))?;
    // A thread that waits for a line does not hold up the end.
    let exit = runtime.block_on(measure(args, out));
    runtime.shutdown_background();
    exit
}

async fn measure(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let kind = Kind::from(args.kind);
    let mut spec = args.meter.clone();
    let (mut session, profile) = match &spec {
        Spec::Keyed { .. } => (None, spec.load_profile().map_err(Fail::input)?),
        _ => {
            let (session, profile) = watch::connect(&mut spec, Clock::start()).await?;
            (Some(session), profile)
        }
    };
    let plate = args.plate(kind, &profile)?;
    let script = script(kind, &plate).map_err(Fail::usage)?;
    let mut book = Book::begin(args, &script, &profile)?;
    let leads = if args.zeroed {
        Leads::Zeroed { step: Ohms(0.01) }
    } else {
        Leads::Unknown
    };
    let mut tray = Tray::new(&script, &profile, leads, args.parts);
    out.line_unless_json(&format!("caution: {}", kind.caution()))?;
    out.line_unless_json(&format!("meter: {}", profile.name))?;
    for unproven in &script.unproven {
        out.line_unless_json(&format!("not judged: {unproven}"))?;
    }
    ask(&tray, out)?;
    let mut lines = Some(read_lines());
    let mut interrupt = pin!(tokio::signal::ctrl_c());
    let mut reached = session.is_none();
    let mut gone = false;
    while !tray.is_done() && !out.closed() {
        let told = tokio::select! {
            event = hear(session.as_mut()) => match event {
                Some(SessionEvent::Reading(reading)) => {
                    reached = true;
                    tray.push(&reading)
                }
                Some(event) => {
                    watch::tell(&event, ohmtrail_core::reading::MeterId(1), out)?;
                    if let SessionEvent::Gone { why, .. } = event {
                        gone = why != Gone::End;
                        break;
                    }
                    Vec::new()
                }
                None => break,
            },
            line = next_line(lines.as_mut()) => match line.as_deref().map(str::trim) {
                None => {
                    lines = None;
                    // Nobody types any more, and there is no meter.
                    if session.is_none() {
                        break;
                    }
                    Vec::new()
                }
                Some("quit") => break,
                Some("skip") => tray.skip(),
                Some("") => tray.enter(),
                Some(text) => key(&mut tray, text),
            },
            _ = &mut interrupt => break,
        };
        for told in told {
            heed(&told, &script, args.bell, &mut book, out)?;
        }
    }
    if book.rows.is_empty() {
        // Nothing stands in it but its head.
        std::fs::remove_file(&args.output)
            .map_err(|e| Fail::new(Exit::System, format!("{}: {e}", book.name)))?;
        return if reached && !gone {
            Err(Fail::input("no part was measured".to_owned()))
        } else {
            Err(Fail::new(
                Exit::Meter,
                "no reading came: switch the meter on, and its data link too".to_owned(),
            ))
        };
    }
    let exit = sorted::tell(&book.rows, out)?;
    Ok(if gone { Exit::Meter } else { exit })
}

fn key(tray: &mut Tray<'_>, text: &str) -> Vec<Told> {
    let Some((_, step)) = tray.asked() else {
        return Vec::new();
    };
    match keyed::parse_line(text, step.function) {
        Ok(shown) => tray.keyed(shown),
        Err(error) => {
            eprintln!("ohmtrail: {error}");
            Vec::new()
        }
    }
}

/// What to connect now.
fn ask(tray: &Tray<'_>, out: &mut Out) -> Result<(), Fail> {
    if let Some((part, step)) = tray.asked() {
        connect(part, step, out)?;
    }
    Ok(())
}

fn connect(part: u32, step: &ohmtrail_shop::tray::script::Step, out: &mut Out) -> Result<(), Fail> {
    if out.json() {
        return Ok(());
    }
    let by_hand = if step.off_below.is_none() {
        "; press Enter when it is on: leads that are off cannot be told from it"
    } else {
        ""
    };
    out.line(&format!(
        "part {part}, {}: {}: {}{by_hand}",
        step.name,
        step.function.name(),
        step.connect
    ))?;
    out.finish()
}

/// Writes down, says and rings what came.
fn heed(
    told: &Told,
    script: &Script,
    bell: bool,
    book: &mut Book,
    out: &mut Out,
) -> Result<(), Fail> {
    match told {
        Told::Taken(take) => {
            let row = Row::of(script, take);
            book.write(&row)?;
            let well = matches!(
                row.decision,
                None | Some(Decision::Pass | Decision::ConditionalPass)
            );
            if bell {
                eprint!("{}", if well { "\u{7}" } else { "\u{7}\u{7}\u{7}" });
            }
            if out.json() {
                out.json_line(&json!({ "taken": row }))?;
            } else {
                let word = row.decision.map_or("written down", Decision::words);
                let why = too_coarse(&row).unwrap_or_default();
                out.line(&format!(
                    "part {}, {}: {} {}: {word}{why}",
                    row.part, row.step, row.display, row.unit
                ))?;
            }
            book.rows.push(row);
            out.finish()
        }
        Told::Next { part, step } => match script.steps.get(*step) {
            Some(step) => connect(*part, step, out),
            None => Ok(()),
        },
        Told::Function { wanted, got } => {
            eprintln!(
                "ohmtrail: the meter is on {}: turn it to {}",
                got.name(),
                wanted.name()
            );
            Ok(())
        }
        Told::NotStill => {
            eprintln!("ohmtrail: it is taken as soon as the display stands still");
            Ok(())
        }
        Told::StillOn => {
            eprintln!("ohmtrail: take the leads off what was taken first");
            Ok(())
        }
    }
}

/// By the wall clock (RFC 3339).
fn now() -> String {
    let micros = OffsetDateTime::now_utc().unix_timestamp_nanos() / 1000;
    i64::try_from(micros)
        .ok()
        .and_then(rfc3339)
        .unwrap_or_default()
}

/// Why a value that has a limit was not judged by it, where the meter is the reason.
fn too_coarse(row: &Row) -> Option<String> {
    if row.decision != Some(Decision::NotJudged) || (row.low, row.high) == (None, None) {
        return None;
    }
    let function = Function::by_name(&row.function)?;
    let wide = amount(function, 2.0 * row.uncertainty?);
    Some(format!(
        ": the meter may be {wide} off, too much for these limits; name its stated accuracy (docs/meters.md)"
    ))
}

/// The record as it grows.
struct Book {
    name: String,
    file: File,
    rows: Vec<Row>,
}

impl Book {
    fn begin(args: &Args, script: &Script, profile: &Profile) -> Result<Book, Fail> {
        let name = args.output.display().to_string();
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&args.output)
            .map_err(|e| Fail::input(format!("{name}: {e}: name a new file")))?;
        let mut book = Book {
            name,
            file,
            rows: Vec::new(),
        };
        let about = [
            format!("tray: {}", script.kind.name()),
            format!("begun: {}", now()),
            format!("meter: {}", profile.name),
            format!(
                "marked: {} {}",
                args.marked.join(" "),
                args.tolerance.as_deref().unwrap_or("")
            ),
            format!("decision rule: {}", DECISION_RULE.what),
            "values in base units".to_owned(),
        ];
        book.put(record::head(&about).as_bytes())?;
        Ok(book)
    }

    fn write(&mut self, row: &Row) -> Result<(), Fail> {
        let line = record::line(row).map_err(|e| Fail::new(Exit::System, e))?;
        self.put(&line)
    }

    /// On disk before it is told.
    fn put(&mut self, bytes: &[u8]) -> Result<(), Fail> {
        let done = self.file.write_all(bytes);
        done.and_then(|()| self.file.sync_data())
            .map_err(|e| Fail::new(Exit::System, format!("{}: {e}", self.name)))
    }
}

async fn hear(session: Option<&mut Session>) -> Option<SessionEvent> {
    match session {
        Some(session) => session.recv().await,
        None => std::future::pending().await,
    }
}

async fn next_line(lines: Option<&mut mpsc::UnboundedReceiver<String>>) -> Option<String> {
    match lines {
        Some(lines) => lines.recv().await,
        None => std::future::pending().await,
    }
}
