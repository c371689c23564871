//! A private message bus.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

/// What the bus allows: everything, to whoever can reach its socket.
const POLICY: &str = r#"<allow user="*"/>
    <allow own="*"/>
    <allow send_destination="*" eavesdrop="true"/>
    <allow receive_type="signal"/>
    <allow eavesdrop="true"/>"#;
/// And then keeps strangers from the Bluetooth service, as a system's policy may: the last rule
/// that fits counts.
const STRANGERS: &str = r#"<deny send_destination="org.bluez"/>"#;

/// The file of the bus's settings.
const SETTINGS: &str = "bus.conf";

/// A `dbus-daemon` of type *system*, in a folder of its own. Dropping it ends it.
#[derive(Debug)]
pub struct Bus {
    daemon: Child,
    folder: TempDir,
}

impl Bus {
    /// Starts one.
    ///
    /// # Panics
    /// If `dbus-daemon` is not installed or does not start.
    #[must_use]
    pub fn start() -> Bus {
        Bus::with("")
    }

    /// One whose policy lets nobody talk to the Bluetooth service.
    ///
    /// # Panics
    /// As [`Bus::start`].
    #[must_use]
    pub fn forbidding() -> Bus {
        Bus::with(STRANGERS)
    }

    fn with(also: &str) -> Bus {
        let folder = tempfile::tempdir().expect("a folder for the bus");
        let text = format!(
            "<busconfig>\n  <type>system</type>\n  <listen>unix:path={}</listen>\n  \
             <auth>EXTERNAL</auth>\n  <policy context=\"default\">\n    {POLICY}\n    {also}\n  \
             </policy>\n</busconfig>\n",
            folder.path().join("bus").display()
        );
        std::fs::write(folder.path().join(SETTINGS), text).expect("the settings are written");
        Bus {
            daemon: Bus::spawn(&folder),
            folder,
        }
    }

    fn spawn(folder: &TempDir) -> Child {
        let file = folder.path().join(SETTINGS);
        // A bus that was killed leaves its socket.
        let _ = std::fs::remove_file(folder.path().join("bus"));
        let mut daemon = Command::new("dbus-daemon")
            .arg(format!("--config-file={}", file.display()))
            .args(["--nofork", "--nopidfile", "--nosyslog", "--print-address"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .expect("dbus-daemon starts: it is in Debian's package dbus");
        let mut address = String::new();
        let out = daemon.stdout.take().expect("a pipe");
        BufReader::new(out)
            .read_line(&mut address)
            .expect("the bus says its address");
        assert!(!address.is_empty(), "the bus did not start");
        daemon
    }

    /// What `DBUS_SYSTEM_BUS_ADDRESS` is to be for a program that is to use it.
    #[must_use]
    pub fn address(&self) -> String {
        format!("unix:path={}", self.folder.path().join("bus").display())
    }

    /// Ends the bus: every connection to it breaks.
    ///
    /// # Panics
    /// If it cannot be ended.
    pub fn die(&mut self) {
        self.daemon.kill().expect("the bus is ended");
        self.daemon.wait().expect("the bus ends");
    }

    /// Starts it again at the same address, after [`Bus::die`].
    ///
    /// # Panics
    /// As [`Bus::start`].
    pub fn revive(&mut self) {
        self.daemon = Bus::spawn(&self.folder);
    }

    /// Suspends the bus: connections stay, and nothing moves on them.
    ///
    /// # Panics
    /// If it cannot be suspended.
    pub fn freeze(&self) {
        self.signal("-STOP");
    }

    /// Goes on after [`Bus::freeze`].
    ///
    /// # Panics
    /// If it cannot be continued.
    pub fn thaw(&self) {
        self.signal("-CONT");
    }

    fn signal(&self, which: &str) {
        let done = Command::new("kill")
            .args([which, &self.daemon.id().to_string()])
            .status()
            .expect("kill runs");
        assert!(done.success(), "the bus takes a signal");
    }
}

impl Drop for Bus {
    fn drop(&mut self) {
        // It may be frozen, or dead already.
        let _ = self.daemon.kill();
        let _ = self.daemon.wait();
    }
}
