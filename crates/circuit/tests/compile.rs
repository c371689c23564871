//! The compiled table: what must hold for any sheet, and what is expected of the built-in one.

#[allow(dead_code, reason = "each test file uses its part")]
mod common;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use common::{faults, heat_pump};
use ohmtrail_circuit::compile::{CompileError, Compiled, Options, UNNAMED, compile};
use ohmtrail_circuit::sheet::{FaultId, Question, Sheet, read_text};
use ohmtrail_core::class::CLASSES;
use ohmtrail_core::isolate::table::{NO_FAULT, from_byte};
use ohmtrail_core::isolate::{Kind, Table};

fn full() -> &'static (Sheet, Compiled) {
    static FULL: OnceLock<(Sheet, Compiled)> = OnceLock::new();
    FULL.get_or_init(|| {
        let sheet = heat_pump();
        let compiled = compile(&sheet, Options::default()).expect("it compiles");
        (sheet, compiled)
    })
}

fn singles() -> Options {
    Options {
        singles_only: true,
        ..Options::default()
    }
}

fn names(sheet: &Sheet, set: &[FaultId]) -> Vec<String> {
    set.iter().map(|&f| sheet.faults[f].name.clone()).collect()
}

#[test]
fn the_table_is_sound_and_holds_every_fault() {
    let (sheet, compiled) = full();
    let table = Table::parse(&compiled.bytes).expect("sound");
    assert_eq!(table.sheet_hash, sheet.hash);
    assert_eq!(usize::from(table.ask_count()), sheet.checks.len());
    assert_eq!(usize::from(table.faults), sheet.faults.len());
    assert_eq!(usize::from(table.hypotheses), compiled.sets.len());
    // Within what the design allows a sheet: about 200 asks and 1,000 hypotheses.
    assert!(table.ask_count() <= 200 && table.hypotheses <= 1100);
    println!(
        "{} asks, {} hypotheses, {} samples, {} bytes",
        table.ask_count(),
        table.hypotheses,
        table.samples,
        compiled.bytes.len()
    );
    // First nothing, last none of these; each single fault once; no set twice.
    let named = (1..compiled.sets.len()).take_while(|&h| !compiled.sets[h].is_empty());
    let named = named.count();
    assert!(compiled.sets[0].is_empty());
    assert!(compiled.sets[1 + named..].iter().all(Vec::is_empty));
    let unnamed = compiled.sets.len() - 1 - named;
    assert!(
        (UNNAMED / 2 + 1..=UNNAMED + 1).contains(&unnamed),
        "{unnamed}"
    );
    let between = &compiled.sets[1..1 + named];
    let distinct: BTreeSet<&Vec<FaultId>> = between.iter().collect();
    assert_eq!(distinct.len(), between.len());
    for f in 0..sheet.faults.len() {
        assert!(distinct.contains(&vec![f]), "{}", sheet.faults[f].name);
    }
    // The table says the same sets as the list beside it.
    for (h, set) in (0..).zip(&compiled.sets) {
        let mut in_table = [NO_FAULT; 2];
        for (slot, &f) in in_table.iter_mut().zip(set) {
            *slot = f as u16;
        }
        assert_eq!(table.set(h), in_table);
    }
}

#[test]
fn priors_are_probabilities_and_a_pair_is_rarer_than_its_parts() {
    let (_, compiled) = full();
    let table = Table::parse(&compiled.bytes).expect("sound");
    let prior = |h: usize| table.prior(h as u16);
    let (unnamed, named): (Vec<usize>, Vec<usize>) =
        (0..compiled.sets.len()).partition(|&h| table.is_none_of_these(h as u16));
    let of: BTreeMap<&[FaultId], f32> = named
        .into_iter()
        .map(|h| (compiled.sets[h].as_slice(), prior(h)))
        .collect();
    let singles: f32 = of.iter().filter(|(s, _)| s.len() < 2).map(|(_, p)| p).sum();
    // Nothing, each single fault, and none of these are one whole.
    let none: f32 = unnamed.into_iter().map(prior).sum();
    assert!((singles + none - 1.0).abs() < 1e-4, "{singles} {none}");
    for (set, p) in &of {
        if let [a, b] = set {
            let least = of[&[*a][..]].min(of[&[*b][..]]);
            assert!(*p > 0.0 && *p < least, "{set:?}");
        }
    }
}

#[test]
fn the_rows_are_probabilities() {
    let (sheet, compiled) = full();
    let table = Table::parse(&compiled.bytes).expect("sound");
    let (mut rows_seen, mut most) = (0, 0.0f32);
    for a in 0..table.ask_count() {
        let ask = table.ask(a).expect("an ask");
        let rows = table.ask_rows(&ask).expect("rows").as_chunks::<CLASSES>().0;
        for row in rows {
            let p = row.map(from_byte);
            for (class, p) in p.iter().enumerate() {
                // A class that cannot occur has none; one that can is never ruled out.
                let live = ask.live & (1 << class) != 0;
                assert_eq!(live, *p > 0.0, "ask {a}: {row:?}");
            }
            rows_seen += 1;
            // The last hypothesis' row says nothing: alike for all, it need not sum to one.
            if p.iter().filter(|p| **p > 0.0).all(|p| *p == 1.0) {
                continue;
            }
            let off = (p.iter().sum::<f32>() - 1.0).abs();
            // A code is within 2.5 % of what it stands for, a step of three codes within 7.5 %.
            assert!(off < 0.08, "ask {a}: {p:?}");
            most = most.max(off);
        }
        // And no two rows of an ask are the same.
        let distinct: BTreeSet<_> = rows.iter().collect();
        assert_eq!(distinct.len(), rows.len(), "ask {a}");
        let measured = matches!(
            sheet.checks[usize::from(a)].question,
            Question::Measure { .. }
        );
        assert_eq!(measured, matches!(ask.kind, Kind::Measure(_)));
    }
    println!("{rows_seen} rows, sums within {most:.3} of one");
}

/// Faults that no check from outside tells apart, worked by hand from the sheet: a conductor that
/// is open here or there between the same two places that a probe reaches.
const EQUAL: &[&[&str]] = &[
    &["supply.leg-1-lost", "service-1.open"],
    &["supply.leg-2-lost", "service-2.open"],
    &["fan-motor.run-open", "fan-run.open"],
    &["fan-motor.start-open", "fan-start.open"],
    &["indoor-supply.leg-1-lost", "indoor-service-1.open"],
    &["indoor-supply.leg-2-lost", "indoor-service-2.open"],
];

/// Faults that a check tells apart, however like they look at first.
const UNEQUAL: &[[&str; 2]] = &[
    ["supply.leg-1-lost", "supply.leg-2-lost"],
    ["run-cap.herm-open", "run-cap.fan-open"],
    ["run-cap.herm-open", "compressor.start-open"],
    ["compressor.run-open", "comp-run.open"],
    ["compressor.start-open", "comp-start.open"],
    ["compressor.overheated", "compressor.protector-failed"],
    ["compressor.grounded", "breaker.tripped"],
    ["contactor.coil-open", "control-coil.open"],
    ["contactor.coil-shorted", "control-fuse.blown"],
    ["contactor.pole-1-open", "whip-1.open"],
    ["thermostat.no-call", "low-pressure.open"],
    ["low-pressure.open", "high-pressure.open"],
    ["defrost-relay.stuck-open", "fan-motor.run-open"],
];

#[test]
fn equivalent_faults_share_a_group_and_others_do_not() {
    let (sheet, compiled) = full();
    let table = Table::parse(&compiled.bytes).expect("sound");
    let group = |name: &str| {
        let set = faults(sheet, &[name]);
        let h = compiled.sets.iter().position(|s| *s == set);
        table.group(h.expect("a hypothesis") as u16)
    };
    for equal in EQUAL {
        for name in *equal {
            assert_eq!(group(name), group(equal[0]), "{name} and {}", equal[0]);
        }
    }
    for [a, b] in UNEQUAL {
        assert_ne!(group(a), group(b), "{a} and {b}");
    }
    assert_eq!(table.group(0), 0);
    for (h, set) in (0..).zip(&compiled.sets) {
        let unnamed = set.is_empty() && h != 0;
        assert_eq!(table.is_none_of_these(h), unnamed, "hypothesis {h}");
    }
    // No fault of the sheet looks like a healthy unit.
    assert_ne!(table.group(1), 0, "{:?}", names(sheet, &compiled.sets[1]));
    let mut groups: BTreeMap<u16, Vec<String>> = BTreeMap::new();
    for (h, set) in (0..).zip(&compiled.sets) {
        if set.len() == 1 {
            groups
                .entry(table.group(h))
                .or_default()
                .extend(names(sheet, set));
        }
    }
    for members in groups.values().filter(|m| m.len() > 1) {
        println!("equivalent: {}", members.join(", "));
    }
}

#[test]
fn pairs_are_those_that_can_be_told_and_are_likely() {
    let (sheet, compiled) = full();
    for m in &sheet.masked {
        let pair = vec![m.by.min(m.fault), m.by.max(m.fault)];
        assert!(!compiled.sets.contains(&pair), "{:?}", names(sheet, &pair));
    }
    for c in &sheet.caused {
        let pair = vec![c.by.min(c.fault), c.by.max(c.fault)];
        assert!(compiled.sets.contains(&pair), "{:?}", names(sheet, &pair));
    }
    // One section is not open and low at once.
    for [a, b] in [
        ["run-cap.herm-open", "run-cap.herm-low"],
        ["contactor.coil-open", "contactor.coil-shorted"],
    ] {
        let pair = faults(sheet, &[a, b]);
        assert!(!compiled.sets.contains(&pair), "{a} {b}");
    }
    // The everyday case is among them: both sections failed.
    let both = faults(sheet, &["run-cap.herm-open", "run-cap.fan-open"]);
    assert!(compiled.sets.contains(&both));
}

/// What a probe box holds must fit its memory: 128 KiB.
#[test]
fn the_singles_table_fits_a_probe_box() {
    let (sheet, full) = full();
    let small = compile(sheet, singles()).expect("it compiles");
    let table = Table::parse(&small.bytes).expect("sound");
    println!(
        "{} bytes, {} hypotheses",
        small.bytes.len(),
        table.hypotheses
    );
    assert!(small.bytes.len() < 128 * 1024, "{}", small.bytes.len());
    assert!(small.bytes.len() < full.bytes.len());
    // It waits for nothing to cool: what only heat tells from another fault is left out.
    let known = (0..sheet.faults.len()).filter(|&f| sheet.always(f).is_none());
    assert_eq!(small.sets.len(), known.count() + 2);
    assert!(small.sets.iter().all(|s| s.len() < 2));
}

#[test]
fn the_same_sheet_gives_the_same_bytes() {
    let (sheet, _) = full();
    let options = Options {
        samples: 2,
        ..singles()
    };
    let [once, again] = [(); 2].map(|()| compile(sheet, options).expect("it compiles").bytes);
    assert_eq!(once, again);
    let more = Options {
        samples: 3,
        ..options
    };
    assert_ne!(compile(sheet, more).expect("it compiles").bytes, once);
}

/// A sheet of ohms only: fewer checks than classes, no motor, no contactor.
#[test]
fn a_sheet_of_one_part_compiles() {
    let text = r#"
name = "heater"
title = "An invented heater"
dead = { line = ["supply.L1"], load = ["heater.1"], ground = "supply.G" }
[[part]]
name = "supply"
kind = "supply"
[[part]]
name = "heater"
kind = "crankcase-heater"
ohms = "48 Ohm"
[[wire]]
name = "a"
from = "supply.L1"
to = "heater.1"
[[wire]]
name = "b"
from = "supply.L2"
to = "heater.2"
[[check]]
measure = "amps-ac"
points = ["a.1", "a.2"]
power = "on"
why = "does it draw"
"#;
    let sheet = read_text("heater.toml", text).unwrap_or_else(|e| panic!("{e}"));
    let compiled = compile(&sheet, Options::default()).expect("it compiles");
    let table = Table::parse(&compiled.bytes).expect("sound");
    assert_eq!(table.ask_count(), 1);
    // Amps alone cannot tell what is open: all of these are one group.
    let open = [
        "heater.open",
        "a.open",
        "b.open",
        "supply.absent",
        "supply.leg-1-lost",
    ];
    let groups: BTreeSet<u16> = open
        .iter()
        .map(|name| {
            let set = faults(&sheet, &[name]);
            let h = compiled.sets.iter().position(|s| *s == set);
            table.group(h.expect("a hypothesis") as u16)
        })
        .collect();
    assert_eq!(groups.len(), 1);
    assert_ne!(groups.first(), Some(&0), "and not healthy");
}

#[test]
fn too_many_checks_are_refused_in_words() {
    let (sheet, _) = full();
    let mut sheet = sheet.clone();
    while sheet.checks.len() <= 1000 {
        sheet.checks.extend_from_within(..100);
    }
    let error = compile(&sheet, singles()).expect_err("too many");
    assert!(matches!(
        error,
        CompileError::TooMany {
            what: "checks",
            most: 1000,
            ..
        }
    ));
    assert!(error.to_string().contains("at most 1000"), "{error}");
}
