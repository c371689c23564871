//! A daemon that runs, and an HTTP client that sends just the bytes a test wants.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::process::{Child, ChildStderr, ChildStdout, Command, Stdio};
use std::time::Duration;

use serde_json::Value;
use tempfile::TempDir;

use crate::cli::ohmtrail;

/// The longest that a test waits for anything.
pub const PATIENCE: Duration = Duration::from_secs(20);

/// A running `ohmtrail serve`, with a data folder of its own; killed when dropped.
#[derive(Debug)]
pub struct Daemon {
    /// Its data folder.
    pub data: TempDir,
    /// Where it is reached on this machine.
    pub address: SocketAddr,
    child: Child,
    out: BufReader<ChildStdout>,
}

impl Daemon {
    /// Starts one at a port that the system chooses on loopback.
    ///
    /// # Panics
    /// If it does not start, as everywhere here.
    #[must_use]
    pub fn start(config: &str, args: &[&str]) -> Self {
        Daemon::start_at("127.0.0.1:0", config, args)
    }

    /// Starts one at that address, with that configuration and those arguments besides.
    ///
    /// # Panics
    /// If it does not start.
    #[must_use]
    pub fn start_at(listen: &str, config: &str, args: &[&str]) -> Self {
        let data = tempfile::tempdir().expect("a folder");
        let mut command = Daemon::command(&data, config);
        command.args(["--json", "--listen", listen]).args(args);
        Daemon::run(data, command)
    }

    /// The command that serves that data folder.
    ///
    /// # Panics
    /// If the configuration cannot be written.
    #[must_use]
    pub fn command(data: &TempDir, config: &str) -> Command {
        let file = data.path().join("config.toml");
        std::fs::write(&file, config).expect("a configuration");
        let mut command = ohmtrail();
        command
            .arg("serve")
            .arg("--config")
            .arg(&file)
            .arg("--data")
            .arg(data.path())
            .env_remove("NOTIFY_SOCKET")
            .stdin(Stdio::null());
        command
    }

    /// Runs a command that serves, until it says where.
    ///
    /// # Panics
    /// If it does not.
    #[must_use]
    pub fn run(data: TempDir, mut command: Command) -> Self {
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the daemon starts");
        let mut out = BufReader::new(child.stdout.take().expect("piped"));
        let mut line = String::new();
        out.read_line(&mut line).expect("a line");
        if line.is_empty() {
            let mut why = String::new();
            let mut err = child.stderr.take().expect("piped");
            err.read_to_string(&mut why).expect("its reason");
            panic!("the daemon does not serve: {why}");
        }
        let said: Value = serde_json::from_str(&line).expect("a JSON line");
        let serving = said["serving"][0].as_str().expect("an address");
        let mut address: SocketAddr = serving
            .strip_prefix("http://")
            .expect("an origin")
            .parse()
            .expect("an address");
        if address.ip().is_unspecified() {
            address.set_ip([127, 0, 0, 1].into());
        }
        Daemon {
            data,
            address,
            child,
            out,
        }
    }

    /// Its process.
    #[must_use]
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// What it writes to standard error; once.
    ///
    /// # Panics
    /// If it was asked for before.
    pub fn log(&mut self) -> ChildStderr {
        self.child.stderr.take().expect("asked for once")
    }

    /// Kills it, and gives back its data folder.
    ///
    /// # Panics
    /// If it cannot be killed.
    #[must_use]
    pub fn kill(mut self) -> TempDir {
        self.end();
        std::mem::replace(&mut self.data, tempfile::tempdir().expect("a folder"))
    }

    /// Asks it to stop, waits until it did, and gives what it wrote: output and log.
    ///
    /// # Panics
    /// If it does not stop, or not well.
    pub fn stop(&mut self) -> (String, String) {
        let id = self.child.id().to_string();
        let asked = Command::new("kill").args(["-TERM", &id]).status();
        assert!(asked.expect("kill is there").success());
        let (mut out, mut err) = (String::new(), String::new());
        if let Some(mut log) = self.child.stderr.take() {
            log.read_to_string(&mut err).expect("its log");
        }
        self.out.read_to_string(&mut out).expect("its output");
        assert!(self.child.wait().expect("it ends").success(), "{err}");
        (out, err)
    }

    /// Sends a request and gives the answer.
    ///
    /// # Panics
    /// If there is none.
    #[must_use]
    pub fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        let mut stream = self.connect();
        let request = self.request(method, path, headers, body);
        stream.write_all(request.as_bytes()).expect("sent");
        Answer::read(stream)
    }

    /// Gets a path.
    ///
    /// # Panics
    /// If there is no answer.
    #[must_use]
    pub fn get(&self, path: &str, headers: &[(&str, &str)]) -> Answer {
        self.ask("GET", path, headers, "")
    }

    /// A connection.
    ///
    /// # Panics
    /// If there is none.
    #[must_use]
    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(self.address).expect("connected");
        stream.set_read_timeout(Some(PATIENCE)).expect("set");
        stream.set_write_timeout(Some(PATIENCE)).expect("set");
        stream
    }

    /// The bytes of a request, after which the connection is closed; its `Host` is ours unless the
    /// headers have one.
    #[must_use]
    pub fn request(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &str,
    ) -> String {
        let mut text = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        if !headers.iter().any(|(name, _)| *name == "Host") {
            text.push_str(&format!("Host: {}\r\n", self.address));
        }
        for (name, value) in headers {
            text.push_str(&format!("{name}: {value}\r\n"));
        }
        if !body.is_empty() {
            text.push_str(&format!("Content-Length: {}\r\n", body.len()));
        }
        text + "\r\n" + body
    }

    fn end(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        self.end();
    }
}

/// An answer.
#[derive(Debug)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// The headers, names in small letters.
    pub headers: Vec<(String, String)>,
    /// The body.
    pub body: String,
}

impl Answer {
    /// Reads one, to the end of the connection.
    ///
    /// # Panics
    /// If it is none.
    #[must_use]
    pub fn read(mut stream: TcpStream) -> Self {
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).expect("an answer");
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
        let mut lines = head.lines();
        let status = lines
            .next()
            .and_then(|line| line.split(' ').nth(1)?.parse().ok());
        let headers = lines
            .filter_map(|line| line.split_once(": "))
            .map(|(name, value)| (name.to_lowercase(), value.to_owned()));
        Answer {
            status: status.unwrap_or_else(|| panic!("no answer: {text}")),
            headers: headers.collect(),
            body: body.to_owned(),
        }
    }

    /// A header.
    ///
    /// # Panics
    /// If it is not there.
    #[must_use]
    pub fn header(&self, name: &str) -> &str {
        let found = self.headers.iter().find(|(n, _)| n == name);
        &found.unwrap_or_else(|| panic!("no {name} in {self:?}")).1
    }

    /// The body as JSON.
    ///
    /// # Panics
    /// If it is none.
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e} in {self:?}"))
    }
}
