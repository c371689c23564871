//! The tag and the write-up of a visit.

use axum::extract::State;
use axum::response::Response;
use ohmtrail_paper as paper;

use super::extract::Named;
use super::problem::Problem;
use super::{App, text};

const PLAIN: &str = "text/plain; charset=utf-8";

/// Get the tag, as it would be hung now
#[utoipa::path(get, path = "/api/v1/visits/{visit}/tag", tag = "papers",
    params(("visit" = String, Path)),
    responses((status = 200, body = String, content_type = "text/plain"), Problem))]
pub async fn tag(State(app): State<App>, Named(visit): Named<String>) -> Result<Response, Problem> {
    let visit = app.visit(&visit)?;
    let tag = visit.look(app.context(), |seen| {
        paper::tag(seen.book, seen.record, &seen.head)
    });
    Ok(text(PLAIN, tag.await?))
}

/// Get the write-up
#[utoipa::path(get, path = "/api/v1/visits/{visit}/write-up", tag = "papers",
    params(("visit" = String, Path)),
    responses((status = 200, body = String, content_type = "text/plain"), Problem))]
pub async fn write_up(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Response, Problem> {
    let visit = app.visit(&visit)?;
    let file = format!("{}.trail", visit.id);
    let written = visit.look(app.context(), move |seen| {
        paper::write_up(seen.book, seen.record, &seen.head, &file)
    });
    Ok(text(PLAIN, written.await?))
}
