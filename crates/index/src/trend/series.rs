//! Which takes make a series: one quantity of one part of one unit, between the same two points, since
//! the part was last found to have failed or was replaced.

use std::collections::BTreeMap;

use ohmtrail_core::accuracy::Quantity as Measured;
use ohmtrail_core::cooldown::rested;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::temperature::{Metal, resistance_at};
use ohmtrail_core::units::{Celsius, Ohms};

use crate::error::Error;
use crate::index::Index;
use crate::value::{Row, Value};

/// The temperature that windings are brought to, °C.
pub const WINDING_AT: f64 = 25.0;

/// What is followed over the years.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// A capacitor's section, farads.
    Capacitance,
    /// A motor's winding, cold, brought to [`WINDING_AT`], ohms.
    Winding,
    /// Any other resistance between two points of one part, dead, ohms: a coil, an element, contacts.
    Resistance,
    /// Insulation by an insulation tester, ohms; followed by its decimal logarithm.
    Insulation,
    /// Current under power, amps.
    Current,
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Quantity; 5] = [
        Quantity::Capacitance,
        Quantity::Winding,
        Quantity::Resistance,
        Quantity::Insulation,
        Quantity::Current,
    ];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Quantity::Capacitance => "capacitance",
            Quantity::Winding => "winding",
            Quantity::Resistance => "resistance",
            Quantity::Insulation => "insulation",
            Quantity::Current => "current",
        }
    }

    /// The function that it is measured with.
    #[must_use]
    pub const fn function(self) -> Function {
        match self {
            Quantity::Capacitance => Function::Farads,
            Quantity::Winding | Quantity::Resistance => Function::Ohms,
            Quantity::Insulation => Function::Megohms,
            Quantity::Current => Function::AmpsAc,
        }
    }

    /// Whether its logarithm is what goes in a line.
    #[must_use]
    pub const fn logarithmic(self) -> bool {
        matches!(self, Quantity::Insulation)
    }

    fn of(function: &str, kind: &str, powered: bool) -> Option<Quantity> {
        let motor = kind.ends_with("compressor") || kind.ends_with("motor");
        match (Function::by_name(function)?, powered) {
            (Function::Farads, false) => Some(Quantity::Capacitance),
            (Function::Ohms, false) if motor => Some(Quantity::Winding),
            (Function::Ohms, false) => Some(Quantity::Resistance),
            (Function::Megohms, false) => Some(Quantity::Insulation),
            (Function::AmpsAc, true) => Some(Quantity::Current),
            _ => None,
        }
    }
}

/// A value of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// The visit.
    pub visit: i64,
    /// When, microseconds since 1970.
    pub at_us: i64,
    /// The value, base unit; a winding's at [`WINDING_AT`].
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// The limits that the latest value was held against; none for a winding.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Limits {
    /// The lower one.
    pub lower: Option<f64>,
    /// The upper one.
    pub upper: Option<f64>,
    /// Where they come from.
    pub source: String,
}

/// A series of values.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// The part.
    pub part: String,
    /// Its kind; empty if the sheet is not known.
    pub kind: String,
    /// What it is of the part.
    pub quantity: Quantity,
    /// Between which points.
    pub between: [String; 2],
    /// Its values, one for each visit, oldest first.
    pub values: Vec<Point>,
    /// The limits of the latest one.
    pub limits: Limits,
    /// What was left out and why, with how many takes.
    pub left_out: BTreeMap<&'static str, usize>,
    /// When the part was last found to have failed, or was fitted: the values before that are of another
    /// one.
    pub since_us: Option<i64>,
    /// How many of the values are of visits with another version of the sheet: which part a wire's end
    /// is at is told by the one that the index was made with.
    pub other_sheet: usize,
    /// Whether nothing was read since, so that the values are those of the part before.
    pub of_former: bool,
}

const VOID: &str = "struck or void";
const OVERLOAD: &str = "beyond the meter's range";
const NO_UNCERTAINTY: &str = "without an uncertainty";
const NOT_COLD: &str = "the winding had no time to cool";
const NO_AIR: &str = "the air was not measured in that visit";
const NO_OFF: &str = "how long it had been off is not known";

const SQL: &str = "SELECT t.visit, t.at_us, t.function, t.point_1, t.point_2, t.part, t.kind, t.power, \
    t.cooled, t.off_us, t.value, t.uncertainty, t.lower, t.upper, t.source, t.void, v.air, v.air_u, \
    v.sheet_same \
    FROM visits v JOIN takes t ON t.visit = v.visit WHERE v.unit = $1 AND v.simulated = $2 \
    AND t.part IS NOT NULL AND t.at_start = 0 AND t.function IN ('farads', 'ohms', 'megohms', 'amps-ac') \
    ORDER BY t.visit, t.take";

type Key = (String, Quantity, [String; 2]);

/// Every series of a unit: by part, quantity and points.
pub(super) fn of_unit(
    index: &mut Index,
    unit: &str,
    simulated: bool,
) -> Result<Vec<Series>, Error> {
    let which: [Value; 2] = [unit.into(), simulated.into()];
    let renewed = renewed(index, &which)?;
    let rows = index.store.rows(SQL, &which)?;
    let mut by_key: BTreeMap<Key, Vec<&Row>> = BTreeMap::new();
    for row in &rows {
        let quantity = Quantity::of(row[2].text(), row[6].text(), row[7].yes());
        if let Some(quantity) = quantity {
            let mut between = [row[3].text().to_owned(), row[4].text().to_owned()];
            between.sort();
            by_key
                .entry((row[5].text().to_owned(), quantity, between))
                .or_default()
                .push(row);
        }
    }
    let series = by_key.into_iter().map(|((part, quantity, between), rows)| {
        let renewed = renewed.get(&part).copied();
        Series::of(part, quantity, between, &rows, renewed)
    });
    Ok(series.collect())
}

/// Since when a part is another one: behind which visit that found it failed, and since which fitting.
#[derive(Debug, Clone, Copy)]
struct Renewed {
    visit: i64,
    fitted_us: i64,
    /// The later of the two.
    at_us: i64,
}

fn renewed(index: &mut Index, which: &[Value; 2]) -> Result<BTreeMap<String, Renewed>, Error> {
    let mut all = BTreeMap::new();
    let found = "SELECT f.part, max(f.visit), max(f.at_us) FROM visits v JOIN findings f \
        ON f.visit = v.visit WHERE v.unit = $1 AND v.simulated = $2 GROUP BY f.part";
    for row in index.store.rows(found, which)? {
        let (visit, at_us) = (row[1].int(), row[2].int());
        if let Some((visit, at_us)) = visit.zip(at_us) {
            let renewed = Renewed {
                visit,
                fitted_us: i64::MIN,
                at_us,
            };
            all.insert(row[0].text().to_owned(), renewed);
        }
    }
    let fitted = "SELECT f.part, max(f.at_us) FROM visits v JOIN fitted f ON f.visit = v.visit \
        WHERE v.unit = $1 AND v.simulated = $2 GROUP BY f.part";
    for row in index.store.rows(fitted, which)? {
        if let Some(at_us) = row[1].int() {
            let renewed = all.entry(row[0].text().to_owned()).or_insert(Renewed {
                visit: i64::MIN,
                fitted_us: at_us,
                at_us,
            });
            renewed.fitted_us = at_us;
            renewed.at_us = renewed.at_us.max(at_us);
        }
    }
    Ok(all)
}

impl Series {
    fn of(
        part: String,
        quantity: Quantity,
        between: [String; 2],
        rows: &[&Row],
        renewed: Option<Renewed>,
    ) -> Series {
        let since = |row: &Row| {
            renewed.is_none_or(|r| row[0].int() > Some(r.visit) && row[1].int() > Some(r.fitted_us))
        };
        let of_former = renewed.is_some() && !rows.iter().any(|row| since(row));
        let mut series = Series {
            kind: rows
                .last()
                .map(|row| row[6].text().to_owned())
                .unwrap_or_default(),
            part,
            quantity,
            between,
            values: Vec::new(),
            limits: Limits::default(),
            left_out: BTreeMap::new(),
            since_us: renewed.map(|r| r.at_us),
            other_sheet: 0,
            of_former,
        };
        for row in rows.iter().filter(|row| of_former || since(row)) {
            match value(quantity, row) {
                Ok((point, limits)) => {
                    // Of several takes in a visit the last one that counts.
                    let before = series.values.len();
                    series.values.retain(|p| p.visit != point.visit);
                    if series.values.len() == before && row[18] == Value::Int(0) {
                        series.other_sheet += 1;
                    }
                    series.values.push(point);
                    series.limits = limits;
                }
                Err(why) => *series.left_out.entry(why).or_default() += 1,
            }
        }
        series
    }
}

fn value(quantity: Quantity, row: &Row) -> Result<(Point, Limits), &'static str> {
    if row[15] != Value::Null {
        return Err(VOID);
    }
    let value = row[10].real().ok_or(OVERLOAD)?;
    let u = row[11].real().filter(|u| *u > 0.0).ok_or(NO_UNCERTAINTY)?;
    let point = |value: f64, u: f64| Point {
        visit: row[0].int().unwrap_or_default(),
        at_us: row[1].int().unwrap_or_default(),
        value,
        u,
    };
    if quantity != Quantity::Winding {
        let limits = Limits {
            lower: row[12].real(),
            upper: row[13].real(),
            source: row[14].text().to_owned(),
        };
        return Ok((point(value, u), limits));
    }
    if !row[8].yes() {
        return Err(NOT_COLD);
    }
    let air = row[16].real().zip(row[17].real()).ok_or(NO_AIR)?;
    let off = row[9].real().ok_or(NO_OFF)?;
    let at = rested(Measured::new(Celsius(air.0), air.1), off / 60e6).ok_or(NO_AIR)?;
    let read = Measured::new(Ohms(value), u);
    let at_25 = resistance_at(read, at, Celsius(WINDING_AT), Metal::Copper).map_err(|_| NO_AIR)?;
    // What a winding was held against in its visit has no source that bears a forecast.
    Ok((point(at_25.value.get(), at_25.u), Limits::default()))
}
