//! What a form says to a visit.

use ohmtrail_core::reading::Flags;
use ohmtrail_trail::event::PlateEntry;
use ohmtrail_visit::Input;
use ohmtrail_words::Tongue;
use serde::Deserialize;

use crate::api::{Problem, hash};
use crate::forms::function;
use crate::visits::{Keeper, Place, SayError, Typed, Visit};

/// A form as it is sent: what it does, and the fields that this needs.
#[derive(Debug, Default, Clone, Deserialize)]
#[serde(default)]
pub struct Said {
    /// What it does.
    r#do: String,
    ask: Option<u32>,
    take: Option<u32>,
    answer: String,
    pub(super) display: String,
    pub(super) unit: String,
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
    /// A function and a unit, of what nobody asked for.
    pub(super) set: String,
    /// The points that the probes were on.
    pub(super) a: String,
    pub(super) b: String,
    pub(super) meter: String,
    pub(super) low: String,
    /// The meter whose display is waited for.
    live: String,
    /// What was looked at.
    pub(super) what: String,
    pub(super) part: String,
    pub(super) key: String,
    pub(super) value: String,
}

/// What a form asks of the keeper.
enum Wish {
    Tell(Input),
    Watch(u32),
    WatchPoints {
        meter: String,
        points: [String; 2],
        low: bool,
    },
    Unwatch,
    Type(Typed),
    /// With the tag in this language.
    Close(Tongue),
}

impl Said {
    /// The page of the visit that shows what came of it.
    pub fn to(&self) -> &'static str {
        match self.r#do.as_str() {
            "note" | "mark" | "back" => "/wires",
            "close" => "/papers",
            _ => "",
        }
    }

    /// Whether it is something that nobody asked for.
    pub fn is_volunteered(&self) -> bool {
        matches!(self.r#do.as_str(), "take" | "saw" | "plate")
    }

    /// What the display showed.
    fn shown(&self) -> String {
        match self.over.as_str() {
            "yes" => "OL".to_owned(),
            // Some keyboards write the decimal mark as a comma.
            _ => self.display.trim().replace(',', "."),
        }
    }

    /// The points that the probes were on.
    fn points(&self) -> Result<[String; 2], Problem> {
        if self.a.is_empty() || self.b.is_empty() {
            return Err(lacks("the points that the probes were on"));
        }
        Ok([self.a.clone(), self.b.clone()])
    }

    /// A value that nobody asked for.
    fn volunteered(self) -> Result<Wish, Problem> {
        let low = self.low == "yes";
        if !self.live.is_empty() {
            return Ok(Wish::WatchPoints {
                meter: self.live.clone(),
                points: self.points()?,
                low,
            });
        }
        let (set, unit) = self
            .set
            .split_once(' ')
            .ok_or_else(|| lacks("what the meter was set to"))?;
        let set = function(set).map_err(|e| Problem::unprocessable(e, "load the page anew"))?;
        Ok(Wish::Type(Typed {
            display: self.shown(),
            unit: unit.to_owned(),
            place: Place::Points(self.points()?),
            function: Some(set),
            flags: if low {
                Flags::LOW_IMPEDANCE
            } else {
                Flags::NONE
            },
            meter: Some(self.meter).filter(|m| !m.is_empty()),
        }))
    }

    fn wish(self, t: Tongue) -> Result<Wish, Problem> {
        let number = |n: Option<u32>| n.ok_or_else(|| lacks("the number of what it answers"));
        let words = |text: String| match text.trim() {
            "" => Err(lacks("the words")),
            _ => Ok(text),
        };
        let why = |why: String, reason: String| words(if why.is_empty() { reason } else { why });
        let yes = |answer: &str| match answer {
            "yes" => Ok(true),
            "no" => Ok(false),
            _ => Err(lacks("yes or no")),
        };
        let shown = self.shown();
        Ok(match self.r#do.as_str() {
            "look" => Wish::Tell(Input::Look {
                ask: Some(number(self.ask)?),
                what: None,
                answer: yes(&self.answer)?,
            }),
            "take" => self.volunteered()?,
            "saw" => Wish::Tell(Input::Look {
                ask: None,
                what: Some(words(self.what)?),
                answer: yes(&self.answer)?,
            }),
            "plate" => Wish::Tell(Input::Plate(PlateEntry {
                part: words(self.part)?,
                key: words(self.key)?.trim().to_owned(),
                value: words(self.value)?.trim().to_owned(),
                unit: self.unit.trim().to_owned(),
            })),
            "watch" => Wish::Watch(number(self.ask)?),
            "unwatch" => Wish::Unwatch,
            "display" => Wish::Type(Typed {
                place: Place::Ask(number(self.ask)?),
                function: Some(self.function)
                    .filter(|f| !f.is_empty())
                    .map(|f| function(&f))
                    .transpose()
                    .map_err(|e| Problem::unprocessable(e, "load the page anew"))?,
                display: shown,
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
                photo: photo(self.photo)?,
            }),
            "back" => Wish::Tell(Input::PutBack {
                end: words(self.end)?,
                photo: photo(self.photo)?,
            }),
            "checked" => Wish::Tell(Input::WireChecked {
                end: words(self.end)?,
                photo: photo(self.photo)?,
            }),
            "end-checks" => Wish::Tell(Input::Leave {
                why: why(self.why, self.reason)?,
            }),
            "close" => Wish::Close(t),
            _ => return Err(lacks("what to do")),
        })
    }
}

/// The hash of a photograph, if there is one.
fn photo(named: String) -> Result<Option<[u8; 32]>, Problem> {
    let named = Some(named).filter(|p| !p.is_empty());
    named.map(|p| hash(&p)).transpose()
}

/// A repair in which nothing is fitted.
pub(super) fn no_part() -> Problem {
    Problem::unprocessable("no part is chosen", "choose what is fitted")
}

fn lacks(what: &'static str) -> Problem {
    let said = ohmtrail_words::Said::message("form-lacks").with("what", what);
    Problem::unprocessable(said, "fill it in, and send it again")
}

fn grant(wish: Wish, keeper: &mut Keeper<'_>) -> Result<(), SayError> {
    match wish {
        Wish::Tell(input) => keeper.tell(input).map(drop),
        Wish::Type(typed) => keeper.typed(typed).map(drop),
        Wish::Close(t) => keeper.close(t).map(drop),
        Wish::Watch(ask) => {
            keeper.watch(ask, None)?;
            keeper.answered(Vec::new()).map(drop)
        }
        Wish::WatchPoints { meter, points, low } => {
            keeper.watch_points(&meter, points, low)?;
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
pub async fn say(visit: &Visit, said: Said, t: Tongue) -> Result<(), Problem> {
    let wish = said.wish(t)?;
    Ok(visit.with(move |keeper| grant(wish, keeper)).await??)
}
