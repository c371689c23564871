//! What must hold for every table, and agreement with plain enumeration.

use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::isolate::plan::information;
use ohmtrail_core::isolate::{Active, Belief, Evidence, Kind, PowerNeed, Table};
use proptest::prelude::*;

use crate::brute;
use crate::build::{Dice, Sheet, invented, measure, row};

/// Random answers to some asks of a sheet, each asked at most once.
pub fn takes(dice: &mut Dice, sheet: &Sheet) -> Vec<(u16, Evidence)> {
    let mut takes = Vec::new();
    for (a, ask) in sheet.asks.iter().enumerate() {
        if dice.below(2) == 0 {
            continue;
        }
        let evidence = match ask.record.kind {
            Kind::Look => Evidence::Looked(dice.below(2) == 0),
            Kind::Measure(_) => {
                let outcomes = ask.record.live.count_ones() as usize;
                let mut likely = [0.0; 6];
                likely[..outcomes].copy_from_slice(&dice.probabilities(outcomes));
                Evidence::Measured(Likely(likely))
            }
        };
        takes.push((a as u16, evidence));
    }
    takes
}

/// The posterior after these takes, in this order.
fn posterior(sheet: &Sheet, takes: &[(u16, Evidence)]) -> Vec<f32> {
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    let mut room = vec![0.0; table.weight_count()];
    let mut belief = Belief::new(&table, &mut room).unwrap();
    for (ask, evidence) in takes {
        belief.update(*ask, evidence).unwrap();
    }
    belief.posteriors().collect()
}

fn assert_close(got: &[f32], want: &[f32], within: f32) {
    assert_eq!(got.len(), want.len());
    for (h, (g, w)) in got.iter().zip(want).enumerate() {
        assert!((g - w).abs() < within, "hypothesis {h}: {g} against {w}");
    }
}

proptest! {
    #[test]
    fn agrees_with_plain_enumeration(n: u64, hypotheses in 3_usize..40, samples in 1_u8..6, asks in 1_usize..12) {
        let mut dice = Dice(n);
        let sheet = invented(&mut dice, hypotheses, samples, asks);
        let takes = takes(&mut dice, &sheet);
        let bytes = sheet.bytes();
        let table = Table::parse(&bytes).unwrap();
        let mut room = vec![0.0; table.weight_count()];
        let mut belief = Belief::new(&table, &mut room).unwrap();
        let mut p = 1.0;
        for (ask, evidence) in &takes {
            p *= f64::from(belief.update(*ask, evidence).unwrap());
        }
        let (joint, total) = brute::joint(&sheet, &takes);
        prop_assert!((p / total - 1.0).abs() < 1e-4, "evidence {p} against {total}");
        let want: Vec<f64> = joint.iter().map(|of_h| of_h.iter().sum()).collect();
        for (h, want) in want.iter().enumerate() {
            prop_assert!((f64::from(belief.posterior(h as u16)) - want).abs() < 1e-5);
        }
        for fault in 0..sheet.faults {
            let has = |h: &usize| sheet.sets[*h].contains(&fault);
            let want: f64 = (0..hypotheses).filter(has).map(|h| want[h]).sum();
            prop_assert!((f64::from(belief.marginal(fault)) - want).abs() < 1e-5);
        }
        let groups = 1 + *sheet.groups.last().unwrap();
        let of_group: Vec<f64> = (0..groups)
            .map(|g| (0..hypotheses).filter(|h| sheet.groups[*h] == g).map(|h| want[h]).sum())
            .collect();
        for (g, want) in of_group.iter().enumerate() {
            prop_assert!((f64::from(belief.group_posterior(g as u16)) - want).abs() < 1e-5);
        }
        let most = of_group.iter().fold(0.0_f64, |m, p| m.max(*p));
        prop_assert!((f64::from(belief.leading().p) - most).abs() < 1e-5);
        let entropy: f64 = of_group.iter().filter(|p| **p > 0.0).map(|p| -p * p.log2()).sum();
        prop_assert!((f64::from(belief.entropy()) - entropy).abs() < 1e-4);
        let mut active = vec![Active::default(); hypotheses];
        for a in 0..asks {
            let got = information(&belief, a as u16, &mut active).unwrap();
            let want = brute::information(&sheet, &joint, a);
            prop_assert!((f64::from(got) - want).abs() < 1e-3, "ask {a}: {got} against {want} bits");
            prop_assert!(f64::from(got) <= entropy + 1e-4);
        }
    }

    #[test]
    fn stays_a_distribution_and_order_does_not_matter(n: u64, hypotheses in 3_usize..60, samples in 1_u8..5, asks in 1_usize..60) {
        let mut dice = Dice(n);
        let sheet = invented(&mut dice, hypotheses, samples, asks);
        let mut takes = takes(&mut dice, &sheet);
        let forward = posterior(&sheet, &takes);
        prop_assert!(forward.iter().all(|p| p.is_finite() && *p >= 0.0));
        prop_assert!((forward.iter().sum::<f32>() - 1.0).abs() < 1e-5);
        for i in (1..takes.len()).rev() {
            takes.swap(i, dice.below(i + 1));
        }
        assert_close(&posterior(&sheet, &takes), &forward, 2e-5);
    }

    #[test]
    fn a_flat_take_changes_nothing(n: u64, hypotheses in 3_usize..40, samples in 1_u8..5) {
        let mut dice = Dice(n);
        let sheet = invented(&mut dice, hypotheses, samples, 6);
        let before = posterior(&sheet, &[]);
        for (a, ask) in sheet.asks.iter().enumerate() {
            if ask.record.kind == Kind::Look {
                continue;
            }
            let outcomes = ask.record.live.count_ones() as usize;
            let mut likely = [0.0; 6];
            likely[..outcomes].fill(1.0 / outcomes as f32);
            let flat = [(a as u16, Evidence::Measured(Likely(likely)))];
            assert_close(&posterior(&sheet, &flat), &before, 1e-6);
        }
    }

    #[test]
    fn one_mistaken_take_does_not_exclude_the_truth(wrong in 0_usize..8, truth in 1_usize..7) {
        // Seven faults, eight asks; each ask splits the faults by one bit of its number, each bit
        // is asked for more than once. One take is mistaken: it shows the other class.
        let priors = [0.05, 0.13, 0.13, 0.13, 0.13, 0.13, 0.13, 0.13, 0.01];
        let mut sheet = Sheet::singles(&priors, 1);
        let sure = [row(&[0.0, 0.01, 0.99]), row(&[0.0, 0.99, 0.01]), row(&[0.0, 0.5, 0.5])];
        for a in 0..9 {
            let mut record = measure(PowerNeed::Any, 10);
            record.live = 0b0110;
            let cells = (0..9).map(|h| if h == 8 { 2 } else { (h >> (a % 3) & 1) as u8 }).collect();
            sheet.ask(record, sure.to_vec(), cells);
        }
        let shown = |a: usize| {
            let bit = (truth >> (a % 3) & 1 == 1) != (a == wrong);
            Evidence::Measured(Likely::certain(if bit { Class::Low } else { Class::Within }))
        };
        let takes: Vec<_> = (0..9).map(|a| (a as u16, shown(a))).collect();
        let p = posterior(&sheet, &takes);
        prop_assert!(p[truth] > 0.95, "{p:?}");
    }
}
