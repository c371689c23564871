//! What the shop index says, over all visits.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use ohmtrail_index::Error;
use ohmtrail_words::Said;
use serde::Deserialize;
use utoipa::IntoParams;

use super::App;
use super::extract::Query;
use super::problem::Problem;
use crate::index::{AskError, Standing, forms, trends};

/// How many a list has where nobody says, and the most.
const USUALLY: u32 = 20;
const MOST: u32 = 200;

/// Which units.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct WhichUnits {
    /// Simulated units; without it, real ones.
    #[serde(default)]
    simulated: bool,
    /// How many to pass over.
    #[serde(default)]
    skip: u32,
    /// How many: 1 to 200, 20 without it.
    limit: Option<u32>,
}

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct WhichUnit {
    /// The unit, as the shop names it.
    unit: String,
    /// A simulated one; without it, a real one.
    #[serde(default)]
    simulated: bool,
}

/// Which visits of a unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct WhichVisits {
    /// The unit, as the shop names it.
    unit: String,
    /// A simulated one; without it, a real one.
    #[serde(default)]
    simulated: bool,
    /// Of its visits, how many: 1 to 200, 20 without it.
    limit: Option<u32>,
}

/// Which series of a unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct WhichTrends {
    /// The unit, as the shop names it.
    unit: String,
    /// A simulated one; without it, a real one.
    #[serde(default)]
    simulated: bool,
    /// Of this part only.
    part: Option<String>,
}

/// Which words.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct WhichWords {
    /// The words: all of them, or how they begin.
    words: String,
    /// How many visits: 1 to 200, 20 without it.
    limit: Option<u32>,
}

/// Which kind of part.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct WhichKind {
    /// One kind; all without it.
    kind: Option<String>,
    /// Of simulated units; without it, of real ones.
    #[serde(default)]
    simulated: bool,
}

fn limited(limit: Option<u32>) -> Result<u32, Problem> {
    match limit {
        None => Ok(USUALLY),
        Some(limit) if (1..=MOST).contains(&limit) => Ok(limit),
        Some(limit) => Err(Problem::unprocessable(
            format!("limit: {limit} is not between 1 and {MOST}"),
            "ask for fewer; of units, pass over those that you have with `skip`",
        )),
    }
}

impl From<AskError> for Problem {
    fn from(error: AskError) -> Self {
        let words = match &error {
            AskError::NotMade => Said::message("index-not-made"),
            AskError::Index(Error::NoUnit { unit, .. }) => {
                Said::message("index-no-unit").with("unit", unit.clone())
            }
            other => Said::phrase(other.to_string()),
        };
        let later = |code| {
            let remedy = "try again in a moment; GET /api/v1/index says how the index stands";
            Problem::new(StatusCode::SERVICE_UNAVAILABLE, code, words.clone(), remedy)
        };
        match error {
            AskError::NotMade => later("index-not-made"),
            AskError::Index(Error::Held { .. }) => later("index-held"),
            AskError::Index(Error::NoUnit { .. }) => Problem::new(
                StatusCode::NOT_FOUND,
                "no-such-unit",
                words,
                "GET /api/v1/index/units lists them, GET /api/v1/index/search finds them",
            ),
            _ => Problem::system(words),
        }
    }
}

/// How the shop index stands
///
/// It is made of the trails alone, and is brought up to date when the daemon starts, when a visit has ended,
/// and every five minutes.
#[utoipa::path(get, path = "/api/v1/index", tag = "index",
    responses((status = 200, body = Standing)))]
pub async fn standing(State(app): State<App>) -> Json<Standing> {
    Json(app.index().standing())
}

/// List the units, the latest visited first
#[utoipa::path(get, path = "/api/v1/index/units", tag = "index", params(WhichUnits),
    responses((status = 200, body = forms::Units), Problem))]
pub async fn units(
    State(app): State<App>,
    Query(which): Query<WhichUnits>,
) -> Result<Json<forms::Units>, Problem> {
    let limit = limited(which.limit)?;
    let asked = app.index().ask(move |index| {
        let size = index.size(which.simulated)?;
        Ok((index.units(which.simulated, which.skip, limit)?, size))
    });
    let (units, size) = asked.await?;
    Ok(Json(forms::Units::of(&units, size)))
}

/// Find visits by words, simulated ones too; the latest first
#[utoipa::path(get, path = "/api/v1/index/search", tag = "index", params(WhichWords),
    responses((status = 200, body = forms::Visits), Problem))]
pub async fn search(
    State(app): State<App>,
    Query(which): Query<WhichWords>,
) -> Result<Json<forms::Visits>, Problem> {
    let limit = limited(which.limit)?;
    let asked = app
        .index()
        .ask(move |index| index.search(&which.words, limit));
    Ok(Json(forms::Visits::of(&asked.await?)))
}

/// List a unit's visits, the latest first
#[utoipa::path(get, path = "/api/v1/index/history", tag = "index", params(WhichVisits),
    responses((status = 200, body = forms::Visits), Problem))]
pub async fn history(
    State(app): State<App>,
    Query(which): Query<WhichVisits>,
) -> Result<Json<forms::Visits>, Problem> {
    let limit = limited(which.limit)?;
    let asked = app
        .index()
        .ask(move |index| index.history(&which.unit, which.simulated, limit));
    Ok(Json(forms::Visits::of(&asked.await?)))
}

/// What failed of a unit before, and what failed again after it had been replaced
#[utoipa::path(get, path = "/api/v1/index/door", tag = "index", params(WhichUnit),
    responses((status = 200, body = forms::Door), Problem))]
pub async fn door(
    State(app): State<App>,
    Query(which): Query<WhichUnit>,
) -> Result<Json<forms::Door>, Problem> {
    let asked = app.index().ask(move |index| {
        let door = index.door(&which.unit, which.simulated)?;
        Ok(forms::Door::of(&which.unit, &door))
    });
    Ok(Json(asked.await?))
}

/// How a unit's values move, and when one is expected to leave its tolerance
///
/// A forecast is made only where the visits bear it; else it says why not.
#[utoipa::path(get, path = "/api/v1/index/trends", tag = "index", params(WhichTrends),
    responses((status = 200, body = trends::Trends), Problem))]
pub async fn trends(
    State(app): State<App>,
    Query(which): Query<WhichTrends>,
) -> Result<Json<trends::Trends>, Problem> {
    let asked = app.index().ask(move |index| {
        let mut all = index.trends(&which.unit, which.simulated)?;
        if let Some(part) = &which.part {
            all.retain(|t| t.series.part == *part);
        }
        Ok(trends::Trends::of(&which.unit, &all))
    });
    Ok(Json(asked.await?))
}

/// How often which kind of part was found to have failed, and how
#[utoipa::path(get, path = "/api/v1/index/kinds", tag = "index", params(WhichKind),
    responses((status = 200, body = forms::Kinds), Problem))]
pub async fn kinds(
    State(app): State<App>,
    Query(which): Query<WhichKind>,
) -> Result<Json<forms::Kinds>, Problem> {
    let asked = app
        .index()
        .ask(move |index| index.statistics(which.kind.as_deref(), which.simulated));
    Ok(Json(forms::Kinds::of(&asked.await?)))
}
