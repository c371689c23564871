//! The hopscotch along a chain of safeties, found by the planner itself: volts from one fixed
//! reference to each junction, by halves.
//!
//! A binary search over n places needs at most ceil(log2 n) answers (information theory: an answer
//! of yes or no tells at most a bit).

use ohmtrail_circuit::compile::{Options, compile};
use ohmtrail_circuit::meter::{Ideal, Scene, State as UnitState, input_ohms};
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::sheet::{FaultId, Heat, Question, Sheet, read_builtin};
use ohmtrail_circuit::unit::{Circuit, Drawn};
use ohmtrail_core::isolate::{Belief, Evidence, Planner, State, Table};

/// The evidence that a perfect meter and honest eyes would give of this check.
fn answer(
    unit: &Unit<'_>,
    sheet: &Sheet,
    check: usize,
    bands: &[Option<ohmtrail_circuit::bands::CheckBands>],
) -> Evidence {
    let asked = &sheet.checks[check];
    match &asked.question {
        Question::Look { part, look } => {
            Evidence::Looked(unit.sees(*part, look.sight, Heat::AsFound))
        }
        Question::Measure {
            function,
            points,
            low_impedance,
            ..
        } => {
            let state = UnitState {
                power: asked.power == Some(true),
                lifted: asked.lift.map_or(&[], |l| sheet.lifts[l].ends.as_slice()),
                heat: asked.heat.unwrap_or(Heat::AsFound),
            };
            let scene = Scene::new(unit, *function, state).expect("modelled");
            let value = match scene.shows(*function, *points, input_ohms(*low_impedance)) {
                Ideal::Value(value) => value,
                Ideal::Overload => f64::INFINITY,
            };
            let bands = bands[check].expect("a measurement has bands").bands;
            Evidence::Measured(bands.judge(value, 0.0))
        }
    }
}

/// The checks that the planner asks, under power and until the fault set has 0.99.
fn asked(
    sheet: &Sheet,
    circuit: &Circuit<'_>,
    compiled: &ohmtrail_circuit::compile::Compiled,
    fault: FaultId,
) -> Vec<usize> {
    let table = Table::parse(&compiled.bytes).expect("a table");
    let mut weights = vec![0.0; table.weight_count()];
    let mut prospects = vec![Default::default(); usize::from(table.ask_count())];
    let mut active = vec![Default::default(); usize::from(table.hypotheses)];
    let unit = Unit::new(circuit, Drawn::draw(sheet, 5), &[fault]);
    let mut belief = Belief::new(&table, &mut weights).expect("room");
    let mut planner = Planner::new(&table, &mut prospects, &mut active).expect("room");
    let now = State {
        on: true,
        lifted: 0,
        cooled: false,
    };
    let mut order: Vec<usize> = Vec::new();
    // The complaint: it does not pull in.
    let look = sheet.look("contactor.pulled-in").expect("a look");
    let seen = answer(&unit, sheet, look, &compiled.bands);
    belief.update(look as u16, &seen).expect("an update");
    loop {
        let lead = belief.leading();
        let faults: Vec<usize> = table.faults_of(lead.hypothesis).map(usize::from).collect();
        if lead.p >= 0.99 {
            assert_eq!(faults, [fault], "{}", sheet.faults[fault].name);
            return order;
        }
        let mut allowed = |ask: u16| {
            let check = &sheet.checks[usize::from(ask)];
            check.power != Some(false)
                && !order.contains(&usize::from(ask))
                && usize::from(ask) != look
        };
        let Some(next) = planner.next(&belief, now, &mut allowed) else {
            // What is left cannot be told apart under power: a blown fuse from the short behind it.
            assert!(faults.contains(&fault), "{}", sheet.faults[fault].name);
            return order;
        };
        let check = usize::from(next.ask);
        order.push(check);
        let seen = answer(&unit, sheet, check, &compiled.bands);
        belief.update(next.ask, &seen).expect("an update");
        assert!(order.len() < 40, "it does not end");
    }
}

#[test]
fn the_planner_halves_the_chain() {
    let sheet = read_builtin("control-loop-24v")
        .expect("built in")
        .expect("it reads");
    let circuit = Circuit::new(&sheet);
    let options = Options {
        singles_only: true,
        ..Options::default()
    };
    let compiled = compile(&sheet, options).expect("it compiles");
    // What can be open along the chain, in its order.
    let chain = [
        "hot.open",
        "control-fuse.blown",
        "fused.open",
        "thermostat.no-call",
        "call.open",
        "float.tripped",
        "float-out.open",
        "low-pressure.open",
        "low-out.open",
        "high-pressure.open",
        "high-out.open",
        "limit.open",
        "limit-out.open",
        "lockout.open",
        "lockout-out.open",
    ];
    // Each pressure switch may also open only while the unit runs: under power, one more.
    let places = chain.len() + 2;
    let halves = (places as f64).log2().ceil();
    let total: f64 = sheet.faults.iter().map(|f| f.weight).sum();
    let (mut mean, mut mass) = (0.0, 0.0);
    for name in chain {
        let fault = sheet.fault(name).expect("a fault");
        let weight = sheet.faults[fault].weight;
        let order = asked(&sheet, &circuit, &compiled, fault);
        let words: Vec<&str> = order
            .iter()
            .map(|&c| sheet.checks[c].why.as_str())
            .collect();
        println!("{name}: {} {words:#?}", order.len());
        // By halves of what is probable a rare fault lies deeper: Shannon's bound, -log2 p. One
        // answer more confirms it.
        let most = halves.max((total / weight).log2().ceil()) + 1.0;
        assert!(order.len() as f64 <= most, "{name}: {words:#?}");
        // The first volts are read in the middle: a third of the places at least to either side.
        let first = order.iter().find_map(|&c| match &sheet.checks[c].question {
            Question::Measure { points, .. } => Some(sheet.point_name(points[0])),
            Question::Look { .. } => None,
        });
        let middle = [
            "thermostat.Y",
            "float.1",
            "float.2",
            "low-pressure.1",
            "low-pressure.2",
            "high-pressure.1",
        ];
        assert!(
            first.is_some_and(|p| middle.contains(&p)),
            "{name}: {words:#?}"
        );
        mean += weight * order.len() as f64;
        mass += weight;
    }
    mean /= mass;
    println!("{mean:.2} checks in the mean; halving takes {halves} at most and one to confirm");
    assert!(mean <= halves + 1.0);
    // One after the other it would take half of the junctions in the mean.
    assert!(mean < chain.len() as f64 / 2.0);
}
