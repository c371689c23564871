//! The model's own checks: cases worked by hand with Kirchhoff's laws, and figures of the trade.
//! Each names its source; where it says so, the source is memory or common practice.

#[allow(dead_code, reason = "each test file uses its part")]
mod common;

use std::f64::consts::TAU;

use common::{amps, dead, exact, heat_pump, number, shows, unit, volts};
use num_complex::Complex;
use ohmtrail_circuit::meter::{Ideal, State};
use ohmtrail_circuit::network::Element;
use ohmtrail_circuit::operate::{AsFound, Motion, Unit};
use ohmtrail_circuit::sheet::{Heat, read_text};
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::reading::Function;

/// A joint, a wire and a healthy closed contact, as the model has them, ohms.
const JOINT: f64 = 1e-3;
const WIRE: f64 = 0.012;
const CONTACT: f64 = 2e-3;

#[track_caller]
fn near(got: f64, want: f64, share: f64) {
    assert!(
        (got - want).abs() <= share * want.abs(),
        "{got}, worked by hand {want}"
    );
}

fn motion(unit: &Unit<'_>, standing: &AsFound<'_>, part: &str) -> Motion {
    let sheet = unit.circuit().sheet;
    let motors = &standing.assembly.motors;
    let m = motors
        .iter()
        .position(|m| sheet.parts[m.part].name == part)
        .expect("a motor");
    standing.motion[m]
}

/// A supply of 240 V behind 0.1 ohm, a disconnect and a heater of 48 ohm: one loop.
const LOOP: &str = r#"
name = "loop"
title = "An invented heater on a disconnect"
dead = { line = ["disconnect.line-1"], load = ["heater.1"], ground = "supply.G" }

[[part]]
name = "supply"
kind = "supply"
volts = "240 V"
ohms = "0.1 Ohm"
[[part]]
name = "disconnect"
kind = "disconnect"
[[part]]
name = "heater"
kind = "crankcase-heater"
ohms = "48 Ohm"

[[wire]]
name = "feed-1"
from = "supply.L1"
to = "disconnect.line-1"
[[wire]]
name = "feed-2"
from = "supply.L2"
to = "disconnect.line-2"
[[wire]]
name = "load-1"
from = "disconnect.load-1"
to = "heater.1"
[[wire]]
name = "load-2"
from = "disconnect.load-2"
to = "heater.2"
"#;

/// Kirchhoff: in one loop the current is the source over the sum of the resistances, each part
/// takes its share of the volts, and what is open takes them all.
#[test]
fn one_loop_by_hand() {
    let sheet = read_text("loop", LOOP).expect("it reads");
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    let around = 0.1 + 4.0 * (WIRE + 2.0 * JOINT) + 2.0 * CONTACT + 48.0;
    let current = 240.0 / around;
    near(amps(&healthy, "load-1", Heat::AsFound), current, 1e-7);
    near(
        volts(&healthy, "heater.1", "heater.2"),
        48.0 * current,
        1e-7,
    );
    near(
        volts(&healthy, "disconnect.line-1", "disconnect.load-1"),
        CONTACT * current,
        1e-6,
    );
    // The middle of the supply is earthed: half the volts from a leg to ground, less half the loss.
    near(
        volts(&healthy, "heater.1", "supply.G"),
        24.0 * current,
        1e-7,
    );

    // An open blade has the whole source across it, and no current flows through the heater.
    let open = unit(&circuit, &["disconnect.pole-1-open"], 0.5);
    near(
        volts(&open, "disconnect.line-1", "disconnect.load-1"),
        240.0,
        1e-4,
    );
    assert!(volts(&open, "heater.1", "heater.2") < 0.01);
    // The dead leg is tied to the live one by the heater: it reads that leg's volts to ground.
    near(volts(&open, "heater.1", "supply.G"), 120.0, 1e-4);

    // A wire that is open inside reads the whole source from end to end.
    let open = unit(&circuit, &["load-2.open"], 0.5);
    near(volts(&open, "load-2.1", "load-2.2"), 240.0, 1e-4);

    // Dead, by ohms: the heater with its two wires on.
    let ohms = |unit: &Unit<'_>, at| number(dead(unit, Function::Ohms, at, "", Heat::Cold));
    let through = 48.0 + 2.0 * (WIRE + JOINT * 2.0);
    let at = ["disconnect.load-1", "disconnect.load-2"];
    // The disconnect is closed and the supply stands at zero: its branch lies beside the heater.
    let beside = 0.1 + 2.0 * (WIRE + 2.0 * JOINT) + 2.0 * CONTACT;
    near(
        ohms(&healthy, at),
        through * beside / (through + beside),
        1e-6,
    );
    let pulled = unit(&circuit, &["disconnect.left-open"], 0.5);
    near(ohms(&pulled, at), through, 1e-6);
}

/// A closed contact reads near zero, an open one has the whole source across it, fed back through
/// the motors (Kirchhoff).
#[test]
fn contactor_poles() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    let whole = volts(&healthy, "contactor.L1", "contactor.L2");
    assert!(whole > 230.0 && whole < 239.0, "{whole}");
    for (pole, fault) in [
        ("1", "contactor.pole-1-open"),
        ("2", "contactor.pole-2-open"),
    ] {
        let (line, load) = (format!("contactor.L{pole}"), format!("contactor.T{pole}"));
        let current = amps(&healthy, &format!("whip-{pole}"), Heat::AsFound);
        let closed = volts(&healthy, &line, &load);
        // The crankcase heater is fed before the contactor: 0.2 A that the pole does not carry.
        near(closed, CONTACT * current, 0.02);
        let open = unit(&circuit, &[fault], 0.5);
        let across = volts(&open, &line, &load);
        near(across, volts(&open, "contactor.L1", "contactor.L2"), 1e-3);
        assert!(volts(&open, "contactor.T1", "contactor.T2") < 0.1);
        assert_eq!(motion(&open, open.found(), "compressor"), Motion::Still);
    }
}

/// A lost leg feeds back through the loads: both legs read the live leg's volts to ground and next
/// to nothing between them (Kirchhoff; a known trap of the trade, common practice, no published
/// source).
#[test]
fn a_lost_leg_reads_live_to_ground() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    for fault in ["supply.leg-1-lost", "supply.leg-2-lost", "service-1.open"] {
        let lost = unit(&circuit, &[fault], 0.5);
        for leg in ["contactor.L1", "contactor.L2"] {
            near(volts(&lost, leg, "compressor.shell"), 119.5, 0.02);
        }
        assert!(
            volts(&lost, "contactor.L1", "contactor.L2") < 2.0,
            "{fault}"
        );
    }
    // Both legs lost leave nothing to ground.
    let absent = unit(&circuit, &["supply.absent"], 0.5);
    assert!(volts(&absent, "contactor.L1", "compressor.shell") < 1.0);
}

/// Three windings (a published compressor test: R(S-R) = R(C-S) + R(C-R)): here at the wire ends,
/// where the common's wire, joint and protector lie in two readings and not in the third.
#[test]
fn three_windings_add_up() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    for (lift, prefix, run, start) in [
        ("compressor", "comp", 0.87, 2.95),
        ("fan", "fan", 32.0, 58.0),
    ] {
        let end = |lead: &str| format!("{prefix}-{lead}.1");
        let read = |a: &str, b: &str| {
            let at = [a, b];
            number(dead(&healthy, Function::Ohms, at, lift, Heat::Cold))
        };
        let (c, s, r) = (end("common"), end("start"), end("run"));
        let (cr, cs, sr) = (read(&c, &r), read(&c, &s), read(&s, &r));
        // By hand: protector 5 milliohm, a joint of 1 milliohm inside each winding.
        let (lead, protector, inside) = (WIRE + JOINT, 5e-3, 1e-3);
        near(cr, run + inside + protector + 2.0 * lead, 1e-6);
        near(cs, start + inside + protector + 2.0 * lead, 1e-6);
        near(sr, run + start + 2.0 * inside + 2.0 * lead, 1e-6);
        near(cr + cs - sr, 2.0 * (protector + lead), 1e-4);
        assert!(cr < cs && cs < sr, "run lowest, start to run highest");
    }
}

/// An open protector leaves start to run only (a published compressor test); hot from a stall it
/// reads copper's temperature law, R2/R1 = (234.5 + t2)/(234.5 + t1), at 100 degrees against 25
/// (IEEE 112, from memory).
#[test]
fn an_open_protector_leaves_start_to_run() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let read = |unit: &Unit<'_>, a, b, heat| dead(unit, Function::Ohms, [a, b], "compressor", heat);
    let (c, s, r) = ("comp-common.1", "comp-start.1", "comp-run.1");
    for (fault, closes) in [
        ("compressor.seized", true),
        ("compressor.overheated", true),
        ("run-cap.herm-open", true),
        ("compressor.protector-failed", false),
    ] {
        let unit = unit(&circuit, &[fault], 0.5);
        let hot = Heat::AsFound;
        assert_eq!(read(&unit, c, r, hot), Ideal::Overload, "{fault}");
        assert_eq!(read(&unit, c, s, hot), Ideal::Overload, "{fault}");
        let sr = number(read(&unit, s, r, Heat::Cold));
        assert_eq!(read(&unit, c, r, Heat::Cold) != Ideal::Overload, closes);
        if closes {
            let copper = 0.87 + 2.95;
            let warmer = (234.5 + 100.0) / (234.5 + 25.0);
            let added = number(read(&unit, s, r, hot)) - sr;
            near(added, copper * (warmer - 1.0), 1e-6);
        }
    }
    // After a run the windings are warm too, their protector closed.
    let healthy = unit(&circuit, &[], 0.5);
    let [warm, cold] = [Heat::AsFound, Heat::Cold].map(|h| number(read(&healthy, c, r, h)));
    near(warm - cold, 0.87 * (299.5 / 259.5 - 1.0), 1e-6);
}

/// One open winding: which readings are left (topology).
#[test]
fn an_open_winding_leaves_one_reading() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let pairs = [
        ["comp-common.1", "comp-run.1"],
        ["comp-common.1", "comp-start.1"],
        ["comp-start.1", "comp-run.1"],
    ];
    for (fault, left) in [("compressor.start-open", 0), ("compressor.run-open", 1)] {
        let unit = unit(&circuit, &[fault], 0.5);
        for (i, pair) in pairs.into_iter().enumerate() {
            let ohms = dead(&unit, Function::Ohms, pair, "compressor", Heat::Cold);
            assert_eq!(ohms != Ideal::Overload, i == left, "{fault} {pair:?}");
        }
    }
}

/// A motor with one winding has no torque at standstill, by symmetry of its two fields (the
/// textbooks' revolving-field theory, from memory): it stalls, draws its locked-rotor current and
/// opens its overload.
#[test]
fn an_open_start_winding_stalls() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    for (part, fault) in [
        ("compressor", "compressor.start-open"),
        ("fan-motor", "fan-motor.start-open"),
        ("fan-motor", "fan-start.open"),
    ] {
        let unit = unit(&circuit, &[fault], 0.5);
        let cold = unit.restarted();
        assert_eq!(motion(&unit, cold, part), Motion::Stalled, "{fault}");
        assert_eq!(
            motion(&unit, unit.found(), part),
            Motion::Tripped,
            "{fault}"
        );
        let device = cold
            .assembly
            .motors
            .iter()
            .find(|m| sheet.parts[m.part].name == part)
            .expect("a motor");
        let element = &cold.assembly.elements[device.element];
        let Element::Motor { data, .. } = element else {
            panic!("not a motor");
        };
        let [main, aux, _] = cold.live.currents(element);
        let torque = data.torque(60.0, 1.0, [main, aux]);
        assert!(torque.abs() < 1e-3 * device.breakaway_watts, "{torque} W");
        assert!(main.norm() > 1.5 * device.rated_amps);
    }
}

/// The everyday case: the whole dual capacitor failed. Neither motor turns, both open their
/// overloads, and that is a consequence, no fault of its own.
#[test]
fn a_failed_capacitor_trips_both_motors() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let unit = unit(&circuit, &["run-cap.herm-open", "run-cap.fan-open"], 0.5);
    for part in ["compressor", "fan-motor"] {
        assert_eq!(motion(&unit, unit.found(), part), Motion::Tripped, "{part}");
        assert_eq!(
            motion(&unit, unit.restarted(), part),
            Motion::Stalled,
            "{part}"
        );
    }
    let mut follows = unit.consequences();
    follows.sort();
    assert_eq!(
        follows,
        [
            "compressor.overload-open-from-heat",
            "fan-motor.overload-open-from-heat"
        ]
    );
    // The contactor stands pulled in, and passes the line on.
    assert_eq!(unit.found().pulled_in, [true]);
    near(volts(&unit, "contactor.T1", "contactor.T2"), 239.0, 0.01);
    for (point, marked) in [("run-cap.HERM", 35e-6), ("run-cap.FAN", 5e-6)] {
        let at = ["run-cap.C", point];
        let left = number(dead(
            &unit,
            Function::Farads,
            at,
            "capacitor",
            Heat::AsFound,
        ));
        assert!(left < 0.01 * marked, "{point} {left}");
    }
}

/// A shorted coil draws more than the control fuse holds; the fuse opens and the contactor drops.
#[test]
fn a_shorted_coil_blows_the_control_fuse() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    for fault in ["contactor.coil-shorted", "reversing-valve.shorted"] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert_eq!(unit.consequences(), ["control-fuse.blown"], "{fault}");
        assert_eq!(unit.found().pulled_in, [false], "{fault}");
        // The transformer stands with no load; behind the fuse there is nothing.
        assert!(volts(&unit, "transformer.X1", "transformer.X2") > 26.0);
        assert!(volts(&unit, "control-fuse.2", "transformer.X2") < 0.1);
    }
}

/// A dead ground fault is half the source through a fraction of an ohm: far over six times the
/// breaker's rating, at which the magnetic trip of a small breaker acts (common practice, no
/// published source).
#[test]
fn a_grounded_compressor_trips_the_breaker() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let unit = unit(&circuit, &["compressor.grounded"], 0.0);
    assert_eq!(unit.consequences(), ["breaker.tripped"]);
    assert!(volts(&unit, "contactor.L1", "contactor.L2") < 1.0);
    // The winding reads to the shell, and no further than the fault's half an ohm says.
    let at = ["comp-run.1", "compressor.shell"];
    let ohms = number(dead(&unit, Function::Ohms, at, "compressor", Heat::AsFound));
    near(ohms, 0.5 + WIRE + JOINT, 1e-6);
}

/// Locked-rotor amperes of a fixed-speed compressor are four to six times its rated-load amperes
/// (common practice, no published source).
#[test]
fn locked_rotor_against_rated() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    let running = amps(&healthy, "comp-common", Heat::AsFound);
    assert!(
        (0.5..1.0).contains(&(running / 18.5)),
        "{running} A running"
    );
    let seized = unit(&circuit, &["compressor.seized"], 0.5);
    let locked = amps(&seized, "comp-common", Heat::Cold);
    println!("compressor: {running:.2} A running, {locked:.1} A locked");
    assert!((4.0..6.0).contains(&(locked / 18.5)), "{locked} A locked");
    assert!(
        amps(&seized, "comp-common", Heat::AsFound) < 0.01,
        "tripped"
    );
}

/// The back-EMF of a running motor lifts its start winding, and so the capacitor, above the line:
/// a run capacitor on 240 V is marked 370 V or 440 V for that (common practice, no published
/// source). At standstill there is no back-EMF.
#[test]
fn a_running_motor_lifts_its_capacitor_above_the_line() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    let line = volts(&healthy, "contactor.T1", "contactor.T2");
    let seized = unit(&circuit, &["compressor.seized", "fan-motor.seized"], 0.5);
    for (part, common, point, farads) in [
        ("compressor", "compressor.C", "run-cap.HERM", 35e-6),
        ("fan-motor", "fan-motor.common", "run-cap.FAN", 5e-6),
    ] {
        let running = volts(&healthy, "run-cap.C", point);
        assert!(
            running > 1.1 * line && running < 440.0,
            "{point} {running} V"
        );
        let at = ["run-cap.C", point];
        let cold = State {
            heat: Heat::Cold,
            ..common::LIVE
        };
        let still = number(shows(&seized, Function::VoltsAc, at, cold));
        println!("{point}: {running:.0} V running, {still:.0} V locked, line {line:.0} V");
        assert!(still < running / 1.2, "{point} {still} V, {running} V");
        // By hand: at standstill the two fields cancel between the windings, and the capacitor
        // divides the line with the start winding and its share of the rotor.
        let device = seized
            .restarted()
            .assembly
            .motors
            .iter()
            .find(|m| sheet.parts[m.part].name == part);
        let element = device.expect("a motor").element;
        let Element::Motor { data, .. } = &seized.restarted().assembly.elements[element] else {
            panic!("not a motor");
        };
        let rotor = Complex::new(data.rotor_ohms, data.rotor_reactance);
        let magnetising = Complex::new(0.0, data.magnetising_reactance);
        let field = rotor * magnetising / (rotor + magnetising);
        let winding =
            Complex::new(data.aux_ohms, data.aux_reactance) + field * data.turns_ratio.powi(2);
        let capacitor = Complex::new(0.05, -1.0 / (TAU * 60.0 * farads));
        // The locked-rotor amperes drop some volts before the motor, some tenths in its protector.
        let at = [common, "run-cap.C"];
        let line = number(shows(&seized, Function::VoltsAc, at, cold));
        near(
            still,
            line * capacitor.norm() / (winding + capacitor).norm(),
            3e-3,
        );
    }
}

/// C = I/(2 pi f V) from the running motor's start-lead amperes and the volts across the capacitor
/// itself returns the capacitance that was drawn. Its series resistance of 50 milliohm and its leak
/// change it by parts in a million.
#[test]
fn capacitance_under_load() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    for (faults, herm, fan) in [
        (&[][..], 35e-6, 5e-6),
        // Half way between 35 % and 80 % of the marking.
        (&["run-cap.herm-low"][..], 0.575 * 35e-6, 5e-6),
        (&["run-cap.fan-low"][..], 35e-6, 0.575 * 5e-6),
    ] {
        let unit = unit(&circuit, faults, 0.5);
        for (wire, point, drawn) in [
            ("comp-start", "run-cap.HERM", herm),
            ("fan-start", "run-cap.FAN", fan),
        ] {
            let current = amps(&unit, wire, Heat::AsFound);
            if current < 0.01 {
                assert_ne!(faults, &[] as &[&str], "a healthy motor runs");
                continue;
            }
            let farads = current / (TAU * 60.0 * volts(&unit, "run-cap.C", point));
            near(farads, drawn, 2e-4);
        }
    }
}

/// What a motor takes from the line is what its copper and its air gap take: the balance of the
/// textbooks' equivalent circuit (from memory), from the solved voltages and currents.
#[test]
fn a_motors_power_balances() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    let found = healthy.found();
    for device in &found.assembly.motors {
        let element = &found.assembly.elements[device.element];
        let Element::Motor {
            main,
            aux,
            data,
            slip,
        } = element
        else {
            panic!("not a motor");
        };
        let [im, ia, _] = found.live.currents(element);
        let taken = found.live.across(*main) * im.conj() + found.live.across(*aux) * ia.conj();
        let copper = data.main_ohms * im.norm_sqr() + data.aux_ohms * ia.norm_sqr();
        let (zf, zb) = data.fields(60.0, *slip);
        let turned = Complex::i() * data.turns_ratio * ia;
        let (forward, backward) = (
            (im - turned).norm_sqr() / 4.0,
            (im + turned).norm_sqr() / 4.0,
        );
        let gap = 2.0 * (forward * zf.re + backward * zb.re);
        near(taken.re, copper + gap, 1e-9);
        // A PSC motor runs near a power factor of one (0.9 and more, common practice, no
        // published source), and gives its shaft the better part of what it takes.
        let shaft = data.torque(60.0, *slip, [im, ia]) * (1.0 - slip);
        let efficiency = shaft / taken.re;
        println!(
            "{}: {:.0} W, efficiency {efficiency:.2}",
            sheet.parts[device.part].name, taken.re
        );
        assert!((0.4..0.95).contains(&efficiency), "{efficiency}");
    }
}

/// Two parts with nothing between them read an overload, whatever they are (topology).
#[test]
fn floating_parts_read_an_overload() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    for at in [
        ["contactor.T1", "contactor.A1"],
        ["transformer.H1", "transformer.X1"],
        ["disconnect.line-1", "thermostat.R"],
        ["contactor.L1", "contactor.T1"],
        ["compressor.R", "compressor.shell"],
    ] {
        let ohms = dead(&healthy, Function::Ohms, at, "", Heat::AsFound);
        assert_eq!(ohms, Ideal::Overload, "{at:?}");
    }
    // A welded pole conducts with its coil off.
    let welded = unit(&circuit, &["contactor.welded"], 0.5);
    let at = ["contactor.L1", "contactor.T1"];
    let ohms = number(dead(&welded, Function::Ohms, at, "", Heat::AsFound));
    // Beside it lies the heater with the windings: parts in a million.
    near(ohms, CONTACT, 1e-5);
}

/// The control circuit by hand: what the two coils take, the transformer's copper drops.
#[test]
fn control_volts_by_hand() {
    let mut sheet = heat_pump();
    // What charges the cable's capacitance, 25 microamperes, is left out of the sums.
    sheet.cables.clear();
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    let at_coil = volts(&healthy, "contactor.A1", "contactor.A2");
    // The coil of 12 ohm and 0.17 H at 60 Hz.
    let impedance = Complex::new(12.0, TAU * 60.0 * 0.17).norm();
    // Five wires, ten joints and four contacts (call, two pressure switches, fuse) lie before it.
    let coil = at_coil / impedance;
    near(amps(&healthy, "control-coil", Heat::AsFound), coil, 1e-6);
    // 24 V nominal: 20 V to 30 V at the coil (common practice, no published source).
    assert!((22.0..28.0).contains(&at_coil), "{at_coil}");
    // Each path's drop from the transformer to the coil: contacts of 50 milliohm, wires, joints.
    let y = volts(&healthy, "thermostat.R", "thermostat.Y");
    near(y, 0.05 * coil, 1e-5);
    let low = exact(&sheet, 0.0);
    // A supply at two thirds still pulls the contactor in: the transformer has its own feed.
    let low = Unit::new(&circuit, low, &common::faults(&sheet, &["supply.low"]));
    assert_eq!(low.found().pulled_in, [true]);
    // A weak indoor supply does not: 27 V times 0.66 is under the 18 V that the coil needs.
    let weak = unit(&circuit, &["indoor-supply.low"], 0.0);
    assert_eq!(weak.found().pulled_in, [false]);
}

/// An open coil pulls nothing in, with its full volts across it; its contacts stay open.
#[test]
fn an_open_coil_pulls_nothing_in() {
    let sheet = heat_pump();
    let circuit = Circuit::new(&sheet);
    let open = unit(&circuit, &["contactor.coil-open"], 0.5);
    assert!(volts(&open, "contactor.A1", "contactor.A2") > 20.0);
    assert_eq!(open.found().pulled_in, [false]);
    assert!(volts(&open, "contactor.T1", "contactor.T2") < 1.0);
    for part in ["compressor", "fan-motor"] {
        assert_eq!(motion(&open, open.found(), part), Motion::Still, "{part}");
    }
}
