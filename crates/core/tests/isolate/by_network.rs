//! Against pgmpy, a general-purpose library for Bayesian networks: the same tables as a network,
//! soft takes as virtual evidence, variable elimination, and the mutual information of group and
//! outcome from its joint distribution.

use std::io::Write;
use std::process::{Command, Stdio};

use ohmtrail_core::isolate::plan::information;
use ohmtrail_core::isolate::{Active, Belief, Table};
use serde_json::{Value, json};

use crate::brute;
use crate::build::{Dice, invented};
use crate::laws::takes;

const CASES: u64 = 24;

#[test]
fn posteriors_and_information_agree_with_a_bayesian_network() {
    if std::env::var_os("OHMTRAIL_WITHOUT_PYTHON").is_some_and(|v| v == "1") {
        eprintln!("left out: OHMTRAIL_WITHOUT_PYTHON=1");
        return;
    }
    let python = std::env::var_os("OHMTRAIL_PYTHON")
        .expect("no Python with pgmpy is named: run `cargo xtask test`");
    let cases: Vec<_> = (0..CASES)
        .map(|n| {
            let mut dice = Dice(1000 + n);
            let (hypotheses, asks) = (3 + dice.below(8), 2 + dice.below(4));
            let samples = 1 + dice.below(4) as u8;
            let sheet = invented(&mut dice, hypotheses, samples, asks);
            let takes = takes(&mut dice, &sheet);
            (sheet, takes)
        })
        .collect();
    let asked: Vec<Value> = cases
        .iter()
        .map(|(sheet, takes)| {
            let evidence: Vec<Value> = takes
                .iter()
                .map(|(a, e)| json!([a, brute::weights(&sheet.asks[*a as usize], e)]))
                .collect();
            let asks: Vec<Value> = sheet
                .asks
                .iter()
                .map(|ask| json!({"live": ask.record.live, "rows": ask.rows, "cells": ask.cells}))
                .collect();
            json!({
                "priors": sheet.priors, "groups": sheet.groups, "samples": sheet.samples,
                "asks": asks, "evidence": evidence,
            })
        })
        .collect();
    let answers = run(&python, &Value::Array(asked));

    let (mut worst_p, mut worst_bits) = (0.0_f64, 0.0_f64);
    for ((sheet, takes), answer) in cases.iter().zip(&answers) {
        let bytes = sheet.bytes();
        let table = Table::parse(&bytes).unwrap();
        let mut room = vec![0.0; table.weight_count()];
        let mut belief = Belief::new(&table, &mut room).unwrap();
        for (ask, evidence) in takes {
            belief.update(*ask, evidence).unwrap();
        }
        let posterior = answer["posterior"].as_array().unwrap();
        assert_eq!(posterior.len(), sheet.priors.len());
        for (h, want) in posterior.iter().enumerate() {
            let error = f64::from(belief.posterior(h as u16)) - want.as_f64().unwrap();
            worst_p = worst_p.max(error.abs());
        }
        let bits = answer["information"].as_array().unwrap();
        assert_eq!(bits.len(), sheet.asks.len());
        let mut active = vec![Active::default(); sheet.priors.len()];
        for (a, want) in bits.iter().enumerate() {
            // Asks that were answered already have none in the network's answer.
            if let Some(want) = want.as_f64() {
                let got = information(&belief, a as u16, &mut active).unwrap();
                worst_bits = worst_bits.max((f64::from(got) - want).abs());
            }
        }
    }
    eprintln!(
        "pgmpy, {CASES} tables: posterior within {worst_p:.1e}, bits within {worst_bits:.1e}"
    );
    assert!(worst_p < 1e-5, "{worst_p}");
    // Hypotheses with next to no mass are left out of the information.
    assert!(worst_bits < 1e-3, "{worst_bits}");
}

fn run(python: &std::ffi::OsStr, cases: &Value) -> Vec<Value> {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/isolate/network.py");
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the Python of OHMTRAIL_PYTHON starts");
    let text = cases.to_string();
    let mut stdin = child.stdin.take().unwrap();
    let writer = std::thread::spawn(move || stdin.write_all(text.as_bytes()));
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap().unwrap();
    assert!(output.status.success(), "the Python script failed");
    let answers: Value =
        serde_json::from_slice(&output.stdout).expect("the script answers in JSON");
    answers.as_array().unwrap().clone()
}
