//! Whether the daemon answers, and what it has counted.

use axum::Json;
use axum::extract::State;
use axum::response::Response;
use serde::Serialize;
use utoipa::ToSchema;

use super::{App, text};

/// That the daemon answers.
#[derive(Debug, Serialize, ToSchema)]
pub struct Health {
    /// Always `ok`: a daemon that is not, does not answer.
    status: &'static str,
    /// The program's version.
    version: &'static str,
}

/// Whether the daemon answers
#[utoipa::path(get, path = "/health", tag = "daemon", responses((status = 200, body = Health)))]
pub async fn health() -> Json<Health> {
    Json(Health {
        status: "ok",
        version: env!("CARGO_PKG_VERSION"),
    })
}

/// What was counted, as OpenMetrics text
#[utoipa::path(get, path = "/metrics", tag = "daemon",
    responses((status = 200, body = String, content_type = "application/openmetrics-text")))]
pub async fn metrics(State(app): State<App>) -> Response {
    text(
        "application/openmetrics-text; version=1.0.0; charset=utf-8",
        app.context().metrics.text(),
    )
}
