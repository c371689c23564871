//! What a person types in a visit.

use std::path::Path;

use ohmtrail_core::reading::Function;
use ohmtrail_meters::keyed;
use ohmtrail_trail::event::{Asked, PlateEntry};
use ohmtrail_trail::photos;
use ohmtrail_visit::{AMBIENT, Input, Taken};

use super::cooling;

/// What can be said.
pub const HELP: &str = "  yes | no                     answer a look
  done                         the act is done
  (Enter)                      the probes are on the points: take the reading when it stands still
  238.4 V | OL                 key a value in
  skip WHY                     pass the ask over
  take FUNCTION A B VALUE      volunteer a take, such as: take ohms comp-start.1 comp-run.1 3.9 Ohm
  ambient VALUE                the air around the unit, measured, such as: ambient 31.5 Cel
  cold PART.S-R=OHMS@CEL+-U    start to run when it was cold, and where that comes from
  look WHAT yes|no             volunteer a look
  checked END                  a wire end that is back was checked against drawing and photograph
  strike N WHY                 take N counts no more; it stays in the trail
  plate PART KEY VALUE [UNIT]  a value read off a plate or a part
  photo FILE CAPTION           keep a photograph beside the trail
  note TEXT                    keep a note
  leave WHY                    no more checks: leave the unit
  quit                         stop here; go on later with --resume";

/// What a typed line means.
pub enum Typed {
    /// Nothing.
    Nothing,
    Say(Box<Input>),
    Help,
    Watch,
    Wrong(String),
    Quit,
}

fn keyed_value(line: &str, function: Function, ask: Option<u32>) -> Typed {
    match keyed::parse_line(line, function) {
        Ok(shown) => Typed::Say(Box::new(Input::Take(Taken {
            ask,
            function: Some(function),
            shown,
            ..Taken::default()
        }))),
        Err(error) => Typed::Wrong(error.to_string()),
    }
}

fn volunteered(rest: &str) -> Typed {
    let mut words = rest.splitn(4, ' ');
    let (Some(name), Some(a), Some(b), Some(value)) =
        (words.next(), words.next(), words.next(), words.next())
    else {
        return Typed::Wrong("say: take FUNCTION A B VALUE".to_owned());
    };
    let Some(function) = Function::by_name(name) else {
        return Typed::Wrong(format!("\"{name}\" is no function of a meter"));
    };
    match keyed::parse_line(value, function) {
        Ok(shown) => Typed::Say(Box::new(Input::Take(Taken {
            function: Some(function),
            points: Some([a.to_owned(), b.to_owned()]),
            shown,
            ..Taken::default()
        }))),
        Err(error) => Typed::Wrong(error.to_string()),
    }
}

fn plate(rest: &str) -> Typed {
    let mut words = rest.splitn(4, ' ');
    let (Some(part), Some(key), Some(value)) = (words.next(), words.next(), words.next()) else {
        return Typed::Wrong("say: plate PART KEY VALUE [UNIT]".to_owned());
    };
    Typed::Say(Box::new(Input::Plate(PlateEntry {
        part: part.to_owned(),
        key: key.to_owned(),
        value: value.to_owned(),
        unit: words.next().unwrap_or("").trim().to_owned(),
    })))
}

/// Reads a line, with what is asked, whether a meter is there to read, and where the trail lies.
pub fn read(line: &str, asked: Option<&Asked>, has_meter: bool, trail: &Path) -> Typed {
    let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
    let rest = rest.trim();
    let ask = asked.map(|a| a.ask);
    let say = |input| Typed::Say(Box::new(input));
    match (word, ask) {
        ("help", _) => Typed::Help,
        ("quit", _) => Typed::Quit,
        ("yes" | "no", Some(_)) => say(Input::Look {
            ask,
            what: None,
            answer: word == "yes",
        }),
        ("done", Some(_)) => say(Input::Done { ask, act: None }),
        ("skip", Some(ask)) if !rest.is_empty() => say(Input::Skip {
            ask,
            why: rest.to_owned(),
        }),
        ("skip", _) => Typed::Wrong("say why: skip WHY".to_owned()),
        ("note", _) => say(Input::Note(rest.to_owned())),
        ("leave", _) => say(Input::Leave {
            why: rest.to_owned(),
        }),
        ("look", _) => match rest.rsplit_once(' ') {
            Some((what, answer @ ("yes" | "no"))) => say(Input::Look {
                ask: None,
                what: Some(what.trim().to_owned()),
                answer: answer == "yes",
            }),
            _ => Typed::Wrong("say: look WHAT yes|no".to_owned()),
        },
        ("strike", _) => match rest.split_once(' ').map(|(n, why)| (n.parse(), why)) {
            Some((Ok(take), why)) => say(Input::Strike {
                take,
                why: why.to_owned(),
            }),
            _ => Typed::Wrong("say: strike N WHY".to_owned()),
        },
        ("ambient", _) => volunteered(&format!("celsius {AMBIENT} {AMBIENT} {rest}")),
        ("cold", _) => match cooling::plate(rest) {
            Ok(entry) => say(Input::Plate(entry)),
            Err(what) => Typed::Wrong(what),
        },
        ("plate", _) => plate(rest),
        ("photo", _) => photo(rest, trail),
        ("checked", _) if !rest.is_empty() => say(Input::WireChecked {
            end: rest.to_owned(),
            photo: None,
        }),
        ("checked", _) => Typed::Wrong("say: checked END".to_owned()),
        ("take", _) => volunteered(rest),
        ("", Some(_)) => match asked.map(|a| &a.request) {
            Some(request) if request.measurement().is_some() && has_meter => Typed::Watch,
            Some(request) if request.measurement().is_some() => {
                Typed::Wrong("key the value in, such as 238.4 V".to_owned())
            }
            _ => Typed::Nothing,
        },
        ("", None) => Typed::Nothing,
        _ => match asked.and_then(|a| a.request.measurement()) {
            Some(wanted) => keyed_value(line, wanted.function, ask),
            None => Typed::Wrong(format!("\"{line}\" is not understood; type `help`")),
        },
    }
}

fn photo(rest: &str, trail: &Path) -> Typed {
    let (file, caption) = rest.split_once(' ').unwrap_or((rest, ""));
    let media_type = match Path::new(file).extension().and_then(|e| e.to_str()) {
        Some("jpg" | "jpeg") => "image/jpeg",
        Some("png") => "image/png",
        _ => return Typed::Wrong("a photograph is a .jpg, .jpeg or .png file".to_owned()),
    };
    let kept = std::fs::read(file)
        .map_err(|e| format!("{file}: {e}"))
        .and_then(|bytes| {
            let folder = trail.with_extension("photos");
            photos::store(&folder, &bytes, media_type)
                .map(|hash| (hash, bytes.len()))
                .map_err(|e| e.to_string())
        });
    match kept {
        Ok((hash, size)) => Typed::Say(Box::new(Input::Photo {
            hash: hash.0,
            media_type: media_type.to_owned(),
            size: size as u64,
            caption: caption.trim().to_owned(),
        })),
        Err(what) => Typed::Wrong(what),
    }
}
