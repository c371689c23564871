//! The files of the page that never change while the daemon runs, and the shell that opens without it.

use std::sync::OnceLock;

use axum::Router;
use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use maud::html;

use super::frame::Page;
use super::icon::png;
use super::reader::Reader;
use crate::api::App;

/// Path, media type, bytes.
const FILES: [(&str, &str, &[u8]); 5] = [
    (
        "/page.css",
        "text/css; charset=utf-8",
        include_bytes!("static/page.css"),
    ),
    (
        "/page.js",
        "text/javascript; charset=utf-8",
        include_bytes!("static/page.js"),
    ),
    (
        "/worker.js",
        "text/javascript; charset=utf-8",
        include_bytes!("static/worker.js"),
    ),
    (
        "/icon.svg",
        "image/svg+xml",
        include_bytes!("static/icon.svg"),
    ),
    (
        "/app.webmanifest",
        "application/manifest+json",
        include_bytes!("static/app.webmanifest"),
    ),
];

/// The icon in pixels: path, side, and whether it is cut to any shape.
const ICONS: [(&str, u16, bool); 3] = [
    ("/icon-192.png", 192, false),
    ("/icon-512.png", 512, false),
    ("/icon-cut-512.png", 512, true),
];

/// An icon, drawn once.
fn drawn(at: usize) -> &'static [u8] {
    static ALL: [OnceLock<Vec<u8>>; ICONS.len()] = [const { OnceLock::new() }; ICONS.len()];
    let (_, side, cut) = ICONS[at];
    // That it can be drawn is held by the tests.
    ALL[at].get_or_init(|| png(side, cut).unwrap_or_default())
}

/// Their routes.
pub fn router() -> Router<App> {
    let mut router = Router::new().route("/shell", get(shell));
    for (path, kind, bytes) in FILES {
        router = router.route(
            path,
            get(move |headers: HeaderMap| async move { file(kind, bytes, &headers) }),
        );
    }
    for (at, (path, ..)) in ICONS.into_iter().enumerate() {
        let icon = move |headers: HeaderMap| async move { file("image/png", drawn(at), &headers) };
        router = router.route(path, get(icon));
    }
    router
}

/// A file, unless the browser has this very one.
fn file(kind: &'static str, bytes: &'static [u8], headers: &HeaderMap) -> Response {
    let tag = format!("\"{}\"", &blake3::hash(bytes).to_hex()[..16]);
    let has = headers.get(IF_NONE_MATCH).and_then(|v| v.to_str().ok());
    // Nothing of a customer's is in these: they may be kept, and are asked for again.
    let head = [
        (CONTENT_TYPE, kind.to_owned()),
        (CACHE_CONTROL, "no-cache".to_owned()),
        (ETAG, tag.clone()),
    ];
    if has == Some(tag.as_str()) {
        return (StatusCode::NOT_MODIFIED, head).into_response();
    }
    (head, bytes).into_response()
}

/// What opens when the daemon is out of reach.
async fn shell(State(_): State<App>, reader: Reader) -> Response {
    let t = reader.tongue;
    let title = t.say("out-of-reach");
    Page {
        reader,
        title: &title,
        top: html! {},
        body: html! {
            h1 { (title) }
            p #shell { (t.say("out-of-reach-words")) }
        },
    }
    .into_response()
}
