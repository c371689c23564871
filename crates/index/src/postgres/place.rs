//! Where a database is: its URL, without its password in anything that is said, and whether the way
//! there needs TLS.

use std::fmt;
use std::path::Path;
use std::str::FromStr;
use std::time::Duration;

use ::postgres::config::{Host, SslMode};
use ::postgres::{Client, Config, NoTls};
use rustls::pki_types::CertificateDer;
use tokio_postgres_rustls::MakeRustlsConnect;

use super::said;
use crate::error::Error;
use crate::tls::{is_here, read_authorities, verified};

/// How long a connection may take to come about.
const CONNECT: Duration = Duration::from_secs(10);
/// How long a line may be silent while an answer to what was sent is due.
const SILENCE: Duration = Duration::from_secs(30);

/// A PostgreSQL database, and how it is reached.
#[derive(Clone)]
pub struct Database {
    config: Config,
    name: String,
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
        let whole = ["postgres://", "postgresql://"];
        let config = Config::from_str(url).ok();
        // Nothing of what was written is repeated: a password may be anywhere in it.
        let mut config = config
            .filter(|_| whole.iter().any(|begin| url.starts_with(begin)))
            .ok_or_else(|| {
                Error::Address(
                    "--database: not the URL of a PostgreSQL database; one is \
                     postgres://USER@HOST:PORT/NAME, with %XX for what has a meaning in URLs"
                        .to_owned(),
                )
            })?;
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
        let connected = if self.is_verified() {
            let tls = MakeRustlsConnect::new(verified(self.authorities.as_deref())?);
            self.config.connect(tls)
        } else {
            self.config.connect(NoTls)
        };
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
        ] {
            let error = Database::new(bad, None, None).expect_err(bad).to_string();
            assert!(!error.contains("cret"), "{error}");
        }
    }
}
