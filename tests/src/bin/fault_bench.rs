//! The fault bench as a command: `cargo xtask bench isolation`. See docs/fault-bench.md.

use std::process::ExitCode;

use ohmtrail_circuit::compile::compile;
use ohmtrail_circuit::sheet::BUILTIN;
use ohmtrail_core::isolate::Table;
use ohmtrail_meters::sim::noise::Noise;
use ohmtrail_tests::fault_bench::case::SheetData;
use ohmtrail_tests::fault_bench::policy::{Mind, Policy, SURE};
use ohmtrail_tests::fault_bench::report::{Summary, failure};
use ohmtrail_tests::fault_bench::{Options, replay, run, sheet};

const USAGE: &str = "usage: cargo xtask bench isolation [--cases N] [--seed S] [--sheet NAME]... \
[--jobs N] [--failures N]
       cargo xtask bench isolation --minutes [--cases N] [--seed S] [--sheet NAME]...
       cargo xtask bench isolation --sheet NAME --case K [--seed S] [--verbose]";

/// How many asks the exact comparison has.
const EXACT: [usize; 3] = [4, 5, 6];

struct Args {
    options: Options,
    sheets: Vec<String>,
    case: Option<usize>,
    verbose: bool,
    minutes: bool,
    failures: usize,
}

fn args() -> Result<Args, String> {
    let mut args = Args {
        options: Options {
            cases: 2000,
            seed: 1,
            jobs: std::thread::available_parallelism().map_or(1, usize::from),
        },
        sheets: Vec::new(),
        case: None,
        verbose: false,
        minutes: false,
        failures: 200,
    };
    let mut given = std::env::args().skip(1);
    while let Some(name) = given.next() {
        let mut value = || given.next().ok_or(format!("{name} wants a value"));
        let number = |text: String| text.parse::<usize>().map_err(|e| format!("{text}: {e}"));
        match name.as_str() {
            "--cases" => args.options.cases = number(value()?)?,
            "--seed" => args.options.seed = number(value()?)? as u64,
            "--jobs" => args.options.jobs = number(value()?)?,
            "--sheet" => args.sheets.push(value()?),
            "--case" => args.case = Some(number(value()?)?),
            "--failures" => args.failures = number(value()?)?,
            "--verbose" => args.verbose = true,
            "--minutes" => args.minutes = true,
            other => return Err(format!("{other} is not known")),
        }
    }
    if args.sheets.is_empty() {
        args.sheets = BUILTIN.iter().map(|(name, _)| (*name).to_owned()).collect();
    }
    Ok(args)
}

/// The planner's minutes against better policies, on the compiled table.
fn minutes(data: &SheetData, options: &Options) {
    let compiled = compile(&data.sheet, Default::default()).expect("the sheet compiles");
    let table = Table::parse(&compiled.bytes).expect("the table is sound");
    println!(
        "{}: minutes until the leading group has {SURE}",
        data.sheet.name
    );
    let mut mind = Mind::new(table);
    for few in EXACT {
        let (planner, best) = mind.against_the_best(few);
        println!(
            "  the {few} asks that tell most: planner {planner:.3}, best of all policies {best:.3}, ratio {:.3}",
            planner / best
        );
    }
    let name = Noise::of(options.seed, 0x0117).bits();
    let sums: Vec<[(f64, bool); 2]> = (0..options.cases)
        .map(|case| {
            [Policy::Planner, Policy::TwoSteps].map(|policy| {
                let mut noise = Noise::of(name, case as u64);
                mind.play(policy, &mut noise)
            })
        })
        .collect();
    let n = sums.len() as f64;
    let mean = |i: usize| sums.iter().map(|s| s[i].0).sum::<f64>() / n;
    let (ours, theirs) = (mean(0), mean(1));
    // The ratio of two means on the same draws, by the delta method.
    let ratio = ours / theirs;
    let spread = sums.iter().map(|s| (s[0].0 - ratio * s[1].0).powi(2));
    let half = 1.96 * (spread.sum::<f64>() / n).sqrt() / (n.sqrt() * theirs);
    let sure = |i: usize| sums.iter().filter(|s| s[i].1).count();
    println!(
        "  all asks, {n} draws: planner {ours:.2} ({} sure), two steps ahead {theirs:.2} ({} sure), ratio {ratio:.3} [{:.3}, {:.3}]",
        sure(0),
        sure(1),
        ratio - half,
        ratio + half
    );
}

fn main() -> ExitCode {
    let args = match args() {
        Ok(args) => args,
        Err(why) => {
            eprintln!("{why}\n{USAGE}");
            return ExitCode::from(2);
        }
    };
    let seed = args.options.seed;
    let mut all = Summary::default();
    for name in &args.sheets {
        let data = sheet(name);
        if args.minutes {
            minutes(&data, &args.options);
            continue;
        }
        if let Some(case) = args.case {
            let ran = replay(&data, seed, case);
            if args.verbose {
                for line in &ran.played.transcript {
                    println!("{line}");
                }
            }
            println!(
                "{name} case {case} ({:?} {:?}): {}",
                ran.case.stratum,
                ran.case.kind,
                ran.case.words(&data.sheet)
            );
            println!(
                "follows: {:?}; hot: {:?}",
                ran.played.follows, ran.played.hot
            );
            println!("{}: {:?}", ran.mark.word(), ran.played.found);
            for violation in &ran.played.violations {
                println!("GATE: {violation}");
            }
            continue;
        }
        let (ran, took) = run(&data, &args.options);
        let failures: Vec<String> = ran
            .iter()
            .filter_map(|ran| failure(&data.sheet, ran))
            .collect();
        for line in failures.iter().take(args.failures) {
            println!("{line}");
        }
        let summary = Summary::of(&data.sheet, &ran);
        let title = format!(
            "{name}: {} cases, seed {seed}, {:.0} s, {:.0} operating points a second",
            ran.len(),
            took.as_secs_f64(),
            summary.solved as f64 / took.as_secs_f64()
        );
        println!("{}", summary.table(&title));
        all.join(&summary);
    }
    if args.case.is_none() && !args.minutes && args.sheets.len() > 1 {
        println!("{}", all.table("all sheets"));
    }
    ExitCode::SUCCESS
}
