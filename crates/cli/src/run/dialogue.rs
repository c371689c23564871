//! The dialogue of `ohmtrail isolate --stdio`: one JSON object a line, either way.
//!
//! The form is documented in docs/isolate.md and stable: keys are added, never changed.

use ohmtrail_daemon::forms::{
    Ask, Conclusion, Finding, Gate, Left, Suspect, Verdict, flags, function,
};
use ohmtrail_meters::keyed;
use ohmtrail_trail::event::Event;
use ohmtrail_visit::{Input, Record, Taken};
use serde::Deserialize;
use serde_json::{Value, json};

/// An event as a line, if it is one that is told.
pub fn line(event: &Event) -> Option<Value> {
    Some(match event {
        Event::Asked(asked) => json!({ "ask": Ask::of(asked) }),
        Event::Suspects { ranked } => {
            let ranked: Vec<Suspect> = ranked.iter().map(Suspect::of).collect();
            json!({ "suspects": ranked })
        }
        Event::Gate(gate) => json!({ "gate": Gate::of(gate) }),
        Event::Voided { ask, why } => json!({ "void": { "id": ask, "why": why } }),
        Event::Took(take) => json!({ "verdict": Verdict::of(take) }),
        Event::Struck { take, why } => json!({ "struck": { "take": take, "why": why } }),
        Event::Concluded(conclusion) => json!({ "conclusion": Conclusion::of(conclusion) }),
        Event::Found(finding) => json!({ "finding": Finding::of(finding) }),
        Event::Fitted(fitted) => json!({ "fitted": fitted }),
        Event::RepairEnded(end) => json!({ "repair": end }),
        Event::Left(left) => json!({ "left": Left::of(left) }),
        _ => return None,
    })
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
        let asked = record.ask(id).and_then(|a| a.request.measurement());
        let function = match (&message.function, asked) {
            (Some(name), _) => function(name)?,
            (None, Some(wanted)) => wanted.function,
            (None, None) => return Err(format!("ask {id} is no measurement")),
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

fn yes(answer: &str) -> Result<bool, String> {
    match answer {
        "yes" => Ok(true),
        "no" => Ok(false),
        other => Err(format!("\"{other}\" is neither \"yes\" nor \"no\"")),
    }
}
