//! Ghost volts: what a conductor that floats beside a live one shows on a meter of megohms, and what
//! is left of it into a low impedance.

#[allow(dead_code, reason = "each test file uses its part")]
mod common;

use std::f64::consts::TAU;

use common::{exact, faults, number, points};
use ohmtrail_circuit::meter::{LOW_IMPEDANCE_OHMS, Scene, State, VOLTMETER_OHMS};
use ohmtrail_circuit::operate::{LINE_HERTZ, Unit};
use ohmtrail_circuit::sheet::{Heat, Question, Sheet, read_builtin, read_text};
use ohmtrail_circuit::unit::{Circuit, Drawn};
use ohmtrail_core::class::Class;
use ohmtrail_core::reading::Function;

const LIVE: State<'static> = State {
    power: true,
    lifted: &[],
    heat: Heat::AsFound,
};

fn volts(unit: &Unit<'_>, at: [&str; 2], input_ohms: f64) -> f64 {
    let points = points(unit.circuit().sheet, at);
    let scene = Scene::new(unit, Function::VoltsAc, LIVE).expect("modelled");
    number(scene.shows(Function::VoltsAc, points, input_ohms))
}

/// Two legs side by side in a cable of that length to a disconnect that feeds nothing.
fn feeder(metres: u32) -> Sheet {
    let text = format!(
        r#"
        name = "feeder"
        title = "An invented feeder: two legs to a disconnect"
        unused = ["disconnect.load-1", "disconnect.load-2"]
        [dead]
        line = ["disconnect.line-1", "disconnect.line-2"]
        load = ["disconnect.load-1", "disconnect.load-2"]
        ground = "supply.G"
        [[part]]
        name = "supply"
        kind = "supply"
        volts = "240 V"
        [[part]]
        name = "breaker"
        kind = "breaker"
        rating = "15 A"
        [[part]]
        name = "disconnect"
        kind = "disconnect"
        [[wire]]
        name = "service-1"
        from = "supply.L1"
        to = "breaker.line-1"
        [[wire]]
        name = "service-2"
        from = "supply.L2"
        to = "breaker.line-2"
        [[wire]]
        name = "feed-1"
        from = "breaker.load-1"
        to = "disconnect.line-1"
        [[wire]]
        name = "feed-2"
        from = "breaker.load-2"
        to = "disconnect.line-2"
        [[cable]]
        name = "feed-cable"
        wires = ["feed-1", "feed-2"]
        length = "{metres} m"
        [[check]]
        measure = "volts-ac"
        points = ["disconnect.line-1", "supply.G"]
        power = "on"
        low-impedance = true
        why = "leg 1 to ground"
        "#
    );
    read_text("feeder", &text).unwrap_or_else(|e| panic!("{e}"))
}

/// A capacitive divider, worked by hand: the floating leg is coupled to the live one and to ground,
/// and the meter lies beside the latter: V = E jwC1 / (1/R + jw(C1 + C2)) (textbook).
#[test]
fn a_floating_leg_is_a_capacitive_divider() {
    for metres in [2, 15, 40] {
        let sheet = feeder(metres);
        let circuit = Circuit::new(&sheet);
        let stated = Drawn::stated(&sheet);
        let unit = Unit::new(&circuit, stated, &faults(&sheet, &["feed-1.open"]));
        let between = 80e-12 * f64::from(metres);
        // To ground: the cable's, and the strays of the three points behind the break.
        let to_ground = 60e-12 * f64::from(metres) + 3.0 * 30e-12;
        let omega = TAU * LINE_HERTZ;
        for ohms in [VOLTMETER_OHMS, LOW_IMPEDANCE_OHMS] {
            let by_hand =
                120.0 * omega * between / (1.0 / ohms).hypot(omega * (between + to_ground));
            let shown = volts(&unit, ["disconnect.line-1", "supply.G"], ohms);
            // The open wire leaks at gigohms.
            assert!(
                (shown - by_hand).abs() < 0.01 * by_hand + 0.002,
                "{metres} m into {ohms}: {shown} V, by hand {by_hand} V"
            );
        }
        // Tens of volts on a meter of megohms, next to nothing into some kilohms.
        let [high, low] = [VOLTMETER_OHMS, LOW_IMPEDANCE_OHMS]
            .map(|ohms| volts(&unit, ["disconnect.line-1", "supply.G"], ohms));
        assert!(high > 5.0 && low < 0.5 && low < high / 50.0, "{high} {low}");
    }
}

/// A thermostat that does not call, and the heater of its sequencer open: the call's wire floats
/// beside the live one, and reads what a call would. Only the low-impedance mode tells.
#[test]
fn a_floating_call_reads_as_a_call_until_it_is_loaded() {
    let sheet = read_builtin("electric-furnace-1ph")
        .expect("built in")
        .expect("reads");
    let circuit = Circuit::new(&sheet);
    let compiled =
        ohmtrail_circuit::compile::compile(&sheet, Default::default()).expect("it compiles");
    let wrong = faults(
        &sheet,
        &["thermostat.no-heat-call", "sequencer.heater-open"],
    );
    let unit = Unit::new(&circuit, exact(&sheet, 0.5), &wrong);
    let at = points(&sheet, ["thermostat.W", "transformer.X2"]);
    let check = |low: bool| {
        let mut all = sheet.checks.iter().enumerate();
        all.find(|(_, c)| {
            c.is_low_impedance() == low
                && matches!(c.question, Question::Measure { points, .. } if points == at)
        })
        .map(|(c, _)| c)
        .expect("a check of each")
    };
    let class = |check: usize, volts: f64| {
        let bands = compiled.bands[check].expect("a measurement").bands;
        bands.judge(volts, 0.1).best().0
    };
    let high = volts(&unit, ["thermostat.W", "transformer.X2"], VOLTMETER_OHMS);
    let low = volts(
        &unit,
        ["thermostat.W", "transformer.X2"],
        LOW_IMPEDANCE_OHMS,
    );
    assert_eq!(class(check(false), high), Class::Within, "{high} V");
    assert_eq!(class(check(true), low), Class::Absent, "{low} V");
    // Where it does call, both read the call.
    let healthy = Unit::new(&circuit, exact(&sheet, 0.5), &[]);
    for (low, ohms) in [(false, VOLTMETER_OHMS), (true, LOW_IMPEDANCE_OHMS)] {
        let shown = volts(&healthy, ["thermostat.W", "transformer.X2"], ohms);
        assert_eq!(class(check(low), shown), Class::Within, "{shown} V");
    }
}

/// Coupling differs from unit to unit, and the table's samples cover that.
#[test]
fn units_differ_in_their_coupling() {
    let sheet = feeder(15);
    let circuit = Circuit::new(&sheet);
    let open = faults(&sheet, &["feed-1.open"]);
    let shown: Vec<f64> = (0..8)
        .map(|i| {
            let unit = Unit::new(&circuit, Drawn::sample(&sheet, i, 8), &open);
            volts(&unit, ["disconnect.line-1", "supply.G"], VOLTMETER_OHMS)
        })
        .collect();
    let least = shown.iter().copied().fold(f64::INFINITY, f64::min);
    let most = shown.iter().copied().fold(0.0, f64::max);
    assert!(
        least > 20.0 && most < 110.0 && most > 1.3 * least,
        "{shown:?}"
    );
}

#[test]
fn what_is_wrong_with_a_cable_is_said() {
    let wrong = |cable: &str, more: &str| {
        let sheet = include_str!("small-sheet.toml");
        let text = format!("{sheet}\n[[cable]]\n{cable}\n{more}");
        let error = read_text("wrong", &text).expect_err("it is wrong");
        error.to_string()
    };
    let said = wrong("name = \"a\"\nwires = [\"nowhere\"]\nlength = \"3 m\"", "");
    assert!(said.contains("\"nowhere\" is not a wire"), "{said}");
    let said = wrong("name = \"a\"\nwires = []\nlength = \"3 m\"", "");
    assert!(said.contains("has no wires"), "{said}");
    let said = wrong("name = \"a\"\nwires = []\nlength = \"3 ft\"", "");
    assert!(said.contains("\"ft\" is not a unit"), "{said}");
    let said = wrong("name = \"a\"\nwires = []\nlength = \"0 m\"", "");
    assert!(said.contains("above 0 m"), "{said}");
}
