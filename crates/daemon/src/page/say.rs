//! What a form says to a visit.

use ohmtrail_core::reading::Flags;
use ohmtrail_visit::Input;
use serde::Deserialize;

use crate::api::{Problem, hash};
use crate::forms::function;
use crate::visits::{Keeper, Place, SayError, Typed, Visit};

/// A form as it is sent: what it does, and the fields that this needs.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Said {
    /// What it does.
    r#do: String,
    ask: Option<u32>,
    take: Option<u32>,
    answer: String,
    display: String,
    unit: String,
    over: String,
    function: String,
    /// A reason that was touched.
    why: String,
    /// A reason that was written.
    reason: String,
    text: String,
    end: String,
    mark: String,
    photo: String,
}

/// What a form asks of the keeper.
enum Wish {
    Tell(Input),
    Watch(u32),
    Unwatch,
    Type(Typed),
    Close,
}

impl Said {
    /// The page of the visit that shows what came of it.
    pub fn to(&self) -> &'static str {
        match self.r#do.as_str() {
            "note" | "mark" => "/wires",
            "close" => "/papers",
            _ => "",
        }
    }

    fn wish(self) -> Result<Wish, Problem> {
        let number = |n: Option<u32>| n.ok_or_else(|| lacks("the number of what it answers"));
        let words = |text: String| match text.trim() {
            "" => Err(lacks("the words")),
            _ => Ok(text),
        };
        let why = |why: String, reason: String| words(if why.is_empty() { reason } else { why });
        Ok(match self.r#do.as_str() {
            "look" => Wish::Tell(Input::Look {
                ask: Some(number(self.ask)?),
                what: None,
                answer: match self.answer.as_str() {
                    "yes" => true,
                    "no" => false,
                    _ => return Err(lacks("yes or no")),
                },
            }),
            "watch" => Wish::Watch(number(self.ask)?),
            "unwatch" => Wish::Unwatch,
            "display" => Wish::Type(Typed {
                place: Place::Ask(number(self.ask)?),
                function: Some(self.function)
                    .filter(|f| !f.is_empty())
                    .map(|f| function(&f))
                    .transpose()
                    .map_err(|e| Problem::unprocessable(e, "load the page anew"))?,
                display: match self.over.as_str() {
                    "yes" => "OL".to_owned(),
                    // Some keyboards write the decimal mark as a comma.
                    _ => self.display.trim().replace(',', "."),
                },
                unit: self.unit,
                flags: Flags::default(),
                meter: None,
            }),
            "done" => Wish::Tell(Input::Done {
                ask: Some(number(self.ask)?),
                act: None,
            }),
            "skip" => Wish::Tell(Input::Skip {
                ask: number(self.ask)?,
                why: why(self.why, self.reason)?,
            }),
            "strike" => Wish::Tell(Input::Strike {
                take: number(self.take)?,
                why: why(self.why, self.reason)?,
            }),
            "note" => Wish::Tell(Input::Note(words(self.text)?)),
            "wire" | "mark" => Wish::Tell(Input::Lifted {
                end: words(self.end)?,
                mark: self.mark,
                photo: Some(self.photo)
                    .filter(|p| !p.is_empty())
                    .map(|p| hash(&p))
                    .transpose()?,
            }),
            "end-checks" => Wish::Tell(Input::Leave {
                why: why(self.why, self.reason)?,
            }),
            "close" => Wish::Close,
            _ => return Err(lacks("what to do")),
        })
    }
}

fn lacks(what: &str) -> Problem {
    Problem::unprocessable(
        format!("the form lacks {what}"),
        "fill it in, and send it again",
    )
}

fn grant(wish: Wish, keeper: &mut Keeper<'_>) -> Result<(), SayError> {
    match wish {
        Wish::Tell(input) => keeper.tell(input).map(drop),
        Wish::Type(typed) => keeper.typed(typed).map(drop),
        Wish::Close => keeper.close().map(drop),
        Wish::Watch(ask) => {
            keeper.watch(ask, None)?;
            keeper.answered(Vec::new()).map(drop)
        }
        Wish::Unwatch => {
            keeper.watch_no_more();
            keeper.answered(Vec::new()).map(drop)
        }
    }
}

/// Says it.
///
/// # Errors
/// What the visit refuses, and why.
pub async fn say(visit: &Visit, said: Said) -> Result<(), Problem> {
    let wish = said.wish()?;
    Ok(visit.with(move |keeper| grant(wish, keeper)).await??)
}
