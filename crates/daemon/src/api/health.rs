//! Whether the daemon answers.

use axum::Json;
use serde::Serialize;
use utoipa::ToSchema;

/// That the daemon answers.
#[derive(Debug, Serialize, ToSchema)]
pub struct Health {
    /// Always `ok`: a daemon that is not, does not answer.
    status: &'static str,
    /// The program's version.
    version: &'static str,
}

/// Whether the daemon answers.
#[utoipa::path(get, path = "/health", responses((status = 200, body = Health)))]
pub async fn health() -> Json<Health> {
    Json(Health {
        status: "ok",
        version: env!("CARGO_PKG_VERSION"),
    })
}
