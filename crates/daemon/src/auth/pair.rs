//! The routes of pairing and of sessions.

use std::sync::Arc;
use std::time::SystemTime;

use axum::body::Bytes;
use axum::extract::{Extension, Path, Query, State};
use axum::http::header::{CONTENT_TYPE, SET_COOKIE};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::{Json, Router};
use serde::{Deserialize, Serialize};
use utoipa::openapi::OpenApi;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::pairing::{Moment, Refused};
use super::sessions::LONGEST_NAME;
use super::token::{Code, Token};
use super::{COOKIE_NAME, Guard, HOW_TO_PAIR, Holder};
use crate::api::Problem;

/// Where pairing and sessions are.
#[derive(Debug)]
pub struct Paths;

impl Paths {
    /// The form for a code, and what takes it.
    pub const PAIR: &'static str = "/pair";
    /// Every session; one of them behind it.
    pub const SESSIONS: &'static str = "/sessions";
}

/// Whether a path is open to who has no session.
pub(super) fn is_open(path: &str) -> bool {
    path == Paths::PAIR
}

fn documented() -> OpenApiRouter<Arc<Guard>> {
    OpenApiRouter::new()
        .routes(routes!(form, pair))
        .routes(routes!(list, end_own))
        .routes(routes!(end))
}

/// The routes.
pub(super) fn routes() -> Router<Arc<Guard>> {
    documented().split_for_parts().0
}

/// What the API's document says of them.
pub(crate) fn document() -> OpenApi {
    documented().split_for_parts().1
}

/// What the form's address may carry: a code, from the QR code of the console.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Prefilled {
    /// A code to fill in, from the QR code of the console.
    #[serde(default)]
    code: String,
}

/// Get the form for a code
///
/// It needs no script, so that it works before anything else does.
#[utoipa::path(get, path = "/pair", tag = "sessions", params(Prefilled),
    responses((status = 200, body = String, content_type = "text/html")))]
async fn form(Query(prefilled): Query<Prefilled>) -> Html<String> {
    Html(page(&prefilled.code, ""))
}

/// The page, with a code filled in if it is one; what is none is never put into the page.
fn page(code: &str, why: &str) -> String {
    let code = Code::read(code).map_or_else(String::new, |code| code.reveal());
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>Pair with Ohmtrail</title>\n<h1>Pair this device</h1>\n\
         <p role=\"status\">{why}</p>\n\
         <form method=\"post\" action=\"{}\">\n\
         <p><label>Code <input name=\"code\" value=\"{code}\" required autocomplete=\"off\" \
         autocapitalize=\"characters\" spellcheck=\"false\"></label></p>\n\
         <p><label>Name of this device <input name=\"name\" maxlength=\"{LONGEST_NAME}\" \
         value=\"phone\"></label></p>\n\
         <p><button>Pair</button></p>\n</form>\n\
         <p>The code is on the console of the machine that runs the daemon; \
         <code>ohmtrail config pair</code> makes a new one there.</p>\n</html>\n",
        Paths::PAIR
    )
}

/// What pairs.
#[derive(Deserialize, ToSchema)]
struct Asked {
    /// The code of the console; small letters will do.
    code: String,
    /// What to call the device.
    #[serde(default)]
    name: String,
}

/// A session's token.
#[derive(Serialize, ToSchema)]
struct Paired {
    /// For the header `Authorization: Bearer`. It is told once.
    token: String,
}

/// Make a session for a code
///
/// A form gets it as a cookie, a program that sends JSON as a token for its `Authorization: Bearer`
/// header.
#[utoipa::path(post, path = "/pair", tag = "sessions",
    request_body(content(
        (Asked = "application/json"), (Asked = "application/x-www-form-urlencoded"))),
    responses((status = 200, body = Paired),
        (status = 303, description = "A form: the session is in a cookie"), Problem))]
async fn pair(State(guard): State<Arc<Guard>>, headers: HeaderMap, body: Bytes) -> Response {
    let content = headers.get(CONTENT_TYPE).and_then(|c| c.to_str().ok());
    let content = content
        .unwrap_or_default()
        .split(';')
        .next()
        .unwrap_or_default()
        .trim();
    let (asked, is_form) = match content {
        "application/json" => (serde_json::from_slice::<Asked>(&body).map_err(drop), false),
        "application/x-www-form-urlencoded" => {
            (serde_urlencoded::from_bytes(&body).map_err(drop), true)
        }
        _ => return not_understood(StatusCode::UNSUPPORTED_MEDIA_TYPE),
    };
    let Ok(asked) = asked else {
        return not_understood(StatusCode::BAD_REQUEST);
    };
    let paired = paired(&guard, asked).await;
    match (paired, is_form) {
        (Ok(token), true) => {
            let to_the_page = Redirect::to("/");
            ([(SET_COOKIE, cookie(&token, &guard))], to_the_page).into_response()
        }
        (Ok(token), false) => Json(Paired {
            token: token.reveal(),
        })
        .into_response(),
        (Err(Refused::System(e)), _) => system(&e),
        (Err(why), true) => {
            let page = Html(page("", &why.to_string()));
            (StatusCode::FORBIDDEN, page).into_response()
        }
        (Err(why), false) => {
            let status = StatusCode::FORBIDDEN;
            Problem::new(status, "not-the-code", why.to_string(), HOW_TO_PAIR).into_response()
        }
    }
}

fn not_understood(status: StatusCode) -> Response {
    let what = "the body is not a code to pair with";
    let remedy = "send `code`, and if you like a `name`, as a form or as JSON";
    Problem::new(status, "not-understood", what, remedy).into_response()
}

/// Uses the code up and begins a session. Both write to the disk, away from the other tasks.
async fn paired(guard: &Arc<Guard>, asked: Asked) -> Result<Token, Refused> {
    let guard = Arc::clone(guard);
    let done = tokio::task::spawn_blocking(move || -> Result<Token, Refused> {
        let code = Code::read(&asked.code).ok_or(Refused::NotACode)?;
        guard.pairing.redeem(&code, &Moment::now()?)?;
        Ok(guard.sessions.begin(&asked.name, SystemTime::now())?)
    });
    let token = done.await.map_err(std::io::Error::other)??;
    tracing::info!("a device is paired");
    Ok(token)
}

/// Not `Secure`: the daemon speaks no TLS, and a browser would not send it back.
fn cookie(token: &Token, guard: &Guard) -> HeaderValue {
    let text = format!(
        "{COOKIE_NAME}={}; Path=/; HttpOnly; SameSite=Strict; Max-Age={}",
        token.reveal(),
        guard.session_lasts.as_secs()
    );
    let mut value = HeaderValue::try_from(text).unwrap_or(HeaderValue::from_static(""));
    value.set_sensitive(true);
    value
}

/// A session.
#[derive(Serialize, ToSchema)]
struct SessionView {
    /// What it is called when it is to be ended. Not a secret.
    id: String,
    /// The name its holder gave.
    name: String,
    /// When it was made, seconds since 1970.
    made: u64,
    /// When it was last used, to the minute, seconds since 1970.
    used: u64,
    /// When it ends by itself, seconds since 1970.
    ends: u64,
    /// Whether it is the asker's.
    own: bool,
}

/// The sessions.
#[derive(Serialize, ToSchema)]
struct SessionList {
    sessions: Vec<SessionView>,
}

/// List the sessions
#[utoipa::path(get, path = "/sessions", tag = "sessions",
    responses((status = 200, body = SessionList), Problem))]
async fn list(State(guard): State<Arc<Guard>>, holder: Option<Extension<Holder>>) -> Response {
    let own = holder.map(|Extension(Holder(hash))| hash.to_string());
    match guard.sessions.list(SystemTime::now()) {
        Err(e) => system(&e),
        Ok(sessions) => {
            let sessions = sessions.into_iter().map(|session| SessionView {
                own: own.as_ref().is_some_and(|own| own.starts_with(&session.id)),
                id: session.id,
                name: session.name,
                made: session.made,
                used: session.used,
                ends: session.ends,
            });
            let sessions = sessions.collect();
            Json(SessionList { sessions }).into_response()
        }
    }
}

/// End the asker's own session
#[utoipa::path(delete, path = "/sessions", tag = "sessions", responses((status = 204), Problem))]
async fn end_own(State(guard): State<Arc<Guard>>, holder: Option<Extension<Holder>>) -> Response {
    match holder {
        Some(Extension(Holder(hash))) => ended(&guard, hash.to_hex().as_str()),
        None => {
            let what = "this request came without a session";
            Problem::new(StatusCode::NOT_FOUND, "not-found", what, HOW_TO_PAIR).into_response()
        }
    }
}

/// End a session
///
/// It holds for the next request, and ends live streams within seconds.
#[utoipa::path(delete, path = "/sessions/{id}", tag = "sessions",
    params(("id" = String, Path)), responses((status = 204), Problem))]
async fn end(State(guard): State<Arc<Guard>>, Path(id): Path<String>) -> Response {
    ended(&guard, &id)
}

fn ended(guard: &Guard, id: &str) -> Response {
    match guard.sessions.end(id) {
        Ok(true) => StatusCode::NO_CONTENT.into_response(),
        Ok(false) => Problem::not_found("session", id, Paths::SESSIONS).into_response(),
        Err(e) => system(&e),
    }
}

fn system(e: &std::io::Error) -> Response {
    tracing::error!("sessions: {e}");
    Problem::system(format!("the data folder cannot be used: {e}")).into_response()
}
