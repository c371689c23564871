//! Who may ask what: everything between a socket and a handler. docs/threat-model.md says what it
//! is meant to hold against.
//!
//! A request passes, in this order: how often its address asks ([`rate`]), which host it is for and
//! which site it comes from ([`site`]), whether its session is one ([`sessions`], made by
//! [`pairing`]), and how long its body is and takes. What is answered gets its headers last. How a
//! client may use a connection is [`accept`]'s.

pub mod accept;
pub mod console;
mod files;
mod headers;
mod pair;
pub mod pairing;
pub mod rate;
pub mod sessions;
pub mod site;
pub mod token;

use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::{Duration, Instant, SystemTime};

use axum::Router;
use axum::body::{Body, Bytes, HttpBody, to_bytes};
use axum::extract::{Request, State};
use axum::http::header::{ACCEPT, AUTHORIZATION, CONTENT_TYPE, COOKIE, RETRY_AFTER};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Redirect, Response};
use serde_json::json;
use tokio::time::{Interval, timeout};

use self::accept::Ends;
use self::pairing::Pairing;
use self::rate::Rate;
use self::sessions::Sessions;
use self::site::{NotOurs, Sites};
use self::token::Token;
use crate::config::Config;

pub use self::pair::Paths;

/// The cookie that carries a session's token.
const COOKIE_NAME: &str = "ohmtrail-session";
/// How soon a live stream ends after its session has.
const LOOKED_AFTER: Duration = Duration::from_secs(2);

/// What stands before every handler.
#[derive(Debug)]
pub struct Guard {
    sites: Sites,
    rate: Mutex<Rate>,
    sessions: Sessions,
    pairing: Pairing,
    session_lasts: Duration,
    needs_session: bool,
    body: usize,
    body_time: Duration,
    started: Instant,
}

/// The session that a request came with.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Holder(blake3::Hash);

impl Guard {
    /// As the configuration says.
    #[must_use]
    pub fn new(config: &Config) -> Self {
        let limits = config.limits;
        Guard {
            sites: Sites {
                origins: config.listen.origins.clone(),
                loopback: config.listen.is_loopback(),
            },
            rate: Mutex::new(Rate::new(limits.per_second, limits.burst)),
            sessions: Sessions::of(&config.data, config.session_lasts),
            pairing: Pairing::of(&config.data, config.code_lasts, config.code_attempts),
            session_lasts: config.session_lasts,
            needs_session: config.listen.needs_session(),
            body: limits.body,
            body_time: limits.body_time,
            started: Instant::now(),
        }
    }

    fn rate(&self, ends: &Ends) -> Result<(), Refusal> {
        let mut rate = self.rate.lock().unwrap_or_else(PoisonError::into_inner);
        let taken = rate.take(ends.peer.ip(), self.started.elapsed());
        taken.map_err(Refusal::TooOften)
    }

    /// The session that the request came with, if that is one.
    fn holder(&self, headers: &HeaderMap) -> Option<Holder> {
        let now = SystemTime::now();
        let held = tokens(headers).find(|token| self.sessions.holds(token, now));
        held.map(|token| Holder(token.hash()))
    }

    async fn body(&self, body: Body) -> Result<Bytes, Refusal> {
        if body.is_end_stream() {
            return Ok(Bytes::new());
        }
        // What says that it is too long is not read at all.
        if body.size_hint().lower() > self.body as u64 {
            return Err(Refusal::TooLong(self.body));
        }
        match timeout(self.body_time, to_bytes(body, self.body)).await {
            Ok(Ok(bytes)) => Ok(bytes),
            Ok(Err(e)) if is_too_long(&e) => Err(Refusal::TooLong(self.body)),
            Ok(Err(_)) => Err(Refusal::Broken),
            Err(_) => Err(Refusal::TooSlow),
        }
    }
}

/// Puts the guard before every route of the router, and adds those of pairing and of sessions.
pub fn protect(router: Router, guard: Arc<Guard>) -> Router {
    let routes = pair::routes().with_state(Arc::clone(&guard));
    router
        .merge(routes)
        .layer(middleware::from_fn_with_state(guard, stand_before))
}

async fn stand_before(State(guard): State<Arc<Guard>>, request: Request, next: Next) -> Response {
    let began = Instant::now();
    let method = request.method().clone();
    // Without what follows a question mark: that may be a pairing code.
    let path = request.uri().path().to_owned();
    let peer = request.extensions().get::<Ends>().map(|ends| ends.peer);
    let mut response = match admit(&guard, request).await {
        Ok((request, holder)) => {
            let response = next.run(request).await;
            ending_with_session(response, &guard, holder)
        }
        Err(refusal) => refusal.into_response(),
    };
    headers::add(response.headers_mut());
    let status = response.status().as_u16();
    let us = began.elapsed().as_micros();
    let peer = peer.map(tracing::field::display);
    if status < 400 {
        tracing::debug!(%method, path, peer, status, us, "answered");
    } else {
        tracing::info!(%method, path, peer, status, us, "refused");
    }
    response
}

/// The request, with its body read whole, if it may pass.
async fn admit(guard: &Guard, request: Request) -> Result<(Request, Option<Holder>), Refusal> {
    let (mut parts, body) = request.into_parts();
    let ends = parts.extensions.get::<Ends>().copied();
    let ends = ends.ok_or(Refusal::Broken)?;
    guard.rate(&ends)?;
    guard
        .sites
        .check(&parts.method, &parts.headers, ends.local.port())
        .map_err(Refusal::NotOurs)?;
    let holder = guard.holder(&parts.headers);
    if guard.needs_session && holder.is_none() && !pair::is_open(parts.uri.path()) {
        return Err(Refusal::NoSession {
            page: wants_page(&parts.method, &parts.headers),
        });
    }
    if let Some(holder) = holder {
        parts.extensions.insert(holder);
    }
    let body = guard.body(body).await?;
    Ok((Request::from_parts(parts, Body::from(body)), holder))
}

/// The tokens that a request carries: of its `Authorization`, then of its cookies.
fn tokens(headers: &HeaderMap) -> impl Iterator<Item = Token> {
    let bearer = headers.get_all(AUTHORIZATION).iter().filter_map(|value| {
        let (scheme, token) = value.to_str().ok()?.split_once(' ')?;
        scheme.eq_ignore_ascii_case("bearer").then_some(token)
    });
    let cookies = headers.get_all(COOKIE).iter();
    let cookies = cookies
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().strip_prefix(COOKIE_NAME)?.strip_prefix('='));
    // A few are enough for anyone; each that is tried costs a look at the disk.
    bearer.chain(cookies).take(4).filter_map(Token::read)
}

/// Whether a page is wanted, by someone who follows a link or types an address.
fn wants_page(method: &Method, headers: &HeaderMap) -> bool {
    let accept = headers.get(ACCEPT).and_then(|value| value.to_str().ok());
    *method == Method::GET && accept.is_some_and(|accept| accept.contains("text/html"))
}

fn is_too_long(e: &axum::Error) -> bool {
    let mut cause: Option<&dyn std::error::Error> = Some(e);
    while let Some(e) = cause {
        if e.is::<http_body_util::LengthLimitError>() {
            return true;
        }
        cause = e.source();
    }
    false
}

/// Why a request does not reach its handler.
#[derive(Debug, thiserror::Error)]
enum Refusal {
    #[error("too many requests: wait {} s", wait_seconds(.0))]
    TooOften(Duration),
    #[error(transparent)]
    NotOurs(NotOurs),
    #[error(
        "not paired: make a code with `ohmtrail config pair` at the machine that runs the daemon, and enter it at {}",
        Paths::PAIR
    )]
    NoSession { page: bool },
    #[error("the body is longer than {0} bytes: send less, or raise `limits.body-bytes`")]
    TooLong(usize),
    #[error("the body did not arrive in time: send it again")]
    TooSlow,
    #[error("the request broke off")]
    Broken,
}

fn wait_seconds(wait: &Duration) -> u64 {
    wait.as_secs() + u64::from(wait.subsec_nanos() > 0)
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let status = match &self {
            Refusal::NoSession { page: true } => {
                return Redirect::to(Paths::PAIR).into_response();
            }
            Refusal::TooOften(_) => StatusCode::TOO_MANY_REQUESTS,
            Refusal::NotOurs(NotOurs::Host) => StatusCode::MISDIRECTED_REQUEST,
            Refusal::NotOurs(NotOurs::NoHost) | Refusal::Broken => StatusCode::BAD_REQUEST,
            Refusal::NotOurs(NotOurs::CrossSite) => StatusCode::FORBIDDEN,
            Refusal::NoSession { .. } => StatusCode::UNAUTHORIZED,
            Refusal::TooLong(_) => StatusCode::PAYLOAD_TOO_LARGE,
            Refusal::TooSlow => StatusCode::REQUEST_TIMEOUT,
        };
        let mut response = refused(status, &self);
        if let Refusal::TooOften(wait) = &self {
            let seconds = HeaderValue::from(wait_seconds(wait));
            response.headers_mut().insert(RETRY_AFTER, seconds);
        }
        response
    }
}

/// An answer that refuses, in the API's words for it.
fn refused(status: StatusCode, why: impl std::fmt::Display) -> Response {
    (status, axum::Json(json!({"error": why.to_string()}))).into_response()
}

/// A live stream ends soon after its session; what ends by itself is left alone.
fn ending_with_session(response: Response, guard: &Arc<Guard>, holder: Option<Holder>) -> Response {
    let content = response.headers().get(CONTENT_TYPE);
    let is_live = content.is_some_and(|c| c.as_bytes().starts_with(b"text/event-stream"));
    match holder {
        Some(holder) if is_live && guard.needs_session => response.map(|body| {
            Body::new(WhileHeld {
                body,
                guard: Arc::clone(guard),
                holder,
                looks: tokio::time::interval(LOOKED_AFTER),
            })
        }),
        _ => response,
    }
}

/// A body that ends when its session does.
struct WhileHeld {
    body: Body,
    guard: Arc<Guard>,
    holder: Holder,
    looks: Interval,
}

impl HttpBody for WhileHeld {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<http_body::Frame<Bytes>, axum::Error>>> {
        while self.looks.poll_tick(context).is_ready() {
            let sessions = &self.guard.sessions;
            if !sessions.lasts_still(&self.holder.0, SystemTime::now()) {
                return Poll::Ready(None);
            }
        }
        Pin::new(&mut self.body).poll_frame(context)
    }
}

#[cfg(test)]
mod tests;
