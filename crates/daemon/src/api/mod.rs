//! What is served over HTTP. Every route is in the OpenAPI document, by the way it is added.

mod health;

use axum::Router;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The document without its routes.
#[derive(OpenApi)]
#[openapi(info(
    title = "Ohmtrail",
    description = "Takes every value a meter sees, says what it proves, and keeps the trail."
))]
struct Document;

/// All routes.
pub fn router() -> Router {
    let (router, _document) = OpenApiRouter::with_openapi(Document::openapi())
        .routes(routes!(health::health))
        .split_for_parts();
    router
}
