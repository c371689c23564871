//! The dialogue of `ohmtrail isolate --stdio`: one JSON object a line, either way.
//!
//! The form is documented in docs/isolate.md and stable: keys are added, never changed.

use ohmtrail_core::class::Class;
use ohmtrail_core::reading::{Flags, Function};
use ohmtrail_meters::keyed;
use ohmtrail_trail::event::{Act, Asked, Event, Power, Request, Take};
use ohmtrail_visit::{Input, Record, Taken, displayed};
use serde::Deserialize;
use serde_json::{Map, Value, json};

/// An event as a line, if it is one that is told.
pub fn line(event: &Event) -> Option<Value> {
    Some(match event {
        Event::Asked(asked) => json!({ "ask": ask(asked) }),
        Event::Suspects { ranked } => {
            let ranked: Vec<Value> = ranked
                .iter()
                .map(|s| json!({ "faults": s.faults, "p": round(s.p) }))
                .collect();
            json!({ "suspects": ranked })
        }
        Event::Gate(gate) => json!({ "gate": {
            "name": gate.gate, "open": gate.open, "points": gate.points, "why": gate.why } }),
        Event::Voided { ask, why } => json!({ "void": { "id": ask, "why": why } }),
        Event::Took(take) => json!({ "verdict": verdict(take) }),
        Event::Struck { take, why } => json!({ "struck": { "take": take, "why": why } }),
        Event::Concluded(conclusion) => {
            let mut value = json!(conclusion);
            value["p"] = json!(round(conclusion.p));
            json!({ "conclusion": value })
        }
        Event::Found(finding) => {
            let mut value = json!(finding);
            value["p"] = json!(round(finding.p));
            for (open, f) in finding.unproven.iter().enumerate() {
                value["unproven"][open]["p"] = json!(round(f.p));
            }
            json!({ "finding": value })
        }
        Event::Left(left) => json!({ "left": left }),
        _ => return None,
    })
}

/// Six digits of a share or of minutes: more are noise of its binary form.
fn round(x: f32) -> f64 {
    (f64::from(x) * 1e6).round() / 1e6
}

fn ask(asked: &Asked) -> Value {
    let mut ask = Map::new();
    ask.insert("id".into(), json!(asked.ask));
    match &asked.request {
        Request::Look { what } => {
            ask.insert("do".into(), json!("look"));
            ask.insert("what".into(), json!(what));
            ask.insert("answers".into(), json!(["yes", "no"]));
        }
        Request::Measure {
            function,
            points,
            state,
        } => {
            ask.insert("do".into(), json!("measure"));
            ask.insert("function".into(), json!(function.name()));
            ask.insert("points".into(), json!(points));
            ask.insert("power".into(), json!(state.power));
            ask.insert("lifted".into(), json!(state.lifted));
            ask.insert("cooled".into(), json!(state.cooled));
        }
        Request::Act { act } => {
            ask.insert("do".into(), json!("act"));
            let (name, ends) = act_words(act);
            ask.insert("act".into(), json!(name));
            if let Some(ends) = ends {
                ask.insert("ends".into(), json!(ends));
            }
        }
        _ => {
            ask.insert("do".into(), json!("unknown"));
        }
    }
    ask.insert("minutes".into(), json!(round(asked.minutes)));
    ask.insert("why".into(), json!(asked.why));
    Value::Object(ask)
}

/// The name of an act, and the wire ends it is about.
pub fn act_words(act: &Act) -> (String, Option<&[String]>) {
    match serde_json::to_value(act) {
        Ok(Value::String(name)) => (name, None),
        Ok(Value::Object(object)) => {
            let name = object.keys().next().cloned().unwrap_or_default();
            let ends = match act {
                Act::Lift(ends) | Act::PutBack(ends) => Some(ends.as_slice()),
                _ => None,
            };
            (name, ends)
        }
        _ => (String::new(), None),
    }
}

fn verdict(take: &Take) -> Value {
    let mut verdict = json!({
        "id": take.ask,
        "take": take.take,
        "function": take.function.name(),
        "points": take.points,
        "shown": displayed(take.function, take.shown),
    });
    if let (Some(judged), Some(object)) = (&take.verdict, verdict.as_object_mut()) {
        let likely: Map<String, Value> = Class::ALL
            .into_iter()
            .filter(|c| judged.likely.of(*c) > 0.0)
            .map(|c| (c.word().to_owned(), json!(round(judged.likely.of(c)))))
            .collect();
        object.insert("class".into(), json!(judged.class));
        object.insert("likely".into(), Value::Object(likely));
        object.insert("too_close".into(), json!(judged.too_close));
        object.insert("source".into(), json!(judged.source));
        object.insert("status".into(), json!(judged.status));
        object.insert("words".into(), json!(judged.words));
    }
    verdict
}

/// A line from the technician.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Message {
    begin: Option<bool>,
    complaint: Option<String>,
    words: Option<String>,
    plate: Option<ohmtrail_trail::event::PlateEntry>,
    id: Option<u32>,
    answer: Option<String>,
    done: Option<bool>,
    skip: Option<String>,
    display: Option<String>,
    unit: Option<String>,
    flags: Vec<String>,
    function: Option<String>,
    take: Option<Volunteered>,
    look: Option<Looked>,
    strike: Option<Strike>,
    note: Option<String>,
    leave: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Volunteered {
    function: String,
    points: [String; 2],
    display: String,
    #[serde(default)]
    unit: String,
    #[serde(default)]
    flags: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Looked {
    what: String,
    answer: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Strike {
    id: Option<u32>,
    take: Option<u32>,
    why: String,
}

/// What a line says; nothing for `{"begin": true}`.
///
/// # Errors
/// What is wrong with the line, in words.
pub fn input(line: &str, record: &Record) -> Result<Option<Input>, String> {
    let message: Message =
        serde_json::from_str(line).map_err(|e| format!("not understood: {e}"))?;
    if message.begin.is_some() {
        return Ok(None);
    }
    if let Some(what) = message.complaint {
        let words = message.words.unwrap_or_default();
        return Ok(Some(Input::Complaint { what, words }));
    }
    if let Some(plate) = message.plate {
        return Ok(Some(Input::Plate(plate)));
    }
    if let Some(text) = message.note {
        return Ok(Some(Input::Note(text)));
    }
    if let Some(why) = message.leave {
        return Ok(Some(Input::Leave { why }));
    }
    if let Some(take) = message.take {
        let function = function(&take.function)?;
        return Ok(Some(Input::Take(Taken {
            ask: None,
            meter: None,
            function: Some(function),
            points: Some(take.points),
            shown: keyed::parse(&take.display, &take.unit, function).map_err(|e| e.to_string())?,
            flags: flags(&take.flags)?,
        })));
    }
    if let Some(look) = message.look {
        return Ok(Some(Input::Look {
            ask: None,
            what: Some(look.what),
            answer: yes(&look.answer)?,
        }));
    }
    if let Some(strike) = message.strike {
        let take = match (strike.take, strike.id) {
            (Some(take), _) => take,
            (None, Some(ask)) => record
                .takes_of(ask)
                .last()
                .map(|took| took.take.take)
                .ok_or_else(|| format!("ask {ask} has no take to strike"))?,
            (None, None) => return Err("say which: {\"strike\":{\"id\":…,\"why\":…}}".to_owned()),
        };
        let why = strike.why;
        return Ok(Some(Input::Strike { take, why }));
    }
    let Some(id) = message.id else {
        return Err("nothing said: name the ask that is answered by \"id\", or volunteer a \"take\" or a \"look\"".to_owned());
    };
    if let Some(why) = message.skip {
        return Ok(Some(Input::Skip { ask: id, why }));
    }
    if let Some(answer) = message.answer {
        return Ok(Some(Input::Look {
            ask: Some(id),
            what: None,
            answer: yes(&answer)?,
        }));
    }
    if let Some(display) = message.display {
        let asked = record.ask(id).map(|a| &a.request);
        let function = match (&message.function, asked) {
            (Some(name), _) => function(name)?,
            (None, Some(Request::Measure { function, .. })) => *function,
            (None, _) => return Err(format!("ask {id} is no measurement")),
        };
        let unit = message.unit.unwrap_or_default();
        return Ok(Some(Input::Take(Taken {
            ask: Some(id),
            meter: None,
            function: Some(function),
            points: None,
            shown: keyed::parse(&display, &unit, function).map_err(|e| e.to_string())?,
            flags: flags(&message.flags)?,
        })));
    }
    match message.done {
        Some(true) => Ok(Some(Input::Done {
            ask: Some(id),
            act: None,
        })),
        Some(false) => Err(format!(
            "ask {id} is not done: say \"skip\" with the reason, or do it"
        )),
        None => Err(format!(
            "ask {id} is answered by \"answer\", \"display\", \"done\" or \"skip\""
        )),
    }
}

fn function(name: &str) -> Result<Function, String> {
    Function::by_name(name).ok_or_else(|| {
        let known: Vec<&str> = Function::ALL.iter().map(|f| f.name()).collect();
        format!(
            "\"{name}\" is no function of a meter; known are {}",
            known.join(", ")
        )
    })
}

fn flags(names: &[String]) -> Result<Flags, String> {
    names.iter().try_fold(Flags::NONE, |all, name| {
        Flags::by_name(name)
            .map(|flag| all.with(flag))
            .ok_or_else(|| format!("\"{name}\" is no flag of a display"))
    })
}

fn yes(answer: &str) -> Result<bool, String> {
    match answer {
        "yes" => Ok(true),
        "no" => Ok(false),
        other => Err(format!("\"{other}\" is neither \"yes\" nor \"no\"")),
    }
}

/// The power state in a word.
pub fn power_word(power: Power) -> &'static str {
    match power {
        Power::On => "on",
        Power::Off => "off",
    }
}
