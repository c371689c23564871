//! What is served over HTTP. Every route is in the OpenAPI document, by the way it is added.

mod answers;
mod checks;
mod events;
mod extract;
mod health;
mod index;
mod kinds;
mod language;
mod meters;
mod papers;
mod photos;
mod problem;
mod repairs;
mod sheets;
mod trail;
mod visits;
mod whereabouts;

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;

use axum::extract::{MatchedPath, Request, State};
use axum::http::header;
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::{Json, Router};
use serde_json::Value;
use tokio::sync::watch;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(crate) use self::answers::hash;
pub use self::checks::Judge;
pub(crate) use self::extract::{Named, Query};
pub(crate) use self::papers::{Decided, keep_decision, keep_quote};
pub(crate) use self::photos::is_place as takes_photographs;
pub use self::problem::Problem;
use crate::index::Shop;
use crate::meters::Kept;
use crate::metrics::Asked;
use crate::visits::{Context, Visit, Visits};

/// What every route needs.
#[derive(Clone)]
pub struct App(Arc<Inner>);

struct Inner {
    visits: Visits,
    data: PathBuf,
    kept: Kept,
    judge: Judge,
    stop: watch::Receiver<bool>,
    document: Value,
}

impl App {
    /// The visits.
    #[must_use]
    pub fn visits(&self) -> &Visits {
        &self.0.visits
    }

    pub(crate) fn context(&self) -> &Arc<Context> {
        self.0.visits.context()
    }

    /// The shop index.
    pub(crate) fn index(&self) -> &Shop {
        &self.context().index
    }

    /// The visit of that name.
    pub(crate) fn visit(&self, id: &str) -> Result<Arc<Visit>, Problem> {
        let found = self.0.visits.find(id);
        found.ok_or_else(|| Problem::not_found("visit", id, "/api/v1/visits"))
    }

    fn stop(&self) -> watch::Receiver<bool> {
        self.0.stop.clone()
    }
}

/// The document without its routes.
#[derive(OpenApi)]
#[openapi(info(
    title = "Ohmtrail",
    description = "Takes every value a meter sees, says what it proves, asks for the next check, \
        and keeps the trail. It informs a qualified person: it says what was measured, and never \
        that a circuit is safe. Local codes and licensed practice come first."
))]
struct Document;

/// Every route that is in the document.
fn documented() -> OpenApiRouter<App> {
    OpenApiRouter::with_openapi(Document::openapi())
        .routes(routes!(health::health))
        .routes(routes!(health::metrics))
        .routes(routes!(document))
        .routes(routes!(events::meters))
        .routes(routes!(events::visit))
        .routes(routes!(meters::list, meters::add))
        .routes(routes!(meters::get, meters::remove))
        .routes(routes!(meters::measure))
        .routes(routes!(meters::drivers))
        .routes(routes!(meters::ports))
        .routes(routes!(sheets::list))
        .routes(routes!(sheets::get))
        .routes(routes!(sheets::schematic))
        .routes(routes!(sheets::check))
        .routes(routes!(sheets::table))
        .routes(routes!(kinds::list))
        .routes(routes!(kinds::priors))
        .routes(routes!(kinds::costs))
        .routes(routes!(checks::rules))
        .routes(routes!(checks::judge))
        .routes(routes!(visits::list, visits::open))
        .routes(routes!(visits::get))
        .routes(routes!(repairs::begin))
        .routes(routes!(visits::now))
        .routes(routes!(visits::picture))
        .routes(routes!(visits::suspects))
        .routes(routes!(visits::finding))
        .routes(routes!(visits::meters, visits::join))
        .routes(routes!(visits::leave))
        .routes(routes!(answers::answer))
        .routes(routes!(answers::display))
        .routes(routes!(answers::watch, answers::watch_no_more))
        .routes(routes!(answers::done))
        .routes(routes!(answers::skip))
        .routes(routes!(answers::look))
        .routes(routes!(answers::take))
        .routes(routes!(answers::strike))
        .routes(routes!(answers::complain))
        .routes(routes!(answers::plate))
        .routes(routes!(answers::note))
        .routes(routes!(answers::lifted))
        .routes(routes!(answers::put_back))
        .routes(routes!(answers::wire_checked))
        .routes(routes!(answers::end_checks))
        .routes(routes!(answers::close))
        .routes(routes!(papers::tag))
        .routes(routes!(papers::write_up))
        .routes(routes!(papers::quote, papers::quoted))
        .routes(routes!(papers::decide))
        .routes(routes!(trail::download))
        .routes(routes!(trail::lines))
        .routes(routes!(trail::rows))
        .routes(routes!(trail::verify))
        .routes(routes!(trail::readings))
        .routes(routes!(photos::keep))
        .routes(routes!(photos::fetch))
        .routes(routes!(index::standing))
        .routes(routes!(index::units))
        .routes(routes!(index::search))
        .routes(routes!(index::history))
        .routes(routes!(index::door))
        .routes(routes!(index::trends))
        .routes(routes!(index::kinds))
}

/// All routes, and what they need.
pub fn router(
    visits: Visits,
    data: PathBuf,
    kept: Kept,
    judge: Judge,
    stop: watch::Receiver<bool>,
) -> (Router, App) {
    let (router, mut document) = documented().split_for_parts();
    // Their routes are the guard's own.
    document.merge(crate::auth::document());
    let app = App(Arc::new(Inner {
        visits,
        data,
        kept,
        judge,
        stop,
        // A document of this program always has a JSON form.
        document: described(serde_json::to_value(document).unwrap_or_default()),
    }));
    let router = router
        .merge(crate::page::router())
        .fallback(problem::no_such_path)
        .method_not_allowed_fallback(problem::no_such_method)
        .layer(middleware::from_fn_with_state(app.clone(), count))
        .with_state(app.clone());
    (router, app)
}

/// The document with a description of every response, which OpenAPI asks for: where a response has
/// none of its own, what the operation does.
fn described(mut document: Value) -> Value {
    let paths = document.get_mut("paths").and_then(Value::as_object_mut);
    let items = paths.into_iter().flat_map(|paths| paths.values_mut());
    let operations = items
        .filter_map(Value::as_object_mut)
        .flat_map(|o| o.values_mut());
    for operation in operations.filter_map(Value::as_object_mut) {
        let summary = operation
            .get("summary")
            .cloned()
            .unwrap_or_else(|| "".into());
        let responses = operation
            .get_mut("responses")
            .and_then(Value::as_object_mut);
        let responses = responses.into_iter().flat_map(|r| r.values_mut());
        for response in responses.filter_map(Value::as_object_mut) {
            response
                .entry("description")
                .or_insert_with(|| summary.clone());
        }
    }
    document
}

/// Counts and logs each request, by its route: a path may name a visit.
async fn count(State(app): State<App>, request: Request, next: Next) -> Response {
    let began = Instant::now();
    let method = request.method().to_string();
    let route = request.extensions().get::<MatchedPath>();
    let route = route.map_or("unknown", MatchedPath::as_str).to_owned();
    let response = next.run(request).await;
    let status = response.status().as_u16();
    let micros = u64::try_from(began.elapsed().as_micros()).unwrap_or(u64::MAX);
    tracing::debug!(method, route, status, micros, "request");
    let asked = Asked {
        method,
        route,
        status,
    };
    app.context().metrics.requests.get_or_create(&asked).inc();
    response
}

/// This document.
#[utoipa::path(get, path = "/api/v1/openapi.json", tag = "daemon",
    responses((status = 200, description = "The OpenAPI 3.1 document of this API", body = Value)))]
async fn document(State(app): State<App>) -> Json<Value> {
    Json(app.0.document.clone())
}

/// A text answer of that media type.
fn text(media_type: &'static str, text: impl IntoResponse) -> Response {
    let mut response = text.into_response();
    let value = axum::http::HeaderValue::from_static(media_type);
    response.headers_mut().insert(header::CONTENT_TYPE, value);
    response
}
