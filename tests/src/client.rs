//! The daemon as a running program, and a client of its API and its live streams.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::cli::ohmtrail;

/// Longer than anything here takes; a test that waits so long has failed.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// A daemon that runs. Dropping it kills it.
pub struct Daemon {
    child: Child,
    /// Where it is reached.
    pub base: String,
    agent: ureq::Agent,
}

/// What was answered.
#[derive(Debug)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// The media type.
    pub kind: String,
    /// The body.
    pub body: Vec<u8>,
}

impl Answer {
    /// The body as text.
    ///
    /// # Panics
    /// If it is none.
    #[must_use]
    pub fn text(&self) -> &str {
        std::str::from_utf8(&self.body).expect("text")
    }

    /// The body as JSON.
    ///
    /// # Panics
    /// If it is none.
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {self:?}"))
    }

    /// The body as JSON, of an answer that is no problem.
    ///
    /// # Panics
    /// If it is one.
    #[must_use]
    pub fn good(&self) -> Value {
        assert!(
            (200..300).contains(&self.status),
            "{}: {}",
            self.status,
            self.text()
        );
        self.json()
    }

    /// The problem's code, of an answer with that status.
    ///
    /// # Panics
    /// If it is none.
    #[must_use]
    pub fn problem(&self, status: u16) -> String {
        assert_eq!(self.status, status, "{}", self.text());
        assert_eq!(self.kind, "application/problem+json");
        let problem = self.json();
        for field in ["title", "detail", "remedy"] {
            let words = problem[field].as_str().unwrap_or_default();
            assert!(!words.is_empty(), "{field} in {problem}");
        }
        assert_eq!(problem["status"], status);
        problem["code"].as_str().expect("a code").to_owned()
    }
}

impl Daemon {
    /// Starts it on a port that the system chooses, and waits until it serves.
    ///
    /// # Panics
    /// If it does not.
    #[must_use]
    pub fn start(data: &Path, args: &[String]) -> Self {
        Daemon::start_at("127.0.0.1:0", data, args)
    }

    /// Starts it at an address, and waits until it serves.
    ///
    /// # Panics
    /// If it does not.
    #[must_use]
    pub fn start_at(listen: &str, data: &Path, args: &[String]) -> Self {
        Daemon::start_in(listen, data, args, &[])
    }

    /// As [`Daemon::start`], with these variables in its environment.
    ///
    /// # Panics
    /// If it does not.
    #[must_use]
    pub fn start_with(data: &Path, args: &[String], variables: &[(&str, &str)]) -> Self {
        Daemon::start_in("127.0.0.1:0", data, args, variables)
    }

    fn start_in(listen: &str, data: &Path, args: &[String], variables: &[(&str, &str)]) -> Self {
        let mut command = ohmtrail();
        command
            .envs(variables.iter().copied())
            .args(["--json", "serve", "--listen", listen, "--data"])
            .arg(data)
            .args(args);
        Daemon::run(command, data)
    }

    fn run(mut command: Command, data: &Path) -> Self {
        // No configuration of the machine's user.
        let mut child = command
            .env("XDG_CONFIG_HOME", data)
            .env("HOME", data)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the binary starts");
        let out = child.stdout.take().expect("its output");
        let mut line = String::new();
        BufReader::new(out).read_line(&mut line).expect("a line");
        let told: Value = serde_json::from_str(&line).expect("JSON");
        let base = told["serving"][0].as_str().expect("an address").to_owned();
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .timeout_global(Some(PATIENCE));
        Daemon {
            child,
            base,
            agent: config.build().into(),
        }
    }

    fn answer(done: Result<ureq::http::Response<ureq::Body>, ureq::Error>) -> Answer {
        let mut response = done.expect("an answer");
        let kind = response.headers().get("content-type");
        let kind = kind.map_or(String::new(), |k| k.to_str().expect("text").to_owned());
        Answer {
            status: response.status().as_u16(),
            kind,
            body: response.body_mut().read_to_vec().expect("a body"),
        }
    }

    /// Gets what is at a path.
    ///
    /// # Panics
    /// If nothing is answered.
    #[must_use]
    pub fn get(&self, path: &str) -> Answer {
        Daemon::answer(self.agent.get(format!("{}{path}", self.base)).call())
    }

    /// Posts JSON.
    ///
    /// # Panics
    /// If nothing is answered.
    pub fn post(&self, path: &str, body: &Value) -> Answer {
        let request = self.agent.post(format!("{}{path}", self.base));
        Daemon::answer(request.send_json(body))
    }

    /// Posts bytes of a media type.
    ///
    /// # Panics
    /// If nothing is answered.
    pub fn post_bytes(&self, path: &str, kind: &str, body: &[u8]) -> Answer {
        let request = self.agent.post(format!("{}{path}", self.base));
        Daemon::answer(request.content_type(kind).send(body))
    }

    /// Puts JSON.
    ///
    /// # Panics
    /// If nothing is answered.
    pub fn put(&self, path: &str, body: &Value) -> Answer {
        let request = self.agent.put(format!("{}{path}", self.base));
        Daemon::answer(request.send_json(body))
    }

    /// Deletes what is at a path.
    ///
    /// # Panics
    /// If nothing is answered.
    pub fn delete(&self, path: &str) -> Answer {
        Daemon::answer(self.agent.delete(format!("{}{path}", self.base)).call())
    }

    /// Opens a visit on an invented unit; gives its path.
    ///
    /// # Panics
    /// If it is refused.
    #[must_use]
    pub fn open(&self, sheet: &str, complaint: &str, meters: &Value) -> String {
        let opened = self.post(
            "/api/v1/visits",
            &json!({
                "sheet": sheet, "complaint": complaint, "unit": "an invented unit",
                "technician": "an invented technician", "simulated": true, "meters": meters,
            }),
        );
        let id = opened.good()["id"].as_str().expect("a name").to_owned();
        format!("/api/v1/visits/{id}")
    }

    /// Watches a stream.
    ///
    /// # Panics
    /// If it is refused.
    #[must_use]
    pub fn events(&self, path: &str, last: Option<u64>) -> Events {
        let config = ureq::Agent::config_builder().timeout_global(None);
        let agent: ureq::Agent = config.build().into();
        let mut request = agent.get(format!("{}{path}", self.base));
        if let Some(last) = last {
            request = request.header("last-event-id", last.to_string());
        }
        let response = request.call().expect("a stream");
        assert_eq!(response.headers()["content-type"], "text/event-stream");
        let (to, from) = mpsc::channel();
        std::thread::spawn(move || {
            let mut event = Event::default();
            let lines = BufReader::new(response.into_body().into_reader()).lines();
            // An error is a daemon that was killed.
            for line in lines.map_while(Result::ok) {
                if line.is_empty() {
                    let whole = std::mem::take(&mut event);
                    if !whole.kind.is_empty() && to.send(whole).is_err() {
                        return;
                    }
                    continue;
                }
                match line.split_once(": ") {
                    Some(("id", id)) => event.id = id.parse().ok(),
                    Some(("event", kind)) => kind.clone_into(&mut event.kind),
                    Some(("data", data)) => {
                        event.data = serde_json::from_str(data).expect("JSON");
                    }
                    _ => {}
                }
            }
        });
        Events { from }
    }

    /// Kills it at once, as a power cut would.
    ///
    /// # Panics
    /// If it cannot be killed.
    pub fn kill(mut self) {
        self.child.kill().expect("killed");
        self.child.wait().expect("gone");
    }

    /// Its process.
    #[must_use]
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// Tells it to stop; gives its exit code.
    ///
    /// # Panics
    /// If it does not stop.
    pub fn stop(mut self) -> i32 {
        let told = Command::new("kill")
            .args(["-TERM", &self.child.id().to_string()])
            .status();
        assert!(told.expect("kill runs").success());
        let until = Instant::now() + PATIENCE;
        while Instant::now() < until {
            if let Some(status) = self.child.try_wait().expect("its status") {
                return status.code().unwrap_or(-1);
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        panic!("it does not stop");
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// One server-sent event.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Event {
    /// The number of the record, for an event of a trail.
    pub id: Option<u64>,
    /// Its kind.
    pub kind: String,
    /// What it says.
    pub data: Value,
}

/// A stream that is watched.
pub struct Events {
    from: Receiver<Event>,
}

impl Events {
    /// The next event; none if the stream ended.
    ///
    /// # Panics
    /// If none comes in time.
    pub fn next(&self) -> Option<Event> {
        match self.from.recv_timeout(PATIENCE) {
            Ok(event) => Some(event),
            Err(mpsc::RecvTimeoutError::Disconnected) => None,
            Err(mpsc::RecvTimeoutError::Timeout) => panic!("no event came"),
        }
    }

    /// The next event, if one has come.
    pub fn ready(&self) -> Option<Event> {
        self.from.try_recv().ok()
    }

    /// The next event that is wanted; others are passed over.
    ///
    /// # Panics
    /// If none comes in time, or the stream ends.
    pub fn until(&self, wanted: impl Fn(&Event) -> bool) -> Event {
        let until = Instant::now() + PATIENCE;
        while Instant::now() < until {
            let event = self.next().expect("the stream goes on");
            if wanted(&event) {
                return event;
            }
        }
        panic!("no such event came");
    }

    /// Everything that has come up to that record.
    ///
    /// # Panics
    /// If it does not come in time.
    pub fn up_to(&self, record: u64) -> Vec<Event> {
        let mut all = Vec::new();
        loop {
            let event = self.next().expect("the stream goes on");
            let last = event.id.is_some_and(|id| id >= record);
            all.push(event);
            if last {
                return all;
            }
        }
    }
}
