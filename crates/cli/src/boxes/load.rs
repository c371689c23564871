//! `ohmtrail box load`: compiles what a box is to hold, sends it, and writes the card.

use std::path::PathBuf;

use ohmtrail_link::frame::crc32;
use ohmtrail_link::load::{Head, Test, VERSION};
use ohmtrail_link::message::{Answer, PIECE, Request};
use serde_json::json;

use super::fit::{encode, fit};
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
        ("contactor", [low, high, poles]) if poles.fract() == 0.0 => Test::Contactor {
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

/// Makes the load.
pub fn make(args: &Args) -> Result<Made, Fail> {
    if args.sheet.is_none() && args.test.is_empty() {
        return Err(Fail::usage("nothing to load: name a --sheet or a --test"));
    }
    let tests = heapless::Vec::from_slice(&args.test)
        .map_err(|_| Fail::usage("more tests of parts than a load has room for: at most 8"))?;
    let head = Head {
        version: VERSION,
        tests,
        plan: None,
    };
    let mut card = card::tests(&args.test);
    let Some(name) = &args.sheet else {
        let bytes = encode(&head, &[]).map_err(|e| Fail::new(Exit::System, e))?;
        return Ok(Made {
            bytes,
            card,
            samples: 0,
        });
    };
    let mut sheet = crate::sheet::load(name)?;
    args.beforehand.tell(&mut sheet)?;
    let fit = fit(&sheet, head).map_err(|e| Fail::input(format!("{}: {e}", name.display())))?;
    card.extend(fit.card);
    Ok(Made {
        bytes: fit.bytes,
        card,
        samples: fit.samples,
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
