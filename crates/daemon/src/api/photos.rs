//! Photographs of a visit.

use axum::Json;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::Response;
use ohmtrail_trail::Hash;
use ohmtrail_trail::photos::{self, PhotoError};
use ohmtrail_visit::Input;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::answers::hash;
use super::extract::{Named, Query, Raw};
use super::problem::Problem;
use super::{App, text, whereabouts};

/// Whether a body sent to that path is a photograph, which may be longer than others.
pub fn is_place(path: &str) -> bool {
    let visit = path.strip_prefix("/api/v1/visits/");
    let visit = visit.and_then(|rest| rest.strip_suffix("/photos"));
    visit.is_some_and(|visit| !visit.contains('/'))
}

/// What a photograph shows, and what of it is kept.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Caption {
    /// In words.
    #[serde(default)]
    caption: String,
    /// `keep` keeps the file as it is. Otherwise the place where it was taken, and all else that it says
    /// beside its picture, is taken out.
    location: Option<Location>,
}

/// What is done about the place that a photograph was taken at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Location {
    /// It stays in the file.
    Keep,
}

/// A photograph that is kept.
#[derive(Debug, Serialize, ToSchema)]
pub struct Kept {
    /// Its BLAKE3 hash, by which it is fetched and named.
    hash: String,
    /// Its media type.
    media_type: &'static str,
    /// Bytes.
    size: usize,
}

fn problem(error: &PhotoError) -> Problem {
    match error {
        PhotoError::Missing { .. } => Problem::new(
            StatusCode::NOT_FOUND,
            "not-found",
            error.to_string(),
            "the visit lists its photographs",
        ),
        _ => Problem::system(error.to_string()),
    }
}

/// Keep a photograph beside the trail
///
/// The body is the file itself: JPEG, PNG, WebP or HEIC, told by its contents. Where it was taken is
/// taken out of it, unless that is to be kept; of a HEIC that cannot be done.
#[utoipa::path(post, path = "/api/v1/visits/{visit}/photos", tag = "photos",
    params(("visit" = String, Path), Caption),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses((status = 201, body = Kept), Problem))]
pub async fn keep(
    State(app): State<App>,
    Named(visit): Named<String>,
    Query(caption): Query<Caption>,
    headers: HeaderMap,
    Raw(bytes): Raw,
) -> Result<(StatusCode, Json<Kept>), Problem> {
    let visit = app.visit(&visit)?;
    let unsupported = |what: String| {
        let remedy = "send a JPEG, PNG, WebP or HEIC file as the body";
        Problem::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "not-a-photograph",
            what,
            remedy,
        )
    };
    let kind = photos::media_type(&bytes)
        .ok_or_else(|| unsupported("the body is no photograph by its contents".to_owned()))?;
    let said = headers
        .get(header::CONTENT_TYPE)
        .and_then(|v| v.to_str().ok());
    if let Some(said) = said.filter(|s| s.starts_with("image/") && *s != kind) {
        return Err(unsupported(format!("the body is {kind}, not {said}")));
    }
    let bytes = if caption.location == Some(Location::Keep) {
        bytes
    } else if whereabouts::can(kind) {
        let done = tokio::task::spawn_blocking(move || whereabouts::taken_out(kind, bytes)).await;
        let done = done.map_err(|e| Problem::system(e.to_string()))?;
        done.map_err(|e| {
            unsupported(format!(
                "the body begins as {kind} and cannot be read as one: {e}"
            ))
        })?
    } else {
        return Err(Problem::unprocessable(
            format!("the place where it was taken cannot be taken out of {kind}"),
            "send a JPEG, PNG or WebP, or keep the place with ?location=keep",
        ));
    };
    let size = bytes.len();
    let folder = visit.photos();
    let stored = tokio::task::spawn_blocking(move || photos::store(&folder, &bytes, kind)).await;
    let stored = stored.map_err(|e| Problem::system(e.to_string()))?;
    let stored = stored.map_err(|e| problem(&e))?;
    let input = Input::Photo {
        hash: stored.0,
        media_type: kind.to_owned(),
        size: size as u64,
        caption: caption.caption,
    };
    visit.with(|keeper| keeper.tell(input)).await??;
    let kept = Kept {
        hash: stored.to_string(),
        media_type: kind,
        size,
    };
    Ok((StatusCode::CREATED, Json(kept)))
}

/// Get a photograph
#[utoipa::path(get, path = "/api/v1/visits/{visit}/photos/{hash}", tag = "photos",
    params(("visit" = String, Path), ("hash" = String, Path)),
    responses((status = 200, body = Vec<u8>, content_type = "image/*"), Problem))]
pub async fn fetch(
    State(app): State<App>,
    Named((visit, name)): Named<(String, String)>,
) -> Result<Response, Problem> {
    let folder = app.visit(&visit)?.photos();
    let hash = Hash(hash(&name)?);
    let loaded = tokio::task::spawn_blocking(move || photos::load(&folder, &hash)).await;
    let loaded = loaded.map_err(|e| Problem::system(e.to_string()))?;
    let bytes = loaded.map_err(|e| problem(&e))?;
    let kind = photos::media_type(&bytes).unwrap_or("application/octet-stream");
    Ok(text(kind, bytes))
}
