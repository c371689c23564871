//! Visits: the list, a new one, and what is to be seen of one.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use ohmtrail_circuit::draw::{self, Probing};
use ohmtrail_trail::event::Request;
use ohmtrail_words::Tongue;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::answers::hash;
use super::extract::{Body, Named, Query};
use super::language::Spoken;
use super::problem::Problem;
use super::{App, text};
use crate::forms::{Conclusion, Finding, Suspect};
use crate::meters::Meter;
use crate::visits::view::{VisitMeter, VisitView};
use crate::visits::{New, Now, SayError, Seen, Summary, Visit};

/// Every visit, the latest first.
#[derive(Debug, Serialize, ToSchema)]
pub struct VisitList {
    /// The visits.
    visits: Vec<Summary>,
}

/// List the visits
#[utoipa::path(get, path = "/api/v1/visits", tag = "visits",
    responses((status = 200, body = VisitList)))]
pub async fn list(State(app): State<App>) -> Json<VisitList> {
    let visits = app.visits().list();
    Json(VisitList {
        visits: visits.iter().map(|v| v.summary()).collect(),
    })
}

/// A new visit.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewVisit {
    /// The unit's sheet.
    pub sheet: String,
    /// The work order.
    #[serde(default)]
    pub work_order: String,
    /// Who does the visit.
    #[serde(default)]
    pub technician: String,
    /// The unit, as the shop names it.
    #[serde(default)]
    pub unit: String,
    /// What the customer reports, by the sheet's name for it.
    #[serde(default)]
    pub complaint: Option<String>,
    /// The customer's words.
    #[serde(default)]
    pub words: String,
    /// The head hash of the trail before this one of the same unit.
    #[serde(default)]
    pub previous: Option<String>,
    /// The unit is simulated: nothing in this visit is measured on a real one.
    #[serde(default)]
    pub simulated: bool,
    /// The meters that join it.
    #[serde(default)]
    pub meters: Vec<Joins>,
}

/// A meter that joins a visit.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Joins {
    /// The meter's name in the daemon.
    pub meter: String,
    /// What it is for, such as `volts at the contactor`.
    #[serde(default)]
    pub role: String,
}

/// The daemon's meters that are to join a visit, each with what it is for.
pub(super) fn joining(app: &App, joins: Vec<Joins>) -> Result<Vec<(Arc<Meter>, String)>, Problem> {
    let each = joins.into_iter().map(|joins| {
        let found = app.context().meters.find(&joins.meter);
        let missing = || Problem::not_found("meter", &joins.meter, "/api/v1/meters");
        Ok((found.ok_or_else(missing)?, joins.role))
    });
    each.collect()
}

/// Open a visit
///
/// It is in its trail, on disk, when this answers.
#[utoipa::path(post, path = "/api/v1/visits", tag = "visits", request_body = NewVisit,
    responses((status = 201, body = VisitView), Problem))]
pub async fn open(
    State(app): State<App>,
    Body(new): Body<NewVisit>,
) -> Result<(StatusCode, Json<VisitView>), Problem> {
    let meters = joining(&app, new.meters)?;
    let visit = app.visits().open(New {
        work_order: new.work_order,
        technician: new.technician,
        unit: new.unit,
        sheet: new.sheet,
        previous: new.previous.as_deref().map(hash).transpose()?,
        simulated: new.simulated,
        complaint: new.complaint.map(|what| (what, new.words)),
        repair: None,
    });
    let visit = visit.await?;
    begun(&visit, meters).await
}

/// Has its meters join a visit that was begun, and tells how it then is.
pub(super) async fn begun(
    visit: &Visit,
    meters: Vec<(Arc<Meter>, String)>,
) -> Result<(StatusCode, Json<VisitView>), Problem> {
    let id = visit.id.clone();
    let view = visit.with(move |keeper| {
        for (meter, role) in &meters {
            keeper.join(meter, role)?;
        }
        keeper.answered(Vec::new())?;
        Ok::<_, SayError>(VisitView::of(&id, &keeper.seen()))
    });
    Ok((StatusCode::CREATED, Json(view.await??)))
}

/// Look at something of a visit.
async fn look<R: Send + 'static>(
    app: &App,
    visit: &str,
    look: impl FnOnce(&Seen<'_>) -> R + Send + Clone + 'static,
) -> Result<R, Problem> {
    let visit = app.visit(visit)?;
    Ok(visit.look(app.context(), look).await?)
}

/// Get everything that a visit's trail says, and how it stands
#[utoipa::path(get, path = "/api/v1/visits/{visit}", tag = "visits",
    params(("visit" = String, Path)),
    responses((status = 200, body = VisitView), Problem))]
pub async fn get(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Json<VisitView>, Problem> {
    let id = visit.clone();
    let view = look(&app, &visit, move |seen| VisitView::of(&id, seen));
    Ok(Json(view.await?))
}

/// Get how a visit stands: the next ask, or what must pass before it
#[utoipa::path(get, path = "/api/v1/visits/{visit}/now", tag = "visits",
    params(("visit" = String, Path)),
    responses((status = 200, body = Now), Problem))]
pub async fn now(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Json<Now>, Problem> {
    let visit = app.visit(&visit)?;
    Ok(Json(visit.with(|keeper| keeper.standing()).await?))
}

/// Get a picture of what an ask is about: where the probes go, or the part that is looked at
#[utoipa::path(get, path = "/api/v1/visits/{visit}/asks/{ask}/picture.svg", tag = "visits",
    params(("visit" = String, Path), ("ask" = u32, Path), Spoken),
    responses((status = 200, body = String, content_type = "image/svg+xml"), Problem))]
pub async fn picture(
    State(app): State<App>,
    Named((visit, ask)): Named<(String, u32)>,
    Query(wanted): Query<Spoken>,
) -> Result<Response, Problem> {
    let tongue = wanted.language.into();
    let svg = look(&app, &visit, move |seen| drawing(seen, ask, tongue)).await?;
    let none = || Problem::not_found("picture of ask", &ask.to_string(), "/api/v1/visits/{visit}");
    Ok(text("image/svg+xml", svg.ok_or_else(none)?))
}

/// What there is to draw of an ask.
fn drawing(seen: &Seen<'_>, ask: u32, tongue: Tongue) -> Option<String> {
    let sheet = seen.book.sheet;
    let request = &seen.record.ask(ask)?.request;
    if let Request::Look { what } = request {
        return draw::check(sheet, sheet.look(what)?, tongue);
    }
    let asked = request.measurement()?;
    let [a, b] = asked.points;
    let points = [sheet.point(a)?, sheet.point(b)?];
    let lifted = asked.state.lifted.iter();
    let ends: Vec<_> = lifted.filter_map(|e| sheet.point(e)).collect();
    Some(draw::probes(
        sheet,
        &Probing {
            function: asked.function,
            points,
            lifted: &ends,
        },
        tongue,
    ))
}

/// The suspects, most probable first.
#[derive(Debug, Serialize, ToSchema)]
pub struct Suspects {
    suspects: Vec<Suspect>,
}

/// Get the suspects
#[utoipa::path(get, path = "/api/v1/visits/{visit}/suspects", tag = "visits",
    params(("visit" = String, Path)),
    responses((status = 200, body = Suspects), Problem))]
pub async fn suspects(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Json<Suspects>, Problem> {
    let suspects = look(&app, &visit, |seen| {
        seen.record.suspects.iter().map(Suspect::of).collect()
    });
    Ok(Json(Suspects {
        suspects: suspects.await?,
    }))
}

/// What was found.
#[derive(Debug, Serialize, ToSchema)]
pub struct Found {
    /// What the isolation came to; none before.
    conclusion: Option<Conclusion>,
    /// The finding that stands; none before.
    finding: Option<Finding>,
}

/// Get the finding
#[utoipa::path(get, path = "/api/v1/visits/{visit}/finding", tag = "visits",
    params(("visit" = String, Path)),
    responses((status = 200, body = Found), Problem))]
pub async fn finding(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Json<Found>, Problem> {
    let found = look(&app, &visit, |seen| Found {
        conclusion: seen.record.conclusion.as_ref().map(Conclusion::of),
        finding: seen.record.finding.as_ref().map(Finding::of),
    });
    Ok(Json(found.await?))
}

/// The meters of a visit.
#[derive(Debug, Serialize, ToSchema)]
pub struct VisitMeters {
    meters: Vec<VisitMeter>,
}

async fn meters_of(app: &App, visit: &str) -> Result<Json<VisitMeters>, Problem> {
    let meters = look(app, visit, crate::visits::view::meters);
    Ok(Json(VisitMeters {
        meters: meters.await?,
    }))
}

/// List the meters of a visit
#[utoipa::path(get, path = "/api/v1/visits/{visit}/meters", tag = "visits",
    params(("visit" = String, Path)),
    responses((status = 200, body = VisitMeters), Problem))]
pub async fn meters(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Json<VisitMeters>, Problem> {
    meters_of(&app, &visit).await
}

/// Take a meter into a visit, or say anew what it is for
#[utoipa::path(post, path = "/api/v1/visits/{visit}/meters", tag = "visits",
    params(("visit" = String, Path)), request_body = Joins,
    responses((status = 200, body = VisitMeters), Problem))]
pub async fn join(
    State(app): State<App>,
    Named(visit): Named<String>,
    Body(joins): Body<Joins>,
) -> Result<Json<VisitMeters>, Problem> {
    let meter = app.context().meters.find(&joins.meter);
    let missing = || Problem::not_found("meter", &joins.meter, "/api/v1/meters");
    let meter = meter.ok_or_else(missing)?;
    let joined = app.visit(&visit)?;
    let role = joins.role;
    joined
        .with(move |keeper| keeper.join(&meter, &role))
        .await??;
    meters_of(&app, &visit).await
}

/// Take a meter out of a visit
#[utoipa::path(delete, path = "/api/v1/visits/{visit}/meters/{meter}", tag = "visits",
    params(("visit" = String, Path), ("meter" = String, Path)),
    responses((status = 200, body = VisitMeters), Problem))]
pub async fn leave(
    State(app): State<App>,
    Named((visit, name)): Named<(String, String)>,
) -> Result<Json<VisitMeters>, Problem> {
    let missing = || {
        let list = format!("/api/v1/visits/{visit}/meters");
        Problem::not_found("meter of this visit", &name, &list)
    };
    let left = app.visit(&visit)?;
    let of = name.clone();
    if !left.with(move |keeper| keeper.leave_named(&of)).await?? {
        return Err(missing());
    }
    meters_of(&app, &visit).await
}
