//! The solver against ngspice (a general circuit simulator): every built-in sheet, healthy and under
//! every fault, powered and dead, to 1e-6 relative + 1 microvolt. On the first sheet every check's
//! probe pair in every state of the unit; on the others a share of the states under each fault, another
//! under the next.
//!
//! This proves the solver, not the model: both solve the same elements.

use ohmtrail_circuit::meter::{CAPACITANCE_HERTZ, Ideal, OVERLOAD_OHMS, Scene, State, input_ohms};
use ohmtrail_circuit::netlist::{Analysis, Deck};
use ohmtrail_circuit::network::{Alternating, Direct, Element};
use ohmtrail_circuit::operate::{LINE_HERTZ, Unit};
use ohmtrail_circuit::sheet::{BUILTIN, Heat, Question, Sheet, read_builtin};
use ohmtrail_circuit::unit::{Circuit, Drawn};
use ohmtrail_core::reading::Function;
use ohmtrail_spice::Ngspice;

/// One part in a million of the value, and one microvolt (or microohm) besides.
const RELATIVE: f64 = 1e-6;
const ABSOLUTE: f64 = 1e-6;

/// What ngspice loses of a nearly floating conductor's admittance to earth, siemens: it keeps a
/// node's diagonal as one double, and a joint of a milliohm leaves the last place of 1000 S.
/// Solved with 64 bits of mantissa such a conductor reads what our solver says. Times the
/// impedance between the probes it is a share of the reading: nothing where a circuit ties them.
const LAST_PLACE: f64 = f64::EPSILON * 1e3;

/// On all sheets but the first, one in so many of the unit's states is solved under each fault.
const SHARE: usize = 8;

fn analysis(function: Function) -> Analysis {
    match function {
        Function::Farads => Analysis::Farads,
        f if f.injects() => Analysis::Ohms,
        _ => Analysis::Live,
    }
}

/// Our value, and how far it may be off besides, relative to it.
type Ours = (f64, f64);

/// Compares one unit with ngspice in the states whose number leaves `rest` over `share`, at every
/// measuring check made in them; returns how many pairs were held against each other and the worst
/// deviation as a share of what is allowed.
fn compare(
    ngspice: &mut Ngspice,
    circuit: &Circuit<'_>,
    faults: &[usize],
    (share, rest): (usize, usize),
) -> (usize, f64) {
    let sheet: &Sheet = circuit.sheet;
    let unit = Unit::new(circuit, Drawn::draw(sheet, 11), faults);
    let (mut pairs, mut worst) = (0, 0.0f64);
    let mut states = 0;
    for kind in [Analysis::Live, Analysis::Ohms, Analysis::Farads] {
        let mut scenes: Vec<(State<'_>, Deck, Vec<Element>, Vec<Ours>)> = Vec::new();
        for check in &sheet.checks {
            let Question::Measure {
                function,
                points,
                low_impedance,
                ..
            } = &check.question
            else {
                continue;
            };
            if analysis(*function) != kind {
                continue;
            }
            let state = State {
                power: check.power == Some(true),
                lifted: check.lift.map_or(&[], |l| sheet.lifts[l].ends.as_slice()),
                heat: check.heat.unwrap_or(Heat::AsFound),
            };
            let at = scenes
                .iter()
                .position(|(s, ..)| *s == state)
                .unwrap_or_else(|| {
                    let elements = if state.power {
                        unit.standing(state.heat).assembly.elements.clone()
                    } else {
                        unit.dead_elements(state.lifted, state.heat)
                    };
                    scenes.push((
                        state,
                        Deck::new(sheet, kind, &elements),
                        elements,
                        Vec::new(),
                    ));
                    scenes.len() - 1
                });
            let (_, deck, elements, ours) = &mut scenes[at];
            let input = input_ohms(*low_impedance);
            deck.probe(*points, input);
            let ends = points.map(Some);
            let mut floats = 0.0;
            let shown = match kind {
                Analysis::Held => unreachable!("no check measures what is held"),
                Analysis::Live => {
                    let network =
                        Alternating::solve(&circuit.pattern, elements.as_slice(), LINE_HERTZ, true);
                    // The prediction that goes into the table is this very value.
                    if *function == Function::VoltsAc {
                        let scene = Scene::new(&unit, *function, state).expect("modelled");
                        assert_eq!(
                            scene.shows(*function, *points, input),
                            Ideal::Value(network.voltmeter(ends, input))
                        );
                    }
                    floats = LAST_PLACE * network.impedance(ends).norm();
                    network.voltmeter(ends, input)
                }
                Analysis::Ohms => Direct::new(&circuit.pattern, elements).resistance(ends),
                Analysis::Farads => {
                    Alternating::solve(&circuit.pattern, elements, CAPACITANCE_HERTZ, false)
                        .impedance(ends)
                        .norm()
                }
            };
            ours.push((shown, floats));
        }
        for (_, deck, _, ours) in scenes {
            states += 1;
            if states % share != rest {
                continue;
            }
            let (network, commands, probes) = deck.parts();
            assert_eq!(probes, ours.len(), "one value for each probe pair");
            ngspice.load(&network).expect("the circuit is taken");
            let theirs = ngspice
                .run(&commands, probes)
                .expect("the values are printed");
            for ((ours, floats), (re, im)) in ours.iter().zip(theirs) {
                let theirs = re.hypot(im);
                let allowed = (RELATIVE + floats) * theirs.abs() + ABSOLUTE;
                pairs += 1;
                // What both read as an overload is no number on any meter: two floating parts
                // are tied by insulation only, where elimination without our sums loses digits.
                if kind == Analysis::Ohms && ours.min(theirs) > OVERLOAD_OHMS {
                    continue;
                }
                worst = worst.max((ours - theirs).abs() / allowed);
            }
        }
    }
    (pairs, worst)
}

#[test]
fn ngspice_agrees_at_every_probe_pair_under_every_fault() {
    let Ok(program) = std::env::var("OHMTRAIL_NGSPICE") else {
        panic!("OHMTRAIL_NGSPICE is not set: run `cargo xtask test`, which installs ngspice");
    };
    let sheets: Vec<Sheet> = BUILTIN
        .iter()
        .map(|(name, _)| read_builtin(name).expect("built in").expect("reads"))
        .collect();
    // Healthy, and each fault by itself.
    let sets: Vec<(usize, Vec<usize>)> = sheets
        .iter()
        .enumerate()
        .flat_map(|(s, sheet)| {
            let single = (0..sheet.faults.len()).map(|f| vec![f]);
            std::iter::once(vec![])
                .chain(single)
                .map(move |set| (s, set))
        })
        .collect();
    let next = std::sync::atomic::AtomicUsize::new(0);
    let results = std::sync::Mutex::new((0, 0.0f64, Vec::new()));
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                let circuits: Vec<Circuit<'_>> = sheets.iter().map(Circuit::new).collect();
                let mut ngspice = Ngspice::start(&program).expect("ngspice starts");
                loop {
                    let i = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                    let Some((s, faults)) = sets.get(i) else {
                        break;
                    };
                    let share = if *s == 0 { (1, 0) } else { (SHARE, i % SHARE) };
                    let (pairs, worst) = compare(&mut ngspice, &circuits[*s], faults, share);
                    let mut all = results.lock().expect("not poisoned");
                    all.0 += pairs;
                    all.1 = all.1.max(worst);
                    if worst > 1.0 {
                        let sheet = &sheets[*s];
                        let name = faults.first().map_or("healthy", |&f| &sheet.faults[f].name);
                        all.2.push(format!(
                            "{}, {name}: {worst:.2} times what is allowed",
                            sheet.name
                        ));
                    }
                }
            });
        }
    });
    let (pairs, worst, off) = results.into_inner().expect("not poisoned");
    println!(
        "{pairs} probe pairs under {} fault sets of all sheets; worst deviation {worst:.3} of what is allowed",
        sets.len()
    );
    assert!(off.is_empty(), "ngspice disagrees:\n{}", off.join("\n"));
}
