//! Isolation by plain enumeration in binary64, written apart from the core: what the core's
//! answers are held against.

use ohmtrail_core::isolate::{Evidence, Kind};

use crate::build::{Ask, Sheet};

/// The stated chance of a mistaken take.
const MISTAKEN: f64 = 0.02;

/// P(outcome | row), mistakes included, over six outcomes.
pub fn outcome(ask: &Ask, row: u8) -> [f64; 6] {
    let live: Vec<usize> = (0..6).filter(|c| ask.record.live >> c & 1 == 1).collect();
    let code = |c: usize| ask.rows[row as usize][c];
    let p = |c: usize| match code(c) {
        255 => 0.0,
        code => (-f64::from(code) / 20.0).exp(),
    };
    let sum: f64 = live.iter().map(|c| p(*c)).sum();
    let mut out = [0.0; 6];
    for c in &live {
        out[*c] = (1.0 - MISTAKEN) * p(*c) / sum + MISTAKEN / live.len() as f64;
    }
    out
}

/// The evidence as six weights.
pub fn weights(ask: &Ask, evidence: &Evidence) -> [f64; 6] {
    match (evidence, ask.record.kind) {
        (Evidence::Measured(likely), Kind::Measure(_)) => likely.0.map(f64::from),
        (Evidence::Looked(false), Kind::Look) => [1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        (Evidence::Looked(true), Kind::Look) => [0.0, 1.0, 0.0, 0.0, 0.0, 0.0],
        _ => panic!("evidence of the wrong kind"),
    }
}

/// P(h, s | takes), hypothesis by hypothesis, and P(takes).
pub fn joint(sheet: &Sheet, takes: &[(u16, Evidence)]) -> (Vec<Vec<f64>>, f64) {
    let samples = sheet.samples as usize;
    let all: f64 = sheet.priors.iter().map(|p| f64::from(*p)).sum();
    let mut table = Vec::new();
    for (h, prior) in sheet.priors.iter().enumerate() {
        let mut of_h = Vec::new();
        for s in 0..samples {
            let mut p = f64::from(*prior) / all / samples as f64;
            for (a, evidence) in takes {
                let ask = &sheet.asks[*a as usize];
                let q = outcome(ask, ask.cells[h * samples + s]);
                let e = weights(ask, evidence);
                p *= q.iter().zip(e).map(|(q, e)| q * e).sum::<f64>();
            }
            of_h.push(p);
        }
        table.push(of_h);
    }
    let total: f64 = table.iter().flatten().sum();
    for p in table.iter_mut().flatten() {
        *p /= total;
    }
    (table, total)
}

/// Mutual information of group and outcome, in bits, from the joint table by its definition.
pub fn information(sheet: &Sheet, joint: &[Vec<f64>], a: usize) -> f64 {
    let ask = &sheet.asks[a];
    let samples = sheet.samples as usize;
    let groups = 1 + *sheet.groups.last().unwrap() as usize;
    let mut p = vec![[0.0; 6]; groups];
    for (h, of_h) in joint.iter().enumerate() {
        for (s, w) in of_h.iter().enumerate() {
            let q = outcome(ask, ask.cells[h * samples + s]);
            for c in 0..6 {
                p[sheet.groups[h] as usize][c] += w * q[c];
            }
        }
    }
    let mut bits = 0.0;
    for of_g in &p {
        let pg: f64 = of_g.iter().sum();
        for (c, both) in of_g.iter().enumerate().filter(|(_, both)| **both > 0.0) {
            let pc: f64 = p.iter().map(|of_g| of_g[c]).sum();
            bits += both * (both / (pg * pc)).log2();
        }
    }
    bits
}
