//! Bodies of the API, to its own routes and with visits behind them: whatever is sent is answered,
//! and never as the daemon's own mistake.

use std::sync::{Arc, OnceLock};

use axum::Router;
use axum::body::Body;
use axum::http::Request;
use ohmtrail_daemon::api::{self, Judge};
use ohmtrail_daemon::clock::Clocks;
use ohmtrail_daemon::index::Shop;
use ohmtrail_daemon::meters::{Kept, Meters};
use ohmtrail_daemon::metrics::Metrics;
use ohmtrail_daemon::sheets::{Beforehand, Sheets};
use ohmtrail_daemon::visits::{Context, Visits};
use tempfile::TempDir;
use tokio::runtime::Runtime;
use tokio::sync::watch;
use tower::ServiceExt;

/// Where a body can be sent. The first byte of the input chooses; `{visit}` is one that is open.
/// Meters are left out: they would open ports of this machine.
const ROUTES: [(&str, &str); 14] = [
    ("POST", "/api/v1/visits/{visit}/looks"),
    ("POST", "/api/v1/visits/{visit}/takes"),
    ("POST", "/api/v1/visits/{visit}/takes/1/strike"),
    ("POST", "/api/v1/visits/{visit}/complaints"),
    ("POST", "/api/v1/visits/{visit}/plates"),
    ("POST", "/api/v1/visits/{visit}/notes"),
    ("POST", "/api/v1/visits/{visit}/wires/x/lifted"),
    ("POST", "/api/v1/visits/{visit}/asks/1/look"),
    ("POST", "/api/v1/visits/{visit}/asks/1/display"),
    ("POST", "/api/v1/visits/{visit}/asks/1/skip"),
    ("POST", "/api/v1/visits/{visit}/meters"),
    ("POST", "/api/v1/visits/{visit}/photos"),
    ("POST", "/api/v1/checks"),
    ("POST", "/api/v1/sheets/check"),
];

struct Daemon {
    runtime: Runtime,
    router: Router,
    visit: String,
    _data: TempDir,
    _stop: watch::Sender<bool>,
}

fn daemon() -> &'static Daemon {
    static DAEMON: OnceLock<Daemon> = OnceLock::new();
    DAEMON.get_or_init(|| {
        let data = tempfile::tempdir().expect("a folder");
        let runtime = Runtime::new().expect("a runtime");
        let _inside = runtime.enter();
        let (stop, stopped) = watch::channel(false);
        let metrics = Arc::new(Metrics::default());
        let clocks = Clocks::start();
        let index = Shop::open(data.path(), clocks.clone()).expect("a folder");
        let context = Arc::new(Context {
            meters: Arc::new(Meters::new(clocks.clone(), Arc::clone(&metrics))),
            clocks,
            sheets: Sheets::new(&data.path().join("sheets"), Beforehand::default()),
            index,
            metrics,
            stop: stopped.clone(),
            runtime: runtime.handle().clone(),
        });
        let visits = Visits::open_folder(&data.path().join("visits"), context).expect("visits");
        let judge = Judge::new(|_| Err("nothing is judged here".to_owned()));
        let kept = Kept::open(data.path()).expect("nothing is kept");
        let (router, _) = api::router(visits, data.path().to_owned(), kept, judge, stopped);
        let body = br#"{"sheet":"split-cooling-1ph","simulated":true}"#;
        let (status, answer) = ask(&runtime, &router, "POST", "/api/v1/visits", body);
        assert_eq!(status, 201, "{answer}");
        let visit = answer
            .split("\"id\":\"")
            .nth(1)
            .and_then(|rest| rest.split('"').next());
        let visit = visit
            .unwrap_or_else(|| panic!("no id in {answer}"))
            .to_owned();
        drop(_inside);
        Daemon {
            runtime,
            router,
            visit,
            _data: data,
            _stop: stop,
        }
    })
}

fn ask(runtime: &Runtime, router: &Router, method: &str, path: &str, body: &[u8]) -> (u16, String) {
    let request = Request::builder()
        .method(method)
        .uri(path)
        .header("content-type", "application/json")
        .body(Body::from(body.to_vec()))
        .expect("a request");
    runtime.block_on(async {
        let response = router.clone().oneshot(request).await.expect("an answer");
        let status = response.status().as_u16();
        let body = axum::body::to_bytes(response.into_body(), 1 << 20).await;
        let body = body.expect("a body");
        (status, String::from_utf8_lossy(&body).into_owned())
    })
}

/// A body to one of the routes.
pub fn bodies(bytes: &[u8]) {
    let Some((first, body)) = bytes.split_first() else {
        return;
    };
    let daemon = daemon();
    let (method, path) = ROUTES[usize::from(*first) % ROUTES.len()];
    let path = path.replace("{visit}", &daemon.visit);
    let (status, answer) = ask(&daemon.runtime, &daemon.router, method, &path, body);
    assert!(status < 500, "{method} {path}: {status} {answer}");
    // The visit is still there, and says how it stands.
    let path = format!("/api/v1/visits/{}/now", daemon.visit);
    let (status, answer) = ask(&daemon.runtime, &daemon.router, "GET", &path, b"");
    assert_eq!(status, 200, "{answer}");
}
