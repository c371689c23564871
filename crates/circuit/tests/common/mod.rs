//! What the tests of units share: sheets, fault sets by name, and units drawn as their sheet says.

use ohmtrail_circuit::meter::{Ideal, Scene, State, VOLTMETER_OHMS};
use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::sheet::{FaultId, Heat, PointId, Sheet, read_builtin};
use ohmtrail_circuit::unit::{Circuit, Drawn};
use ohmtrail_core::reading::Function;

/// The built-in sheet.
pub fn heat_pump() -> Sheet {
    read_builtin("split-heat-pump-1ph")
        .expect("it is built in")
        .expect("it reads")
}

/// Faults by their names.
pub fn faults(sheet: &Sheet, names: &[&str]) -> Vec<FaultId> {
    let find = |name: &&str| sheet.fault(name).unwrap_or_else(|| panic!("fault {name}"));
    names.iter().map(find).collect()
}

/// Points by their names.
pub fn points(sheet: &Sheet, names: [&str; 2]) -> [PointId; 2] {
    names.map(|name| sheet.point(name).unwrap_or_else(|| panic!("point {name}")))
}

/// The unit of exactly the sheet's values. A stalled motor's overload is open when it is found.
pub fn exact(sheet: &Sheet, severity: f64) -> Drawn {
    Drawn {
        severity: vec![severity; sheet.faults.len()],
        ..Drawn::stated(sheet)
    }
}

/// That unit under these faults, as bad as `severity` says.
pub fn unit<'c>(circuit: &'c Circuit<'_>, names: &[&str], severity: f64) -> Unit<'c> {
    let sheet = circuit.sheet;
    Unit::new(circuit, exact(sheet, severity), &faults(sheet, names))
}

/// What a perfect meter shows.
pub fn shows(unit: &Unit<'_>, function: Function, at: [&str; 2], state: State<'_>) -> Ideal {
    let points = points(unit.circuit().sheet, at);
    Scene::new(unit, function, state)
        .unwrap_or_else(|| panic!("{function:?} in {state:?}"))
        .shows(function, points, VOLTMETER_OHMS)
}

/// The number that it shows.
pub fn number(ideal: Ideal) -> f64 {
    match ideal {
        Ideal::Value(value) => value,
        Ideal::Overload => panic!("an overload where a number is expected"),
    }
}

/// Under power for long.
pub const LIVE: State<'static> = State {
    power: true,
    lifted: &[],
    heat: Heat::AsFound,
};

/// Volts under power.
pub fn volts(unit: &Unit<'_>, a: &str, b: &str) -> f64 {
    number(shows(unit, Function::VoltsAc, [a, b], LIVE))
}

/// Amperes in a wire under power, as found or just started from cold.
pub fn amps(unit: &Unit<'_>, wire: &str, heat: Heat) -> f64 {
    let ends = [format!("{wire}.1"), format!("{wire}.2")];
    let at = [ends[0].as_str(), ends[1].as_str()];
    number(shows(unit, Function::AmpsAc, at, State { heat, ..LIVE }))
}

/// Ohms or farads of the dead unit, with one of the sheet's lifted sets.
pub fn dead(unit: &Unit<'_>, function: Function, at: [&str; 2], lift: &str, heat: Heat) -> Ideal {
    let lifts = &unit.circuit().sheet.lifts;
    let lifted = lifts.iter().find(|l| l.name == lift);
    let state = State {
        power: false,
        lifted: lifted.map_or(&[], |l| &l.ends),
        heat,
    };
    shows(unit, function, at, state)
}
