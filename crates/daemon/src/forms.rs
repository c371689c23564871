//! The JSON forms of what a visit says, for every face alike: the dialogue of `isolate --stdio`
//! (docs/isolate.md) and the HTTP API. Stable: keys are added, never changed.

use std::collections::BTreeMap;

use ohmtrail_core::class::Class;
use ohmtrail_core::cooldown::COVERAGE;
use ohmtrail_core::reading::{Flags, Function};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::{self, Act, Asked, Measurement, Power, Request};
use ohmtrail_visit::{Cooling, displayed};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

/// Six digits of a share or of minutes: more are noise of its binary form.
#[must_use]
pub fn round(x: f32) -> f64 {
    (f64::from(x) * 1e6).round() / 1e6
}

/// The power state in a word.
#[must_use]
pub const fn power_word(power: Power) -> &'static str {
    match power {
        Power::On => "on",
        Power::Off => "off",
    }
}

/// One thing asked of the technician.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Ask {
    /// Its number in the visit.
    pub id: u32,
    /// `look`, `measure` or `act`.
    #[serde(rename = "do")]
    pub kind: &'static str,
    /// What to look at, by the sheet's name; of the act `fit`, the part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub what: Option<String>,
    /// The answers that a look has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub answers: Option<[&'static str; 2]>,
    /// What to set the meter to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub function: Option<&'static str>,
    /// Where the probes go; for amps both ends of the wire in the clamp.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub points: Option<[String; 2]>,
    /// `low-impedance`: volts in the meter's low-impedance mode; left out: as usual.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub input: Option<&'static str>,
    /// `lowest` or `highest`: what the meter held of the start that was just made; left out: as usual.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hold: Option<&'static str>,
    /// The power that a measurement needs: `on` or `off`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power: Option<&'static str>,
    /// The wire ends that must be lifted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lifted: Option<Vec<String>>,
    /// Whether the motors must be cold.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cooled: Option<bool>,
    /// What to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub act: Option<String>,
    /// The wire ends that it is done to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ends: Option<Vec<String>>,
    /// The minutes that it is expected to take.
    pub minutes: f64,
    /// Why, in a sentence.
    pub why: String,
}

impl Ask {
    /// The form of an ask.
    #[must_use]
    pub fn of(asked: &Asked) -> Self {
        let mut ask = Ask {
            id: asked.ask,
            kind: "unknown",
            what: None,
            answers: None,
            function: None,
            points: None,
            input: None,
            hold: None,
            power: None,
            lifted: None,
            cooled: None,
            act: None,
            ends: None,
            minutes: round(asked.minutes),
            why: asked.why.clone(),
        };
        match &asked.request {
            Request::Look { what } => {
                ask.kind = "look";
                ask.what = Some(what.clone());
                ask.answers = Some(["yes", "no"]);
            }
            Request::Act { act } => {
                let (name, ends) = act_words(act);
                ask.kind = "act";
                ask.act = Some(name);
                ask.ends = ends.map(<[String]>::to_vec);
                if let Act::Fit(part) = act {
                    ask.what = Some(part.clone());
                }
            }
            _ => {}
        }
        if let Some(asked) = asked.request.measurement() {
            ask.kind = "measure";
            ask.function = Some(asked.function.name());
            ask.points = Some(asked.points.clone());
            ask.input = asked.low_impedance.then_some("low-impedance");
            ask.hold = asked.at_start.then(|| held_word(asked.function));
            ask.power = Some(power_word(asked.state.power));
            ask.lifted = Some(asked.state.lifted.clone());
            ask.cooled = Some(asked.state.cooled);
        }
        ask
    }
}

/// What a meter holds of a start: the lowest volts, the highest amps.
const fn held_word(function: Function) -> &'static str {
    match function {
        Function::AmpsAc | Function::AmpsDc => "highest",
        _ => "lowest",
    }
}

/// The name of an act, and the wire ends it is about.
#[must_use]
pub fn act_words(act: &Act) -> (String, Option<&[String]>) {
    let ends = match act {
        Act::Lift(ends) | Act::PutBack(ends) | Act::PutRight(ends) => Some(ends.as_slice()),
        Act::CheckWire(end) => Some(std::slice::from_ref(end)),
        _ => None,
    };
    let name = match serde_json::to_value(act) {
        Ok(Value::String(name)) => name,
        Ok(Value::Object(object)) => object.keys().next().cloned().unwrap_or_default(),
        _ => String::new(),
    };
    (name, ends)
}

/// What is asked, on one line.
#[must_use]
pub fn request_words(asked: &Asked) -> String {
    if let Some(measure) = asked.request.measurement() {
        return measurement_words(&measure);
    }
    match &asked.request {
        Request::Look { what } => format!("look: {what}"),
        Request::Act { act } => format!("do: {}", act_sentence(act)),
        other => format!("{other:?}"),
    }
}

fn measurement_words(measure: &Measurement<'_>) -> String {
    let [a, b] = measure.points;
    let state = measure.state;
    let low = if measure.low_impedance {
        ", low impedance"
    } else {
        ""
    };
    let held = if measure.at_start {
        format!(", the {} of the start", held_word(measure.function))
    } else {
        String::new()
    };
    let power = power_word(state.power);
    let lifted = if state.lifted.is_empty() {
        String::new()
    } else {
        format!(", lifted {}", state.lifted.join(" "))
    };
    let points = if a == b {
        a.clone()
    } else {
        format!("{a} to {b}")
    };
    format!(
        "measure {}{low}{held}: {points} (power {power}{lifted})",
        measure.function.name()
    )
}

/// An act as an instruction.
fn act_sentence(act: &Act) -> String {
    match act {
        Act::OpenBreaker => "open the breaker of the unit".to_owned(),
        Act::LockAndTag => "lock it open and hang the lock's tag".to_owned(),
        Act::LockDisconnect => "open the disconnect within sight and lock it".to_owned(),
        Act::OpenOtherSources => "open every other source of the unit".to_owned(),
        Act::ProveMeter => "prove the meter on a source that is known to be live".to_owned(),
        Act::Discharge => "discharge the capacitors through a resistor".to_owned(),
        Act::Lift(ends) => format!("lift {}, mark it, take its photograph", ends.join(" ")),
        Act::PutBack(ends) => format!("put back {}", ends.join(" ")),
        Act::InsulateEnds => "insulate the lifted ends".to_owned(),
        Act::CoversOnPeopleClear => "covers on, people clear".to_owned(),
        Act::CloseBreaker => "take the lock off and close the breaker".to_owned(),
        Act::WaitCool => "leave the unit until its motors are cold".to_owned(),
        Act::CallOn => "set the thermostat to call".to_owned(),
        Act::CallOff => "take the call away".to_owned(),
        Act::Fit(part) => format!("fit the new part for {part}"),
        Act::CheckWire(end) => format!("look at {end}: photograph, mark and drawing"),
        Act::PutRight(ends) => format!("put each where it belongs: {}", ends.join(" ")),
        Act::CallHeating => "set the thermostat to call for heating".to_owned(),
        Act::StartDefrost => "start a defrost".to_owned(),
        Act::ProveCharge => "prove the refrigerant charge".to_owned(),
        other => act_words(other).0.replace('-', " "),
    }
}

/// A fault set and its probability.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Suspect {
    /// The faults; empty for no fault at all.
    pub faults: Vec<String>,
    /// Its probability.
    pub p: f64,
}

impl Suspect {
    /// The form of a suspect.
    #[must_use]
    pub fn of(suspect: &event::Suspect) -> Self {
        Suspect {
            faults: suspect.faults.clone(),
            p: round(suspect.p),
        }
    }
}

/// A safety gate. That one is open says what was measured and done, never that anything is safe.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Gate {
    /// `proved-dead`, `discharged-to-touch`, `discharged-to-measure`, `loose` or
    /// `ready-to-energise`.
    pub name: String,
    /// Whether it is open.
    pub open: bool,
    /// The points that it holds for.
    pub points: Vec<String>,
    /// Why it opened or shut.
    pub why: String,
}

impl Gate {
    /// The form of a gate.
    #[must_use]
    pub fn of(gate: &event::GateEvent) -> Self {
        Gate {
            name: gate.gate.clone(),
            open: gate.open,
            points: gate.points.clone(),
            why: gate.why.clone(),
        }
    }
}

/// A take, and what it proves.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Verdict {
    /// The ask that it answers; none if volunteered.
    pub id: Option<u32>,
    /// The take's number.
    pub take: u32,
    /// What was measured.
    pub function: &'static str,
    /// Between which points.
    pub points: [String; 2],
    /// What the display showed.
    pub shown: String,
    /// The most probable class; with what follows only where a check of the sheet is at these points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub class: Option<&'static str>,
    /// The probability of each class that is not ruled out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub likely: Option<BTreeMap<&'static str, f64>>,
    /// Whether it is too close to call.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub too_close: Option<bool>,
    /// Where the limit comes from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// How far that was checked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub status: Option<String>,
    /// In a sentence.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
}

impl Verdict {
    /// The form of a take.
    #[must_use]
    pub fn of(take: &event::Take) -> Self {
        let judged = take.verdict.as_ref();
        let likely = |judged: &event::Judged| {
            Class::ALL
                .into_iter()
                .filter(|c| judged.likely.of(*c) > 0.0)
                .map(|c| (c.word(), round(judged.likely.of(c))))
                .collect()
        };
        Verdict {
            id: take.ask,
            take: take.take,
            function: take.function.name(),
            points: take.points.clone(),
            shown: displayed(take.function, take.shown),
            class: judged.map(|j| j.class.word()),
            likely: judged.map(likely),
            too_close: judged.map(|j| j.too_close),
            source: judged.map(|j| j.source.clone()),
            status: judged.map(|j| j.status.clone()),
            words: judged.map(|j| j.words.clone()),
        }
    }
}

/// What the isolation came to.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Conclusion {
    /// `faults`, `no-fault`, `none-of-these` or `undecided`.
    #[schema(value_type = String)]
    pub outcome: event::Outcome,
    /// Its probability; undecided, that of the leading suspect.
    pub p: f64,
    /// What each fault of the finding, and each thing that follows, is to the others.
    pub roles: Vec<Role>,
    /// Why it ended here.
    pub why: String,
}

/// What something is to the other faults of a finding.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Role {
    /// The fault, or what follows from one.
    pub what: String,
    /// `root-cause`, `consequence` or `coincidence`.
    #[schema(value_type = String)]
    pub part: event::Part,
    /// What brought it about.
    pub by: Vec<String>,
}

impl Conclusion {
    /// The form of a conclusion.
    #[must_use]
    pub fn of(conclusion: &event::Conclusion) -> Self {
        Conclusion {
            outcome: conclusion.outcome,
            p: round(conclusion.p),
            roles: conclusion
                .roles
                .iter()
                .map(|role| Role {
                    what: role.what.clone(),
                    part: role.part,
                    by: role.by.clone(),
                })
                .collect(),
            why: conclusion.why.clone(),
        }
    }
}

/// What the visit found.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Finding {
    /// The faults; empty where none is carried.
    pub faults: Vec<String>,
    /// Fault sets that no check from outside tells from these.
    pub alike: Vec<Vec<String>>,
    /// The probability.
    pub p: f64,
    /// What follows from the faults.
    pub consequences: Vec<String>,
    /// The asks whose answers carry it.
    pub evidence: Vec<u32>,
    /// What was ruled out, and by which asks.
    pub ruled_out: Vec<RuledOut>,
    /// What is still unproven, and why.
    pub unproven: Vec<Unproven>,
}

/// A fault that the evidence rules out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RuledOut {
    /// The fault.
    pub fault: String,
    /// The asks that rule it out.
    pub by: Vec<u32>,
}

/// A fault that stays unproven either way.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Unproven {
    /// The fault.
    pub fault: String,
    /// Its probability.
    pub p: f64,
    /// Why it was left.
    pub why: String,
}

impl Finding {
    /// The form of a finding.
    #[must_use]
    pub fn of(finding: &event::Finding) -> Self {
        let ruled = |r: &event::RuledOut| RuledOut {
            fault: r.fault.clone(),
            by: r.by.clone(),
        };
        let open = |u: &event::Unproven| Unproven {
            fault: u.fault.clone(),
            p: round(u.p),
            why: u.why.clone(),
        };
        Finding {
            faults: finding.faults.clone(),
            alike: finding.alike.clone(),
            p: round(finding.p),
            consequences: finding.consequences.clone(),
            evidence: finding.evidence.clone(),
            ruled_out: finding.ruled_out.iter().map(ruled).collect(),
            unproven: finding.unproven.iter().map(open).collect(),
        }
    }
}

/// How the unit was left.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Left {
    /// `on` or `off`.
    #[schema(value_type = String)]
    pub power: Power,
    /// Whether a lock is left on it.
    pub locked: bool,
    /// Wire ends that are left lifted.
    pub lifted: Vec<String>,
    /// Why it is left so.
    pub why: String,
}

impl Left {
    /// The form of it.
    #[must_use]
    pub fn of(left: &event::LeftState) -> Self {
        Left {
            power: left.power,
            locked: left.locked,
            lifted: left.lifted.clone(),
            why: left.why.clone(),
        }
    }
}

/// A compressor that stands on an open overload, and what is expected of it (docs/cooldown.md).
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Cooldown {
    /// The part.
    pub part: String,
    /// Whether start to run was not read yet.
    pub unread: bool,
    /// What to do.
    #[schema(value_type = String)]
    pub advice: ohmtrail_core::cooldown::Advice,
    /// In words.
    pub words: String,
    /// What is missing for a time.
    pub missing: Vec<&'static str>,
    /// How many readings there are.
    pub readings: usize,
    /// The winding's temperature.
    pub winding: Option<Warmth>,
    /// What one ohm is worth.
    pub kelvins_per_ohm: Option<f64>,
    /// When it is expected to close, from now.
    pub minutes: Option<Window>,
    /// The time constant of its cooling.
    pub time_constant: Option<Spread>,
    /// The probability that a good overload would still be open.
    pub still_open: Option<f64>,
    /// Whether the winding is as cold as the air.
    pub at_ambient: bool,
    /// Whether the ambient is assumed.
    pub assumed: bool,
}

/// A temperature.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Warmth {
    /// Degrees Celsius.
    pub celsius: f64,
    /// Standard uncertainty, kelvins.
    pub uncertainty: f64,
}

/// Minutes from now.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Window {
    /// Not before.
    pub early: Option<f64>,
    /// As likely before as after.
    pub middle: Option<f64>,
    /// Not after.
    pub late: Option<f64>,
    /// The probability of that window.
    pub coverage: f64,
}

/// Minutes with their uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Spread {
    /// Minutes.
    pub minutes: f64,
    /// Standard uncertainty, minutes.
    pub uncertainty: f64,
}

impl Cooldown {
    /// The form of it.
    #[must_use]
    pub fn of(cooling: &Cooling) -> Self {
        let outlook = &cooling.outlook;
        let digits = |x: f64, digits: i32| {
            let scale = 10f64.powi(digits);
            (x * scale).round() / scale
        };
        let minutes = |at: Option<Micros>| at.map(|at| digits(cooling.minutes_to(at), 1));
        Cooldown {
            part: cooling.part.clone(),
            unread: cooling.unread,
            advice: outlook.advice,
            words: cooling.words(),
            missing: outlook.missing.words().collect(),
            readings: cooling.readings.len(),
            winding: outlook.winding.map(|w| Warmth {
                celsius: digits(w.value.get(), 1),
                uncertainty: digits(w.u, 1),
            }),
            kelvins_per_ohm: outlook.kelvins_per_ohm.map(|k| digits(k, 2)),
            minutes: outlook.window.map(|w| Window {
                early: minutes(w.early),
                middle: minutes(w.middle),
                late: minutes(w.late),
                coverage: COVERAGE,
            }),
            time_constant: outlook.tau.map(|tau| Spread {
                minutes: digits(tau.mean / 60.0, 1),
                uncertainty: digits(tau.sd / 60.0, 1),
            }),
            still_open: outlook.still_open.map(|p| digits(p, 6)),
            at_ambient: outlook.at_ambient,
            assumed: outlook.assumed,
        }
    }
}

/// A function of a meter by its name.
///
/// # Errors
/// What is wrong, with the names there are.
pub fn function(name: &str) -> Result<Function, String> {
    Function::by_name(name).ok_or_else(|| {
        let known: Vec<&str> = Function::ALL.iter().map(|f| f.name()).collect();
        format!(
            "\"{name}\" is no function of a meter; known are {}",
            known.join(", ")
        )
    })
}

/// Annunciators by their names.
///
/// # Errors
/// What is wrong.
pub fn flags(names: &[String]) -> Result<Flags, String> {
    names.iter().try_fold(Flags::NONE, |all, name| {
        Flags::by_name(name)
            .map(|flag| all.with(flag))
            .ok_or_else(|| format!("\"{name}\" is no flag of a display"))
    })
}
