//! The simulated bench: what a technician's hands do to the unit, and what the meter then shows.

#[allow(dead_code, reason = "each test file uses its part")]
mod common;

use common::{faults, heat_pump, number, points};
use ohmtrail_circuit::bench::{Bench, BenchError};
use ohmtrail_circuit::meter::Ideal;
use ohmtrail_circuit::sheet::{Question, Sheet};
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::Function;

fn volts(bench: &Bench<'_>, a: &str, b: &str) -> f64 {
    let at = points(bench.sheet(), [a, b]);
    number(bench.measure(Function::VoltsAc, at).expect("volts"))
}

fn read(bench: &Bench<'_>, function: Function, a: &str, b: &str) -> Result<Ideal, BenchError> {
    bench.measure(function, points(bench.sheet(), [a, b]))
}

fn sees(bench: &Bench<'_>, name: &str) -> bool {
    let sheet: &Sheet = bench.sheet();
    let check = sheet.look(name).unwrap_or_else(|| panic!("look {name}"));
    match &sheet.checks[check].question {
        Question::Look { part, look } => bench.look(*part, look),
        Question::Measure { .. } => panic!("{name} is a measurement"),
    }
}

#[test]
fn the_breaker_makes_the_load_dead_and_leaves_its_line_side_live() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let mut bench = Bench::new(&circuit, 3, &[]);
    assert!(bench.power());
    assert!(volts(&bench, "contactor.L1", "contactor.L2") > 220.0);
    assert!(sees(&bench, "compressor.running"));

    bench.open_breaker();
    assert!(!bench.power());
    for (a, b) in [
        ("contactor.L1", "contactor.L2"),
        ("contactor.L1", "compressor.shell"),
        ("disconnect.line-1", "disconnect.line-2"),
        ("breaker.load-1", "supply.G"),
    ] {
        assert!(volts(&bench, a, b) < 1.0, "{a} {b}");
    }
    assert!(volts(&bench, "breaker.line-1", "breaker.line-2") > 230.0);
    assert!(
        !sees(&bench, "compressor.running"),
        "nothing runs without power"
    );
    assert!(!sees(&bench, "compressor.humming"));
}

#[test]
fn the_indoor_feed_is_live_until_its_own_breaker_is_opened() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let mut bench = Bench::new(&circuit, 3, &[]);
    bench.open_breaker();
    assert!(volts(&bench, "transformer.H1", "transformer.H2") > 220.0);
    assert!(
        volts(&bench, "contactor.A1", "contactor.A2") > 20.0,
        "the call"
    );
    bench.open_other_sources();
    assert!(volts(&bench, "transformer.H1", "transformer.H2") < 1.0);
    assert!(volts(&bench, "contactor.A1", "contactor.A2") < 1.0);
    assert!(volts(&bench, "indoor-breaker.line-1", "indoor-supply.G") > 100.0);
    // Closing brings both back.
    bench.close_breaker();
    assert!(volts(&bench, "transformer.H1", "transformer.H2") > 220.0);
    bench.open_breaker();
    assert!(volts(&bench, "transformer.H1", "transformer.H2") > 220.0);
}

#[test]
fn the_capacitors_hold_their_charge_until_discharged() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let mut bench = Bench::new(&circuit, 3, &[]);
    let pairs = [
        ["run-cap.C", "run-cap.HERM"],
        ["run-cap.FAN", "run-cap.C"],
        ["run-cap.HERM", "run-cap.FAN"],
    ];
    let held = |bench: &Bench<'_>, [a, b]: [&str; 2]| {
        number(read(bench, Function::VoltsDc, a, b).expect("volts"))
    };
    bench.discharge();
    bench.open_breaker();
    for pair in pairs {
        // More than the 34 V that anyone may touch.
        assert!(held(&bench, pair) > 34.0, "{pair:?}");
    }
    assert_eq!(held(&bench, ["contactor.L1", "contactor.L2"]), 0.0);
    bench.discharge();
    for pair in pairs {
        assert_eq!(held(&bench, pair), 0.0, "{pair:?}");
    }
    // Under power they charge again.
    bench.close_breaker();
    bench.open_breaker();
    assert!(held(&bench, pairs[0]) > 34.0);
}

#[test]
fn a_meter_that_drives_its_own_current_is_refused_on_a_live_unit() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let mut bench = Bench::new(&circuit, 3, &[]);
    for function in [Function::Ohms, Function::Farads, Function::Megohms] {
        let refused = read(&bench, function, "run-cap.C", "run-cap.HERM");
        assert_eq!(refused, Err(BenchError::OnLive(function.name())));
    }
    bench.open_breaker();
    // The control circuit has its own feed, the capacitors their charge.
    let coil = |bench: &Bench<'_>| read(bench, Function::Ohms, "contactor.A1", "contactor.A2");
    assert_eq!(coil(&bench), Err(BenchError::OnLive("ohms")));
    let feed = read(&bench, Function::Ohms, "transformer.H1", "contactor.L1");
    assert_eq!(feed, Err(BenchError::OnLive("ohms")));
    bench.open_other_sources();
    // Beside the coil lie the valve's and the transformer's secondary, 0.7 ohm.
    let ohms = number(coil(&bench).expect("ohms"));
    assert!((0.4..1.5).contains(&ohms), "{ohms}");
    let section = |bench: &Bench<'_>| read(bench, Function::Farads, "run-cap.C", "run-cap.HERM");
    assert_eq!(section(&bench), Err(BenchError::Charged("farads")));
    bench.discharge();
    assert!(section(&bench).is_ok());
    let amps = read(&bench, Function::AmpsAc, "comp-run.1", "comp-run.2");
    let error = amps.expect_err("no amps are modelled in a dead unit");
    assert!(error.to_string().contains("amps-ac"), "{error}");
    assert!(error.to_string().contains("off"), "{error}");
}

#[test]
fn lifted_ends_take_what_lies_beside_out_of_the_reading() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let mut bench = Bench::new(&circuit, 3, &[]);
    bench.open_breaker();
    bench.open_other_sources();
    bench.discharge();
    bench.wait_cool();
    let farads = |bench: &Bench<'_>| read(bench, Function::Farads, "run-cap.C", "run-cap.FAN");
    let on = farads(&bench);
    let lift = sheet
        .lifts
        .iter()
        .find(|l| l.name == "capacitor")
        .expect("a lifted set");
    for &end in &lift.ends {
        bench.lift(end);
    }
    let alone = number(farads(&bench).expect("farads"));
    // 5 uF drawn with a spread of 2 %, cut at 2.5 of them.
    assert!((alone / 5e-6 - 1.0).abs() < 0.051, "{alone}");
    assert_ne!(on, Ok(Ideal::Value(alone)), "windings lie beside it");
    for &end in &lift.ends {
        bench.put_back(end);
    }
    assert_eq!(farads(&bench), on, "put back, it reads as before");
}

#[test]
fn power_with_a_lifted_end_is_not_simulated() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let mut bench = Bench::new(&circuit, 3, &[]);
    let [end, _] = points(&sheet, ["comp-run.1", "comp-run.2"]);
    bench.lift(end);
    let refused = read(&bench, Function::VoltsAc, "contactor.L1", "contactor.L2");
    let error = refused.expect_err("the model knows no lifted ends under power");
    assert!(error.to_string().contains("lifted"), "{error}");
    bench.put_back(end);
    assert!(volts(&bench, "contactor.L1", "contactor.L2") > 220.0);
}

#[test]
fn a_hot_overload_closes_when_cold_and_the_next_start_stalls_again() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let mut bench = Bench::new(&circuit, 3, &faults(&sheet, &["run-cap.herm-open"]));
    assert!(sees(&bench, "compressor.hot"));
    bench.open_breaker();
    bench.open_other_sources();
    bench.discharge();
    let ends = ["comp-common.1", "comp-run.1", "comp-start.1"];
    for end in ends {
        bench.lift(sheet.point(end).expect("a point"));
    }
    let run = |bench: &Bench<'_>| read(bench, Function::Ohms, ends[0], ends[1]);
    assert_eq!(run(&bench), Ok(Ideal::Overload));
    bench.wait_cool();
    let cold = number(run(&bench).expect("ohms"));
    assert!((0.75..1.1).contains(&cold), "{cold}");
    assert!(!sees(&bench, "compressor.hot"));
    for end in ends {
        bench.put_back(sheet.point(end).expect("a point"));
    }
    // From cold it draws its locked-rotor amperes: the capacitor is still open.
    bench.close_breaker();
    let locked = read(&bench, Function::AmpsAc, "comp-common.1", "comp-common.2");
    assert!(number(locked.expect("amps")) > 60.0);
    assert!(sees(&bench, "compressor.humming"));
    // Opened again it is hot again.
    bench.open_breaker();
    for end in ends {
        bench.lift(sheet.point(end).expect("a point"));
    }
    assert_eq!(run(&bench), Ok(Ideal::Overload));
    // Cooling is waited for with the power off.
    bench.close_breaker();
    bench.wait_cool();
    bench.open_breaker();
    assert_eq!(run(&bench), Ok(Ideal::Overload));
}

#[test]
fn one_seed_is_one_unit() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let at = ["contactor.L1", "contactor.L2"];
    let read = |seed| volts(&Bench::new(&circuit, seed, &[]), at[0], at[1]);
    assert_eq!(read(5), read(5));
    assert_ne!(read(5), read(6));
}
