//! `ohmtrail sheet netlist NAME`: the network of one drawn unit as SPICE text, with a meter at
//! each probe pair.

use std::path::PathBuf;

use clap::ValueEnum;
use ohmtrail_circuit::meter::input_ohms;
use ohmtrail_circuit::netlist::{Analysis, Deck};
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::sheet::{FaultId, Heat, PointId, Question, Sheet};
use ohmtrail_circuit::unit::{Circuit, Drawn};
use ohmtrail_core::reading::Function;
use serde_json::json;

use super::{lifted, load};
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Power {
    /// The breakers closed, the supplies live
    On,
    /// The line's breakers opened by hand
    Off,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Current {
    /// One ampere of direct current: volts are ohms
    Ohms,
    /// One ampere at the capacitance meter's frequency
    Farads,
}

/// Which unit, in which state, and where the meter goes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The sheet
    #[arg(value_name = "NAME")]
    name: PathBuf,
    /// A fault of the unit (`ohmtrail sheet faults NAME`); may be given again
    #[arg(long, value_name = "FAULT")]
    fault: Vec<String>,
    /// Whether the unit is under power
    #[arg(long, value_enum, default_value = "on")]
    power: Power,
    /// What the meter drives into a dead unit
    #[arg(long, value_enum, default_value = "ohms")]
    current: Current,
    /// A wire end that is lifted, or a lifted set of the sheet; may be given again
    #[arg(long, value_name = "END|SET")]
    lift: Vec<String>,
    /// The motors are cold: just started, or dead for long
    #[arg(long)]
    cold: bool,
    /// Where the meter goes, as A,B; may be given again. Without it, at every pair that a check of
    /// the sheet measures in this state
    #[arg(long, value_name = "A,B")]
    probe: Vec<String>,
    /// The voltmeter in its low-impedance mode
    #[arg(long)]
    low_impedance: bool,
    /// Which unit is drawn from the sheet's priors
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Where the netlist goes; without it, standard output
    #[arg(long, short)]
    output: Option<PathBuf>,
}

/// Writes the netlist.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let sheet = load(&args.name)?;
    let faults = faults(&sheet, &args.fault)?;
    let lifted = lifted(&sheet, &args.lift)?;
    if args.power == Power::On && !lifted.is_empty() {
        return Err(Fail::usage(
            "--lift: wire ends are lifted on a dead unit only; add --power off",
        ));
    }
    let analysis = match (args.power, args.current) {
        (Power::On, _) => Analysis::Live,
        (Power::Off, Current::Ohms) => Analysis::Ohms,
        (Power::Off, Current::Farads) => Analysis::Farads,
    };
    let probes = probes(&sheet, args, analysis)?;
    if probes.is_empty() {
        return Err(Fail::usage(
            "no check of the sheet measures in this state; say where the meter goes with --probe",
        ));
    }
    let circuit = Circuit::new(&sheet);
    let unit = Unit::new(&circuit, Drawn::draw(&sheet, args.seed), &faults);
    let heat = if args.cold { Heat::Cold } else { Heat::AsFound };
    let elements = match args.power {
        Power::On => unit.standing(heat).assembly.elements.clone(),
        Power::Off => unit.dead_elements(&lifted, heat),
    };
    let mut deck = Deck::new(&sheet, analysis, &elements);
    for &points in &probes {
        deck.probe(points, input_ohms(args.low_impedance));
    }
    let text = deck.finish();
    if let Some(file) = &args.output {
        std::fs::write(file, &text).map_err(|e| {
            Fail::new(
                Exit::System,
                format!("{}: cannot be written: {e}", file.display()),
            )
        })?;
    }
    if out.json() {
        let pairs: Vec<_> = probes
            .iter()
            .map(|pair| pair.map(|p| sheet.point_name(p)))
            .collect();
        out.document(&json!({
            "sheet": sheet.name, "faults": args.fault, "seed": args.seed, "probes": pairs,
            "file": args.output.as_ref().map(|f| f.display().to_string()),
            "netlist": args.output.is_none().then_some(text),
        }))?;
    } else if args.output.is_none() {
        out.line(text.trim_end())?;
    }
    Ok(Exit::Done)
}

fn faults(sheet: &Sheet, names: &[String]) -> Result<Vec<FaultId>, Fail> {
    let found = names.iter().map(|name| {
        sheet.fault(name).ok_or_else(|| {
            Fail::usage(format!(
                "--fault {name}: not a fault of {}; `ohmtrail sheet faults {0}` lists them",
                sheet.name
            ))
        })
    });
    found.collect()
}

fn probes(sheet: &Sheet, args: &Args, analysis: Analysis) -> Result<Vec<[PointId; 2]>, Fail> {
    if args.probe.is_empty() {
        let mut pairs = Vec::new();
        for check in &sheet.checks {
            let Question::Measure {
                function, points, ..
            } = &check.question
            else {
                continue;
            };
            let fits = match analysis {
                Analysis::Live => *function == Function::VoltsAc && check.power != Some(false),
                Analysis::Ohms => function.injects() && *function != Function::Farads,
                Analysis::Farads => *function == Function::Farads,
                Analysis::Held => *function == Function::VoltsDc,
            };
            if fits && !pairs.contains(points) {
                pairs.push(*points);
            }
        }
        return Ok(pairs);
    }
    let point = |name: &str| {
        sheet.point(name.trim()).ok_or_else(|| {
            Fail::usage(format!(
                "--probe: \"{name}\" is not a point of {}; `ohmtrail sheet points {0}` lists them",
                sheet.name
            ))
        })
    };
    let pairs = args.probe.iter().map(|text| {
        let (a, b) = text.split_once(',').ok_or_else(|| {
            Fail::usage(format!(
                "--probe {text}: give two points, as contactor.L1,contactor.L2"
            ))
        })?;
        Ok([point(a)?, point(b)?])
    });
    pairs.collect()
}
