//! Where a database is: its URL, without its password in anything that is said, and whether the way
//! there needs TLS.

use std::fmt;
use std::path::Path;
use std::str::FromStr;
use std::sync::mpsc::sync_channel;
use std::thread;
use std::time::Duration;

use ::postgres::config::{Host, SslMode};
use ::postgres::{Client, Config, NoTls};
use rustls::pki_types::CertificateDer;
use tokio_postgres_rustls::MakeRustlsConnect;

use super::said;
use crate::error::Error;
use crate::tls::{is_here, read_authorities, verified};

/// How long a line to a server may take to come about.
const CONNECT: Duration = Duration::from_secs(10);
/// How long a line may be silent while the other end is to acknowledge what was sent, and how long the server
/// may take until it is ready for the first question.
const SILENCE: Duration = Duration::from_secs(30);

const NO_URL: &str = "not the URL of a PostgreSQL database; one is postgres://USER@HOST:PORT/NAME, with %XX for what \
                      has a meaning in URLs";

/// A PostgreSQL database, and how it is reached.
#[derive(Clone)]
pub struct Database {
    config: Config,
    name: String,
    /// How long a connection may take to come about, with all that is said over it before the first question.
    patience: Duration,
    authorities: Option<Vec<CertificateDer<'static>>>,
}

impl fmt::Debug for Database {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Database").field(&self.name).finish()
    }
}

impl Database {
    /// The database of a URL, `postgres://USER@HOST:PORT/NAME`. A password that is not in it may be given
    /// beside it. `ca` is a file of certificates that the server's must lead up to, in place of those that
    /// browsers trust.
    ///
    /// A database on this machine is reached without TLS unless the URL has `sslmode=require`; every other
    /// one with TLS, and its certificate is verified, unless the URL has `sslmode=disable`.
    ///
    /// # Errors
    /// [`Error::Address`] if this is no such URL, [`Error::Io`] for a file that cannot be read.
    pub fn new(url: &str, password: Option<&str>, ca: Option<&Path>) -> Result<Self, Error> {
        // Nothing of what was written is repeated: a password may be anywhere in it.
        let bad = |why: &str| Error::Address(format!("--database: {why}"));
        let mut whole = ["postgres://", "postgresql://"].into_iter();
        let rest = whole.find_map(|begin| url.strip_prefix(begin));
        let rest = rest.ok_or_else(|| bad(NO_URL))?;
        looks_whole(rest).map_err(bad)?;
        let mut config = Config::from_str(url).map_err(|_| bad(NO_URL))?;
        if let (None, Some(password)) = (config.get_password(), password) {
            config.password(password);
        }
        let name = name(&config);
        let (near, mode) = (is_near(&config), config.get_ssl_mode());
        config.ssl_mode(match mode {
            SslMode::Prefer if near => SslMode::Disable,
            SslMode::Disable => SslMode::Disable,
            _ => SslMode::Require,
        });
        let hosts = u32::try_from(config.get_hosts().len()).unwrap_or(1).max(1);
        let patience = config.get_connect_timeout().map_or(SILENCE, |t| *t * hosts);
        if config.get_connect_timeout().is_none() {
            config.connect_timeout(CONNECT);
        }
        config
            .application_name("ohmtrail")
            .keepalives_idle(SILENCE)
            .keepalives_interval(SILENCE / 3)
            .keepalives_retries(3)
            .tcp_user_timeout(SILENCE);
        Ok(Database {
            config,
            name,
            patience,
            authorities: ca.map(read_authorities).transpose()?,
        })
    }

    /// What it is called, without a password.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether the way there is encrypted and the server verified.
    #[must_use]
    pub fn is_verified(&self) -> bool {
        self.config.get_ssl_mode() != SslMode::Disable
    }

    pub(super) fn connect(&self) -> Result<Client, Error> {
        let tls = match self.is_verified() {
            true => Some(verified(self.authorities.as_deref())?),
            false => None,
        };
        let config = self.config.clone();
        let (done, connected) = sync_channel(1);
        // A server that is reached and says nothing would be waited for without end.
        let waiting = thread::Builder::new().spawn(move || {
            let connected = match tls {
                Some(tls) => config.connect(MakeRustlsConnect::new(tls)),
                None => config.connect(NoTls),
            };
            // Whoever waited may have given up.
            let _ = done.send(connected);
        });
        let waited = waiting
            .ok()
            .and_then(|_| connected.recv_timeout(self.patience).ok());
        let connected = waited.ok_or_else(|| Error::Store {
            name: self.name.clone(),
            why: format!(
                "no connection within {} seconds: it is reached, and does not answer as a database does",
                self.patience.as_secs()
            ),
        })?;
        connected.map_err(|error| {
            let mut why = said(&error);
            if self.is_verified() && error.as_db_error().is_none() {
                why.push_str(if why.contains("certificate") {
                    "; --ca names a file of whoever signed the server's certificate"
                } else if why.contains("TLS") {
                    "; switch TLS on in the server, or add sslmode=disable to the URL on a network that is \
                     nobody else's"
                } else {
                    ""
                });
            }
            Error::Store {
                name: self.name.clone(),
                why,
            }
        })
    }
}

/// What the reader of URLs would misunderstand, or not know the name of.
fn looks_whole(rest: &str) -> Result<(), &'static str> {
    // A password with such a character in it would be taken to end there, and the rest of it for a host.
    let (before, behind) = rest.split_at(rest.find(['/', '?', '#']).unwrap_or(rest.len()));
    if before.matches('@').count() > 1 || behind.contains('@') {
        return Err(
            "an @ too many: in a password, write @ as %40, / as %2F, ? as %3F, # as %23; a password is better \
             set as PGPASSWORD",
        );
    }
    let options = behind.split_once('?').map_or("", |(_, options)| options);
    for (name, value) in options.split('&').filter_map(|o| o.split_once('=')) {
        match (name, value) {
            ("sslmode", "disable" | "prefer" | "require") => {}
            ("sslmode", _) => {
                return Err(
                    "sslmode is disable or require, and require verifies the server's certificate and its name",
                );
            }
            ("sslrootcert", _) => {
                return Err("sslrootcert is not read: name its file with --ca");
            }
            ("sslcert" | "sslkey", _) => {
                return Err("no certificate is shown to a server: take sslcert and sslkey away");
            }
            _ => {}
        }
    }
    Ok(())
}

/// Whether the database is on this machine, by every address that may be used.
fn is_near(config: &Config) -> bool {
    let hosts = config.get_hosts();
    let near = |host: &Host| match host {
        Host::Tcp(host) => is_here(host),
        Host::Unix(_) => true,
    };
    let addresses = config.get_hostaddrs();
    !hosts.is_empty() && hosts.iter().all(near) && addresses.iter().all(|at| at.is_loopback())
}

fn name(config: &Config) -> String {
    let ports = config.get_ports();
    let hosts = config.get_hosts().iter().enumerate().map(|(n, host)| {
        let host = match host {
            Host::Tcp(host) => host.clone(),
            Host::Unix(path) => path.display().to_string(),
        };
        match ports.get(n).or(ports.first()) {
            Some(port) => format!("{host}:{port}"),
            None => host,
        }
    });
    let hosts: Vec<String> = hosts.collect();
    let user = config.get_user().map(|user| format!("{user}@"));
    format!(
        "postgres://{}{}/{}",
        user.unwrap_or_default(),
        hosts.join(","),
        config.get_dbname().unwrap_or_default()
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_on_this_machine_is_verified() {
        for (url, verified) in [
            ("postgres://a@localhost/b", false),
            ("postgres://a@127.0.0.1:5433/b", false),
            ("postgres://a@[::1]/b", false),
            ("postgres://a@%2Frun%2Fpostgresql/b", false),
            ("postgres://a@localhost/b?sslmode=require", true),
            ("postgres://a@shop.example/b", true),
            ("postgres://a@shop.example/b?sslmode=prefer", true),
            ("postgres://a@shop.example/b?sslmode=disable", false),
            // Near by one of its names only.
            ("postgres://a@localhost,shop.example/b", true),
            ("postgres://a@localhost/b?hostaddr=192.0.2.7", true),
            ("postgres://a@localhost/b?hostaddr=127.0.0.1", false),
            // Nowhere at all.
            ("postgres:///b", true),
            ("postgres:///b?hostaddr=127.0.0.1", true),
        ] {
            let database = Database::new(url, None, None).expect(url);
            assert_eq!(database.is_verified(), verified, "{url}");
        }
    }

    #[test]
    fn no_password_is_said() {
        let database = Database::new("postgres://a:s3cret@h:1/b", None, None).expect("a URL");
        assert_eq!(database.name(), "postgres://a@h:1/b");
        assert!(!format!("{database:?}").contains("s3cret"));
        for bad in [
            "postgres://a:s3cret@h:port/b",
            "s3cret",
            "host=h password=s3cret",
            // Each of them would have another host, user or name than its writer meant.
            "postgres://a:x@s3cret@h/b",
            "postgres://a:x@s3cret/y@h/b",
            "postgres://a:x/s3cret@h/b",
            "postgres://a:x?s3cret@h/b",
            "postgres://a:x#s3cret@h/b",
            "postgres://h/b?password=x@s3cret&user=a",
            "postgres://a@h/b?password=x@s3cret",
            "postgres://a:s3cret@h/b?sslmode=verify-full",
        ] {
            let error = Database::new(bad, None, None).expect_err(bad).to_string();
            assert!(!error.contains("cret"), "{error}");
        }
        let database = Database::new("postgres://a%40c:x%40s3cret@h/b", None, None).expect("a URL");
        assert_eq!(database.name(), "postgres://a@c@h:5432/b");
    }

    #[test]
    fn ways_of_tls_are_named() {
        for (option, said) in [
            ("sslmode=verify-full", "require verifies"),
            ("sslmode=verify-ca", "require verifies"),
            ("sslmode=require&sslrootcert=ca.pem", "--ca"),
            ("sslcert=a.pem", "sslcert"),
            ("sslmode", "not the URL"),
        ] {
            let url = format!("postgres://a@h/b?{option}");
            let error = Database::new(&url, None, None).expect_err(option);
            assert!(error.to_string().contains(said), "{error}");
        }
    }
}
