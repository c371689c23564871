//! A PostgreSQL server on this machine: Debian's, in a folder of its own.

use std::fs::{self, Permissions};
use std::net::{SocketAddr, TcpListener};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex, Weak};
use std::thread;
use std::time::{Duration, Instant};

/// The user of the server, and the password.
pub const USER: &str = "shop";
/// See [`USER`].
pub const PASSWORD: &str = "invented-password-of-the-shop";

/// A server. It ends when the last one who uses it drops it.
pub struct Server {
    folder: tempfile::TempDir,
    port: u16,
    child: Child,
    databases: AtomicU32,
}

#[allow(
    clippy::missing_panics_doc,
    reason = "each fails its test, as a server that does not start must"
)]
impl Server {
    /// The server that the running tests share; none if PostgreSQL is not installed.
    #[must_use]
    pub fn find() -> Option<Arc<Server>> {
        static SHARED: Mutex<Weak<Server>> = Mutex::new(Weak::new());
        let bin = bin()?;
        let mut shared = SHARED.lock().unwrap_or_else(|broken| broken.into_inner());
        if let Some(server) = shared.upgrade() {
            return Some(server);
        }
        let server = Arc::new(Server::start(&bin));
        *shared = Arc::downgrade(&server);
        Some(server)
    }

    /// The same, and a test that needs it fails without.
    #[must_use]
    pub fn shared() -> Arc<Server> {
        Server::find().expect("PostgreSQL under /usr/lib/postgresql: run `cargo xtask test`")
    }

    fn start(bin: &Path) -> Server {
        let folder = tempfile::tempdir().expect("a folder");
        let root = folder.path();
        let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]);
        let made = made.expect("a certificate");
        for (name, text) in [
            ("server.crt", made.cert.pem()),
            ("server.key", made.signing_key.serialize_pem()),
            ("password", PASSWORD.to_owned()),
        ] {
            let path = root.join(name);
            fs::write(&path, text).expect("written");
            fs::set_permissions(&path, Permissions::from_mode(0o600)).expect("its own");
        }
        if is_root() {
            // The server refuses to run as root.
            let mut give = Command::new("chown");
            let given = give.args(["-R", "postgres:postgres"]).arg(root).status();
            assert!(
                given.is_ok_and(|s| s.success()),
                "given to the server's user"
            );
        }
        let data = root.join("data");
        let init = as_server(&bin.join("initdb"))
            .arg("-D")
            .arg(&data)
            .args(["-U", USER, "-A", "scram-sha-256", "-E", "UTF8", "--no-sync"])
            // Another order than that of bytes, so that it shows where one matters.
            .args([
                "--locale-provider=icu",
                "--icu-locale=en",
                "--locale=C.UTF-8",
            ])
            .arg("--pwfile")
            .arg(root.join("password"))
            .current_dir("/")
            .output()
            .expect("initdb starts");
        assert!(init.status.success(), "{init:?}");
        let port = TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr());
        let port = port.expect("a port").port();
        let log = fs::File::create(root.join("log")).expect("a log");
        let child = as_server(&bin.join("postgres"))
            .arg("-D")
            .arg(&data)
            .args([
                "-h",
                "127.0.0.1",
                "-p",
                &port.to_string(),
                "-c",
                "fsync=off",
            ])
            .args(["-c", "ssl=on", "-c", "max_connections=30"])
            .arg("-c")
            .arg(format!("unix_socket_directories={}", root.display()))
            .arg("-c")
            .arg(format!(
                "ssl_cert_file={}",
                root.join("server.crt").display()
            ))
            .arg("-c")
            .arg(format!(
                "ssl_key_file={}",
                root.join("server.key").display()
            ))
            .current_dir("/")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .expect("the server starts");
        let server = Server {
            folder,
            port,
            child,
            databases: AtomicU32::new(0),
        };
        let until = Instant::now() + Duration::from_secs(60);
        while server.try_psql("postgres", "SELECT 1").is_none() {
            let log = fs::read_to_string(server.folder.path().join("log"));
            assert!(Instant::now() < until, "the server is not ready: {log:?}");
            thread::sleep(Duration::from_millis(100));
        }
        server
    }

    /// Where it answers.
    #[must_use]
    pub fn at(&self) -> SocketAddr {
        SocketAddr::from(([127, 0, 0, 1], self.port))
    }

    /// The certificate that it shows.
    #[must_use]
    pub fn certificate(&self) -> PathBuf {
        self.folder.path().join("server.crt")
    }

    /// A new database, and its name.
    #[must_use]
    pub fn database(&self) -> String {
        let n = self.databases.fetch_add(1, Ordering::SeqCst);
        let name = format!("shop_{n}");
        self.psql("postgres", &format!("CREATE DATABASE {name}"));
        name
    }

    /// The URL of a database, over a line that leads to the server.
    #[must_use]
    pub fn url_over(&self, line: SocketAddr, database: &str) -> String {
        format!("postgres://{USER}@{line}/{database}")
    }

    /// The URL of a database.
    #[must_use]
    pub fn url(&self, database: &str) -> String {
        self.url_over(self.at(), database)
    }

    /// What PostgreSQL's own client says to this.
    #[must_use = "it may be nothing"]
    pub fn ask(&self, database: &str, sql: &str) -> String {
        self.try_psql(database, sql)
            .unwrap_or_else(|| panic!("psql: {sql}"))
    }

    /// Has PostgreSQL's own client do this.
    pub fn psql(&self, database: &str, sql: &str) {
        drop(self.ask(database, sql));
    }

    fn try_psql(&self, database: &str, sql: &str) -> Option<String> {
        let done = Command::new("psql")
            .args(["-X", "-q", "-A", "-t", "-h", "127.0.0.1", "-U", USER])
            .args(["-p", &self.port.to_string(), "-d", database, "-c", sql])
            .args(["-v", "ON_ERROR_STOP=1"])
            .env("PGPASSWORD", PASSWORD)
            .env("PGSSLMODE", "disable")
            .stdin(Stdio::null())
            .output()
            .expect("psql starts");
        let said = String::from_utf8_lossy(&done.stdout).trim().to_owned();
        done.status.success().then_some(said)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let id = self.child.id().to_string();
        let _ = Command::new("kill").args(["-QUIT", &id]).status();
        let _ = self.child.wait();
    }
}

/// The newest PostgreSQL that is installed.
fn bin() -> Option<PathBuf> {
    let versions = fs::read_dir("/usr/lib/postgresql").ok()?.flatten();
    let bins = versions.map(|version| version.path().join("bin"));
    let mut bins: Vec<PathBuf> = bins.filter(|bin| bin.join("initdb").is_file()).collect();
    bins.sort();
    bins.pop()
}

fn is_root() -> bool {
    fs::metadata("/proc/self").is_ok_and(|about| about.uid() == 0)
}

/// A program of the server, by the user that Debian made for it if this one is root.
fn as_server(program: &Path) -> Command {
    if !is_root() {
        return Command::new(program);
    }
    let mut command = Command::new("setpriv");
    command
        .args(["--reuid=postgres", "--regid=postgres", "--clear-groups"])
        .arg(program);
    command
}
