//! Supply voltage: against the equipment's plate, and against ANSI C84.1.
//!
//! Service voltage is at the meter; utilization voltage is at the equipment's terminals, which is
//! what is measured at a disconnect or contactor. Range A is normal; range B is tolerable for a
//! limited time and should be corrected.

use serde::Serialize;

use super::{
    Rule, RuleError, computed, judge, memory, not_negative, plate, practice, second_hand, verified,
    with_absent,
};
use crate::accuracy::Quantity;
use crate::source::Source;
use crate::units::Volts;
use crate::verdict::Verdict;

const PLATE_TABLE: Source =
    verified("plate voltage window of a packaged-equipment manual (ARI 110)");
const COMPRESSOR_BULLETIN: Source =
    second_hand("voltage window of a compressor application bulletin");
const SERVICE: Source = second_hand("ANSI C84.1, service voltage");
const UTILIZATION: Source = second_hand("ANSI C84.1, voltage at the equipment");
const FROM_PER_UNIT: Source = computed("ANSI C84.1, from the per-unit limits of the range");
const C84_MEMORY: Source = memory("ANSI C84.1");

/// What may be printed as rated volts on a plate, with the windows that go with it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Window {
    /// As printed.
    pub plate: &'static str,
    /// Where the equipment may operate.
    pub operate: Rule,
    /// Where it gives its rated performance.
    pub rated: Rule,
}

macro_rules! windows {
    ($($plate:literal, $operate:expr, $rated:expr;)*) => {
        /// The windows of usual plates.
        pub const WINDOWS: &[Window] = &[$(Window {
            plate: $plate,
            operate: Rule::between(
                concat!("supply.operate-", $plate),
                "volts within which a unit of this plate may operate",
                "V",
                $operate,
                PLATE_TABLE,
            ),
            rated: Rule::between(
                concat!("supply.rated-", $plate),
                "volts within which a unit of this plate performs as rated",
                "V",
                $rated,
                PLATE_TABLE,
            ),
        }),*];
    };
}

windows! {
    "115", (104.0, 127.0), (108.0, 126.0);
    "208/230", (187.0, 254.0), (187.0, 252.0);
    "208", (187.0, 228.0), (187.0, 228.0);
    "230", (208.0, 254.0), (216.0, 252.0);
    "265", (240.0, 293.0), (249.0, 291.0);
    "460", (416.0, 508.0), (432.0, 504.0);
    "575", (520.0, 635.0), (540.0, 630.0);
    "230-50Hz", (198.0, 254.0), (208.0, 254.0);
    "400-50Hz", (344.0, 440.0), (360.0, 440.0);
}

/// The window of a plate as printed; `208-230` and `208/230` are the same.
#[must_use]
pub fn window(plate: &str) -> Option<&'static Window> {
    let same = |a: &str, b: &str| {
        a.len() == b.len()
            && a.bytes()
                .zip(b.bytes())
                .all(|(x, y)| x == y || (x == b'-' && y == b'/') || (x == b'/' && y == b'-'))
    };
    WINDOWS.iter().find(|w| same(w.plate, plate))
}

/// The generic motor window, for a plate that has no row in [`WINDOWS`].
pub const GENERIC: Rule = Rule::between(
    "supply.generic",
    "share of the plate's volts for a motor; of the lower and of the higher where two are printed",
    "1",
    (0.9, 1.1),
    second_hand("NEMA MG-1 12.44: plate volts, plus or minus 10 %"),
);

/// Starting volts at locked-rotor current.
pub const STARTING: Rule = Rule::at_least(
    "supply.starting",
    "share of the plate's lower volts that must stand while a motor starts",
    "1",
    0.85,
    practice("starting volts"),
);

/// The compressor behind the supply, whose own window may be narrower than the plate's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub enum Compressor {
    /// Single-phase, welded hermetic, at its maximum design load: warned below 197 V.
    WeldedSinglePhase,
    /// Single-phase, semi-hermetic or scroll.
    ScrollSinglePhase,
    /// Three-phase.
    ThreePhase,
}

const WELDED: Rule = Rule::between(
    "supply.compressor-welded-1ph",
    "volts for a 208/230 V single-phase welded hermetic compressor at maximum design load",
    "V",
    (197.0, 253.0),
    COMPRESSOR_BULLETIN,
);
const SCROLL: Rule = Rule::between(
    "supply.compressor-scroll-1ph",
    "volts for a 208/230 V single-phase semi-hermetic or scroll compressor",
    "V",
    (188.0, 253.0),
    COMPRESSOR_BULLETIN,
);
const THREE: Rule = Rule::between(
    "supply.compressor-3ph",
    "volts for a 208/230 V three-phase compressor",
    "V",
    (187.0, 253.0),
    COMPRESSOR_BULLETIN,
);

impl Compressor {
    /// The window of a 208/230 V compressor of this kind.
    #[must_use]
    pub const fn window(self) -> Rule {
        match self {
            Compressor::WeldedSinglePhase => WELDED,
            Compressor::ScrollSinglePhase => SCROLL,
            Compressor::ThreePhase => THREE,
        }
    }
}

/// Supply voltage against the plate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SupplyVerdict {
    /// Where the equipment may operate.
    pub operate: Verdict,
    /// Where it gives its rated performance: outside it is a warning.
    pub rated: Verdict,
    /// The compressor's own window, where one is known: outside it is a warning.
    pub compressor: Option<Verdict>,
}

/// A voltage at the equipment's terminals against the window of its plate. Less than half of the
/// lowest operating volts counts as absent. The compressor's window is given for 208/230 V plates
/// only.
///
/// # Errors
/// [`RuleError`] on a voltage that is none.
pub fn against_plate(
    volts: Quantity<Volts>,
    window: &Window,
    compressor: Option<Compressor>,
) -> Result<SupplyVerdict, RuleError> {
    let m = not_negative(volts)?;
    let operate = window.operate.limit();
    let bands = with_absent(operate.bands(), operate.low() / 2.0);
    Ok(SupplyVerdict {
        operate: Verdict::of(m, operate, &bands),
        rated: window.rated.judge(m).as_warning(),
        compressor: compressor
            .filter(|_| window.plate == "208/230")
            .map(|kind| kind.window().judge(m).as_warning()),
    })
}

/// A voltage against [`GENERIC`], for a plate without a row: 0.9 of the lower and 1.1 of the
/// higher rated volts (the same where one is printed).
///
/// # Errors
/// [`RuleError`] on a voltage or a plate that is none.
pub fn against_rated(
    volts: Quantity<Volts>,
    lower: Volts,
    higher: Volts,
) -> Result<Verdict, RuleError> {
    let m = not_negative(volts)?;
    let (lower, higher) = (plate(lower)?, plate(higher)?);
    let mut limit = GENERIC.limit_of(lower);
    limit.upper = GENERIC.limit_of(higher).upper;
    let bands = with_absent(limit.bands(), limit.low() / 2.0);
    Ok(Verdict::of(m, limit, &bands))
}

/// The lowest voltage while a motor starts, against [`STARTING`] and the plate's lower volts.
///
/// # Errors
/// [`RuleError`] on a voltage or a plate that is none.
pub fn starting(volts: Quantity<Volts>, rated: Volts) -> Result<Verdict, RuleError> {
    let m = not_negative(volts)?;
    Ok(judge(m, STARTING.limit_of(plate(rated)?)))
}

/// Where a voltage is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub enum Place {
    /// At the utility's meter.
    Service,
    /// At the equipment's terminals.
    Utilization,
}

/// Both ranges of ANSI C84.1 for one nominal voltage and place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ansi {
    /// The nominal voltage between the two points.
    pub nominal: Volts,
    /// Where it is measured.
    pub place: Place,
    /// Normal.
    pub a: Rule,
    /// Tolerable for a limited time.
    pub b: Rule,
}

macro_rules! ansi {
    ($($id:literal, $nominal:literal, $place:ident, $a:expr, $sa:expr, $b:expr, $sb:expr;)*) => {
        /// The rows of ANSI C84.1 that branch equipment meets.
        pub const ANSI: &[Ansi] = &[$(Ansi {
            nominal: Volts($nominal),
            place: Place::$place,
            a: Rule::between(concat!("supply.c84-", $id, "-a"), "volts of range A", "V", $a, $sa),
            b: Rule::between(concat!("supply.c84-", $id, "-b"), "volts of range B", "V", $b, $sb),
        }),*];
    };
}

ansi! {
    "120-service", 120.0, Service, (114.0, 126.0), SERVICE, (110.0, 127.0), SERVICE;
    "120-utilization", 120.0, Utilization, (108.0, 126.0), UTILIZATION, (104.0, 127.0), UTILIZATION;
    "240-service", 240.0, Service, (228.0, 252.0), SERVICE, (220.0, 254.0), FROM_PER_UNIT;
    "240-utilization", 240.0, Utilization, (216.0, 252.0), UTILIZATION, (208.0, 254.0), UTILIZATION;
    "208-service", 208.0, Service, (197.0, 218.0), SERVICE, (191.0, 220.0), C84_MEMORY;
    "208-utilization", 208.0, Utilization, (187.0, 218.0), C84_MEMORY, (180.0, 220.0), C84_MEMORY;
    "277-service", 277.0, Service, (263.0, 291.0), FROM_PER_UNIT, (254.0, 293.0), C84_MEMORY;
    "277-utilization", 277.0, Utilization, (249.0, 291.0), UTILIZATION, (240.0, 293.0), UTILIZATION;
    "480-service", 480.0, Service, (456.0, 504.0), SERVICE, (440.0, 508.0), C84_MEMORY;
    "480-utilization", 480.0, Utilization, (432.0, 504.0), UTILIZATION, (416.0, 508.0), UTILIZATION;
}

/// Range A as shares of any nominal voltage at the service.
pub const SERVICE_A: Rule = Rule::between(
    "supply.c84-service-a",
    "share of nominal volts at the service, range A",
    "1",
    (0.95, 1.05),
    SERVICE,
);
/// Range B as shares of any nominal voltage at the service.
pub const SERVICE_B: Rule = Rule::between(
    "supply.c84-service-b",
    "share of nominal volts at the service, range B",
    "1",
    (0.917, 1.058),
    SERVICE,
);
/// Range A as shares of any nominal voltage at the equipment.
pub const UTILIZATION_A: Rule = Rule::between(
    "supply.c84-utilization-a",
    "share of nominal volts at the equipment, range A",
    "1",
    (0.90, 1.05),
    FROM_PER_UNIT,
);
/// Range B as shares of any nominal voltage at the equipment.
pub const UTILIZATION_B: Rule = Rule::between(
    "supply.c84-utilization-b",
    "share of nominal volts at the equipment, range B",
    "1",
    (0.867, 1.058),
    FROM_PER_UNIT,
);

/// A voltage against both ranges of ANSI C84.1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AnsiVerdict {
    /// Against range A.
    pub a: Verdict,
    /// Against range B.
    pub b: Verdict,
}

/// A voltage against ANSI C84.1: the standard's own rounded volts where the nominal voltage has a
/// row, the per-unit limits otherwise.
///
/// # Errors
/// [`RuleError`] on a voltage that is none.
pub fn against_ansi(
    volts: Quantity<Volts>,
    nominal: Volts,
    place: Place,
) -> Result<AnsiVerdict, RuleError> {
    let m = not_negative(volts)?;
    let base = plate(nominal)?;
    if let Some(row) = ANSI
        .iter()
        .find(|r| r.nominal == nominal && r.place == place)
    {
        return Ok(AnsiVerdict {
            a: row.a.judge(m),
            b: row.b.judge(m),
        });
    }
    let (a, b) = match place {
        Place::Service => (SERVICE_A, SERVICE_B),
        Place::Utilization => (UTILIZATION_A, UTILIZATION_B),
    };
    Ok(AnsiVerdict {
        a: judge(m, a.limit_of(base)),
        b: judge(m, b.limit_of(base)),
    })
}

const OTHERS: &[Rule] = &[
    GENERIC,
    STARTING,
    WELDED,
    SCROLL,
    THREE,
    SERVICE_A,
    SERVICE_B,
    UTILIZATION_A,
    UTILIZATION_B,
];

/// The rows of this subject.
pub fn rules() -> impl Iterator<Item = &'static Rule> {
    WINDOWS
        .iter()
        .flat_map(|w| [&w.operate, &w.rated])
        .chain(ANSI.iter().flat_map(|r| [&r.a, &r.b]))
        .chain(OTHERS)
}
