//! Contacts that heat and pressure move, and the sheets that are made of them: a 24 V loop, an
//! electric furnace, a walk-in cooler with pump-down.

#[allow(dead_code, reason = "each test file uses its part")]
mod common;

use common::{amps, dead, number, unit, volts};
use ohmtrail_circuit::compile::{Options, compile};
use ohmtrail_circuit::meter::Ideal;
use ohmtrail_circuit::operate::{Motion, Unit};
use ohmtrail_circuit::parts::Sight;
use ohmtrail_circuit::sheet::{BUILTIN, Heat, Question, Sheet, read_builtin};
use ohmtrail_circuit::unit::Circuit;
use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::isolate::{Belief, Evidence, Table};
use ohmtrail_core::reading::Function;

fn sheet(name: &str) -> Sheet {
    match read_builtin(name).expect("it is built in") {
        Ok(sheet) => sheet,
        Err(error) => panic!("{error}"),
    }
}

fn part(sheet: &Sheet, name: &str) -> usize {
    let found = sheet.parts.iter().position(|p| p.name == name);
    found.unwrap_or_else(|| panic!("part {name}"))
}

fn sees(unit: &Unit<'_>, of: &str, sight: Sight) -> bool {
    unit.sees(part(unit.circuit().sheet, of), sight, Heat::AsFound)
}

fn motion(unit: &Unit<'_>, of: &str) -> Motion {
    let found = unit.found();
    let p = part(unit.circuit().sheet, of);
    let m = found.assembly.motors.iter().position(|m| m.part == p);
    found.motion[m.expect("a motor")]
}

/// Whether the contact of this part is closed under power.
fn closed(unit: &Unit<'_>, of: &str) -> bool {
    let found = unit.found();
    let p = part(unit.circuit().sheet, of);
    let c = found.assembly.controls.iter().position(|c| c.part == p);
    found.closed[c.expect("a control")]
}

/// Every fault has a check that tells it from a healthy unit, or a look: else no visit can find it.
#[test]
fn the_sheets_read_and_name_what_proves_each_fault() {
    for (name, _) in BUILTIN {
        let sheet = sheet(name);
        let measured = sheet
            .checks
            .iter()
            .filter(|c| matches!(c.question, Question::Measure { .. }));
        assert!(measured.count() <= 200, "{name}");
        for check in &sheet.checks {
            assert!(!check.why.is_empty());
        }
    }
}

/// Ohm's law: 240 V on 5000 W is 11.52 ohm and 20.8 A.
#[test]
fn elements_by_ohms_law() {
    let sheet = sheet("electric-furnace-1ph");
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    for n in ["1", "2"] {
        let wire = format!("bank-{n}-in");
        let got = amps(&healthy, &wire, Heat::AsFound);
        let across = volts(
            &healthy,
            &format!("element-{n}.1"),
            &format!("element-{n}.2"),
        );
        assert!((got * 11.52 / across - 1.0).abs() < 1e-3, "{got}");
        assert!((228.0..239.0).contains(&across), "{across}");
        assert!(sees(&healthy, &format!("element-{n}"), Sight::Heats));
        let [a, b] = [format!("element-{n}.1"), format!("element-{n}.2")];
        let ohms = dead(
            &healthy,
            Function::Ohms,
            [&a, &b],
            &format!("element-{n}"),
            Heat::Cold,
        );
        assert!((number(ohms) - 11.52).abs() < 0.01);
    }
    assert_eq!(motion(&healthy, "blower"), Motion::Running);
    // An element that touches its frame in the middle carries the same current: the middle of the
    // supply is earthed. Off, its unswitched half still heats.
    let sagged = unit(&circuit, &["element-1.sagged"], 0.5);
    let got = amps(&sagged, "bank-1-in", Heat::AsFound);
    let sound = amps(&healthy, "bank-1-in", Heat::AsFound);
    assert!((got / sound - 1.0).abs() < 0.01, "{got}, sound {sound}");
    let idle = unit(
        &circuit,
        &["element-1.sagged", "thermostat.no-heat-call"],
        0.5,
    );
    assert!(amps(&idle, "bank-1-in", Heat::AsFound) < 0.1);
    let leak = amps(&idle, "bank-1-return", Heat::AsFound);
    assert!((leak / (119.0 / 5.76) - 1.0).abs() < 0.15, "{leak}");
}

/// The sequencer's contacts follow its heater, the heater the interlock, and just after a start
/// from cold they have not moved yet.
#[test]
fn the_sequencer_follows_its_heater_and_the_blower_goes_first() {
    let sheet = sheet("electric-furnace-1ph");
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    assert!(volts(&healthy, "sequencer.H1", "sequencer.H2") > 20.0);
    assert!(volts(&healthy, "element-2.1", "element-2.2") > 220.0);
    assert!(amps(&healthy, "bank-1-in", Heat::Cold) < 0.01);
    assert!(amps(&healthy, "blower-common", Heat::Cold) > 1.0);
    // No blower call: the interlock keeps the sequencer's heater dead.
    for fault in ["thermostat.no-blower-call", "blower-relay.coil-open"] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert!(
            volts(&unit, "sequencer.H1", "sequencer.H2") < 0.5,
            "{fault}"
        );
        assert!(amps(&unit, "bank-1-in", Heat::AsFound) < 0.01);
        assert_eq!(motion(&unit, "blower"), Motion::Still);
    }
    for (fault, first, second) in [
        ("sequencer.heater-open", false, false),
        ("sequencer.contact-1-open", false, true),
        ("sequencer.contact-2-open", true, false),
        ("breaker-2.tripped", true, false),
    ] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert_eq!(sees(&unit, "element-1", Sight::Heats), first, "{fault}");
        assert_eq!(sees(&unit, "element-2", Sight::Heats), second, "{fault}");
    }
}

/// A blower that stands lets both limits open; cool they close by themselves, and a limit that
/// failed does not.
#[test]
fn a_blower_that_stands_opens_the_limits() {
    let sheet = sheet("electric-furnace-1ph");
    let circuit = Circuit::new(&sheet);
    for fault in [
        "blower-cap.open",
        "blower.seized",
        "blower-relay.contact-1-open",
    ] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert!(
            !closed(&unit, "limit-1") && !closed(&unit, "limit-2"),
            "{fault}"
        );
        assert!(
            unit.consequences()
                .contains(&"limit-1.open-from-heat".to_owned())
        );
        // Open, it has the line across it.
        assert!(volts(&unit, "limit-1.1", "limit-1.2") > 220.0);
        let ohms = |heat| dead(&unit, Function::Ohms, ["limit-1.1", "limit-1.2"], "", heat);
        assert_eq!(ohms(Heat::AsFound), Ideal::Overload);
        assert!(number(ohms(Heat::Cold)) < 0.1);
    }
    let failed = unit(&circuit, &["limit-1.open"], 0.5);
    assert!(failed.consequences().is_empty());
    let cold = dead(
        &failed,
        Function::Ohms,
        ["limit-1.1", "limit-1.2"],
        "",
        Heat::Cold,
    );
    assert_eq!(cold, Ideal::Overload);
    // The stalled blower keeps its hot overload besides: the limits do not make it forget.
    let stalled = unit(&circuit, &["blower.seized"], 0.5);
    assert!(matches!(
        motion(&stalled, "blower"),
        Motion::Tripped | Motion::Stalled | Motion::Humming
    ));
}

#[test]
fn a_short_in_the_24_v_circuit_blows_its_fuse() {
    let sheet = sheet("electric-furnace-1ph");
    let circuit = Circuit::new(&sheet);
    for fault in ["sequencer.heater-shorted", "blower-relay.coil-shorted"] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert_eq!(unit.consequences(), ["control-fuse.blown"], "{fault}");
        assert!(!sees(&unit, "element-1", Sight::Heats));
    }
}

/// The chain of a pump-down: thermostat, valve, low side, control, contactor, compressor.
#[test]
fn pump_down_goes_from_the_thermostat_to_the_compressor() {
    let sheet = sheet("walk-in-cooler-defrost-1ph");
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    assert_eq!(motion(&healthy, "compressor"), Motion::Running);
    assert_eq!(motion(&healthy, "evaporator-fan"), Motion::Running);
    assert!(healthy.consequences().is_empty());
    assert!(closed(&healthy, "low-pressure"));
    assert!(sees(&healthy, "refrigerant", Sight::LowSideUp));
    assert!(sees(&healthy, "liquid-valve", Sight::Clicks));
    assert!(!sees(&healthy, "refrigerant", Sight::RunsOn));
    // Each of these leaves the low side pumped down and its control open, with the line across it.
    for (fault, coil_fed, clicks, charged) in [
        ("thermostat.no-call", false, false, true),
        ("defrost-timer.stuck-in-defrost", false, false, true),
        ("room-breaker.tripped", false, false, true),
        ("valve-call.open", false, false, true),
        ("liquid-valve.coil-open", true, false, true),
        ("liquid-valve.stuck-shut", true, false, true),
        ("refrigerant.lost-charge", true, true, false),
    ] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert_eq!(motion(&unit, "compressor"), Motion::Still, "{fault}");
        assert!(!closed(&unit, "low-pressure"), "{fault}");
        assert!(
            volts(&unit, "low-pressure.1", "low-pressure.2") > 220.0,
            "{fault}"
        );
        assert!(
            volts(&unit, "contactor.A1", "contactor.A2") < 1.0,
            "{fault}"
        );
        let fed = volts(&unit, "liquid-valve.1", "liquid-valve.2") > 220.0;
        assert_eq!(fed, coil_fed, "{fault}");
        assert_eq!(
            sees(&unit, "liquid-valve", Sight::Clicks),
            clicks,
            "{fault}"
        );
        assert_eq!(
            sees(&unit, "refrigerant", Sight::Charged),
            charged,
            "{fault}"
        );
        assert!(!sees(&unit, "refrigerant", Sight::LowSideUp), "{fault}");
        let follows = "low-pressure.open-on-low-pressure".to_owned();
        assert!(unit.consequences().contains(&follows), "{fault}");
        // With the power off the low side stays where it was.
        let at = ["low-pressure.1", "low-pressure.2"];
        assert_eq!(
            dead(&unit, Function::Ohms, at, "coil", Heat::Cold),
            Ideal::Overload
        );
    }
    // A control that failed open, with the pressure there.
    let failed = unit(&circuit, &["low-pressure.failed-open"], 0.5);
    assert!(sees(&failed, "refrigerant", Sight::LowSideUp));
    assert!(failed.consequences().is_empty());
    // One that is welded, or a welded contactor, runs on with the liquid line shut.
    for fault in ["low-pressure.welded", "contactor.welded"] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert_eq!(motion(&unit, "compressor"), Motion::Running, "{fault}");
        assert!(sees(&unit, "refrigerant", Sight::RunsOn), "{fault}");
    }
}

/// No air over the condenser, by whatever cause: the high side opens its control, which stays
/// open until it is reset by hand.
#[test]
fn a_condenser_without_air_trips_the_high_pressure_control() {
    let sheet = sheet("walk-in-cooler-1ph");
    let circuit = Circuit::new(&sheet);
    for fault in [
        "run-cap.fan-open",
        "fan-motor.seized",
        "fan-common.open",
        "refrigerant.condenser-blocked",
    ] {
        let unit = unit(&circuit, &[fault], 0.5);
        assert_eq!(motion(&unit, "compressor"), Motion::Still, "{fault}");
        assert!(sees(&unit, "high-pressure", Sight::ResetOut), "{fault}");
        assert_eq!(
            unit.consequences(),
            ["high-pressure.tripped-on-high-pressure"],
            "{fault}"
        );
        // Reset by hand for a start from cold, it lets the compressor start once more.
        assert!(amps(&unit, "comp-common", Heat::Cold) > 1.0, "{fault}");
        let turns = fault == "refrigerant.condenser-blocked";
        assert_eq!(
            sees(&unit, "high-pressure", Sight::FanTurns),
            turns,
            "{fault}"
        );
        let at = ["high-pressure.1", "high-pressure.2"];
        assert_eq!(
            dead(&unit, Function::Ohms, at, "coil", Heat::Cold),
            Ideal::Overload
        );
    }
    let failed = unit(&circuit, &["high-pressure.failed-open"], 0.5);
    assert!(!sees(&failed, "high-pressure", Sight::ResetOut));
    assert!(amps(&failed, "comp-common", Heat::Cold) < 0.01);
    let tripped = unit(&circuit, &["high-pressure.tripped"], 0.5);
    assert!(sees(&tripped, "high-pressure", Sight::ResetOut));
    assert!(sees(&tripped, "high-pressure", Sight::FanTurns));
    assert!(tripped.consequences().is_empty());
    // Without its own compressor running nothing raises the high side.
    let both = unit(
        &circuit,
        &["run-cap.fan-open", "liquid-valve.stuck-shut"],
        0.5,
    );
    assert!(closed(&both, "high-pressure"));
}

/// A coil that is open does not pull in on the volts across it.
#[test]
fn an_open_coil_has_volts_and_does_not_pull_in() {
    let sheet = sheet("control-loop-24v");
    let circuit = Circuit::new(&sheet);
    let healthy = unit(&circuit, &[], 0.5);
    assert!(sees(&healthy, "contactor", Sight::PulledIn));
    let open = unit(&circuit, &["contactor.coil-open"], 0.5);
    assert!(volts(&open, "contactor.A1", "contactor.A2") > 24.0);
    assert!(!sees(&open, "contactor", Sight::PulledIn));
    let shorted = unit(&circuit, &["contactor.coil-shorted"], 0.5);
    assert_eq!(shorted.consequences(), ["control-fuse.blown"]);
}

/// A contact that opens once the unit runs: in the first seconds after a start nothing is
/// wrong, as it is found it stands open with the whole control volts across it, and dead it reads
/// whole.
#[test]
fn what_opens_once_the_unit_runs_is_whole_at_rest() {
    let sheet = sheet("split-heat-pump-1ph");
    let circuit = Circuit::new(&sheet);
    let whole = unit(&circuit, &[], 0.5);
    let ohms = |u: &Unit<'_>, at, lift| number(dead(u, Function::Ohms, at, lift, Heat::AsFound));
    for (fault, at, lift) in [
        (
            "low-pressure.opens-running",
            ["low-pressure.1", "low-pressure.2"],
            "coil",
        ),
        (
            "defrost-relay.opens-running",
            ["defrost-relay.COM", "defrost-relay.NC"],
            "fan",
        ),
    ] {
        let u = unit(&circuit, &[fault], 0.5);
        assert!(
            (ohms(&u, at, lift) / ohms(&whole, at, lift) - 1.0).abs() < 1e-9,
            "{fault}"
        );
        let fan = part(&sheet, "fan-motor");
        assert!(!u.sees(fan, Sight::Running, Heat::AsFound), "{fault}");
        assert!(u.sees(fan, Sight::Running, Heat::Cold), "{fault}");
        let across = volts(&u, at[0], at[1]);
        let source = if fault.starts_with("defrost") {
            200.0
        } else {
            22.0
        };
        assert!(across > source, "{fault}: {across}");
        assert!(
            u.consequences().is_empty(),
            "{fault}: {:?}",
            u.consequences()
        );
    }
    // The relay stops the fan only.
    let u = unit(&circuit, &["defrost-relay.opens-running"], 0.5);
    assert_eq!(motion(&u, "compressor"), Motion::Running);
}

/// A winding whose joint opens once current has warmed it: open as it is found and while it is warm,
/// whole when the motor is cold, and in the first seconds after a start from cold it turns. The same
/// motor with a winding that is open at all times reads alike until it is cold.
#[test]
fn what_opens_when_hot_is_whole_when_cold() {
    let sheet = sheet("split-heat-pump-1ph");
    let circuit = Circuit::new(&sheet);
    let whole = unit(&circuit, &[], 0.5);
    let fan = part(&sheet, "fan-motor");
    let ends = [
        ("run", ["fan-common.1", "fan-run.1"]),
        ("start", ["fan-start.1", "fan-run.1"]),
    ];
    for (winding, at) in ends {
        let hot = unit(&circuit, &[&format!("fan-motor.{winding}-opens-hot")], 0.5);
        let always = unit(&circuit, &[&format!("fan-motor.{winding}-open")], 0.5);
        let read = |u: &Unit<'_>, heat| dead(u, Function::Ohms, at, "fan", heat);
        assert_eq!(read(&hot, Heat::AsFound), Ideal::Overload, "{winding}");
        let [cold, healthy] = [&hot, &whole].map(|u| number(read(u, Heat::Cold)));
        assert!((cold / healthy - 1.0).abs() < 1e-9, "{winding}: {cold}");
        assert_eq!(read(&always, Heat::Cold), Ideal::Overload, "{winding}");
        assert!(!hot.sees(fan, Sight::Running, Heat::AsFound), "{winding}");
        assert!(hot.sees(fan, Sight::Running, Heat::Cold), "{winding}");
        assert!(!always.sees(fan, Sight::Running, Heat::Cold), "{winding}");
        assert_eq!(motion(&hot, "compressor"), Motion::Running);
    }
}

/// What is repaired is the same, so the two share a group and no wait is asked for; a cold reading that
/// was made all the same tells them apart.
#[test]
fn a_cold_reading_tells_what_opens_when_hot_from_what_is_open() {
    let sheet = sheet("split-heat-pump-1ph");
    let compiled = compile(&sheet, Options::default()).expect("it compiles");
    let table = Table::parse(&compiled.bytes).expect("a table");
    let [hot, always] = ["fan-motor.run-opens-hot", "fan-motor.run-open"].map(|name| {
        let fault = sheet.fault(name).expect("a fault");
        let at = compiled.sets.iter().position(|set| *set == [fault]);
        u16::try_from(at.expect("a hypothesis")).expect("small")
    });
    assert_eq!(table.group(hot), table.group(always));
    let mut weights = vec![0.0; table.weight_count()];
    let mut belief = Belief::new(&table, &mut weights).expect("room");
    let point = |name| sheet.point(name).expect("a point");
    let at = ["fan-common.1", "fan-run.1"].map(point);
    let check = |heat| {
        let found = sheet.checks.iter().position(|c| {
            c.heat == Some(heat)
                && c.power == Some(false)
                && matches!(c.question, Question::Measure { points, .. } if points == at)
        });
        u16::try_from(found.expect("a check")).expect("small")
    };
    let open = Evidence::Confirmed(Likely::certain(Class::Open));
    belief.update(check(Heat::AsFound), &open).expect("taken");
    assert!(belief.posterior(always) > 5.0 * belief.posterior(hot));
    let within = Evidence::Confirmed(Likely::certain(Class::Within));
    belief.update(check(Heat::Cold), &within).expect("taken");
    assert!(belief.posterior(hot) > 20.0 * belief.posterior(always));
}
