//! What was weighed together, in words: each quantity beside what is expected of it, and where it stands.

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::refrigerant::charge::{Advice, Feature, MODEL, Shown, Suspect, Weather};
use ohmtrail_core::refrigerant::{Metering, SATURATION};
use ohmtrail_core::units::{Celsius, Kelvins};
use serde_json::json;

use super::answer::{Answer, Level};
use super::number::show;

/// A quantity as it was measured, and how far it is from what is expected; nothing where it was not.
pub(super) fn quantity(
    answer: Answer,
    feature: Feature,
    metering: Metering,
    weather: &Weather,
    shown: &Shown,
) -> Answer {
    let kelvins = |q: Quantity<Kelvins>| (q.measured(), "K");
    let celsius = |q: Quantity<Celsius>| (q.measured(), "Cel");
    let split = |supply: Quantity<Celsius>| Quantity {
        value: weather.indoor.value - supply.value,
        u: supply.u.hypot(weather.indoor.u),
        assumed: supply.assumed || weather.indoor.assumed,
    };
    let (name, off, of, read) = match feature {
        Feature::Superheat => (
            "superheat",
            "superheat less expected",
            "the suction line over the dew point",
            shown.superheat.map(kelvins),
        ),
        Feature::Subcooling => (
            "subcooling",
            "subcooling less expected",
            "the liquid line under the bubble point",
            shown.subcooling.map(kelvins),
        ),
        Feature::Split => (
            "split",
            "split less expected",
            "return air less supply air",
            shown.supply.map(|t| kelvins(split(t))),
        ),
        Feature::Condensing => (
            "condensing",
            "condensing less expected",
            "bubble point at the liquid pressure",
            shown.condensing.map(celsius),
        ),
        Feature::Evaporating => (
            "evaporating",
            "evaporating less expected",
            "dew point at the suction pressure",
            shown.evaporating.map(celsius),
        ),
    };
    let (Some((m, unit)), Some(over)) = (read, weather.over(feature, metering, shown)) else {
        return answer;
    };
    let answer = if feature == Feature::Split {
        let word = format!(
            "{} \u{b1} {}",
            show(m.value, unit),
            show(m.expanded(), unit)
        );
        let json = json!({"value": m.value, "uncertainty": m.u, "unit": unit});
        answer.found(name, word, of, Level::Note, None, json)
    } else {
        answer.number(name, of, m.value, m.u, unit, SATURATION)
    };
    let expected = show(m.value - over.value, unit);
    let words = format!("units that run well show {expected} in this air");
    answer.number(off, &words, over.value, over.u, "K", MODEL)
}

/// Where it stands, in a sentence. `outside`: what is outside its limit when it is looked at alone.
pub(super) fn stands(advice: Advice, outside: &[&'static str]) -> (String, Level) {
    match advice {
        Advice::Found(Suspect::NoFault) if outside.is_empty() => (
            "Nothing that was measured speaks for a fault of charge, air or parts; that proves no charge."
                .to_owned(),
            Level::Note,
        ),
        Advice::Found(Suspect::NoFault) => (
            format!(
                "Together it speaks for no fault of charge, air or parts, and yet outside its limit by itself: {}. Measure that again, and look for why.",
                outside.join(", ")
            ),
            Level::Check,
        ),
        Advice::Found(suspect) => (format!("Most probable: {}.", suspect.words()), Level::Check),
        Advice::Next(check) => (
            format!(
                "Too near to tell yet. What tells most next: {}",
                check.words()
            ),
            Level::Open,
        ),
        Advice::Again(check) => (
            format!(
                "Too near to tell yet. What tells most next is to measure again, with the instruments taken off in between: {}. If it agrees, add --again {}; if not, give the new values.",
                check.words(),
                check.name()
            ),
            Level::Open,
        ),
        Advice::Unnamed => (
            "What was measured fits no single fault here: something else, or two at once."
                .to_owned(),
            Level::Open,
        ),
        Advice::Undecided => (
            "Too near to tell by what can be measured here.".to_owned(),
            Level::Open,
        ),
    }
}

/// Where it stands, in a word.
pub(super) fn advice_name(advice: Advice) -> &'static str {
    match advice {
        Advice::Found(suspect) => suspect.name(),
        Advice::Next(check) | Advice::Again(check) => check.name(),
        Advice::Unnamed => "unnamed",
        Advice::Undecided => "undecided",
    }
}

/// Where it stands, for programs.
pub(super) fn advice_json(advice: Advice) -> serde_json::Value {
    match advice {
        Advice::Found(suspect) => json!({"found": suspect.name()}),
        Advice::Next(check) => json!({"next": check.name(), "words": check.words()}),
        Advice::Again(check) => json!({"again": check.name(), "words": check.words()}),
        Advice::Unnamed => json!({"unnamed": true}),
        Advice::Undecided => json!({"undecided": true}),
    }
}
