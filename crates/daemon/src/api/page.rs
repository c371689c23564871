//! Where the page is served: at `/`, beside the API. Nothing here is part of the API's document.

use axum::Router;
use axum::routing::get;

use super::App;

/// The page's routes.
pub fn router() -> Router<App> {
    Router::new().route("/", get(root))
}

async fn root() -> &'static str {
    "Ohmtrail. The API is described at /api/v1/openapi.json.\n"
}
