//! A part by what is stamped on it, read from named fields: the columns of a stock and the flags
//! of the command line are the same.

use ohmtrail_circuit::parts::Unit;
use ohmtrail_circuit::sheet::did_you_mean;
use ohmtrail_core::fit::Duty;
use ohmtrail_core::fit::capacitor::{Capacitor, Protection};
use ohmtrail_core::fit::contactor::Contactor;
use ohmtrail_core::fit::motor::{Enclosure, Motor, Rotation};
use ohmtrail_core::fit::relay::Relay;
use ohmtrail_core::fit::transformer::Transformer;
use ohmtrail_core::units::{Amps, Farads, Volts};
use serde::Serialize;

use crate::value;

/// The kinds of parts that there are rules for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A capacitor of a motor, with one section or two.
    Capacitor,
    /// A contactor.
    Contactor,
    /// A control transformer.
    Transformer,
    /// A fan or blower motor.
    Motor,
    /// A potential relay.
    Relay,
    /// Any other part, by its maker's number.
    Numbered,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Kind; 6] = [
        Kind::Capacitor,
        Kind::Contactor,
        Kind::Transformer,
        Kind::Motor,
        Kind::Relay,
        Kind::Numbered,
    ];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Kind::Capacitor => "capacitor",
            Kind::Contactor => "contactor",
            Kind::Transformer => "transformer",
            Kind::Motor => "motor",
            Kind::Relay => "relay",
            Kind::Numbered => "numbered-part",
        }
    }
}

/// A field of a part: a column of the stock.
#[derive(Debug, Clone, Copy)]
pub struct Field {
    /// Its name.
    pub name: &'static str,
    /// The kinds that have it.
    pub of: &'static [Kind],
    /// What it is.
    pub what: &'static str,
    /// How it is written.
    pub example: &'static str,
}

const fn field(
    name: &'static str,
    of: &'static [Kind],
    what: &'static str,
    example: &'static str,
) -> Field {
    Field {
        name,
        of,
        what,
        example,
    }
}

use Kind::{
    Capacitor as C, Contactor as K, Motor as M, Numbered as N, Relay as R, Transformer as T,
};

/// Every field.
pub const FIELDS: &[Field] = &[
    field(
        "farads",
        &[C],
        "capacitance of one section; of a start capacitor also a range",
        "45 uF, 88-108 uF",
    ),
    field(
        "herm",
        &[C],
        "capacitance of a dual one's compressor section",
        "45 uF",
    ),
    field(
        "fan",
        &[C],
        "capacitance of a dual one's fan section",
        "5 uF",
    ),
    field("tolerance", &[C], "marked tolerance", "6 %, -5/+10 %"),
    field(
        "volts",
        &[C, K, M],
        "rated volts; of a contactor those of its poles",
        "440 V, 208-230 V",
    ),
    field(
        "hertz",
        &[C, K, T, M, R],
        "rated frequency; of a contactor or relay that of its coil",
        "60 Hz, 50/60 Hz",
    ),
    field(
        "duty",
        &[C, M],
        "a capacitor's: run or start; a motor's: continuous or short-time",
        "run",
    ),
    field(
        "hottest",
        &[C],
        "highest temperature it may work at",
        "70 Cel",
    ),
    field(
        "coldest",
        &[C],
        "lowest temperature it may work at",
        "-40 Cel",
    ),
    field("protection", &[C], "S0 to S3, or P0 to P2", "S2"),
    field("class", &[C], "class of operation, A to D", "B"),
    field("poles", &[K], "switched poles", "2"),
    field(
        "full-load",
        &[K, M, R],
        "full-load amps; of a contactor at its volts; of a relay its contact's",
        "30 A",
    ),
    field(
        "locked-rotor",
        &[K],
        "locked-rotor amps at its volts",
        "150 A",
    ),
    field("resistive", &[K], "resistive amps", "40 A"),
    field("coil", &[K], "volts of the coil", "24 V, 208-240 V"),
    field(
        "ambient",
        &[K, M],
        "ambient temperature that the ratings hold up to",
        "60 Cel",
    ),
    field("va", &[T], "volt-amperes", "40 VA"),
    field(
        "primary",
        &[T],
        "volts of the primary, one for each tap",
        "120/208/240 V",
    ),
    field(
        "secondary",
        &[T],
        "volts of the secondary under load",
        "24 V",
    ),
    field("class-2", &[T], "marked Class 2: yes or no", "yes"),
    field(
        "thermal-class",
        &[T, M],
        "thermal class of the insulation",
        "B, 130 Cel",
    ),
    field("power", &[M], "shaft power", "1/4 hp, 186 W"),
    field("phases", &[M], "phases", "1"),
    field("speed", &[M], "full-load speed", "1075 rpm"),
    field("speeds", &[M], "speeds to choose from", "2"),
    field(
        "rotation",
        &[M],
        "cw, ccw or reversible, seen from the end opposite to the shaft's",
        "cw",
    ),
    field("shaft", &[M], "shaft diameter", "1/2 in, 12.7 mm"),
    field("shaft-length", &[M], "shaft length", "4 in"),
    field("frame", &[M], "frame, as marked", "48Y"),
    field("enclosure", &[M], "open or closed", "closed"),
    field(
        "pick-up",
        &[R],
        "coil volts between which it opens its contact",
        "168-182 V",
    ),
    field(
        "drop-out",
        &[R],
        "the most coil volts at which it closes it again",
        "90 V",
    ),
    field(
        "continuous",
        &[R],
        "volts that its coil bears for good",
        "332 V",
    ),
    field(
        "number",
        &[N],
        "the maker's number: of a compressor, a switch, a board, whatever has no kind of its own here",
        "CX 40-1",
    ),
    field(
        "replaces",
        &[N],
        "the numbers that its maker names it in the place of, with commas between them",
        "CX 36-1, CX 36-2",
    ),
];

/// The fields of a kind.
pub fn fields(kind: Kind) -> impl Iterator<Item = &'static Field> {
    FIELDS.iter().filter(move |f| f.of.contains(&kind))
}

/// A value that was not understood.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {what}")]
pub struct Wrong {
    /// The field.
    pub field: String,
    /// What is wrong with it, and what to do.
    pub what: String,
}

/// A capacitor's can.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Can {
    /// One section.
    One(Capacitor),
    /// Two sections with a common terminal.
    Two {
        /// The compressor's.
        herm: Capacitor,
        /// The fan's.
        fan: Capacitor,
    },
}

/// A part by what is stamped on it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// A capacitor.
    Capacitor(Can),
    /// A contactor.
    Contactor(Contactor),
    /// A transformer.
    Transformer(Transformer),
    /// A motor; its frame is beside it.
    Motor {
        /// The plate.
        plate: Motor<'static>,
        /// The frame.
        frame: Option<String>,
    },
    /// A potential relay.
    Relay(Relay),
    /// Any other part.
    Numbered {
        /// Its maker's number.
        number: Option<String>,
        /// The numbers that its maker names it in the place of.
        replaces: Option<String>,
    },
}

/// The fields of one part, with everything that was wrong.
struct Reader<'f> {
    of: &'f dyn Fn(&str) -> Option<String>,
    wrong: Vec<Wrong>,
}

impl Reader<'_> {
    fn get<T>(&mut self, name: &str, read: impl Fn(&str) -> Result<T, String>) -> Option<T> {
        let text = (self.of)(name)?;
        match read(text.trim()) {
            Ok(value) => Some(value),
            Err(what) => {
                self.say(name, what);
                None
            }
        }
    }

    fn say(&mut self, field: &str, what: String) {
        self.wrong.push(Wrong {
            field: field.to_owned(),
            what,
        });
    }

    fn amps(&mut self, name: &str) -> Option<Amps> {
        self.get(name, |t| value::quantity(t, Unit::Ampere).map(Amps))
    }

    fn volts(&mut self, name: &str) -> Option<Volts> {
        self.get(name, |t| value::quantity(t, Unit::Volt).map(Volts))
    }
}

impl Part {
    /// Its kind.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Part::Capacitor(_) => Kind::Capacitor,
            Part::Contactor(_) => Kind::Contactor,
            Part::Transformer(_) => Kind::Transformer,
            Part::Motor { .. } => Kind::Motor,
            Part::Relay(_) => Kind::Relay,
            Part::Numbered { .. } => Kind::Numbered,
        }
    }

    /// Reads a part from its fields: `of` gives the text of a field, nothing where it is empty.
    ///
    /// # Errors
    /// Everything that is wrong, by field.
    pub fn read(kind: Kind, of: &dyn Fn(&str) -> Option<String>) -> Result<Part, Vec<Wrong>> {
        let mut r = Reader {
            of,
            wrong: Vec::new(),
        };
        for field in FIELDS.iter().filter(|f| !f.of.contains(&kind)) {
            if of(field.name).is_some() {
                r.say(
                    field.name,
                    format!("a {} has none: leave it empty", kind.name()),
                );
            }
        }
        let part = match kind {
            Kind::Capacitor => Part::Capacitor(can(&mut r)),
            Kind::Contactor => Part::Contactor(contactor(&mut r)),
            Kind::Transformer => Part::Transformer(transformer(&mut r)),
            Kind::Motor => motor(&mut r),
            Kind::Relay => Part::Relay(relay(&mut r)),
            Kind::Numbered => Part::Numbered {
                number: r.get("number", value::text),
                replaces: r.get("replaces", value::text),
            },
        };
        if r.wrong.is_empty() {
            Ok(part)
        } else {
            Err(r.wrong)
        }
    }
}

/// A name that is no field of this kind, with the nearest one.
pub(crate) fn no_field(kind: Kind, name: &str) -> String {
    let known = fields(kind).map(|f| f.name);
    let near = did_you_mean(name, known);
    let comma = if near.is_empty() { "" } else { ", " };
    format!(
        "a {} has no such value{comma}{}",
        kind.name(),
        near.trim_end()
    )
}

fn can(r: &mut Reader<'_>) -> Can {
    let duties = [("run", Duty::Continuous), ("start", Duty::Intermittent)];
    let classes = [
        ("A", 30_000.0),
        ("B", 10_000.0),
        ("C", 3_000.0),
        ("D", 1_000.0),
    ];
    let protections = [
        ("S0", Protection::S0),
        ("S1", Protection::S1),
        ("S2", Protection::S2),
        ("S3", Protection::S3),
        ("P0", Protection::S0),
        ("P1", Protection::S1),
        ("P2", Protection::S2),
    ];
    let single = r.get("farads", value::farads);
    let microfarads = |t: &str| value::quantity(t, Unit::Farad).map(Farads);
    let (herm, fan) = (r.get("herm", microfarads), r.get("fan", microfarads));
    let marked = r.get("tolerance", value::tolerance);
    let common = Capacitor {
        farads: None,
        tolerance: marked.or(single.and_then(|(_, range)| range)),
        volts: r.volts("volts"),
        mains: r.get("hertz", value::mains),
        duty: r.get("duty", |t| value::word(t, &duties)),
        hottest: r.get("hottest", value::celsius),
        coldest: r.get("coldest", value::celsius),
        protection: r.get("protection", |t| value::word(t, &protections)),
        hours: r.get("class", |t| value::word(t, &classes)),
    };
    let with = |farads| Capacitor { farads, ..common };
    let said = |name| (r.of)(name).is_some();
    let (one, two) = (said("farads"), said("herm") || said("fan"));
    let both = said("herm") && said("fan");
    if single.is_some_and(|(_, range)| range.is_some()) && said("tolerance") {
        r.say(
            "tolerance",
            "farads is a range, which is a tolerance already: give one of them".into(),
        );
    }
    match (one, two) {
        (true, true) => r.say(
            "farads",
            "one section or two: give farads, or herm and fan".into(),
        ),
        (false, true) if !both => {
            let missing = if (r.of)("herm").is_some() {
                "fan"
            } else {
                "herm"
            };
            r.say(
                missing,
                "a dual capacitor has two sections: give both, or farads for a single one".into(),
            );
        }
        _ => {}
    }
    if two {
        Can::Two {
            herm: with(herm),
            fan: with(fan),
        }
    } else {
        Can::One(with(single.map(|(farads, _)| farads)))
    }
}

fn contactor(r: &mut Reader<'_>) -> Contactor {
    Contactor {
        poles: r.get("poles", value::count),
        volts: r.volts("volts"),
        full_load: r.amps("full-load"),
        locked_rotor: r.amps("locked-rotor"),
        resistive: r.amps("resistive"),
        coil: r.get("coil", value::span),
        coil_mains: r.get("hertz", value::mains),
        ambient: r.get("ambient", value::celsius),
    }
}

fn transformer(r: &mut Reader<'_>) -> Transformer {
    Transformer {
        volt_amps: r.get("va", value::volt_amps),
        primary: r.get("primary", value::taps).unwrap_or_default(),
        secondary: r.volts("secondary"),
        mains: r.get("hertz", value::mains),
        class_two: r.get("class-2", |t| {
            value::word(t, &[("yes", true), ("no", false)])
        }),
        thermal_class: r.get("thermal-class", value::thermal_class),
    }
}

fn motor(r: &mut Reader<'_>) -> Part {
    let rotations = [
        ("cw", Rotation::Clockwise),
        ("ccw", Rotation::Counterclockwise),
        ("reversible", Rotation::Reversible),
    ];
    let enclosures = [("open", Enclosure::Open), ("closed", Enclosure::Closed)];
    let duties = [
        ("continuous", Duty::Continuous),
        ("short-time", Duty::Intermittent),
    ];
    let plate = Motor {
        power: r.get("power", value::power),
        volts: r.get("volts", value::span),
        phases: r.get("phases", value::count),
        mains: r.get("hertz", value::mains),
        speed: r.get("speed", value::speed),
        speeds: r.get("speeds", value::count),
        amps: r.amps("full-load"),
        rotation: r.get("rotation", |t| value::word(t, &rotations)),
        shaft: r.get("shaft", value::length),
        shaft_length: r.get("shaft-length", value::length),
        frame: None,
        enclosure: r.get("enclosure", |t| value::word(t, &enclosures)),
        duty: r.get("duty", |t| value::word(t, &duties)),
        ambient: r.get("ambient", value::celsius),
        thermal_class: r.get("thermal-class", value::thermal_class),
    };
    Part::Motor {
        plate,
        frame: r.get("frame", value::text),
    }
}

fn relay(r: &mut Reader<'_>) -> Relay {
    Relay {
        pick_up: r.get("pick-up", value::span),
        drop_out: r.volts("drop-out"),
        continuous: r.volts("continuous"),
        contact: r.amps("full-load"),
        mains: r.get("hertz", value::mains),
    }
}
