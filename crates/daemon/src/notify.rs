//! Tells a service manager how the daemon stands, by datagrams to the socket that `NOTIFY_SOCKET`
//! names (sd_notify(3)). Without that variable nothing is sent.

use std::env;
use std::ffi::OsString;
use std::io;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::time::Duration;

/// The way to the service manager, if there is one.
#[derive(Debug, Clone)]
pub struct Notify {
    socket: Option<SocketAddr>,
    /// How often it wants to hear that the daemon lives, if at all.
    pub watchdog: Option<Duration>,
}

impl Notify {
    /// As this process's environment says.
    #[must_use]
    pub fn of_this_process() -> Self {
        Notify::of(|name| env::var_os(name), std::process::id())
    }

    /// As these variables say to the process of that number.
    fn of(variable: impl Fn(&str) -> Option<OsString>, process: u32) -> Self {
        let number = |name| variable(name)?.to_str()?.parse::<u64>().ok();
        // The watchdog may be meant for another process of the service.
        let is_ours = number("WATCHDOG_PID").is_none_or(|id| id == u64::from(process));
        let watchdog = number("WATCHDOG_USEC").filter(|us| is_ours && *us > 0);
        Notify {
            socket: variable("NOTIFY_SOCKET").and_then(|name| address(&name)),
            watchdog: watchdog.map(Duration::from_micros),
        }
    }

    /// Requests are answered from now on.
    pub fn ready(&self) {
        self.tell("READY=1");
    }

    /// It still works.
    pub fn alive(&self) {
        self.tell("WATCHDOG=1");
    }

    /// It was told to stop, and does.
    pub fn stopping(&self) {
        self.tell("STOPPING=1");
    }

    fn tell(&self, what: &str) {
        let Some(socket) = &self.socket else {
            return;
        };
        let send = || -> io::Result<usize> {
            let from = UnixDatagram::unbound()?;
            // A manager that reads nothing must not stop what it watches.
            from.set_nonblocking(true)?;
            from.send_to_addr(what.as_bytes(), socket)
        };
        if let Err(e) = send() {
            tracing::warn!("the service manager is not told {what}: {e}");
        }
    }
}

/// A path, or after `@` a name of the abstract namespace.
fn address(name: &OsString) -> Option<SocketAddr> {
    match name.as_bytes() {
        [b'@', name @ ..] => SocketAddr::from_abstract_name(name).ok(),
        [b'/', ..] => SocketAddr::from_pathname(name).ok(),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(socket: &UnixDatagram) -> String {
        let mut buffer = [0; 64];
        let count = socket.recv(&mut buffer).expect("a datagram");
        String::from_utf8_lossy(&buffer[..count]).into_owned()
    }

    fn tells(socket: &UnixDatagram, name: OsString) {
        let notify = Notify::of(|v| (v == "NOTIFY_SOCKET").then(|| name.clone()), 1);
        notify.ready();
        notify.alive();
        notify.stopping();
        for wanted in ["READY=1", "WATCHDOG=1", "STOPPING=1"] {
            assert_eq!(heard(socket), wanted);
        }
    }

    #[test]
    fn it_is_heard_at_a_path_and_at_an_abstract_name() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("notify");
        tells(&UnixDatagram::bind(&path).expect("bound"), path.into());
        let name = format!("ohmtrail-notify-{}", std::process::id());
        let address = SocketAddr::from_abstract_name(&name).expect("a name");
        let socket = UnixDatagram::bind_addr(&address).expect("bound");
        tells(&socket, format!("@{name}").into());
    }

    #[test]
    fn nobody_to_tell_is_no_trouble() {
        for name in [None, Some("relative"), Some("/nowhere/at/all")] {
            let notify = Notify::of(|v| name.filter(|_| v == "NOTIFY_SOCKET").map(Into::into), 1);
            notify.ready();
        }
    }

    #[test]
    fn the_watchdog_is_this_process_s_own() {
        let watchdog = |pid: &'static str, us: &'static str| {
            let of = move |v: &str| match v {
                "WATCHDOG_PID" => Some(pid.into()),
                "WATCHDOG_USEC" => Some(us.into()),
                _ => None,
            };
            Notify::of(of, 7).watchdog
        };
        assert_eq!(watchdog("7", "2000000"), Some(Duration::from_secs(2)));
        assert_eq!(watchdog("8", "2000000"), None);
        assert_eq!(watchdog("7", "0"), None);
        assert_eq!(watchdog("7", "soon"), None);
    }
}
