//! Parts that start motors, turn them without a capacitor, and sense: worked by hand, or held
//! against published tables. Each check names its source; where it says so, that is memory or
//! common practice.

#[allow(dead_code, reason = "each test file uses its part")]
mod common;

use std::f64::consts::TAU;

use common::{amps, dead, exact, faults, number, unit, volts};
use num_complex::Complex;
use ohmtrail_circuit::meter::Ideal;
use ohmtrail_circuit::network::Element;
use ohmtrail_circuit::operate::{Motion, Unit};
use ohmtrail_circuit::parts::{Sight, thermistor_ohms};
use ohmtrail_circuit::sheet::{Heat, Sheet, read_text};
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::Function;

#[track_caller]
fn near(got: f64, want: f64, share: f64) {
    assert!(
        (got - want).abs() <= share * want.abs(),
        "{got}, worked by hand {want}"
    );
}

/// A compressor that its run capacitor alone does not start: a breaker, two run capacitors would
/// not be enough, a start capacitor of 98 uF behind a potential relay is.
const HARD_START: &str = r#"
name = "hard-start"
title = "An invented compressor with a start capacitor"
dead = { line = ["breaker.load-1", "breaker.load-2"], load = ["comp.C", "comp.R"], ground = "supply.G" }
[[part]]
name = "supply"
kind = "supply"
[[part]]
name = "breaker"
kind = "breaker"
rating = "30 A"
[[part]]
name = "run-cap"
kind = "run-capacitor"
marked = "35 uF"
rated = "440 V"
[[part]]
name = "start-cap"
kind = "start-capacitor"
marked = "98 uF"
rated = "330 V"
[[part]]
name = "relay"
kind = "potential-relay"
pick-up = "190 V"
[[part]]
name = "comp"
kind = "psc-compressor"
run-ohms = "0.87 Ohm"
start-ohms = "2.95 Ohm"
run-reactance = "1.05 Ohm"
start-reactance = "2.1 Ohm"
turns-ratio = "1.35"
rotor-ohms = "0.85 Ohm"
rotor-reactance = "1.05 Ohm"
magnetising-reactance = "45 Ohm"
running-slip = "3.65 %"
breakaway = "1100 W"
rated-amps = "18.5 A"
[[wire]]
name = "service-1"
from = "supply.L1"
to = "breaker.line-1"
[[wire]]
name = "service-2"
from = "supply.L2"
to = "breaker.line-2"
[[wire]]
name = "common"
from = "breaker.load-1"
to = "comp.C"
[[wire]]
name = "run"
from = "breaker.load-2"
to = "comp.R"
[[wire]]
name = "cap-line"
from = "comp.R"
to = "run-cap.1"
[[wire]]
name = "start"
from = "run-cap.2"
to = "comp.S"
[[wire]]
name = "start-line"
from = "run-cap.1"
to = "start-cap.1"
[[wire]]
name = "start-contact"
from = "start-cap.2"
to = "relay.1"
[[wire]]
name = "start-out"
from = "relay.2"
to = "run-cap.2"
[[wire]]
name = "relay-common"
from = "relay.5"
to = "comp.C"
[[lift]]
name = "start-cap"
ends = ["start-line.2", "start-contact.1"]
[[lift]]
name = "relay"
ends = ["start-contact.2", "start-out.1", "relay-common.1"]
"#;

fn hard_start() -> Sheet {
    read_text("hard-start", HARD_START).unwrap_or_else(|e| panic!("{e}"))
}

fn motion(unit: &Unit<'_>) -> [Motion; 2] {
    [unit.found().motion[0], unit.restarted().motion[0]]
}

/// The start capacitor and the run capacitor lie side by side at standstill. By hand: the start
/// winding's current is the line over the winding with both capacitors; the torque is twice the
/// turns ratio times both currents, the sine of the angle between them and the forward field's
/// resistance (the textbooks' split-phase motor at standstill, from memory).
#[test]
fn a_start_capacitor_lies_beside_the_run_capacitor_at_standstill() {
    let sheet = hard_start();
    let circuit = Circuit::new(&sheet);
    let mut torques = Vec::new();
    for (names, farads) in [
        (&["comp.seized"][..], (35e-6, 98e-6)),
        (&["comp.seized", "relay.contact-open"][..], (35e-6, 0.0)),
        (&["comp.seized", "run-cap.open"][..], (35e-9, 98e-6)),
    ] {
        let unit = unit(&circuit, names, 0.5);
        let standing = unit.restarted();
        let device = &standing.assembly.motors[0];
        let element = &standing.assembly.elements[device.element];
        let Element::Motor {
            main, aux, data, ..
        } = element
        else {
            panic!("not a motor");
        };
        let rotor = Complex::new(data.rotor_ohms, data.rotor_reactance);
        let magnetising = Complex::new(0.0, data.magnetising_reactance);
        let field = rotor * magnetising / (rotor + magnetising);
        let start =
            Complex::new(data.aux_ohms, data.aux_reactance) + field * data.turns_ratio.powi(2);
        let run = Complex::new(data.main_ohms, data.main_reactance) + field;
        let omega = TAU * 60.0;
        // The electrolytic's loss is eight hundredths of its reactance.
        let reactance = 1.0 / (omega * 98e-6);
        let wire = 0.012 + 2e-3;
        let film = Complex::new(0.05, -1.0 / (omega * farads.0)).inv();
        let electrolytic = if farads.1 > 0.0 {
            Complex::new(0.08 * reactance + 0.02 + 3.0 * wire, -reactance).inv()
        } else {
            Complex::default()
        };
        let line = standing.live.across(*main);
        let capacitors = (film + electrolytic).inv();
        let [im, ia, _] = standing.live.currents(element);
        let across = standing.live.across(*aux);
        near(across.norm(), (start * ia).norm(), 1e-9);
        near(im.norm(), (line / run).norm(), 1e-9);
        near(ia.norm(), (line / (start + capacitors)).norm(), 5e-3);
        let by_hand =
            2.0 * data.turns_ratio * im.norm() * ia.norm() * (ia.arg() - im.arg()).sin() * field.re;
        let torque = data.torque(60.0, 1.0, [im, ia]);
        near(torque.abs(), by_hand.abs(), 1e-9);
        torques.push(torque.abs());
    }
    let [both, run_only, start_only] = torques[..] else {
        panic!("three of them");
    };
    println!("{both:.0} W with both, {run_only:.0} W without the start capacitor");
    // A hard start is several times the torque (common practice, no published source).
    assert!(both > 3.0 * run_only && both > start_only);
}

/// The contact is closed at standstill and opens when the motor has started: the start winding of
/// the running motor makes more volts than the line, the standing one's fewer than the relay needs.
#[test]
fn a_potential_relay_takes_the_start_capacitor_out() {
    let sheet = hard_start();
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    assert_eq!(motion(&healthy), [Motion::Running; 2]);
    let coil = volts(&healthy, "relay.2", "relay.5");
    let line = volts(&healthy, "comp.C", "comp.R");
    assert!(
        coil > 190.0 && coil > 1.1 * line && coil < 332.0,
        "{coil} V"
    );
    assert!(amps(&healthy, "start-line", Heat::AsFound) < 1e-3);
    // At standstill the coil is under its pick-up volts, and the capacitor is in.
    let seized = unit(&circuit, &["comp.seized"], 0.5);
    assert_eq!(motion(&seized), [Motion::Tripped, Motion::Stalled]);
    assert!(amps(&seized, "start-line", Heat::Cold) > 5.0);
    // Dead, its contact reads closed, its coil by itself what it is.
    let ohms = |unit: &Unit<'_>, at| dead(unit, Function::Ohms, at, "relay", Heat::Cold);
    near(number(ohms(&healthy, ["relay.1", "relay.2"])), 0.02, 1e-6);
    near(number(ohms(&healthy, ["relay.2", "relay.5"])), 10e3, 1e-5);
    let open = unit(&circuit, &["relay.contact-open"], 0.5);
    assert_eq!(ohms(&open, ["relay.1", "relay.2"]), Ideal::Overload);
    let open = unit(&circuit, &["relay.coil-open"], 0.5);
    assert_eq!(ohms(&open, ["relay.2", "relay.5"]), Ideal::Overload);
}

/// What follows from each fault of the start gear: without the capacitor the motor stalls and opens
/// its overload; with it left in the motor starts, draws far over its plate, and opens it too.
#[test]
fn faults_of_the_start_gear() {
    let sheet = hard_start();
    let circuit = Circuit::new(&sheet);
    let healthy = amps(&unit(&circuit, &[], 0.5), "common", Heat::AsFound);
    for fault in ["relay.contact-open", "start-cap.open", "start-contact.open"] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert_eq!(motion(&unit), [Motion::Tripped, Motion::Stalled], "{fault}");
        assert_eq!(unit.consequences(), ["comp.overload-open-from-heat"]);
    }
    for fault in ["relay.welded", "relay.coil-open", "relay-common.open"] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert_eq!(motion(&unit), [Motion::Tripped, Motion::Running], "{fault}");
        assert_eq!(unit.consequences(), ["comp.overload-open-from-heat"]);
        // Just started it draws over 1.56 times its rated amperes, and the start lead a multiple.
        let common = amps(&unit, "common", Heat::Cold);
        assert!(common > 1.56 * 18.5 && common > 1.5 * healthy, "{common} A");
        assert!(amps(&unit, "start-line", Heat::Cold) > 10.0, "{fault}");
        // The breaker holds: the overload is faster.
        assert_eq!(unit.restarted().open, [false]);
    }
    // Without its run capacitor the kit starts it still, and nothing flows in its start winding.
    let masked = unit(&circuit, &["run-cap.open"], 0.5);
    assert_eq!(motion(&masked), [Motion::Running; 2]);
    assert!(amps(&masked, "start", Heat::AsFound) < 0.02);
    // A start capacitor by itself: its marked farads, and the bleed resistor by ohms.
    let at = ["start-cap.1", "start-cap.2"];
    let lone = |unit: &Unit<'_>, f| dead(unit, f, at, "start-cap", Heat::Cold);
    let healthy = unit(&circuit, &[], 0.5);
    near(number(lone(&healthy, Function::Farads)), 98e-6, 1e-3);
    near(number(lone(&healthy, Function::Ohms)), 15e3, 1e-5);
    let bleed = unit(&circuit, &["start-cap.bleed-open"], 0.5);
    near(number(lone(&bleed, Function::Ohms)), 2e7, 1e-2);
}

/// A relay that picks up on the volts of standstill takes the capacitor away before the motor has
/// turned; one that never has enough leaves it in.
#[test]
fn a_relay_of_the_wrong_pick_up_is_as_bad_as_none() {
    for (pick_up, wanted) in [
        ("\"60 V\"", [Motion::Tripped, Motion::Stalled]),
        ("\"500 V\"", [Motion::Tripped, Motion::Running]),
    ] {
        let text = HARD_START.replace("\"190 V\"", pick_up);
        let sheet = read_text("hard-start", &text).unwrap_or_else(|e| panic!("{e}"));
        let circuit = Circuit::new(&sheet);
        assert_eq!(motion(&unit(&circuit, &[], 0.5)), wanted, "{pick_up}");
    }
}

/// A fan with an electronically commutated motor: line power at its module, 24 V through a float
/// switch for a signal.
const ECM: &str = r#"
name = "ecm"
title = "An invented fan with an electronically commutated motor"
dead = { line = ["breaker.load-1", "breaker.load-2"], load = ["module.L1", "module.L2"], ground = "supply.G" }
[[part]]
name = "supply"
kind = "supply"
volts = "230 V"
[[part]]
name = "breaker"
kind = "breaker"
rating = "15 A"
[[part]]
name = "transformer"
kind = "transformer"
[[part]]
name = "pan"
kind = "float-switch"
[[part]]
name = "module"
kind = "ecm-module"
amps = "1.8 A"
[[part]]
name = "motor"
kind = "ecm-motor"
lead-to-lead = "9 Ohm"
[[wire]]
name = "service-1"
from = "supply.L1"
to = "breaker.line-1"
[[wire]]
name = "service-2"
from = "supply.L2"
to = "breaker.line-2"
[[wire]]
name = "power-1"
from = "breaker.load-1"
to = "module.L1"
[[wire]]
name = "power-2"
from = "breaker.load-2"
to = "module.L2"
[[wire]]
name = "primary-1"
from = "breaker.load-1"
to = "transformer.H1"
[[wire]]
name = "primary-2"
from = "breaker.load-2"
to = "transformer.H2"
[[wire]]
name = "hot"
from = "transformer.X1"
to = "pan.1"
[[wire]]
name = "call"
from = "pan.2"
to = "module.signal"
[[wire]]
name = "return"
from = "transformer.X2"
to = "module.signal-common"
[[wire]]
name = "u"
from = "module.U"
to = "motor.U"
[[wire]]
name = "v"
from = "module.V"
to = "motor.V"
[[wire]]
name = "w"
from = "module.W"
to = "motor.W"
[[lift]]
name = "power"
ends = ["power-1.2", "power-2.2"]
[[lift]]
name = "motor"
ends = ["u.1", "v.1", "w.1"]
"#;

/// The fan turns with power, a call, a live module, and a sound motor on all three leads; each of
/// them missing stops it, and leaves its own trace for a meter (topology).
#[test]
fn an_electronically_commutated_fan() {
    let sheet = read_text("ecm", ECM).unwrap_or_else(|e| panic!("{e}"));
    let circuit = Circuit::new(&sheet);
    let motor = sheet.parts.iter().position(|p| p.name == "motor");
    let motor = motor.expect("a motor");
    let turns = |u: &Unit<'_>| u.sees(motor, Sight::Running, Heat::AsFound);
    let twitches = |u: &Unit<'_>| u.sees(motor, Sight::Humming, Heat::AsFound);
    let healthy = unit(&circuit, &[], 0.5);
    assert!(turns(&healthy));
    near(amps(&healthy, "power-1", Heat::AsFound), 1.8, 0.03);
    for (fault, at_plug, at_signal) in [
        ("module.dead", true, true),
        ("module.input-open", true, true),
        ("motor.winding-open", true, true),
        ("motor.winding-shorted", true, true),
        ("motor.seized", true, true),
        ("v.open", true, true),
        ("pan.tripped", true, false),
        ("pan.failed-open", true, false),
        ("return.open", true, false),
        ("power-2.open", false, true),
        ("breaker.tripped", false, false),
        ("module.input-shorted", false, false),
        ("supply.low", true, true),
    ] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert!(!turns(&unit), "{fault}");
        let tried = fault.starts_with("motor.") || fault == "v.open";
        assert_eq!(twitches(&unit), tried, "{fault}");
        let fed = volts(&unit, "module.L1", "module.L2") > 100.0;
        assert_eq!(fed, at_plug, "{fault}");
        let called = volts(&unit, "module.signal", "module.signal-common") > 14.0;
        assert_eq!(called, at_signal, "{fault}");
        // A module that tries draws a share of its amperes. What is left of one that does not is the
        // filter's current, 41 mA at 230 V and 0.47 uF.
        let drawn = amps(&unit, "power-1", Heat::AsFound);
        assert!(
            if tried { drawn > 0.3 } else { drawn < 0.05 },
            "{fault} {drawn}"
        );
    }
    let shorted = unit(&circuit, &["module.input-shorted"], 0.5);
    assert_eq!(shorted.consequences(), ["breaker.tripped"]);

    // An ohmmeter at the power plug, and at the motor's leads with the module off.
    let plug = |u: &Unit<'_>| {
        let at = ["module.L1", "module.L2"];
        dead(u, Function::Ohms, at, "power", Heat::Cold)
    };
    near(number(plug(&healthy)), 470e3, 2e-3);
    near(number(plug(&shorted)), 0.8, 1e-3);
    let open = unit(&circuit, &["module.input-open"], 0.5);
    assert_eq!(plug(&open), Ideal::Overload);
    let leads = [["u.1", "v.1"], ["v.1", "w.1"], ["w.1", "u.1"]];
    let windings = |u: &Unit<'_>| leads.map(|l| dead(u, Function::Ohms, l, "motor", Heat::Cold));
    for lead in windings(&healthy) {
        near(number(lead), 9.0, 5e-3);
    }
    let open = windings(&unit(&circuit, &["motor.winding-open"], 0.5));
    assert_eq!(open.map(|o| o == Ideal::Overload), [true, false, true]);
    let short = windings(&unit(&circuit, &["motor.winding-shorted"], 0.5));
    assert!(number(short[1]) < 6.0 && number(short[2]) < 6.0 && number(short[0]) > 8.9);
    let ground = |u: &Unit<'_>| {
        let at = ["v.1", "motor.frame"];
        dead(u, Function::Ohms, at, "motor", Heat::Cold)
    };
    assert_eq!(ground(&healthy), Ideal::Overload);
    let grounded = unit(&circuit, &["motor.grounded"], 0.5);
    near(number(ground(&grounded)), 2.0, 0.02);
    assert!(!turns(&grounded));

    // Its plug is a place that may hold a charge, and so is no other pair of its terminals.
    let plug = ["module.L1", "module.L2"].map(|p| sheet.point(p).expect("a point"));
    assert_eq!(sheet.dead.capacitors, [plug]);
    // Only standing water is seen.
    let pan = sheet.parts.iter().position(|p| p.name == "pan");
    let pan = pan.expect("a switch");
    let water = |f| unit(&circuit, &[f], 0.5).sees(pan, Sight::Flooded, Heat::AsFound);
    assert!(water("pan.tripped") && !water("pan.failed-open"));
}

/// Kilohms of a 10 kilohm thermistor by its beta, computed with a general-purpose calculator from
/// the beta form.
const BY_BETA: &[(f64, [f64; 5])] = &[
    // -20, 0, 30, 60, 100 degrees Celsius.
    (3380.0, [75.02, 28.22, 8.30, 3.04, 1.02]),
    (3950.0, [105.4, 33.62, 8.04, 2.49, 0.70]),
];

/// The outdoor sensor of a heat-pump manual (a public archive of manuals): degrees Fahrenheit and
/// ohms. The beta form with 9,989 ohm and 3,842 K is a fit to it.
const PUBLISHED: &[(f64, f64)] = &[
    (100.0, 5_750.0),
    (90.0, 7_450.0),
    (80.0, 9_275.0),
    (70.0, 11_775.0),
    (60.0, 15_425.0),
    (50.0, 19_975.0),
    (40.0, 26_200.0),
    (30.0, 34_375.0),
    (20.0, 46_275.0),
    (10.0, 62_700.0),
    (0.0, 85_300.0),
];

#[test]
fn thermistors_follow_the_curve_that_was_chosen() {
    for (beta, kilohms) in BY_BETA {
        for (celsius, wanted) in [-20.0, 0.0, 30.0, 60.0, 100.0].into_iter().zip(kilohms) {
            let got = thermistor_ohms(10e3, *beta, celsius + 273.15) / 1e3;
            assert!((got - wanted).abs() < 0.006 * wanted, "{beta} {celsius}");
        }
    }
    for (fahrenheit, ohms) in PUBLISHED {
        let kelvin = (fahrenheit - 32.0) / 1.8 + 273.15;
        near(thermistor_ohms(9_989.0, 3_842.0, kelvin), *ohms, 0.025);
    }
    // As a part: the curve is chosen in the sheet, and one without it is refused.
    let text = r#"
name = "sensor"
title = "An invented sensor on a bench"
unused = ["sensor.1", "sensor.2", "supply.L1", "supply.L2"]
dead = { line = ["supply.L1"], load = ["supply.L2"], ground = "supply.G" }
[[part]]
name = "supply"
kind = "supply"
[[part]]
name = "sensor"
kind = "thermistor"
r25 = "9.989 kOhm"
beta = "3842 K"
temperature = "10 Cel"
"#;
    let sheet = read_text("sensor", text).unwrap_or_else(|e| panic!("{e}"));
    let circuit = Circuit::new(&sheet);
    let read = |names: &[&str]| {
        let unit = Unit::new(&circuit, exact(&sheet, 0.0), &faults(&sheet, names));
        dead(
            &unit,
            Function::Ohms,
            ["sensor.1", "sensor.2"],
            "",
            Heat::Cold,
        )
    };
    near(number(read(&[])), 19_975.0, 0.02);
    // 8 degrees too cold: what the curve says at 2.
    let colder = thermistor_ohms(9_989.0, 3_842.0, 275.15);
    near(number(read(&["sensor.drifted"])), colder, 1e-5);
    assert!(number(read(&["sensor.shorted"])) < 100.0);
    assert_eq!(read(&["sensor.open"]), Ideal::Overload);
    for missing in ["r25 = \"9.989 kOhm\"\n", "beta = \"3842 K\"\n"] {
        let error = read_text("sensor", &text.replace(missing, "")).expect_err("no curve");
        assert!(error.to_string().contains("\"sensor\" has no"), "{error}");
    }
}
