//! What is said to a visit: answers to asks, and what is volunteered.

use axum::Json;
use axum::extract::State;
use ohmtrail_trail::Hash;
use ohmtrail_trail::event::PlateEntry;
use ohmtrail_visit::Input;
use ohmtrail_words::Tongue;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::App;
use super::extract::{Body, Named};
use super::problem::Problem;
use crate::forms::{flags, function};
use crate::visits::{Place, Said, Typed};

type Answer = Result<Json<Said>, Problem>;

/// Says something to the visit of that name.
async fn say(app: &App, visit: &str, input: Input) -> Answer {
    let visit = app.visit(visit)?;
    Ok(Json(visit.with(|keeper| keeper.tell(input)).await??))
}

/// An answer to a look.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LookAnswer {
    /// Yes or no.
    pub answer: bool,
}

/// Answer a look
#[utoipa::path(post, path = "/api/v1/visits/{visit}/asks/{ask}/look", tag = "answers",
    params(("visit" = String, Path), ("ask" = u32, Path)), request_body = LookAnswer,
    responses((status = 200, body = Said), Problem))]
pub async fn answer(
    State(app): State<App>,
    Named((visit, ask)): Named<(String, u32)>,
    Body(look): Body<LookAnswer>,
) -> Answer {
    let input = Input::Look {
        ask: Some(ask),
        what: None,
        answer: look.answer,
    };
    say(&app, &visit, input).await
}

/// A value as the display shows it.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Display {
    /// The digits as shown, which carry the resolution; or `OL`.
    pub display: String,
    /// Their UCUM unit, such as `V`, `kOhm` or `uF`; may be left out for an overload.
    #[serde(default)]
    pub unit: String,
    /// What the meter was set to; without it, what was asked.
    #[serde(default)]
    pub function: Option<String>,
    /// The annunciators.
    #[serde(default)]
    pub flags: Vec<String>,
    /// The meter of the visit that it was read off; without it, one that is not connected.
    #[serde(default)]
    pub meter: Option<String>,
}

async fn typed(app: &App, visit: &str, place: Place, display: Display) -> Answer {
    let understood = |what| Problem::unprocessable(what, "correct it");
    let named = display.function.as_deref();
    let typed = Typed {
        place,
        function: named.map(function).transpose().map_err(understood)?,
        display: display.display,
        unit: display.unit,
        flags: flags(&display.flags).map_err(understood)?,
        meter: display.meter,
    };
    let visit = app.visit(visit)?;
    Ok(Json(visit.with(|keeper| keeper.typed(typed)).await??))
}

/// Answer a measurement with a typed value
#[utoipa::path(post, path = "/api/v1/visits/{visit}/asks/{ask}/display", tag = "answers",
    params(("visit" = String, Path), ("ask" = u32, Path)), request_body = Display,
    responses((status = 200, body = Said), Problem))]
pub async fn display(
    State(app): State<App>,
    Named((visit, ask)): Named<(String, u32)>,
    Body(display): Body<Display>,
) -> Answer {
    typed(&app, &visit, Place::Ask(ask), display).await
}

/// Which meter is watched.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Watch {
    /// The meter of the visit; without it, the one that is set to what is asked.
    #[serde(default)]
    pub meter: Option<String>,
}

/// Answer a measurement by its meter: the probes are on the points
///
/// The reading is taken when the display stands still; that comes as an event. `now.watching` says
/// what is waited for.
#[utoipa::path(post, path = "/api/v1/visits/{visit}/asks/{ask}/watch", tag = "answers",
    params(("visit" = String, Path), ("ask" = u32, Path)), request_body = Watch,
    responses((status = 200, body = Said), Problem))]
pub async fn watch(
    State(app): State<App>,
    Named((visit, ask)): Named<(String, u32)>,
    Body(watch): Body<Watch>,
) -> Answer {
    let visit = app.visit(&visit)?;
    let said = visit.with(move |keeper| {
        keeper.watch(ask, watch.meter.as_deref())?;
        keeper.answered(Vec::new())
    });
    Ok(Json(said.await??))
}

/// Wait no longer for a display to stand still
#[utoipa::path(delete, path = "/api/v1/visits/{visit}/asks/{ask}/watch", tag = "answers",
    params(("visit" = String, Path), ("ask" = u32, Path)),
    responses((status = 200, body = Said), Problem))]
pub async fn watch_no_more(
    State(app): State<App>,
    Named((visit, _ask)): Named<(String, u32)>,
) -> Answer {
    let visit = app.visit(&visit)?;
    let said = visit.with(|keeper| {
        keeper.watch_no_more();
        keeper.answered(Vec::new())
    });
    Ok(Json(said.await??))
}

/// Say that an act was done
///
/// Each act is confirmed by itself, by the person who did it.
#[utoipa::path(post, path = "/api/v1/visits/{visit}/asks/{ask}/done", tag = "answers",
    params(("visit" = String, Path), ("ask" = u32, Path)),
    responses((status = 200, body = Said), Problem))]
pub async fn done(State(app): State<App>, Named((visit, ask)): Named<(String, u32)>) -> Answer {
    let input = Input::Done {
        ask: Some(ask),
        act: None,
    };
    say(&app, &visit, input).await
}

/// A reason.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Why {
    /// In words.
    pub why: String,
}

impl Why {
    fn said(self) -> Result<String, Problem> {
        if self.why.trim().is_empty() {
            return Err(Problem::unprocessable("`why` is empty", "say why"));
        }
        Ok(self.why)
    }
}

/// Pass an ask over
#[utoipa::path(post, path = "/api/v1/visits/{visit}/asks/{ask}/skip", tag = "answers",
    params(("visit" = String, Path), ("ask" = u32, Path)), request_body = Why,
    responses((status = 200, body = Said), Problem))]
pub async fn skip(
    State(app): State<App>,
    Named((visit, ask)): Named<(String, u32)>,
    Body(why): Body<Why>,
) -> Answer {
    let why = why.said()?;
    say(&app, &visit, Input::Skip { ask, why }).await
}

/// A look that nobody asked for.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Volunteered {
    /// The sheet's name for what was looked at.
    pub what: String,
    /// Yes or no.
    pub answer: bool,
}

/// Volunteer a look
#[utoipa::path(post, path = "/api/v1/visits/{visit}/looks", tag = "answers",
    params(("visit" = String, Path)), request_body = Volunteered,
    responses((status = 200, body = Said), Problem))]
pub async fn look(
    State(app): State<App>,
    Named(visit): Named<String>,
    Body(look): Body<Volunteered>,
) -> Answer {
    let input = Input::Look {
        ask: None,
        what: Some(look.what),
        answer: look.answer,
    };
    say(&app, &visit, input).await
}

/// A take that nobody asked for.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VolunteeredTake {
    /// What the meter was set to.
    pub function: String,
    /// Where the probes were; `leads` twice for the probes held together, `ambient` twice for the air.
    pub points: [String; 2],
    /// The digits as shown, or `OL`.
    pub display: String,
    /// Their UCUM unit.
    #[serde(default)]
    pub unit: String,
    /// The annunciators.
    #[serde(default)]
    pub flags: Vec<String>,
    /// The meter of the visit; without it, one that is not connected.
    #[serde(default)]
    pub meter: Option<String>,
}

/// Volunteer a take
#[utoipa::path(post, path = "/api/v1/visits/{visit}/takes", tag = "answers",
    params(("visit" = String, Path)), request_body = VolunteeredTake,
    responses((status = 200, body = Said), Problem))]
pub async fn take(
    State(app): State<App>,
    Named(visit): Named<String>,
    Body(take): Body<VolunteeredTake>,
) -> Answer {
    let display = Display {
        display: take.display,
        unit: take.unit,
        function: Some(take.function),
        flags: take.flags,
        meter: take.meter,
    };
    typed(&app, &visit, Place::Points(take.points), display).await
}

/// Strike a take: it stays in the trail and counts no more
#[utoipa::path(post, path = "/api/v1/visits/{visit}/takes/{take}/strike", tag = "answers",
    params(("visit" = String, Path), ("take" = u32, Path)), request_body = Why,
    responses((status = 200, body = Said), Problem))]
pub async fn strike(
    State(app): State<App>,
    Named((visit, take)): Named<(String, u32)>,
    Body(why): Body<Why>,
) -> Answer {
    let why = why.said()?;
    say(&app, &visit, Input::Strike { take, why }).await
}

/// What the customer reports.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reported {
    /// The sheet's name for it.
    pub what: String,
    /// The customer's words.
    #[serde(default)]
    pub words: String,
}

/// Say what the customer reports
#[utoipa::path(post, path = "/api/v1/visits/{visit}/complaints", tag = "answers",
    params(("visit" = String, Path)), request_body = Reported,
    responses((status = 200, body = Said), Problem))]
pub async fn complain(
    State(app): State<App>,
    Named(visit): Named<String>,
    Body(Reported { what, words }): Body<Reported>,
) -> Answer {
    say(&app, &visit, Input::Complaint { what, words }).await
}

/// A value read off a plate or a part.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlateValue {
    /// The part, or `unit` for the unit's own data plate.
    pub part: String,
    /// What it is, such as `capacitance-herm` or `rated-volts`.
    pub key: String,
    /// As printed.
    pub value: String,
    /// UCUM unit, empty if none.
    #[serde(default)]
    pub unit: String,
}

/// Keep a value read off a plate or a part
#[utoipa::path(post, path = "/api/v1/visits/{visit}/plates", tag = "answers",
    params(("visit" = String, Path)), request_body = PlateValue,
    responses((status = 200, body = Said), Problem))]
pub async fn plate(
    State(app): State<App>,
    Named(visit): Named<String>,
    Body(plate): Body<PlateValue>,
) -> Answer {
    let entry = PlateEntry {
        part: plate.part,
        key: plate.key,
        value: plate.value,
        unit: plate.unit,
    };
    say(&app, &visit, Input::Plate(entry)).await
}

/// A note.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Note {
    /// The words.
    pub text: String,
}

/// Keep a note
#[utoipa::path(post, path = "/api/v1/visits/{visit}/notes", tag = "answers",
    params(("visit" = String, Path)), request_body = Note,
    responses((status = 200, body = Said), Problem))]
pub async fn note(
    State(app): State<App>,
    Named(visit): Named<String>,
    Body(note): Body<Note>,
) -> Answer {
    say(&app, &visit, Input::Note(note.text)).await
}

/// A wire end as it was found.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct End {
    /// Its colour or mark, as seen.
    #[serde(default)]
    pub mark: String,
    /// The hash of its photograph, which is kept already.
    #[serde(default)]
    pub photo: Option<String>,
}

/// A wire end as it was seen.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Seen {
    /// The hash of its photograph, which is kept already.
    #[serde(default)]
    pub photo: Option<String>,
}

/// A hash as it was named.
pub(crate) fn hash(text: &str) -> Result<[u8; 32], Problem> {
    let hash: Result<Hash, _> = text.parse();
    hash.map(|h| h.0).map_err(|_| {
        Problem::unprocessable(
            format!("\"{text}\" is no hash"),
            "send its 64 hexadecimal digits",
        )
    })
}

/// Say that a wire end was lifted, and what it looks like
#[utoipa::path(post, path = "/api/v1/visits/{visit}/wires/{end}/lifted", tag = "answers",
    params(("visit" = String, Path), ("end" = String, Path)), request_body = End,
    responses((status = 200, body = Said), Problem))]
pub async fn lifted(
    State(app): State<App>,
    Named((visit, end)): Named<(String, String)>,
    Body(found): Body<End>,
) -> Answer {
    let photo = found.photo.as_deref().map(hash).transpose()?;
    let mark = found.mark;
    say(&app, &visit, Input::Lifted { end, mark, photo }).await
}

/// Say that a wire end is back where it was
#[utoipa::path(post, path = "/api/v1/visits/{visit}/wires/{end}/back", tag = "answers",
    params(("visit" = String, Path), ("end" = String, Path)), request_body = End,
    responses((status = 200, body = Said), Problem))]
pub async fn put_back(
    State(app): State<App>,
    Named((visit, end)): Named<(String, String)>,
    Body(found): Body<End>,
) -> Answer {
    let photo = found.photo.as_deref().map(hash).transpose()?;
    say(&app, &visit, Input::PutBack { end, photo }).await
}

/// Say that a wire end that is back was checked
///
/// Against the drawing, and the photograph of it in place.
#[utoipa::path(post, path = "/api/v1/visits/{visit}/wires/{end}/checked", tag = "answers",
    params(("visit" = String, Path), ("end" = String, Path)), request_body = Seen,
    responses((status = 200, body = Said), Problem))]
pub async fn wire_checked(
    State(app): State<App>,
    Named((visit, end)): Named<(String, String)>,
    Body(seen): Body<Seen>,
) -> Answer {
    let photo = seen.photo.as_deref().map(hash).transpose()?;
    say(&app, &visit, Input::WireChecked { end, photo }).await
}

/// Make no more checks: go on to leaving the unit
#[utoipa::path(post, path = "/api/v1/visits/{visit}/leave", tag = "answers",
    params(("visit" = String, Path)), request_body = Why,
    responses((status = 200, body = Said), Problem))]
pub async fn end_checks(
    State(app): State<App>,
    Named(visit): Named<String>,
    Body(why): Body<Why>,
) -> Answer {
    let why = why.said()?;
    say(&app, &visit, Input::Leave { why }).await
}

/// The tag that was hung.
#[derive(Debug, Serialize, ToSchema)]
pub struct Closed {
    /// The tag, as plain text.
    pub tag: String,
}

/// Hang the tag and end the visit
///
/// The unit must have been left: `now.stage` is `left`.
#[utoipa::path(post, path = "/api/v1/visits/{visit}/close", tag = "answers",
    params(("visit" = String, Path)),
    responses((status = 200, body = Closed), Problem))]
pub async fn close(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Json<Closed>, Problem> {
    let visit = app.visit(&visit)?;
    let tag = visit.with(|keeper| keeper.close(Tongue::English)).await??;
    Ok(Json(Closed { tag }))
}
