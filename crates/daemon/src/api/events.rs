//! Streams of server-sent events (WHATWG HTML, 9.2).
//!
//! A visit's stream has each event of its trail, with the number of its record as `id`: a client that
//! comes back with `Last-Event-ID` gets all that follow, none twice. Between them come frames without
//! an `id`: readings as they are read, how meters stand, and how the visit stands. Those may be
//! skipped by a slow client, which is told how many in a frame `skipped`.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::Response;
use futures_util::stream::unfold;
use serde::Deserialize;
use tokio::sync::{broadcast, watch};
use utoipa::IntoParams;

use super::App;
use super::extract::{Named, Query};
use super::problem::Problem;
use crate::meters::{Meter, MeterNews, News};
use crate::metrics::Metrics;
use crate::stream::Frame;
use crate::visits::Visit;

/// A comment is sent after so long without a frame, so that both ends see a dead connection.
const SIGN_OF_LIFE: Duration = Duration::from_secs(10);
/// Frames of the log that are sent in one piece.
const BATCH: usize = 64;

/// What feeds one client.
struct Feed {
    app: App,
    news: broadcast::Receiver<Arc<News>>,
    stop: watch::Receiver<bool>,
    visit: Option<Watched>,
    /// How the meters stand at first.
    greeting: Option<Bytes>,
    /// Counts this client while it is there.
    _counted: Counted,
}

struct Counted(Arc<Metrics>);

impl Drop for Counted {
    fn drop(&mut self) {
        self.0.streams.dec();
    }
}

/// The visit that a client watches.
struct Watched {
    visit: Arc<Visit>,
    frames: broadcast::Receiver<Frame>,
    /// The next record that the client has not got.
    next: u32,
    /// Whether the log may hold frames that the client has not got.
    behind: bool,
    /// Whether the client was told how the visit stands.
    greeted: bool,
}

impl Watched {
    /// What the log has for the client; none if it is up to date.
    fn catch_up(&mut self) -> Option<Bytes> {
        if !self.behind {
            return None;
        }
        let frames = self.visit.log.from(self.next, BATCH);
        self.behind = frames.len() == BATCH;
        let last = frames.last().and_then(|f| f.record);
        if let Some(last) = last {
            self.next = last.saturating_add(1);
        }
        let mut bytes: Vec<u8> = frames.iter().flat_map(|f| f.bytes.to_vec()).collect();
        if !self.behind && !self.greeted {
            self.greeted = true;
            if let Some(now) = self.visit.now() {
                bytes.extend_from_slice(&Frame::new("now", None, &*now).bytes);
            }
        }
        (!bytes.is_empty()).then(|| bytes.into())
    }

    /// A frame out of the channel, unless the client has it.
    fn fresh(&mut self, frame: Frame) -> Option<Bytes> {
        if let Some(record) = frame.record {
            if record < self.next {
                return None;
            }
            self.next = record.saturating_add(1);
        }
        Some(frame.bytes)
    }
}

enum Came {
    Frame(Result<Frame, broadcast::error::RecvError>),
    News(Result<Arc<News>, broadcast::error::RecvError>),
    Quiet,
    Stop,
}

impl Feed {
    /// The next piece for the client; none when the daemon stops.
    async fn next(&mut self) -> Option<Bytes> {
        loop {
            if let Some(bytes) = self.greeting.take() {
                return Some(bytes);
            }
            if let Some(bytes) = self.visit.as_mut().and_then(Watched::catch_up) {
                return Some(bytes);
            }
            let came = tokio::select! {
                frame = frame_of(&mut self.visit) => Came::Frame(frame),
                news = self.news.recv() => Came::News(news),
                () = tokio::time::sleep(SIGN_OF_LIFE) => Came::Quiet,
                _ = self.stop.wait_for(|stop| *stop) => Came::Stop,
            };
            use broadcast::error::RecvError::{Closed, Lagged};
            match came {
                Came::Frame(Ok(frame)) => {
                    let fresh = self.visit.as_mut().and_then(|v| v.fresh(frame));
                    if fresh.is_some() {
                        return fresh;
                    }
                }
                Came::News(Ok(news)) => {
                    if let Some(bytes) = self.told(&news) {
                        return Some(bytes);
                    }
                }
                Came::Frame(Err(Lagged(count))) => {
                    if let Some(visit) = &mut self.visit {
                        visit.behind = true;
                        visit.greeted = false;
                    }
                    return Some(self.skipped(count));
                }
                Came::News(Err(Lagged(count))) => return Some(self.skipped(count)),
                Came::Quiet => return Some(Bytes::from_static(b": still here\n\n")),
                Came::Frame(Err(Closed)) | Came::News(Err(Closed)) | Came::Stop => return None,
            }
        }
    }

    /// News of a meter, if the client watches it.
    fn told(&self, news: &News) -> Option<Bytes> {
        let wanted = match &self.visit {
            Some(watched) => watched.visit.role(news.meter).is_some(),
            None => true,
        };
        let frame = wanted.then(|| news.frame(&self.app.context().clocks))?;
        Some(frame?.bytes)
    }

    fn skipped(&self, count: u64) -> Bytes {
        self.app.context().metrics.skipped.inc_by(count);
        Frame::new("skipped", None, &count).bytes
    }
}

async fn frame_of(watched: &mut Option<Watched>) -> Result<Frame, broadcast::error::RecvError> {
    match watched {
        Some(watched) => watched.frames.recv().await,
        None => std::future::pending().await,
    }
}

/// How the meters that a client watches stand; none if there are none.
fn greeting(app: &App, watched: Option<&Watched>) -> Option<Bytes> {
    let meters = app.context().meters.list();
    let wanted = |m: &&Arc<Meter>| match watched {
        Some(watched) => watched.visit.role(m.number).is_some(),
        None => true,
    };
    let frame = |m: &Arc<Meter>| Frame::new("meter", None, &MeterNews::of(&m.name, &m.state()));
    let frames: Vec<u8> = meters
        .iter()
        .filter(wanted)
        .flat_map(|m| frame(m).bytes.to_vec())
        .collect();
    (!frames.is_empty()).then(|| frames.into())
}

fn serve(app: &App, visit: Option<Watched>) -> Response {
    let metrics = Arc::clone(&app.context().metrics);
    metrics.streams.inc();
    // Watched before it is asked how they stand: a change is in one of the two, or in both.
    let news = app.context().meters.watch();
    let greeting = greeting(app, visit.as_ref());
    let feed = Feed {
        app: app.clone(),
        news,
        stop: app.stop(),
        visit,
        greeting,
        _counted: Counted(metrics),
    };
    let pieces = unfold(feed, |mut feed| async move {
        let piece = feed.next().await?;
        Some((Ok::<_, Infallible>(piece), feed))
    });
    let mut response = Response::new(Body::from_stream(pieces));
    let headers = response.headers_mut();
    let kind = HeaderValue::from_static("text/event-stream");
    headers.insert(header::CONTENT_TYPE, kind);
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

/// Stream all meters
///
/// Frames `reading`, `meter` (how one stands, each one's at first), `told` (what a meter says of
/// itself) and `skipped` (how many frames this client was too slow for).
#[utoipa::path(get, path = "/api/v1/events", tag = "events",
    responses((status = 200, body = String, content_type = "text/event-stream")))]
pub async fn meters(State(app): State<App>) -> Response {
    serve(&app, None)
}

/// Where to go on.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct From {
    /// The last record that the client has, as the header `Last-Event-ID`, for clients that cannot
    /// send it.
    last_event_id: Option<u32>,
}

/// Stream a visit
///
/// Every event of its trail but streamed readings, with the record's number as `id`, from the first
/// one on or behind `Last-Event-ID`. Between them `reading` and `meter` of its meters, `now` (how the
/// visit stands), `alarm`, `cooldown`, `refused` and `skipped`, without an `id`.
#[utoipa::path(get, path = "/api/v1/visits/{visit}/events", tag = "events",
    params(("visit" = String, Path), From, ("Last-Event-ID" = Option<u32>, Header)),
    responses((status = 200, body = String, content_type = "text/event-stream"), Problem))]
pub async fn visit(
    State(app): State<App>,
    Named(name): Named<String>,
    Query(from): Query<From>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let visit = app.visit(&name)?;
    let last = match headers.get("last-event-id") {
        Some(value) => {
            let number = value.to_str().ok().and_then(|v| v.trim().parse().ok());
            let number: u32 = number.ok_or_else(|| {
                let detail = "Last-Event-ID is no record's number";
                let remedy = "send the `id` of the last event that you have, or leave it out";
                Problem::new(StatusCode::BAD_REQUEST, "last-event-id", detail, remedy)
            })?;
            Some(number)
        }
        None => from.last_event_id,
    };
    if visit.summary().stage == "closed" && visit.log.is_empty() {
        let fill = Arc::clone(&visit);
        let filled = tokio::task::spawn_blocking(move || fill.fill_log()).await;
        filled.map_err(|e| Problem::system(e.to_string()))?;
    }
    // Watched before the log is read: what comes meanwhile is in one of them, or in both.
    let frames = visit.log.watch();
    let watched = Watched {
        visit,
        frames,
        next: last.map_or(0, |last| last.saturating_add(1)),
        behind: true,
        greeted: false,
    };
    Ok(serve(&app, Some(watched)))
}
