//! Worked by hand on tables small enough for paper.

use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::isolate::table::NO_FAULT;
use ohmtrail_core::isolate::{Belief, Evidence, EvidenceError, PowerNeed, Table, TooSmall};

use crate::build::{Sheet, look, measure, row};

/// No fault 0.5, fault 0 with 0.3, fault 1 with 0.1, none of these 0.1. One look that fault 0
/// answers yes and fault 1 and no fault answer no.
fn looked_at() -> Vec<u8> {
    let mut sheet = Sheet::singles(&[0.5, 0.3, 0.1, 0.1], 1);
    let rows = vec![row(&[1.0, 0.0]), row(&[0.0, 1.0]), row(&[0.5, 0.5])];
    sheet.ask(look(5), rows, vec![0, 1, 0, 2]);
    sheet.bytes()
}

fn close(got: f32, want: f32) {
    let error = (got - want).abs() / want.abs().max(1.0);
    assert!(error < 1e-5, "got {got}, want {want}");
}

#[test]
fn one_look_by_bayes_rule() {
    let bytes = looked_at();
    let table = Table::parse(&bytes).unwrap();
    let mut room = [0.0; 4];
    let mut belief = Belief::new(&table, &mut room).unwrap();
    close(belief.posterior(1), 0.3);
    // Yes: 0.98 + 0.02 / 2 = 0.99 under fault 0, 0.01 under no fault and fault 1, 0.5 under none
    // of these. 0.5 * 0.01 + 0.3 * 0.99 + 0.1 * 0.01 + 0.1 * 0.5 = 0.353.
    let yes = Evidence::Looked(true);
    close(belief.update(0, &yes).unwrap(), 0.353);
    close(belief.posterior(0), 0.005 / 0.353);
    close(belief.posterior(1), 0.297 / 0.353);
    close(belief.posterior(2), 0.001 / 0.353);
    close(belief.posterior(3), 0.050 / 0.353);
    close(belief.marginal(0), 0.297 / 0.353);
    close(belief.risk(), 0.056 / 0.353);
    assert_eq!(belief.leading().hypothesis, 1);
    let top = belief.top::<2>();
    assert_eq!([top[0].0, top[1].0], [1, 3]);
    assert!(belief.explains([0, NO_FAULT], 0, &yes).unwrap());
    assert!(!belief.explains([1, NO_FAULT], 0, &yes).unwrap());
    assert!(!belief.explains([NO_FAULT; 2], 0, &yes).unwrap());
    // P(yes | fault 0) = 0.99; P(yes | not) = (0.005 + 0.001 + 0.05) / 0.7 = 0.08.
    close(table.weigh(0, 0, &yes).unwrap(), (0.99_f32 / 0.08).log2());
    // P(yes | fault 1) = 0.01; P(yes | not) = (0.005 + 0.297 + 0.05) / 0.9.
    close(
        table.weigh(1, 0, &yes).unwrap(),
        (0.01_f32 / (0.352 / 0.9)).log2(),
    );
    // The chance that the yes says nothing: 0.02 / 2 of each, over 0.353.
    close(belief.doubt(0, &yes).unwrap(), 0.01 / 0.353);
    belief.reset();
    close(belief.posterior(1), 0.3);
}

#[test]
fn acting_now_costs_wrong_parts_and_callbacks() {
    // No fault 0.1; fault 0, 0.4; fault 1, 0.2; both 0.2; none of these 0.1.
    let mut sheet = Sheet::singles(&[0.1, 0.4, 0.2, 0.2, 0.1], 1);
    sheet.sets[3] = [0, 1];
    sheet.faults = 2;
    sheet.wrong = vec![30, 700];
    sheet.callback = 200;
    let rows = vec![row(&[1.0, 0.0])];
    sheet.ask(look(5), rows.clone(), vec![0; 5]);
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    let mut room = [0.0; 5];
    let belief = Belief::new(&table, &mut room).unwrap();
    // Nothing named: a callback wherever there is a fault.
    close(belief.loss(0), 0.9 * 200.0);
    // Fault 0: wrong where there is none, wrong and missed under the other, missed under both.
    close(
        belief.loss(1),
        0.1 * 30.0 + 0.2 * 230.0 + 0.2 * 200.0 + 0.1 * 230.0,
    );
    close(
        belief.loss(2),
        0.1 * 700.0 + 0.4 * 900.0 + 0.2 * 200.0 + 0.1 * 900.0,
    );
    close(
        belief.loss(3),
        0.1 * 730.0 + 0.4 * 700.0 + 0.2 * 30.0 + 0.1 * 930.0,
    );
    // What no ask tells apart costs nothing.
    sheet.groups = vec![0, 1, 1, 2, 3];
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    let belief = Belief::new(&table, &mut room).unwrap();
    close(belief.loss(1), 0.1 * 30.0 + 0.2 * 200.0 + 0.1 * 230.0);
}

#[test]
fn a_confirmed_take_has_two_chances_to_be_mistaken_at_once() {
    let mut sheet = Sheet::singles(&[0.0, 0.5, 0.5, 0.0], 1);
    let rows = vec![row(&[0.0, 1.0, 0.0]), row(&[0.0, 0.0, 1.0])];
    let mut record = measure(PowerNeed::Any, 10);
    record.live = 0b0110;
    sheet.ask(record, rows, vec![0, 0, 1, 0]);
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    let low = Likely::certain(Class::Low);
    let mut room = [0.0; 4];
    let mut belief = Belief::new(&table, &mut room).unwrap();
    // Once: 0.98 + 0.02 / 2 against 0.02 / 2.
    belief.update(0, &Evidence::Measured(low)).unwrap();
    close(belief.posterior(2), 0.01);
    // Twice: 0.0004 / 2 is left, and so is the entropy that was foretold.
    let foretold = belief.entropy_if_confirmed(0, &low).unwrap();
    belief.reset();
    belief.update(0, &Evidence::Confirmed(low)).unwrap();
    close(belief.posterior(2), 0.0002);
    close(belief.entropy(), foretold);
    let p = 0.0002_f32;
    close(foretold, -p * p.log2() - (1.0 - p) * (1.0 - p).log2());
}

#[test]
fn takes_multiply_within_a_sample_and_not_across() {
    // One fault with two samples. In sample 0 both windings read low, in sample 1 both high.
    // Low and then high fits neither sample, though the average of the samples gives each a half.
    let mut sheet = Sheet::singles(&[0.0, 0.5, 0.5], 2);
    let low = row(&[0.0, 1.0]);
    let high = row(&[0.0, 0.0, 0.0, 1.0]);
    for _ in 0..2 {
        let mut record = measure(PowerNeed::Off, 10);
        record.live = 0b1010;
        let flat = row(&[0.0, 0.5, 0.0, 0.5]);
        sheet.ask(record, vec![low, high, flat], vec![2, 2, 0, 1, 2, 2]);
    }
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    let mut room = [0.0; 6];
    let mut belief = Belief::new(&table, &mut room).unwrap();
    let takes = [Class::Low, Class::High].map(|c| Evidence::Measured(Likely::certain(c)));
    // The first take is as likely under the fault as under none of these.
    close(belief.update(0, &takes[0]).unwrap(), 0.5);
    close(belief.posterior(1), 0.5);
    // The second: 0.99 * 0.01 in either sample against 0.25.
    belief.update(1, &takes[1]).unwrap();
    close(belief.posterior(1), 0.0099 / (0.0099 + 0.25));
}

#[test]
fn a_take_near_a_limit_counts_in_part() {
    let mut sheet = Sheet::singles(&[0.5, 0.4, 0.1], 1);
    let mut record = measure(PowerNeed::On, 10);
    record.live = 0b0110;
    let rows = vec![
        row(&[0.0, 0.0, 1.0]),
        row(&[0.0, 1.0, 0.0]),
        row(&[0.0, 0.5, 0.5]),
    ];
    sheet.ask(record, rows, vec![0, 1, 2]);
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    let mut room = [0.0; 3];
    let mut belief = Belief::new(&table, &mut room).unwrap();
    // 0.7 within, 0.3 low: 0.98 * 0.7 + 0.01 = 0.696 and 0.98 * 0.3 + 0.01 = 0.304.
    let soft = Evidence::Measured(Likely([0.0, 0.3, 0.7, 0.0, 0.0, 0.0]));
    belief.update(0, &soft).unwrap();
    let all = 0.5 * 0.696 + 0.4 * 0.304 + 0.1 * 0.5;
    close(belief.posterior(0), 0.5 * 0.696 / all);
    close(belief.posterior(1), 0.4 * 0.304 / all);
    assert!(belief.explains([0, NO_FAULT], 0, &soft).unwrap());
}

#[test]
fn what_cannot_be_used_is_refused_and_changes_nothing() {
    let bytes = looked_at();
    let table = Table::parse(&bytes).unwrap();
    assert_eq!(
        Belief::new(&table, &mut [0.0; 3]).map(|_| ()),
        Err(TooSmall)
    );
    let mut room = [0.0; 4];
    let mut belief = Belief::new(&table, &mut room).unwrap();
    let measured = Evidence::Measured(Likely::certain(Class::Low));
    let refused = [
        (0, measured, EvidenceError::Kind),
        (1, measured, EvidenceError::NoSuchAsk),
    ];
    for (ask, evidence, why) in refused {
        assert_eq!(belief.update(ask, &evidence), Err(why));
    }
    let mut sheet = Sheet::singles(&[0.5, 0.4, 0.1], 1);
    sheet.ask(
        measure(PowerNeed::On, 10),
        vec![row(&[1.0; 6])],
        vec![0, 0, 0],
    );
    let bytes = sheet.bytes();
    let table = Table::parse(&bytes).unwrap();
    let mut other_room = [0.0; 3];
    let mut other = Belief::new(&table, &mut other_room).unwrap();
    for bad in [
        [0.0; 6],
        [f32::NAN; 6],
        [-0.5, 1.5, 0.0, 0.0, 0.0, 0.0],
        [f32::INFINITY, 0.0, 0.0, 0.0, 0.0, 0.0],
    ] {
        assert_eq!(
            other.update(0, &Evidence::Measured(Likely(bad))),
            Err(EvidenceError::NotProbabilities),
            "{bad:?}"
        );
    }
    close(other.posterior(1), 0.4);
    close(belief.posterior(1), 0.3);
}
