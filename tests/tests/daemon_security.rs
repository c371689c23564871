//! What docs/threat-model.md says is defended, against the real binary and its sockets.

use std::io::{ErrorKind, Read, Write};
use std::net::TcpStream;
use std::process::Stdio;
use std::thread::sleep;
use std::time::{Duration, Instant};

use ohmtrail_meters::sim::pty::Pty;
use ohmtrail_tests::cli::run;
use ohmtrail_tests::daemon::{Answer, Daemon, PATIENCE};
use serde_json::json;

const JSON: (&str, &str) = ("Content-Type", "application/json");
const EVERYWHERE: &str = "0.0.0.0:0";

/// A pairing code made beside the daemon.
fn code(daemon: &Daemon) -> String {
    let data = daemon.data.path().display().to_string();
    let ran = run(["config", "pair", "--json", "--data", &data]);
    ran.json()["code"].as_str().expect("a code").to_owned()
}

fn pair(daemon: &Daemon, code: &str) -> Answer {
    let body = json!({"code": code, "name": "test"}).to_string();
    daemon.ask("POST", "/pair", &[JSON], &body)
}

/// The header of a new session.
fn session(daemon: &Daemon) -> String {
    let answer = pair(daemon, &code(daemon));
    assert_eq!(answer.status, 200, "{answer:?}");
    format!(
        "Bearer {}",
        answer.json()["token"].as_str().expect("a token")
    )
}

#[test]
fn by_default_only_this_machine_reaches_it() {
    let mut daemon = Daemon::start("", &[]);
    assert_eq!(daemon.get("/health", &[]).status, 200);
    // Its one socket is on loopback, by the kernel's own table (proc_net(5): local address and port
    // in hexadecimal, the address in the machine's order of bytes; 0A is listening).
    let port = format!(":{:04X}", daemon.address.port());
    let mut listening = Vec::new();
    for table in ["/proc/net/tcp", "/proc/net/tcp6"] {
        let text = std::fs::read_to_string(table).unwrap_or_default();
        for line in text.lines().skip(1) {
            let words: Vec<&str> = line.split_whitespace().collect();
            if words[1].ends_with(&port) && words[3] == "0A" {
                listening.push(words[1].to_owned());
            }
        }
    }
    let loopback = u32::from_ne_bytes([127, 0, 0, 1]);
    assert_eq!(listening, [format!("{loopback:08X}{port}")]);
    let (_, log) = daemon.stop();
    assert!(!log.contains("panicked"), "{log}");
}

#[test]
fn the_network_needs_pairing_and_so_does_loopback_then() {
    let daemon = Daemon::start_at(EVERYWHERE, "", &[]);
    for path in ["/health", "/", "/sessions", "/nothing"] {
        let answer = daemon.get(path, &[]);
        assert_eq!(answer.status, 401, "{answer:?}");
        assert!(answer.body.contains("ohmtrail config pair"), "{answer:?}");
    }
    let session = session(&daemon);
    assert_eq!(
        daemon.get("/health", &[("Authorization", &session)]).status,
        200
    );
    let wrong = format!("Bearer {}", "0".repeat(64));
    assert_eq!(
        daemon.get("/health", &[("Authorization", &wrong)]).status,
        401
    );
}

#[test]
fn a_code_is_used_once_from_the_console_to_the_cookie() {
    // The console is a terminal: the code and its picture are shown there.
    let console = Pty::open().expect("a terminal");
    let data = tempfile::tempdir().expect("a folder");
    let terminal = || {
        let file = std::fs::File::options().write(true).open(console.path());
        Stdio::from(file.expect("the terminal opens"))
    };
    let mut command = Daemon::command(&data, "");
    command
        .args(["--listen", EVERYWHERE])
        .stdout(terminal())
        .stderr(Stdio::null());
    let mut child = command.spawn().expect("it starts");
    let mut shown = Vec::new();
    let since = Instant::now();
    while !String::from_utf8_lossy(&shown).contains("/pair\n") || !shown.ends_with("\n".as_bytes())
    {
        let mut buffer = [0; 4096];
        let count = console.read(&mut buffer).expect("read");
        shown.extend_from_slice(&buffer[..count]);
        assert!(
            since.elapsed() < PATIENCE,
            "{}",
            String::from_utf8_lossy(&shown)
        );
        sleep(Duration::from_millis(10));
    }
    sleep(Duration::from_millis(100));
    let mut buffer = [0; 65536];
    let count = console.read(&mut buffer).expect("read");
    shown.extend_from_slice(&buffer[..count]);
    let shown = String::from_utf8_lossy(&shown).into_owned();
    assert!(
        shown.lines().filter(|l| l.contains('█')).count() > 10,
        "a picture in {shown}"
    );
    let code = shown.split("Pairing code: ").nth(1).expect("a code");
    let code = code.split_whitespace().next().expect("a code");
    let port = shown.split("http://0.0.0.0:").nth(1).expect("an address");
    let port: u16 = port
        .split_whitespace()
        .next()
        .expect("a port")
        .parse()
        .expect("a port");

    let ask = |text: String| {
        let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("connected");
        stream.write_all(text.as_bytes()).expect("sent");
        Answer::read(stream)
    };
    let head = |method: &str, path: &str| {
        format!("{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n")
    };
    let body = format!("code={code}&name=phone");
    let form = format!(
        "{}Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
        head("POST", "/pair"),
        body.len()
    );
    let paired = ask(form.clone());
    assert_eq!(paired.status, 303, "{paired:?}");
    let cookie = paired.header("set-cookie");
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
    let cookie = cookie.split(';').next().expect("a pair");
    let answer = ask(format!(
        "{}Cookie: {cookie}\r\n\r\n",
        head("GET", "/health")
    ));
    assert_eq!(answer.status, 200, "{answer:?}");
    assert_eq!(ask(form).status, 403, "the code is used up");
    child.kill().expect("killed");
    child.wait().expect("ended");
}

#[test]
fn names_that_others_can_point_here_are_refused() {
    for daemon in [
        Daemon::start("", &[]),
        Daemon::start_at(EVERYWHERE, "", &[]),
    ] {
        let port = daemon.address.port();
        for host in [
            "attacker.example".to_owned(),
            format!("attacker.example:{port}"),
        ] {
            let answer = daemon.get("/pair", &[("Host", &host)]);
            assert_eq!(answer.status, 421, "{answer:?}");
            assert!(answer.body.contains("listen.origins"), "{answer:?}");
        }
        let localhost = format!("localhost:{port}");
        assert_eq!(daemon.get("/pair", &[("Host", &localhost)]).status, 200);
    }
}

#[test]
fn pages_of_other_sites_are_refused() {
    let daemon = Daemon::start("", &[]);
    let own = format!("http://{}", daemon.address);
    assert_eq!(daemon.get("/health", &[("Origin", &own)]).status, 200);
    for header in [
        ("Origin", "http://attacker.example"),
        ("Origin", "null"),
        ("Origin", "http://127.0.0.1:1"),
        ("Sec-Fetch-Site", "cross-site"),
        ("Sec-Fetch-Site", "same-site"),
    ] {
        let answer = daemon.get("/health", &[header]);
        assert_eq!(answer.status, 403, "{header:?}: {answer:?}");
        let allowed = answer
            .headers
            .iter()
            .any(|(name, _)| name.starts_with("access-control"));
        assert!(!allowed, "{answer:?}");
    }
    let preflight = [
        ("Origin", "http://attacker.example"),
        ("Access-Control-Request-Method", "POST"),
    ];
    assert_eq!(daemon.ask("OPTIONS", "/pair", &preflight, "").status, 403);
}

#[test]
fn paths_do_not_escape() {
    let config = "# 3d1c: what nobody may read\n";
    let daemon = Daemon::start(config, &[]);
    let secret = "3d1c";
    for path in [
        "/../config.toml",
        "/sessions/../config.toml",
        "/sessions/..%2fconfig.toml",
        "/sessions/%2e%2e%2fconfig.toml",
        "/sessions/..%5cconfig.toml",
        "//config.toml",
        "/api/v1/visits/..%2f..%2fconfig.toml",
        "/api/v1/visits/%2e%2e/trail",
        "/api/v1/visits/..%2fconfig/trail.csv",
        "/api/v1/sheets/..%2f..%2fconfig",
        "/api/v1/sheets/..%2fconfig/schematic.svg",
        "/api/v1/meters/..%2fconfig.toml",
        "/%00",
        "/etc/passwd",
    ] {
        for method in ["GET", "DELETE"] {
            let answer = daemon.ask(method, path, &[], "");
            assert!(
                (400..500).contains(&answer.status),
                "{method} {path}: {answer:?}"
            );
            assert!(!answer.body.contains(secret), "{answer:?}");
        }
    }
    assert!(
        daemon.data.path().join("config.toml").is_file(),
        "nothing was removed"
    );
}

#[test]
fn a_session_ends_at_once_also_for_a_stream_that_is_open() {
    let daemon = Daemon::start_at(EVERYWHERE, "", &[]);
    let data = daemon.data.path().display().to_string();
    let session = session(&daemon);
    let listed = run(["config", "sessions", "--json", "--data", &data]).json();
    let id = listed["sessions"][0]["id"].as_str().expect("an id");
    let mut stream = daemon.connect();
    let headers = [("Authorization", session.as_str())];
    let request = daemon.request("GET", "/api/v1/events", &headers, "");
    stream.write_all(request.as_bytes()).expect("sent");
    let mut buffer = [0; 4096];
    let count = stream.read(&mut buffer).expect("the head of an answer");
    assert!(buffer[..count].starts_with(b"HTTP/1.1 200 "));
    assert_eq!(run(["config", "revoke", "--data", &data, id]).code, 0);
    let since = Instant::now();
    while stream.read(&mut buffer).expect("the stream ends in order") > 0 {
        assert!(since.elapsed() < PATIENCE, "it goes on");
    }
    assert_eq!(
        daemon.get("/health", &[("Authorization", &session)]).status,
        401
    );
}

#[test]
fn bodies_are_bounded_in_length_and_time() {
    let daemon = Daemon::start("[limits]\nbody-bytes = 1024\nbody-seconds = 1\n", &[]);
    let long = "x".repeat(1025);
    assert_eq!(daemon.ask("POST", "/pair", &[JSON], &long).status, 413);
    // What is said to be long is refused before it is sent.
    let mut stream = daemon.connect();
    let head = daemon.request(
        "POST",
        "/pair",
        &[JSON, ("Content-Length", "1000000000")],
        "",
    );
    stream.write_all(head.as_bytes()).expect("sent");
    assert_eq!(Answer::read(stream).status, 413);
    // What comes in pieces of no stated length is counted.
    let mut stream = daemon.connect();
    let head = daemon.request(
        "POST",
        "/pair",
        &[JSON, ("Transfer-Encoding", "chunked")],
        "",
    );
    stream.write_all(head.as_bytes()).expect("sent");
    for _ in 0..3 {
        let piece = format!("200\r\n{}\r\n", "x".repeat(0x200));
        // It may be refused before all of it is sent.
        let _ = stream.write_all(piece.as_bytes());
    }
    assert_eq!(Answer::read(stream).status, 413);
}

/// Sends a byte now and then until the connection ends; says what came, and after how long.
fn drip(mut stream: TcpStream) -> (String, Duration) {
    let since = Instant::now();
    stream
        .set_read_timeout(Some(Duration::from_millis(100)))
        .expect("set");
    let mut came = Vec::new();
    loop {
        assert!(since.elapsed() < PATIENCE, "the daemon waits for it");
        let _ = stream.write_all(b"x");
        let mut buffer = [0; 4096];
        match stream.read(&mut buffer) {
            Ok(0) => break,
            Ok(count) => came.extend_from_slice(&buffer[..count]),
            Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {}
            Err(_) => break,
        }
    }
    (String::from_utf8_lossy(&came).into_owned(), since.elapsed())
}

#[test]
fn slow_heads_and_slow_bodies_are_cut() {
    let daemon = Daemon::start("[limits]\nhead-seconds = 1\nbody-seconds = 1\n", &[]);
    let mut head = daemon.connect();
    head.write_all(b"GET /health HTTP/1.1\r\nX-Slow: ")
        .expect("sent");
    let (_, took) = drip(head);
    assert!(took >= Duration::from_millis(900), "{took:?}");

    let mut body = daemon.connect();
    let request = daemon.request("POST", "/pair", &[JSON, ("Content-Length", "1000")], "");
    body.write_all(request.as_bytes()).expect("sent");
    let (came, took) = drip(body);
    assert!(came.starts_with("HTTP/1.1 408 "), "{came}");
    assert!(took >= Duration::from_millis(900), "{took:?}");

    // A connection on which nothing is ever asked ends as well.
    let mut idle = daemon.connect();
    let mut buffer = Vec::new();
    idle.read_to_end(&mut buffer).expect("it ends");
    // Others were served meanwhile.
    assert_eq!(daemon.get("/health", &[]).status, 200);
}

#[test]
fn a_client_that_stops_reading_is_cut() {
    let limits = "[limits]\nstall-seconds = 1\nburst = 100000\nrequests-per-second = 100000\n";
    let daemon = Daemon::start(limits, &[]);
    let mut stream = daemon.connect();
    stream
        .set_write_timeout(Some(Duration::from_millis(200)))
        .expect("set");
    let request = format!("GET /pair HTTP/1.1\r\nHost: {}\r\n\r\n", daemon.address);
    let requests = request.repeat(100);
    let since = Instant::now();
    loop {
        assert!(since.elapsed() < PATIENCE, "the daemon waits for it");
        match stream.write(requests.as_bytes()) {
            Ok(_) => {}
            Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {
                assert_eq!(
                    daemon.get("/health", &[]).status,
                    200,
                    "others are served meanwhile"
                );
            }
            Err(_) => break,
        }
    }
}

#[test]
fn one_address_has_only_so_many_connections() {
    let daemon = Daemon::start("[limits]\nconnections-each = 3\nhead-seconds = 60\n", &[]);
    let held: Vec<TcpStream> = (0..3).map(|_| daemon.connect()).collect();
    let closed = || {
        let mut stream = daemon.connect();
        let request = daemon.request("GET", "/health", &[], "");
        let _ = stream.write_all(request.as_bytes());
        let mut came = Vec::new();
        let _ = stream.read_to_end(&mut came);
        came.is_empty()
    };
    // The three are taken up one after the other, before the next.
    assert!(closed());
    drop(held);
    let since = Instant::now();
    while closed() {
        assert!(since.elapsed() < PATIENCE, "places are given back");
        sleep(Duration::from_millis(20));
    }
}

#[test]
fn no_secret_is_in_the_log_at_any_level() {
    let mut daemon = Daemon::start_at(EVERYWHERE, "", &["-vvv"]);
    let code = code(&daemon);
    assert_eq!(daemon.get(&format!("/pair?code={code}"), &[]).status, 200);
    let body = format!("code={code}&name=phone");
    let form = ("Content-Type", "application/x-www-form-urlencoded");
    let paired = daemon.ask("POST", "/pair", &[form], &body);
    let cookie = paired
        .header("set-cookie")
        .split(';')
        .next()
        .expect("a pair")
        .to_owned();
    let token = cookie.split('=').nth(1).expect("a token").to_owned();
    assert_eq!(token.len(), 64);
    assert_eq!(daemon.get("/health", &[("Cookie", &cookie)]).status, 200);
    let bearer = format!("Bearer {token}");
    assert_eq!(
        daemon.get("/health", &[("Authorization", &bearer)]).status,
        200
    );
    assert_eq!(
        daemon
            .get("/health", &[("Authorization", &bearer[..30])])
            .status,
        401
    );
    let (out, log) = daemon.stop();
    assert!(
        log.contains("/pair") && log.contains("/health"),
        "the log says what was asked: {log}"
    );
    for text in [out, log] {
        for secret in [
            &code,
            &code.replace('-', ""),
            &token,
            &token[..16].to_owned(),
        ] {
            assert!(
                !text.to_lowercase().contains(&secret.to_lowercase()),
                "{secret} in {text}"
            );
        }
    }
}
