//! What is asked of a charge, and what is said of it.

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::refrigerant::charge::{Suspect, Weather};
use ohmtrail_core::units::{Celsius, Kelvins, Pascals};
use ohmtrail_core::verdict::Verdict;
use ohmtrail_words::Said;

use super::known::Known;
use super::weigh::judge;
use super::{Reading, Set, Step, is_of_a_cold_room, is_of_circuit, part};
use crate::book::Book;
use crate::prove::mended::Mended;
use crate::record::Record;

/// So many suspects are named, the most probable ones; what is rarer than one in a hundred is left out. A
/// choice of what fits on a line; common practice, no published source.
const NAMED: usize = 3;
const RARE: f32 = 0.01;

/// What is read at a point of a charge, such as `suction-line`; none if it is no such point. Its takes are between
/// the point and itself.
#[must_use]
pub fn point_words(point: &str) -> Option<&'static str> {
    Reading::at(point).map(what)
}

fn what(reading: Reading) -> &'static str {
    match reading {
        Reading::Outdoor => "outdoor air",
        Reading::Return => "return air",
        Reading::WetBulb => "wet bulb of the return air",
        Reading::Humidity => "relative humidity of the return air",
        Reading::Supply => "supply air",
        Reading::Suction => "suction pressure",
        Reading::SuctionLine => "suction line",
        Reading::Liquid => "liquid pressure",
        Reading::LiquidLine => "liquid line",
    }
}

fn how(reading: Reading) -> &'static str {
    match reading {
        Reading::Outdoor => {
            "the weather first, before any gauge is connected: it says whether the charge can be judged. \
             Dry bulb where the air enters the outdoor coil, in the shade"
        }
        Reading::Return => "dry bulb of the return air, mixed, near the indoor coil",
        Reading::WetBulb => {
            "wet bulb of the same air, by a wet wick in moving air; pass this over to give the relative \
             humidity in its place"
        }
        Reading::Humidity => "relative humidity of the same air, in place of its wet bulb",
        Reading::Supply => {
            "dry bulb of the supply air, mixed, near the indoor coil: the airflow comes before the charge"
        }
        Reading::Suction => {
            "suction pressure, as the gauge shows it: over the air outside, not absolute"
        }
        Reading::SuctionLine => {
            "the suction line at the same place, on clean copper, the sensor wrapped against the air"
        }
        Reading::Liquid => {
            "liquid pressure, as the gauge shows it: over the air outside, not absolute"
        }
        Reading::LiquidLine => {
            "the liquid line at the same place, on clean copper, the sensor wrapped against the air"
        }
    }
}

/// Why a step is asked for.
pub(crate) fn why(book: &Book<'_>, record: &Record, mended: &Mended, step: Step) -> Said {
    let of = part(book, mended).map(|p| book.sheet.said(&p.words));
    let of = of.unwrap_or_default();
    let known = Known::of(record);
    let set = Set::of(record, mended, &known);
    let reading = match step {
        Step::Word if book.sheet.parts.iter().any(is_of_a_cold_room) => {
            return Said::message("why-charge-cold-room").with("part", of);
        }
        Step::Word => {
            let barred = judge(&known, &set.worked).barred;
            let id = if barred {
                "why-charge-barred"
            } else {
                "why-charge"
            };
            let asked = Said::message(id).with("part", of);
            return asked.with("class", class(&known));
        }
        Step::Read(reading) => reading,
    };
    let mut why = Said::from(how(reading));
    if reading == Reading::Outdoor {
        why = Said::message("why-charge-first")
            .with("part", of)
            .with("why", why);
    }
    if Reading::CIRCUIT.contains(&reading) {
        why = Said::message("why-charge-circuit")
            .with("why", why)
            .with("class", class(&known));
    }
    let again = set.void.filter(|_| set.next() == Some(Reading::Outdoor));
    let again = again.map(|void| Said::message("why-charge-again").with("why", void));
    let aged = set.aged.then(|| {
        Said::from("too long went by between the first reading and the last: what was read before that is read anew")
    });
    let lacking = (!known.lacking.is_empty()).then(|| {
        let each = Said::joined(known.lacking, "; ");
        Said::message("why-charge-lacking").with("each", each)
    });
    why.then_if(". ", again)
        .then_if(". ", aged)
        .then_if(". ", lacking)
}

/// What is to be heeded before the circuit is opened; nothing for a part that is not of it.
pub(crate) fn before_opening(book: &Book<'_>, record: &Record, name: &str) -> Option<Said> {
    let mut parts = book.sheet.parts.iter();
    parts
        .find(|p| p.name == name)
        .filter(|p| is_of_circuit(p))?;
    Some(Said::message("why-fit-circuit").with("class", class(&Known::of(record))))
}

/// The refrigerant's safety class, and what to heed.
fn class(known: &Known) -> Said {
    match known.refrigerant {
        Some(name) => {
            let class = name.safety_class();
            let own = Said::own(format!("{} ({})", name.name(), class.name()));
            own.then(": ", class.words().into())
        }
        None => "its class is not known here: heed it as one that burns".into(),
    }
}

/// A number in kelvins; a ratio, which is a little over one, to a digit more.
fn digits(value: f64, unit: &str) -> String {
    if unit.is_empty() {
        format!("{value:.2}")
    } else {
        format!("{value:.1} {unit}")
    }
}

/// A value with its expanded uncertainty.
fn amount(value: f64, u: f64, unit: &str) -> Said {
    let [value, expanded] = [value, 2.0 * u].map(|x| digits(x, unit));
    Said::own(format!("{value} \u{b1} {expanded} (U = 2u)"))
}

/// A value against its limit. `about` is what the verdict's own numbers are counted from.
pub(super) fn sign(what: &'static str, unit: &'static str, about: f64, verdict: &Verdict) -> Said {
    let m = verdict.measured;
    let edge = |value: Option<f64>| Said::own(digits(value.unwrap_or_default() + about, unit));
    let source = verdict.limit.source;
    let limits = Said::message("limits-between")
        .with("low", edge(verdict.limit.lower))
        .with("high", edge(verdict.limit.upper));
    let share = verdict.p_within.unwrap_or_default();
    let said = Said::from(what)
        .then(" ", amount(m.value + about, m.u, unit))
        .then(": ", verdict.class.word().into())
        .then(", ", limits)
        .then(", ", verdict.decision.words().into())
        .then(" ", Said::own(format!("(P {share:.3})")));
    said.then(" (", source.what.into())
        .then("; ", source.status.words().into())
        .then(")", Said::default())
}

/// A value that nothing is known to hold against.
pub(super) fn number(what: &'static str, value: Quantity<Kelvins>) -> Said {
    let said = Said::from(what).then(" ", amount(value.value.get(), value.u, "K"));
    said.then(": ", "no limit is known to hold it against".into())
}

/// A target, and where it comes from.
pub(super) fn target(target: Kelvins, by: &'static str) -> Said {
    Said::message("charge-target")
        .with("target", format!("{:.1} K", target.get()))
        .with("by", by)
}

/// The subcooling that the suspects are held against where no plate says.
pub(super) fn usual(usual: Kelvins) -> Said {
    Said::message("charge-usual").with("usual", format!("{:.1} K", usual.get()))
}

/// The air.
pub(super) fn weather(weather: &Weather) -> Said {
    let celsius = |q: Quantity<Celsius>| format!("{:.1} \u{b0}C", q.value.get());
    Said::message("charge-weather")
        .with("outdoor", celsius(weather.outdoor))
        .with("indoor", celsius(weather.indoor))
        .with("wet", celsius(weather.wet_bulb))
}

/// A pressure by the gauge, and absolute.
pub(super) fn pressure(
    reading: Reading,
    [gauge, absolute]: [Quantity<Pascals>; 2],
    metres: f64,
) -> Said {
    let kpa = |p: Quantity<Pascals>| format!("{:.0} kPa", p.value.get() / 1000.0);
    Said::message("charge-pressure")
        .with("what", what(reading))
        .with("gauge", kpa(gauge))
        .with("absolute", kpa(absolute))
        .with("metres", format!("{metres:.0} m"))
}

/// The most probable suspects.
pub(super) fn suspects(all: &[(Suspect, f32)]) -> Said {
    let named = all.iter().filter(|(_, p)| *p >= RARE).take(NAMED);
    let each = named.map(|(suspect, p)| {
        let share = Said::own(format!("{:.0} %", 100.0 * p));
        share.then(" ", suspect.words().into())
    });
    Said::message("charge-suspects").with("each", Said::joined(each, "; "))
}

/// What was passed over, and why.
pub(super) fn missing<'r>(all: impl Iterator<Item = (Reading, &'r str)>) -> Said {
    let each = all.map(|(reading, why)| Said::from(what(reading)).then(": ", Said::told(why)));
    Said::message("charge-missing").with("each", Said::joined(each, "; "))
}

/// That readings contradicted themselves too often.
pub(super) fn void(sets: u32, why: &'static str) -> Said {
    Said::message("charge-void")
        .with("sets", sets.to_string())
        .with("why", why)
}
