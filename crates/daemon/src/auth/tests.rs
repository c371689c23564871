//! The guard as a layer before handlers; the sockets are `tests/tests/daemon_security.rs`'s.

use std::path::Path;

use axum::routing::{get, post};
use tower::ServiceExt;

use serde_json::json;

use super::*;
use crate::config::{Flags, Loaded, Places};

const HERE: &str = "127.0.0.1:8740";

struct Daemon {
    router: Router,
    data: tempfile::TempDir,
    guard: Arc<Guard>,
}

fn daemon(config: &str) -> Daemon {
    let data = tempfile::tempdir().expect("a folder");
    let flags = Flags {
        data: Some(data.path().to_owned()),
        listen: Vec::new(),
    };
    let loaded = Loaded::read(Path::new("c.toml"), config, &flags, &Places::default());
    let guard = Arc::new(Guard::new(&loaded.expect("a configuration").config));
    let echo = post(async |body: Bytes| body);
    let router = Router::new()
        .route("/", get(async || "the page"))
        .route("/echo", echo);
    Daemon {
        router: protect(router, Arc::clone(&guard)),
        data,
        guard,
    }
}

const OPEN: &str = "[listen]\naddresses = [\"0.0.0.0:8740\"]\n";

struct Answer {
    status: u16,
    headers: HeaderMap,
    text: String,
}

impl Daemon {
    async fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: Body) -> Answer {
        let mut request = Request::builder()
            .method(method)
            .uri(path)
            .header("host", HERE);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let mut request = request.body(body).expect("a request");
        request.extensions_mut().insert(Ends {
            peer: "127.0.0.1:50000".parse().expect("one"),
            local: HERE.parse().expect("one"),
        });
        let response = self
            .router
            .clone()
            .oneshot(request)
            .await
            .expect("an answer");
        let (parts, body) = response.into_parts();
        let bytes = to_bytes(body, 1 << 20).await.expect("a body");
        Answer {
            status: parts.status.as_u16(),
            headers: parts.headers,
            text: String::from_utf8_lossy(&bytes).into_owned(),
        }
    }

    async fn get(&self, path: &str, headers: &[(&str, &str)]) -> Answer {
        self.ask("GET", path, headers, Body::empty()).await
    }

    fn code(&self) -> String {
        let now = pairing::Moment::now().expect("a moment");
        self.guard.pairing.open(now).expect("a code").reveal()
    }

    async fn pair(&self, code: &str) -> Answer {
        let body = json!({"code": code, "name": "phone of Ana"}).to_string();
        let headers = [("content-type", "application/json")];
        self.ask("POST", "/pair", &headers, Body::from(body)).await
    }

    async fn token(&self) -> String {
        let paired = self.pair(&self.code()).await;
        assert_eq!(paired.status, 200, "{}", paired.text);
        let answer: serde_json::Value = serde_json::from_str(&paired.text).expect("JSON");
        answer["token"].as_str().expect("a token").to_owned()
    }
}

#[tokio::test]
async fn this_machine_needs_no_session_and_the_network_does() {
    assert_eq!(daemon("").get("/", &[]).await.status, 200);
    for config in [
        OPEN,
        "[listen]\npair-always = true\n",
        "[listen]\norigins = [\"https://truck.example\"]\n",
    ] {
        let daemon = daemon(config);
        let refused = daemon.get("/", &[]).await;
        assert_eq!(refused.status, 401, "{config}");
        assert!(refused.text.contains("config pair"), "{}", refused.text);
        // Paths that are not there are not told apart from those that are.
        assert_eq!(daemon.get("/nothing", &[]).await.status, 401);
        let bearer = format!("Bearer {}", daemon.token().await);
        assert_eq!(
            daemon.get("/", &[("authorization", &bearer)]).await.status,
            200
        );
        assert_eq!(
            daemon
                .get("/nothing", &[("authorization", &bearer)])
                .await
                .status,
            404
        );
    }
}

#[tokio::test]
async fn a_person_is_led_to_pairing_and_back() {
    let daemon = daemon(OPEN);
    let led = daemon.get("/", &[("accept", "text/html,*/*")]).await;
    assert_eq!(
        (led.status, &led.headers["location"]),
        (303, &HeaderValue::from_static("/pair"))
    );
    let code = daemon.code();
    let form = daemon.get(&format!("/pair?code={code}"), &[]).await;
    assert_eq!(form.status, 200);
    assert!(
        form.text.contains(&format!("value=\"{code}\"")),
        "{}",
        form.text
    );
    // Nothing but a code gets into the page.
    let form = daemon.get("/pair?code=%22%3E%3Cscript%3E", &[]).await;
    assert!(!form.text.contains("<script"), "{}", form.text);

    let body = format!("code={}&name=phone", code.to_lowercase());
    let headers = [("content-type", "application/x-www-form-urlencoded")];
    let paired = daemon
        .ask("POST", "/pair", &headers, Body::from(body))
        .await;
    assert_eq!(
        (paired.status, &paired.headers["location"]),
        (303, &HeaderValue::from_static("/"))
    );
    let cookie = paired.headers["set-cookie"].to_str().expect("text");
    for part in [
        "; HttpOnly",
        "; SameSite=Strict",
        "; Path=/",
        "; Max-Age=2592000",
    ] {
        assert!(cookie.contains(part), "{cookie} lacks {part}");
    }
    let pair = cookie.split(';').next().expect("a pair");
    let with_others = format!("a=b; {pair}; c=d");
    assert_eq!(
        daemon.get("/", &[("cookie", &with_others)]).await.status,
        200
    );
    for wrong in ["ohmtrail-session=", "ohmtrail-session=00", "other=1"] {
        assert_eq!(
            daemon.get("/", &[("cookie", wrong)]).await.status,
            401,
            "{wrong}"
        );
    }
    // A form with a wrong code says so in a page.
    let body = Body::from("code=2222-2222");
    let refused = daemon.ask("POST", "/pair", &headers, body).await;
    assert_eq!(refused.status, 403);
    assert!(refused.text.contains("<form") && refused.text.contains("no pairing code is open"));
}

#[tokio::test]
async fn a_code_pairs_once_and_bears_few_guesses() {
    let daemon = daemon(OPEN);
    let code = daemon.code();
    assert_eq!(daemon.pair(&code).await.status, 200);
    assert_eq!(daemon.pair(&code).await.status, 403, "once");
    let code = daemon.code();
    assert_eq!(
        daemon.pair("not a code at all").await.status,
        403,
        "not counted"
    );
    for left in (0..5).rev() {
        let wrong = if code.starts_with('2') {
            "3333-3333"
        } else {
            "2222-2222"
        };
        let refused = daemon.pair(wrong).await;
        assert_eq!(refused.status, 403);
        assert!(
            refused.text.contains(&format!("{left} more tries")),
            "{}",
            refused.text
        );
    }
    assert_eq!(daemon.pair(&code).await.status, 403, "void");
    for (content, body, status) in [
        ("text/plain", "{\"code\":\"2222-2222\"}", 415),
        ("application/json", "{}", 400),
        ("application/json", "[", 400),
    ] {
        let headers = [("content-type", content)];
        let answer = daemon
            .ask("POST", "/pair", &headers, Body::from(body))
            .await;
        assert_eq!(answer.status, status, "{content} {body}");
    }
}

#[tokio::test]
async fn sessions_are_listed_and_ended() {
    let daemon = daemon(OPEN);
    let one = format!("Bearer {}", daemon.token().await);
    let two = format!("bearer {}", daemon.token().await);
    let list = daemon.get("/sessions", &[("authorization", &one)]).await;
    let list: serde_json::Value = serde_json::from_str(&list.text).expect("JSON");
    let sessions = list["sessions"].as_array().expect("a list");
    assert_eq!(sessions.len(), 2);
    assert_eq!(sessions.iter().filter(|s| s["own"] == true).count(), 1);
    assert_eq!(sessions[0]["name"], "phone of Ana");
    let other = sessions.iter().find(|s| s["own"] == false).expect("two's");
    let path = format!("/sessions/{}", other["id"].as_str().expect("an id"));
    let one_headers = [("authorization", one.as_str())];
    assert_eq!(
        daemon
            .ask("DELETE", &path, &one_headers, Body::empty())
            .await
            .status,
        204
    );
    assert_eq!(
        daemon
            .ask("DELETE", &path, &one_headers, Body::empty())
            .await
            .status,
        404
    );
    assert_eq!(
        daemon.get("/", &[("authorization", &two)]).await.status,
        401
    );
    for escape in [
        "/sessions/..%2f..%2fpairing",
        "/sessions/%2e%2e",
        "/sessions/0",
    ] {
        assert_eq!(
            daemon
                .ask("DELETE", escape, &one_headers, Body::empty())
                .await
                .status,
            404
        );
    }
    assert!(
        daemon.data.path().join("pairing.lock").is_file(),
        "what lies beside stays"
    );
    assert_eq!(
        daemon
            .ask("DELETE", "/sessions", &one_headers, Body::empty())
            .await
            .status,
        204
    );
    assert_eq!(daemon.get("/", &one_headers).await.status, 401);
}

#[tokio::test]
async fn other_sites_are_refused_before_anything_else_is_looked_at() {
    let daemon = daemon("");
    for (headers, status) in [
        (&[("origin", "http://attacker.example")][..], 403),
        (&[("sec-fetch-site", "cross-site")], 403),
        (&[("host", "attacker.example")], 400), // a second Host
    ] {
        assert_eq!(daemon.get("/", headers).await.status, status, "{headers:?}");
    }
    let code = daemon.code();
    let headers = [
        ("content-type", "application/json"),
        ("origin", "http://attacker.example"),
    ];
    let body = json!({"code": code}).to_string();
    assert_eq!(
        daemon
            .ask("POST", "/pair", &headers, Body::from(body))
            .await
            .status,
        403
    );
    assert_eq!(
        daemon.pair(&code).await.status,
        200,
        "the code was not touched"
    );
}

#[tokio::test]
async fn bodies_are_bounded_in_length() {
    let daemon = daemon("[limits]\nbody-bytes = 1024\nphoto-bytes = 65536\n");
    let fits = daemon
        .ask("POST", "/echo", &[], Body::from(vec![b'x'; 1024]))
        .await;
    assert_eq!((fits.status, fits.text.len()), (200, 1024));
    let long = daemon
        .ask("POST", "/echo", &[], Body::from(vec![b'x'; 1025]))
        .await;
    assert_eq!(long.status, 413);
    assert!(long.text.contains("1024 bytes"), "{}", long.text);
    // A photograph may be longer; where none is taken, nothing may.
    let photo = Body::from(vec![b'x'; 60_000]);
    let answer = daemon
        .ask("POST", "/api/v1/visits/v/photos", &[], photo)
        .await;
    assert_eq!(answer.status, 404, "there is no such visit here");
    let photo = Body::from(vec![b'x'; 60_000]);
    let answer = daemon
        .ask("POST", "/api/v1/visits/v/x/photos", &[], photo)
        .await;
    assert_eq!(answer.status, 413);
}

#[tokio::test]
async fn one_address_may_not_ask_too_often() {
    let daemon = daemon("[limits]\nrequests-per-second = 1\nburst = 3\n");
    for _ in 0..3 {
        assert_eq!(daemon.get("/", &[]).await.status, 200);
    }
    let refused = daemon.get("/", &[]).await;
    assert_eq!(
        (refused.status, &refused.headers["retry-after"]),
        (429, &HeaderValue::from(1))
    );
}

#[tokio::test]
async fn every_answer_carries_the_headers() {
    let daemon = daemon(OPEN);
    for path in ["/", "/pair", "/nothing"] {
        let headers = daemon.get(path, &[]).await.headers;
        let text = |name: &str| headers[name].to_str().expect("text").to_owned();
        assert!(
            text("content-security-policy").contains("frame-ancestors 'none'"),
            "{path}"
        );
        assert!(
            !text("content-security-policy").contains("unsafe"),
            "{path}"
        );
        assert_eq!(text("x-content-type-options"), "nosniff");
        assert_eq!(text("referrer-policy"), "same-origin");
        assert_eq!(text("cache-control"), "no-store");
        assert_eq!(text("cross-origin-resource-policy"), "same-origin");
    }
}

#[tokio::test]
async fn the_console_shows_a_link_that_reads_back() {
    let code = token::Code::read("ABCD-2345").expect("a code");
    let listen = Loaded::read(
        Path::new("c"),
        OPEN,
        &Flags {
            data: Some("d".into()),
            listen: Vec::new(),
        },
        &Places::default(),
    );
    let listen = listen.expect("read").config.listen;
    let bases = console::bases(&listen, &["192.0.2.7:8740".parse().expect("one")]);
    assert_eq!(bases, ["http://192.0.2.7:8740"]);
    let shown = console::show(&bases, &code, 300);
    assert!(shown.contains("Pairing code: ABCD-2345"));
    assert!(shown.contains("http://192.0.2.7:8740/pair\n"), "{shown}");
    let picture = shown.lines().filter(|l| l.contains('█')).count();
    assert!(picture > 10, "a picture of {picture} lines");
}
