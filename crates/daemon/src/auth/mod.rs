//! Who may ask what: everything between a socket and a handler. docs/threat-model.md says what it
//! is meant to hold against.
//!
//! A request passes, in this order: how often its address asks ([`rate`]), which host it is for and
//! which site it comes from ([`site`]), whether its session is one ([`sessions`], made by
//! [`pairing`]), and how long its body is and takes. What is answered gets its headers last. How a
//! client may use a connection is [`accept`]'s.

pub mod accept;
pub mod console;
pub(crate) mod files;
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
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::header::{ACCEPT, AUTHORIZATION, CONTENT_TYPE, COOKIE, RETRY_AFTER};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Redirect, Response};
use tokio::time::{Interval, timeout};

use self::accept::Ends;
use self::pairing::Pairing;
use self::rate::Rate;
use self::sessions::Sessions;
use self::site::{NotOurs, Sites};
use self::token::Token;
use crate::api::{self, Problem};
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
    photo: usize,
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
            photo: limits.photo,
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

    /// The body, whole, if it is no longer than `most` and comes in time.
    async fn body(&self, body: Body, most: usize) -> Result<Bytes, Refusal> {
        if body.is_end_stream() {
            return Ok(Bytes::new());
        }
        // What says that it is too long is not read at all.
        if body.size_hint().lower() > most as u64 {
            return Err(Refusal::TooLong(most));
        }
        match timeout(self.body_time, to_bytes(body, most)).await {
            Ok(Ok(bytes)) => Ok(bytes),
            Ok(Err(e)) if is_too_long(&e) => Err(Refusal::TooLong(most)),
            Ok(Err(_)) => Err(Refusal::Broken),
            Err(_) => Err(Refusal::TooSlow),
        }
    }

    fn longest_body(&self, path: &str) -> usize {
        if api::takes_photographs(path) {
            self.photo
        } else {
            self.body
        }
    }
}

/// What the API's document says of pairing and of sessions.
pub(crate) use pair::document;

/// Puts the guard before every route of the router, and adds those of pairing and of sessions.
pub fn protect(router: Router, guard: Arc<Guard>) -> Router {
    let routes = pair::routes().with_state(Arc::clone(&guard));
    router
        .merge(routes)
        // The guard's own bound holds, and is the configuration's.
        .layer(DefaultBodyLimit::disable())
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
    let most = guard.longest_body(parts.uri.path());
    let body = guard.body(body, most).await?;
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
#[derive(Debug)]
enum Refusal {
    TooOften(Duration),
    NotOurs(NotOurs),
    /// Whether a page was wanted.
    NoSession {
        page: bool,
    },
    TooLong(usize),
    TooSlow,
    Broken,
}

/// What is done about a missing session.
const HOW_TO_PAIR: &str = "make a code with `ohmtrail config pair` at the machine that runs the \
     daemon, and enter it at /pair";

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let problem = |status, code, what: String, remedy: &str| {
            Problem::new(status, code, what, remedy).into_response()
        };
        match self {
            Refusal::NoSession { page: true } => Redirect::to(Paths::PAIR).into_response(),
            Refusal::NoSession { page: false } => problem(
                StatusCode::UNAUTHORIZED,
                "not-paired",
                "this request came without a session".to_owned(),
                HOW_TO_PAIR,
            ),
            Refusal::TooOften(wait) => {
                let seconds = wait.as_secs() + u64::from(wait.subsec_nanos() > 0);
                let mut response = problem(
                    StatusCode::TOO_MANY_REQUESTS,
                    "too-often",
                    "too many requests come from this address".to_owned(),
                    &format!("wait {seconds} s"),
                );
                let seconds = HeaderValue::from(seconds);
                response.headers_mut().insert(RETRY_AFTER, seconds);
                response
            }
            Refusal::NotOurs(why) => {
                let (status, code) = match why {
                    NotOurs::NoHost => (StatusCode::BAD_REQUEST, "no-host"),
                    NotOurs::Host => (StatusCode::MISDIRECTED_REQUEST, "not-our-host"),
                    NotOurs::CrossSite => (StatusCode::FORBIDDEN, "cross-site"),
                };
                problem(status, code, why.to_string(), why.remedy())
            }
            Refusal::TooLong(most) => problem(
                StatusCode::PAYLOAD_TOO_LARGE,
                "too-long",
                format!("the body is longer than {most} bytes"),
                "send less, or raise `limits` in the configuration",
            ),
            Refusal::TooSlow => problem(
                StatusCode::REQUEST_TIMEOUT,
                "too-slow",
                "the body did not arrive in time".to_owned(),
                "send it again",
            ),
            Refusal::Broken => problem(
                StatusCode::BAD_REQUEST,
                "broken-off",
                "the request broke off".to_owned(),
                "send it again",
            ),
        }
    }
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
