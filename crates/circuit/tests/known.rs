//! Values known of a unit's own windings narrow what is expected of it, and show shorted turns that
//! nothing else shows.

#[allow(dead_code, reason = "each test file uses its part of it")]
mod common;

use common::{dead, heat_pump, number, unit};
use ohmtrail_circuit::compile::{Compiled, Options, compile};
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::sheet::{Heat, Question, Sheet, read_text};
use ohmtrail_circuit::unit::{Circuit, Drawn};
use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::class::Likely;
use ohmtrail_core::isolate::{Belief, Evidence, Table};
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::Celsius;
use ohmtrail_core::verdict::Bands;

/// Invented: what a visit of last year read of the compressor, with a fine meter.
const LAST_YEAR: &str = r#"
[[known]]
part = "compressor"
quantity = "run-ohms"
value = "0.852 Ohm"
uncertainty = "0.012 Ohm"
at = "18 Cel"
date = "2025-05-14"
source = "an invented visit"

[[known]]
part = "compressor"
quantity = "start-ohms"
value = "2.890 Ohm"
uncertainty = "0.030 Ohm"
at = "18 Cel"
date = "2025-05-14"
source = "an invented visit"
"#;

const PAIRS: [[&str; 2]; 3] = [
    ["comp-common.1", "comp-run.1"],
    ["comp-common.1", "comp-start.1"],
    ["comp-start.1", "comp-run.1"],
];

fn learnt(text: &str, air: Option<Quantity<Celsius>>) -> Sheet {
    let mut sheet = heat_pump();
    sheet
        .learn_text("last year", text)
        .unwrap_or_else(|e| panic!("{e}"));
    sheet.measured_air = air;
    sheet
}

/// With the air of this year measured.
fn known() -> Sheet {
    learnt(LAST_YEAR, Some(Quantity::new(Celsius(31.0), 0.6)))
}

fn value(sheet: &Sheet, part: &str, name: &str) -> (usize, usize) {
    let p = sheet.parts.iter().position(|p| p.name == part).expect(part);
    let params = sheet.parts[p].kind.params;
    (p, params.iter().position(|v| v.name == name).expect(name))
}

/// Worked by hand. The rule is that of IEC 60034-1 and IEEE 112 (from memory; 234.5 for copper, the
/// IEC's own 235 differs by 0.2 K in the result): 0.852 ohm at 18 °C are
/// 0.852 · 259.5/252.5 = 0.87562 ohm at 25 °C; u = √((0.006 · 1.02772)² + (0.87562 · 1/252.5)²) =
/// 0.007074. The plate has 0.87 ± 4 %, u = 0.0348. Precisions 19984 and 825.7: the mean is
/// (19984 · 0.87562 + 825.7 · 0.87)/20810 = 0.87540, its u 1/√20810 = 0.006932.
#[test]
fn a_known_value_narrows_the_prior_as_worked_by_hand() {
    let sheet = known();
    let (p, v) = value(&sheet, "compressor", "run-ohms");
    let (mean, sd) = sheet.prior(p, v);
    assert!((mean - 0.87540).abs() < 2e-5, "{mean}");
    assert!((sd - 0.006932).abs() < 2e-6, "{sd}");
    let plain = heat_pump();
    let (mean, sd) = plain.prior(p, v);
    assert!((mean - 0.87).abs() < 1e-12 && (sd - 0.0348).abs() < 1e-12);
    // What is drawn follows it: mean and spread of many units.
    let drawn: Vec<f64> = (0..4000)
        .map(|seed| Drawn::draw(&sheet, seed).values[p][v])
        .collect();
    let mean = drawn.iter().sum::<f64>() / 4000.0;
    let sd = (drawn.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 4000.0).sqrt();
    assert!(
        (mean - 0.87540).abs() < 4e-4 && (sd / 0.006932 - 1.0).abs() < 0.06,
        "{mean} {sd}"
    );
}

/// By hand: 0.2 of the turns passed by leave 0.8 of the ohms, whatever the temperature, and the sum
/// of the three readings holds.
#[test]
fn shorted_turns_pass_their_share_of_the_winding_by() {
    let sheet = known();
    let circuit = Circuit::new(&sheet);
    let severity = (0.2 - 0.06) / (0.30 - 0.06);
    let read = |faults: &[&str], at| {
        number(dead(
            &unit(&circuit, faults, severity),
            Function::Ohms,
            at,
            "compressor",
            Heat::Cold,
        ))
    };
    let [cr, cs, sr] = PAIRS.map(|at| read(&[], at));
    let shorted = PAIRS.map(|at| read(&["compressor.run-turns-shorted"], at));
    let (p, v) = value(&sheet, "compressor", "run-ohms");
    let run = sheet.prior(p, v).0;
    assert!(
        (cr - shorted[0] - 0.2 * run).abs() < 1e-6,
        "{cr} {shorted:?}"
    );
    assert!((shorted[1] - cs).abs() < 1e-6);
    assert!((sr - shorted[2] - 0.2 * run).abs() < 1e-6);
}

/// The probability of a set of faults once the three pairs of the compressor, cold, read so.
fn posterior(sheet: &Sheet, compiled: &Compiled, shown: [f64; 3], fault: &str) -> (f32, f32) {
    let table = Table::parse(&compiled.bytes).expect("a table");
    let mut room = vec![0.0; table.weight_count()];
    let mut belief = Belief::new(&table, &mut room).expect("room");
    for (pair, ohms) in PAIRS.iter().zip(shown) {
        let wanted = pair.map(|n| sheet.point(n).expect(n));
        let check = sheet.checks.iter().position(|c| {
            c.heat == Some(Heat::Cold)
                && matches!(&c.question, Question::Measure { points, .. } if *points == wanted)
        });
        let check = check.expect("a cold check");
        let bands: Bands = compiled.bands[check].expect("bands").bands;
        let likely: Likely = bands.judge(ohms, 0.012 + 0.004 * ohms);
        belief
            .update(check as u16, &Evidence::Measured(likely))
            .expect("evidence");
    }
    let of = |set: &[&str]| {
        let wanted: Vec<usize> = set.iter().filter_map(|n| sheet.fault(n)).collect();
        let at = compiled.sets.iter().position(|s| *s == wanted);
        at.map_or(0.0, |h| belief.posterior(h as u16))
    };
    (of(&[fault]), of(&["compressor.overheated"]))
}

/// A compressor whose overload tripped on shorted turns, read cold: the probability of the turns over
/// that of an overload opened by heat from elsewhere, as its sheet has them.
fn ratio(sheet: &Sheet, fault: &str, share: f64) -> f32 {
    let compiled = compile(sheet, Options::default()).expect("it compiles");
    let circuit = Circuit::new(sheet);
    // The same unit, whatever is known of it.
    let drawn = Drawn {
        air: Celsius(31.0),
        ..common::exact(&known(), (share - 0.06) / (0.30 - 0.06))
    };
    let unit = Unit::new(&circuit, drawn, &common::faults(sheet, &[fault]));
    let shown = PAIRS.map(|at| number(dead(&unit, Function::Ohms, at, "compressor", Heat::Cold)));
    let (turns, overheated) = posterior(sheet, &compiled, shown, fault);
    turns / overheated
}

/// Some turns of a hundred: with the windings' own values they are far ahead, though the priors
/// expect them three to four times less; by the plate alone they stay behind or near.
#[test]
fn slight_shorts_are_told_apart_by_the_known_value_only() {
    let vague = LAST_YEAR
        .replace("0.012 Ohm", "0.9 Ohm")
        .replace("0.030 Ohm", "3 Ohm");
    let plate = learnt(&vague, None);
    for (fault, shares) in [
        ("compressor.run-turns-shorted", [0.15, 0.18]),
        ("compressor.start-turns-shorted", [0.12, 0.15]),
    ] {
        for share in shares {
            let (with, without) = (ratio(&known(), fault, share), ratio(&plate, fault, share));
            assert!(
                with > 8.0 && without < 2.0,
                "{fault} {share}: {with} {without}"
            );
        }
    }
    // Nor are they a fault of a sheet that knows nothing of the windings.
    assert!(heat_pump().fault("compressor.run-turns-shorted").is_none());
}

/// A healthy winding that reads as it did, in warmer air, is not accused.
#[test]
fn a_winding_that_only_is_warmer_is_not_accused() {
    let sheet = known();
    let compiled = compile(&sheet, Options::default()).expect("it compiles");
    let circuit = Circuit::new(&sheet);
    let mut drawn = Drawn::stated(&sheet);
    drawn.air = Celsius(31.0);
    let unit = Unit::new(&circuit, drawn, &[]);
    let shown = PAIRS.map(|at| number(dead(&unit, Function::Ohms, at, "compressor", Heat::Cold)));
    let (turns, overheated) = posterior(&sheet, &compiled, shown, "compressor.run-turns-shorted");
    assert!(turns < 0.2 * overheated, "{turns} {overheated}");
}

#[test]
fn a_value_of_a_sheet_is_read_and_what_does_not_fit_is_refused() {
    let own = format!(
        "name = \"own\"\ntitle = \"invented\"\nbased-on = \"split-heat-pump-1ph\"\n{LAST_YEAR}"
    );
    let sheet = read_text("own", &own).unwrap_or_else(|e| panic!("{e}"));
    assert!(sheet.fault("compressor.run-turns-shorted").is_some());
    assert!(sheet.fault("fan-motor.run-turns-shorted").is_none());
    assert!(heat_pump().fault("compressor.run-turns-shorted").is_none());
    for (from, to, says) in [
        ("0.852 Ohm", "1.90 Ohm", "far from the sheet's"),
        ("0.852 Ohm", "0.852 V", "wanted in Ohm"),
        ("0.852 Ohm", "-0.852 Ohm", "negative"),
        ("run-ohms", "rotor-ohms", "run-ohms, start-ohms"),
        ("\"compressor\"", "\"pump\"", "not a part"),
        ("18 Cel", "-240 Cel", "at that temperature"),
        ("date = \"2025-05-14\"\n", "", "`date` is missing"),
        ("date", "when", "not a key"),
    ] {
        let mut sheet = heat_pump();
        let bad = LAST_YEAR.replacen(from, to, 1);
        let error = sheet
            .learn_text("last year", &bad)
            .expect_err(to)
            .to_string();
        assert!(error.contains(says), "{to}: {error}");
        assert!(
            sheet.fault("compressor.run-turns-shorted").is_none(),
            "nothing was learnt"
        );
    }
}
