//! `ohmtrail sheet draw NAME`: the schematic, or where the probes go, as SVG.

use std::path::PathBuf;

use ohmtrail_circuit::draw::{self, Probing};
use ohmtrail_circuit::sheet::{PointId, Question, Sheet};
use ohmtrail_core::reading::Function;
use ohmtrail_words::Tongue;
use serde_json::json;

use super::{lifted, load};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which sheet, what of it, and where to.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The sheet
    #[arg(value_name = "NAME")]
    name: PathBuf,
    /// Not the schematic, but where the probes go between these two points; for amps both ends of
    /// the wire in the clamp
    #[arg(long, num_args = 2, value_names = ["A", "B"], conflicts_with = "check")]
    points: Vec<String>,
    /// With --points: what is measured there; without it, what a check of the sheet measures
    #[arg(long, value_name = "FUNCTION", requires = "points")]
    function: Option<String>,
    /// With --points: a wire end that is lifted, or a lifted set of the sheet; may be given again.
    /// Without it, what a check of the sheet lifts
    #[arg(long, value_name = "END|SET", requires = "points")]
    lift: Vec<String>,
    /// The picture of a check, by its line in the list of `sheet checks`
    #[arg(long, value_name = "NUMBER")]
    check: Option<usize>,
    /// Where the picture goes; without it, standard output
    #[arg(long, short, visible_alias = "output", value_name = "FILE")]
    out: Option<PathBuf>,
}

/// Draws.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let sheet = load(&args.name)?;
    let svg = match (&args.points[..], args.check) {
        ([a, b], _) => points(&sheet, args, [a, b])?,
        (_, Some(number)) => check(&sheet, number)?,
        _ => draw::schematic(&sheet, Tongue::English),
    };
    if let Some(file) = &args.out {
        std::fs::write(file, &svg).map_err(|e| {
            Fail::new(
                Exit::System,
                format!("{}: cannot be written: {e}", file.display()),
            )
        })?;
    }
    if out.json() {
        out.document(&json!({
            "sheet": sheet.name,
            "file": args.out.as_ref().map(|f| f.display().to_string()),
            "svg": args.out.is_none().then_some(svg),
        }))?;
    } else if let Some(file) = &args.out {
        out.line(&format!("{}: drawn in {}", sheet.name, file.display()))?;
    } else {
        out.line(svg.trim_end())?;
    }
    Ok(Exit::Done)
}

/// The measurement of that number, counted as `sheet checks` lists them.
fn check(sheet: &Sheet, number: usize) -> Result<String, Fail> {
    let mut measurements = sheet.checks.iter().filter_map(|c| Probing::of(sheet, c));
    let count = measurements.clone().count();
    let probing = number.checked_sub(1).and_then(|n| measurements.nth(n));
    let probing = probing.ok_or_else(|| {
        Fail::usage(format!(
            "--check {number}: {} has checks 1 to {count}; `ohmtrail sheet checks {0}` lists them",
            sheet.name
        ))
    })?;
    Ok(draw::probes(sheet, &probing, Tongue::English))
}

fn points(sheet: &Sheet, args: &Args, names: [&String; 2]) -> Result<String, Fail> {
    let mut points: [PointId; 2] = [0; 2];
    for (slot, name) in points.iter_mut().zip(names) {
        *slot = sheet.point(name).ok_or_else(|| {
            Fail::usage(format!(
                "--points: \"{name}\" is not a point of {}; `ohmtrail sheet points {0}` lists them",
                sheet.name
            ))
        })?;
    }
    let wanted = match &args.function {
        Some(name) => Some(Function::by_name(name).ok_or_else(|| {
            let known: Vec<&str> = Function::ALL.iter().map(|f| f.name()).collect();
            Fail::usage(format!(
                "--function {name}: not something a meter measures; known are {}",
                known.join(", ")
            ))
        })?),
        None => None,
    };
    // What the sheet itself measures there, the probes either way round.
    let known = sheet.checks.iter().find(|c| match &c.question {
        Question::Measure {
            function,
            points: at,
            ..
        } => {
            let [a, b] = points;
            (*at == [a, b] || *at == [b, a]) && wanted.is_none_or(|w| w == *function)
        }
        Question::Look { .. } => false,
    });
    let known = known.and_then(|c| Probing::of(sheet, c));
    let own = lifted(sheet, &args.lift)?;
    let function = wanted.or(known.map(|k| k.function)).ok_or_else(|| {
        Fail::usage(format!(
            "no check of {} measures between {} and {}; say what is measured with --function",
            sheet.name, names[0], names[1]
        ))
    })?;
    let lifted = match known {
        Some(known) if args.lift.is_empty() => known.lifted,
        _ => &own,
    };
    let probing = Probing {
        function,
        points,
        lifted,
    };
    let [a, b] = points;
    if probing.clamped()
        && sheet
            .wires
            .iter()
            .all(|w| w.ends != [a, b] && w.ends != [b, a])
    {
        return Err(Fail::usage(
            "amperes are read with a clamp around a wire: give both ends of one wire",
        ));
    }
    Ok(draw::probes(sheet, &probing, Tongue::English))
}
