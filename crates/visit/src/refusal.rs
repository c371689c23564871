//! Why a visit refuses what it is told.

use std::fmt;

use ohmtrail_words::Said;

use crate::quote::QuoteError;

/// Why an input is refused. Nothing is changed by it.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Refusal {
    /// The visit did not begin.
    NotOpened,
    /// It began already.
    OpenedAlready,
    /// Another sheet than the trail's.
    OtherSheet {
        /// The trail's sheet.
        trail: String,
        /// The sheet given.
        given: String,
    },
    /// It has ended.
    Closed,
    /// Not the open ask.
    NotOpen {
        /// The ask named.
        ask: u32,
        /// The one that is open.
        open: Option<u32>,
    },
    /// The wrong kind of answer.
    Answer {
        /// The ask.
        ask: u32,
        /// What it wants.
        wants: &'static str,
    },
    /// Neither an ask nor what it is about is named.
    Incomplete(&'static str),
    /// A name that the sheet does not know.
    Unknown {
        /// What kind of thing.
        kind: &'static str,
        /// The name.
        name: String,
        /// The list that has the names.
        list: &'static str,
    },
    /// The points are not those of the ask.
    OtherPoints {
        /// The ask.
        ask: u32,
        /// Its points.
        points: [String; 2],
    },
    /// A cold reference that cannot be read.
    Cold(String),
    /// No take of that number.
    NoSuchTake(u32),
    /// No meter of that number.
    NoSuchMeter(u16),
    /// The wire end is not lifted.
    NotLifted(String),
    /// The wire end is not back, so that nothing of it can be checked.
    NotBack(String),
    /// A repair begins after something was asked, or once more.
    NoRepairNow,
    /// A part that is not to be fitted, or of which nothing is known.
    Match(Said),
    /// The unit is not left yet.
    NotLeft,
    /// The visit goes on.
    NotClosed,
    /// A quote that cannot be one.
    Quote(QuoteError),
    /// Nothing was quoted that could be decided on.
    NoQuote,
    /// No such option.
    NoSuchOption {
        /// The name.
        name: String,
        /// The options' names.
        known: Vec<String>,
    },
    /// The quote held until a day that is over.
    Expired(String),
    /// Who decided, or how it was told, is missing.
    Unsaid(&'static str),
}

impl Refusal {
    /// The refusal before it is put into a language.
    #[must_use]
    pub fn said(&self) -> Said {
        let message = Said::message;
        match self {
            Refusal::NotOpened => message("refused-not-opened"),
            Refusal::OpenedAlready => message("refused-opened-already"),
            Refusal::OtherSheet { trail, given } => message("refused-other-sheet")
                .with("trail", trail.clone())
                .with("given", given.clone()),
            Refusal::Closed => message("refused-closed"),
            Refusal::NotOpen { ask, open } => not_open(*ask, *open),
            Refusal::Answer { ask, wants } => message("refused-answer")
                .with("ask", ask.to_string())
                .with("wants", *wants),
            Refusal::Incomplete(what) => message("refused-incomplete").with("what", *what),
            Refusal::Unknown { kind, name, list } => message("refused-unknown")
                .with("kind", *kind)
                .with("name", name.clone())
                .with("list", (*list).to_owned()),
            Refusal::OtherPoints { ask, points } => message("refused-other-points")
                .with("ask", ask.to_string())
                .with("one", points[0].clone())
                .with("other", points[1].clone()),
            // What was typed there is read by its own rules, and named by them.
            Refusal::Cold(why) => Said::phrase(why.clone()),
            Refusal::NoSuchTake(take) => message("refused-take").with("take", take.to_string()),
            Refusal::NoSuchMeter(meter) => {
                message("refused-meter").with("meter", meter.to_string())
            }
            Refusal::NotLifted(end) => message("refused-not-lifted").with("end", end.clone()),
            Refusal::NotBack(end) => message("refused-not-back").with("end", end.clone()),
            Refusal::NoRepairNow => message("refused-no-repair-now"),
            Refusal::Match(why) => why.clone(),
            Refusal::NotLeft => message("refused-not-left"),
            Refusal::NotClosed => message("refused-not-closed"),
            Refusal::Quote(error) => error.said(),
            Refusal::NoQuote => message("refused-no-quote"),
            Refusal::NoSuchOption { name, known } => message("refused-option")
                .with("name", name.clone())
                .with("known", known.join(", ")),
            Refusal::Expired(day) => message("refused-expired").with("day", day.clone()),
            Refusal::Unsaid(what) => message("refused-unsaid").with("what", *what),
        }
    }
}

/// That an ask is not the open one.
#[must_use]
pub fn not_open(ask: u32, open: Option<u32>) -> Said {
    let said = Said::message("refused-not-open").with("ask", ask.to_string());
    let open = open.map(|open| Said::message("is-open").with("ask", open.to_string()));
    said.then_if(": ", open)
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.said().fmt(f)
    }
}

impl std::error::Error for Refusal {}

impl From<QuoteError> for Refusal {
    fn from(error: QuoteError) -> Self {
        Refusal::Quote(error)
    }
}
