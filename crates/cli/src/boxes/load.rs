//! `ohmtrail box load`: compiles what a box is to hold, sends it, and writes the card.

use std::path::PathBuf;

use ohmtrail_box::view::view;
use ohmtrail_circuit::compile::{Options, compile};
use ohmtrail_circuit::sheet::Sheet;
use ohmtrail_core::gates::{GatePlan, PointId};
use ohmtrail_link::frame::crc32;
use ohmtrail_link::load::{Head, MOST, Plan, Test, VERSION};
use ohmtrail_link::message::{Answer, LoadFault, PIECE, Request};
use ohmtrail_visit::{Book, SheetBundle};
use serde_json::json;

use super::{Port, card, talk::Talk};
use crate::beforehand::Beforehand;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// What to load, and where to.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    port: Port,
    /// The sheet whose single faults the box is to isolate
    #[arg(long, value_name = "NAME")]
    sheet: Option<PathBuf>,
    /// A test of a loose part: `capacitor:UF:PERCENT`, `windings`, `contactor:LOW:HIGH:POLES` (ohms
    /// of the coil), `thermistor:OHMS25:BETA:PERCENT`; may be given again
    #[arg(long, value_name = "TEST", value_parser = test)]
    test: Vec<Test>,
    #[command(flatten)]
    beforehand: Beforehand,
}

/// A load, ready to send.
pub struct Made {
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// The lines of its card.
    pub card: Vec<card::Line>,
    /// How many samples its table has.
    samples: usize,
}

fn test(text: &str) -> Result<Test, String> {
    let mut words = text.split(':');
    let kind = words.next().unwrap_or_default();
    let numbers: Vec<f32> = words
        .map(|w| {
            w.parse::<f32>()
                .map_err(|_| format!("'{w}' in '{text}' is no number"))
        })
        .collect::<Result<_, _>>()?;
    let made = match (kind, numbers.as_slice()) {
        ("capacitor", [microfarads, percent]) => Test::Capacitor {
            farads: microfarads * 1e-6,
            minus: percent / 100.0,
            plus: percent / 100.0,
        },
        ("windings", []) => Test::Windings,
        ("contactor", [low, high, poles]) => Test::Contactor {
            coil_low: *low,
            coil_high: *high,
            poles: *poles as u8,
        },
        ("thermistor", [ohms, beta, percent]) => Test::Thermistor {
            ohms_25: *ohms,
            beta: *beta,
            share: percent / 100.0,
        },
        _ => {
            return Err(format!(
                "'{text}' is none of capacitor:UF:PERCENT, windings, contactor:LOW:HIGH:POLES, \
                 thermistor:OHMS25:BETA:PERCENT"
            ));
        }
    };
    if made.is_sound() {
        Ok(made)
    } else {
        Err(format!("'{text}' holds limits that are none"))
    }
}

/// Makes the load: the most samples that fit the box.
pub fn make(args: &Args) -> Result<Made, Fail> {
    if args.sheet.is_none() && args.test.is_empty() {
        return Err(Fail::usage("nothing to load: name a --sheet or a --test"));
    }
    let tests = heapless::Vec::from_slice(&args.test)
        .map_err(|_| Fail::usage("more tests of parts than a load has room for: at most 8"))?;
    let mut head = Head {
        version: VERSION,
        tests,
        plan: None,
    };
    let mut card = card::tests(&args.test);
    let Some(name) = &args.sheet else {
        return Ok(Made {
            bytes: encode(&head, &[])?,
            card,
            samples: 0,
        });
    };
    let mut sheet = crate::sheet::load(name)?;
    args.beforehand.tell(&mut sheet)?;
    let said = |what: &str| Fail::input(format!("{}: {what}", name.display()));
    let mut why = LoadFault::Room;
    for samples in (1..=8).rev() {
        let options = Options {
            samples,
            singles_only: true,
        };
        let compiled = compile(&sheet, options).map_err(|e| said(&e.to_string()))?;
        let table = compiled.bytes.clone();
        let bundle = SheetBundle::with(sheet, compiled).map_err(|e| said(&e.to_string()))?;
        let book = Book::new(&bundle).map_err(|e| said(&e.to_string()))?;
        head.plan = Some(
            plan(&book.plan(), &bundle.sheet)
                .ok_or_else(|| said("its safety plan has more points than a box has room for"))?,
        );
        let bytes = encode(&head, &table)?;
        let length = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
        if length <= MOST {
            match view(&head, &table, length, crc32(&bytes)) {
                Ok(_) => {
                    card.extend(card::sheet(&book.plan(), &bundle.sheet));
                    return Ok(Made {
                        bytes,
                        card,
                        samples,
                    });
                }
                Err(fault) => why = fault,
            }
        }
        drop(book);
        sheet = bundle.sheet;
    }
    Err(said(why.words()))
}

fn encode(head: &Head, table: &[u8]) -> Result<Vec<u8>, Fail> {
    let mut room = vec![0; 16 * 1024];
    let used = postcard::to_slice(head, &mut room)
        .map_err(|e| Fail::new(Exit::System, format!("the load cannot be encoded: {e}")))?;
    let mut bytes = used.to_vec();
    bytes.extend_from_slice(table);
    Ok(bytes)
}

/// The plan as a box holds it; none if it does not fit.
fn plan(plan: &GatePlan<'_>, sheet: &Sheet) -> Option<Plan> {
    let id = |point: &usize| u16::try_from(*point).ok().map(PointId);
    let mut lifts = heapless::Vec::new();
    for lift in &sheet.lifts {
        let ends: Vec<PointId> = lift.ends.iter().map(id).collect::<Option<_>>()?;
        lifts.push(heapless::Vec::from_slice(&ends).ok()?).ok()?;
    }
    let mut sources = heapless::Vec::new();
    for source in plan.sources {
        sources
            .push(heapless::Vec::from_slice(source.poles).ok()?)
            .ok()?;
    }
    Some(Plan {
        line: heapless::Vec::from_slice(plan.line).ok()?,
        load: heapless::Vec::from_slice(plan.load).ok()?,
        load_sides: heapless::Vec::from_slice(plan.load_sides).ok()?,
        ground: plan.ground.0,
        sources,
        capacitors: heapless::Vec::from_slice(plan.capacitors).ok()?,
        covers: heapless::Vec::from_slice(plan.covers).ok()?,
        keep_off: heapless::Vec::from_slice(plan.keep_off).ok()?,
        lifts,
    })
}

/// Sends it.
pub async fn run(args: &Args, made: &Made, out: &mut Out) -> Result<Exit, Fail> {
    let (mut talk, who) = Talk::to(&args.port.port).await?;
    let crc = crc32(&made.bytes);
    let bytes = u32::try_from(made.bytes.len()).unwrap_or(u32::MAX);
    talk.ask(Request::LoadBegin { bytes, crc }).await?;
    let mut at = 0;
    for piece in made.bytes.chunks(PIECE) {
        talk.ask(Request::LoadPiece { at, bytes: piece }).await?;
        at = at.saturating_add(u32::try_from(piece.len()).unwrap_or(0));
    }
    let Answer::Done = talk.ask(Request::LoadEnd).await? else {
        return Err(talk.unexpected());
    };
    if out.json() {
        out.document(&json!({
            "box": format!("{:016x}", who.id), "bytes": bytes, "crc": format!("{crc:08x}"),
            "samples": made.samples, "card": made.card,
        }))?;
        return Ok(Exit::Done);
    }
    out.line(&format!(
        "loaded {bytes} bytes into box {:016x}; its card:",
        who.id
    ))?;
    for line in &made.card {
        out.line(&format!("{:>5}  {}", line.number, line.words))?;
    }
    Ok(Exit::Done)
}
