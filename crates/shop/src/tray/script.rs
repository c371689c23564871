//! What is read of each kind of part, in which order, and what it is held against.
//!
//! Limits are rules of the core, or what is stamped on the part. Where neither is there, the value is
//! written down and not judged: a made-up limit sorts good parts out and bad ones in.

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::RuleError;
use ohmtrail_core::rules::capacitor::{ABSENT, Known, Tolerance, USUAL};
use ohmtrail_core::rules::control::{COIL_RELEASED, Load};
use ohmtrail_core::rules::insulation::Insulation;
use ohmtrail_core::source::{Source, Status};
use ohmtrail_core::units::{Amps, Celsius, Farads, Volts};
use ohmtrail_core::verdict::Limit;

/// What is stamped on the part.
pub const MARKING: Source = Source::new("marking on the part", Status::Plate);
/// A path where one belongs.
pub const PATH: Source = Source::new(
    "a coil, a winding or a thermistor is one path between its ends",
    Status::Computed,
);

/// A kind of part that a tray can hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A run capacitor, each section by itself.
    Capacitor,
    /// A contactor: coil, and poles under a test current.
    Contactor,
    /// A relay: coil, and contact under a test current.
    Relay,
    /// A control transformer of 24 V.
    Transformer,
    /// A single-phase motor with a start winding, its leads free.
    Motor,
    /// A thermistor at the temperature that its marking holds for.
    Thermistor,
    /// A pressure switch: where it opens and closes.
    PressureSwitch,
}

impl Kind {
    /// Every one.
    pub const ALL: [Kind; 7] = [
        Kind::Capacitor,
        Kind::Contactor,
        Kind::Relay,
        Kind::Transformer,
        Kind::Motor,
        Kind::Thermistor,
        Kind::PressureSwitch,
    ];

    /// A name that does not change.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Kind::Capacitor => "capacitor",
            Kind::Contactor => "contactor",
            Kind::Relay => "relay",
            Kind::Transformer => "transformer",
            Kind::Motor => "motor",
            Kind::Thermistor => "thermistor",
            Kind::PressureSwitch => "pressure-switch",
        }
    }

    /// What the marked values are of, if any are asked for.
    #[must_use]
    pub const fn marked(self) -> Option<Function> {
        match self {
            Kind::Capacitor => Some(Function::Farads),
            Kind::Contactor | Kind::Relay | Kind::Thermistor => Some(Function::Ohms),
            Kind::PressureSwitch => Some(Function::Pascals),
            Kind::Transformer | Kind::Motor => None,
        }
    }

    /// How many marked values it may have.
    const fn most_marked(self) -> usize {
        match self {
            Kind::Capacitor => 4,
            Kind::PressureSwitch => 2,
            Kind::Contactor | Kind::Relay | Kind::Thermistor => 1,
            Kind::Transformer | Kind::Motor => 0,
        }
    }

    /// What to heed at the bench.
    #[must_use]
    pub const fn caution(self) -> &'static str {
        match self {
            Kind::Capacitor => {
                "each capacitor is discharged through a resistor and proved first; a bulged or leaking can is rejected whatever it reads"
            }
            Kind::Contactor | Kind::Relay => {
                "the coil and the test circuit are under power when contacts are measured: a fused, current-limited supply, leads put on with it off"
            }
            Kind::Transformer => {
                "the primary is at the mains: covered, fused, leads put on with it off"
            }
            Kind::Motor => {
                "an insulation tester charges the winding: discharge it before the leads are taken off; never on a compressor in a vacuum"
            }
            Kind::Thermistor => {
                "the part is at the temperature of its marking, in still air or a stirred bath, before it is read"
            }
            Kind::PressureSwitch => {
                "dry nitrogen through a regulator with a relief valve, eye protection; never oxygen, never refrigerant"
            }
        }
    }
}

/// What is known of every part of the tray, in base units.
#[derive(Debug, Clone, Default)]
pub struct Plate {
    /// Marked values: a capacitor's sections, a coil's or a thermistor's ohms, where a switch opens
    /// and closes.
    pub marked: Vec<f64>,
    /// The marked tolerance.
    pub tolerance: Option<Tolerance>,
    /// The current of the test circuit, for contacts.
    pub amps: Option<Quantity<Amps>>,
    /// Its voltage.
    pub source: Option<Volts>,
    /// How many poles a contactor has.
    pub poles: usize,
    /// A motor's insulation, and the winding's temperature.
    pub insulation: Option<(Insulation, Celsius)>,
}

/// What a value is held against.
#[derive(Debug, Clone, PartialEq)]
pub enum Held {
    /// [`ohmtrail_core::rules::capacitor::section`].
    Section(Known),
    /// [`ohmtrail_core::rules::control::at_secondary`].
    Secondary(Load),
    /// [`ohmtrail_core::rules::drop::across_pole`].
    Pole(Quantity<Amps>, Volts),
    /// [`ohmtrail_core::rules::insulation::open_motor`], random-wound.
    Shell(Insulation, Celsius),
    /// The third of three pairs of windings: [`ohmtrail_core::rules::winding::sum_rule`].
    Sum,
    /// What is stamped on the part.
    Marked(Limit),
    /// No limit has a source: the value is written down. An overload on ohms is an open path.
    Nothing,
}

/// One reading of a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its name, as it is written down.
    pub name: String,
    /// The meter's function.
    pub function: Function,
    /// What to connect.
    pub connect: &'static str,
    /// What it is held against.
    pub held: Held,
    /// A magnitude under which nothing is connected, in the base unit; an overload means the same on
    /// ohms. None where a display cannot tell leads that are off from a part that is on: then each
    /// reading is asked for by hand.
    pub off_below: Option<f64>,
}

/// The script of a tray.
#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    /// The kind of part.
    pub kind: Kind,
    /// What is read of each part, in order.
    pub steps: Vec<Step>,
    /// What the script leaves out, and why.
    pub unproven: Vec<&'static str>,
}

/// Why there is no script.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ScriptError {
    /// More marked values than such a part has.
    #[error("{} marked value(s) at most for a {}", .0.most_marked(), .0.name())]
    Marked(Kind),
    /// A marked value or its tolerance is no limit.
    #[error("marked value or tolerance: {}", .0.words())]
    Rule(RuleError),
    /// Amps without volts, or the other way round.
    #[error("contacts are judged by the test circuit's amps and volts: give both or neither")]
    Circuit,
}

impl From<RuleError> for ScriptError {
    fn from(error: RuleError) -> Self {
        ScriptError::Rule(error)
    }
}

/// The script for a tray of such parts.
///
/// # Errors
/// [`ScriptError`].
pub fn script(kind: Kind, plate: &Plate) -> Result<Script, ScriptError> {
    if plate.marked.len() > kind.most_marked() {
        return Err(ScriptError::Marked(kind));
    }
    let mut unproven = Vec::new();
    let steps = match kind {
        Kind::Capacitor => sections(plate)?,
        Kind::Contactor => {
            let mut steps = vec![coil(plate)?];
            steps.extend(poles(plate, plate.poles, &mut unproven)?);
            steps
        }
        Kind::Relay => {
            let mut steps = vec![coil(plate)?];
            steps.extend(poles(plate, 1, &mut unproven)?);
            steps
        }
        Kind::Transformer => secondary(),
        Kind::Motor => windings(plate, &mut unproven),
        Kind::Thermistor => vec![Step {
            name: "thermistor".to_owned(),
            connect: "both ends of the thermistor, at the temperature of its marking",
            ..path("thermistor", marked(plate, 0)?)
        }],
        Kind::PressureSwitch => switching(plate)?,
    };
    if steps.iter().all(|s| s.held == Held::Nothing) {
        unproven.push("every value: no limit has a source; give --marked and --tolerance");
    }
    Ok(Script {
        kind,
        steps,
        unproven,
    })
}

/// The limits that are stamped on the part, where value and tolerance are.
fn marked(plate: &Plate, nth: usize) -> Result<Held, ScriptError> {
    let (Some(value), Some(tolerance)) = (plate.marked.get(nth), plate.tolerance) else {
        return Ok(Held::Nothing);
    };
    // The same algebra as a capacitor's marking, whatever the unit.
    let limit = ohmtrail_core::rules::capacitor::marked_limits(Farads(*value), tolerance)?;
    Ok(Held::Marked(Limit::new(limit.lower, limit.upper, MARKING)))
}

fn sections(plate: &Plate) -> Result<Vec<Step>, ScriptError> {
    let of = |name: String, known: Known| -> Result<Step, ScriptError> {
        if let (Some(value), Some(tolerance)) = (known.marked, known.tolerance) {
            ohmtrail_core::rules::capacitor::marked_limits(value, tolerance)?;
        }
        let least = known.marked.map_or(USUAL.limit().low(), |f| f.0);
        Ok(Step {
            name,
            function: Function::Farads,
            connect: "both terminals of the section, discharged",
            off_below: Some(ABSENT.limit_of(least).low()),
            held: Held::Section(known),
        })
    };
    if plate.marked.is_empty() {
        return Ok(vec![of("section 1".to_owned(), Known::default())?]);
    }
    let each = plate.marked.iter().zip(1..);
    each.map(|(value, number)| {
        of(
            format!("section {number}"),
            Known {
                marked: Some(Farads(*value)),
                tolerance: plate.tolerance,
                plate: None,
            },
        )
    })
    .collect()
}

/// Ohms of one path.
fn path(name: &str, held: Held) -> Step {
    Step {
        name: name.to_owned(),
        function: Function::Ohms,
        connect: "both ends of the coil",
        held,
        off_below: Some(0.0),
    }
}

fn coil(plate: &Plate) -> Result<Step, ScriptError> {
    Ok(path("coil", marked(plate, 0)?))
}

fn poles(
    plate: &Plate,
    count: usize,
    unproven: &mut Vec<&'static str>,
) -> Result<Vec<Step>, ScriptError> {
    match (plate.amps, plate.source) {
        (Some(amps), Some(source)) => Ok((1..=count)
            .map(|number| Step {
                name: format!("pole {number}"),
                function: Function::VoltsAc,
                connect: "across the closed pole, at its terminals, the test current on",
                held: Held::Pole(amps, source),
                off_below: None,
            })
            .collect()),
        (None, None) => {
            unproven
                .push("the contacts: ohms prove nothing of them; give --amps and --source of a test circuit");
            Ok(Vec::new())
        }
        _ => Err(ScriptError::Circuit),
    }
}

fn secondary() -> Vec<Step> {
    let off_below = Some(COIL_RELEASED.limit_of(24.0).low());
    let of = |name: &str, connect, load| Step {
        name: name.to_owned(),
        function: Function::VoltsAc,
        connect,
        held: Held::Secondary(load),
        off_below,
    };
    vec![
        of(
            "without load",
            "the secondary, primary at its rated volts, nothing else on it",
            Load::Off,
        ),
        of(
            "under load",
            "the secondary, with its rated load on it",
            Load::On,
        ),
    ]
}

fn windings(plate: &Plate, unproven: &mut Vec<&'static str>) -> Vec<Step> {
    let of = |name: &str, connect, held| Step {
        connect,
        ..path(name, held)
    };
    let mut steps = vec![
        of("common to start", "common and start", Held::Nothing),
        of("common to run", "common and run", Held::Nothing),
        of("start to run", "start and run", Held::Sum),
    ];
    unproven.extend(ohmtrail_core::rules::winding::UNPROVEN.first().copied());
    match plate.insulation {
        Some((insulation, at)) => steps.push(Step {
            name: "to the frame".to_owned(),
            function: Function::Megohms,
            connect: "the joined leads and the bare frame, insulation tester, one minute",
            held: Held::Shell(insulation, at),
            // No path is what is wished for.
            off_below: None,
        }),
        None => unproven.push("the insulation: give --insulation and --at, and have a tester"),
    }
    steps
}

fn switching(plate: &Plate) -> Result<Vec<Step>, ScriptError> {
    let of = |name: &str, connect, nth: usize| -> Result<Step, ScriptError> {
        Ok(Step {
            name: name.to_owned(),
            function: Function::Pascals,
            connect,
            // Under a tenth of the marking the line is vented.
            off_below: plate.marked.get(nth).map(|p| p / 10.0),
            held: marked(plate, nth)?,
        })
    };
    Ok(vec![
        of(
            "opens",
            "raise the pressure slowly, and hold it where the contact opens",
            0,
        )?,
        of(
            "closes",
            "lower the pressure slowly, and hold it where the contact closes",
            1,
        )?,
    ])
}
