//! Which site a request is for and comes from: `Host`, `Origin` and `Sec-Fetch-Site`.
//!
//! * A name that an attacker's name server points at this machine (DNS rebinding) is not one of
//!   ours: only addresses, `localhost` and the origins of the configuration are.
//! * A page of another site, another port of this machine included, may not ask: its requests
//!   carry its `Origin`, or `Sec-Fetch-Site` says where they come from (W3C Fetch Metadata
//!   Request Headers, section 2). Only following a link to here is open to it.

use std::fmt;
use std::net::IpAddr;
use std::str::FromStr;

use axum::http::header::{HOST, ORIGIN};
use axum::http::{HeaderMap, Method};

/// A web origin: scheme, name and port (RFC 6454, section 4).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    tls: bool,
    host: String,
    port: u16,
}

impl FromStr for Origin {
    type Err = String;

    /// `http://name`, `https://name:port`.
    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is no origin: write it as `http://name:port`");
        let (tls, rest) = match text.split_once("://") {
            Some(("http", rest)) => (false, rest),
            Some(("https", rest)) => (true, rest),
            _ => return Err(wrong()),
        };
        let (host, port) = authority(rest).ok_or_else(wrong)?;
        let port = port.unwrap_or(if tls { 443 } else { 80 });
        Ok(Origin { tls, host, port })
    }
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let scheme = if self.tls { "https" } else { "http" };
        write!(f, "{scheme}://{}:{}", self.host, self.port)
    }
}

/// A host, in small letters, and a port if one is named; none if it is neither a name nor an
/// address.
fn authority(text: &str) -> Option<(String, Option<u16>)> {
    let (host, port) = match text.strip_prefix('[') {
        Some(rest) => {
            let (address, rest) = rest.split_once(']')?;
            address.parse::<std::net::Ipv6Addr>().ok()?;
            let port = if rest.is_empty() {
                None
            } else {
                Some(rest.strip_prefix(':')?)
            };
            (format!("[{address}]"), port)
        }
        None => match text.split_once(':') {
            Some((host, port)) => (host.to_owned(), Some(port)),
            None => (text.to_owned(), None),
        },
    };
    let letters = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '.' | '_');
    let is_name = !host.is_empty() && host.len() <= 253 && host.chars().all(letters);
    if !is_name && !host.starts_with('[') {
        return None;
    }
    let port = match port {
        None => None,
        Some(port) if port.bytes().all(|b| b.is_ascii_digit()) => Some(port.parse().ok()?),
        Some(_) => return None,
    };
    Some((host.to_ascii_lowercase(), port))
}

/// Why a request is not for us, or not from where it may come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotOurs {
    /// No `Host`, or more than one.
    #[error("the request does not say which host it is for")]
    NoHost,
    /// A `Host` that is not this daemon's.
    #[error("that host name is not this daemon's")]
    Host,
    /// A page of another site asks.
    #[error("a page of another site may not ask this daemon")]
    CrossSite,
}

impl NotOurs {
    /// What to do about it.
    #[must_use]
    pub const fn remedy(self) -> &'static str {
        match self {
            NotOurs::NoHost => "send one `Host` header",
            NotOurs::Host => {
                "use its address, or add the name to `listen.origins` in its configuration"
            }
            NotOurs::CrossSite => "ask from the daemon's own page, or from a program that is none",
        }
    }
}

/// Which sites are ours.
#[derive(Debug, Clone)]
pub struct Sites {
    /// Further origins, of the configuration.
    pub origins: Vec<Origin>,
    /// Whether only this machine is served: addresses of the network are then no name for it.
    pub loopback: bool,
}

impl Sites {
    /// Checks where a request is for and where it comes from. `port` is the one it came in at.
    ///
    /// # Errors
    /// [`NotOurs`] says why it is refused.
    pub fn check(&self, method: &Method, headers: &HeaderMap, port: u16) -> Result<(), NotOurs> {
        let mut hosts = headers.get_all(HOST).iter();
        let host = hosts.next().ok_or(NotOurs::NoHost)?;
        if hosts.next().is_some() {
            return Err(NotOurs::NoHost);
        }
        let host = host.to_str().ok().and_then(authority);
        let (host, named) = host.ok_or(NotOurs::Host)?;
        let ours = self.ours(&host, named, port).ok_or(NotOurs::Host)?;

        let mut origins = headers.get_all(ORIGIN).iter();
        if let Some(origin) = origins.next() {
            let origin = origin.to_str().ok().and_then(|o| o.parse().ok());
            if origin.is_none_or(|origin| !ours.contains(&origin)) || origins.next().is_some() {
                return Err(NotOurs::CrossSite);
            }
        }
        if comes_from_elsewhere(headers) && !is_followed_link(method, headers) {
            return Err(NotOurs::CrossSite);
        }
        Ok(())
    }

    /// The origins of pages that were served under that host; none if it is not ours.
    fn ours(&self, host: &str, named: Option<u16>, port: u16) -> Option<Vec<Origin>> {
        let configured = self
            .origins
            .iter()
            .filter(|o| o.host == host && named.unwrap_or(if o.tls { 443 } else { 80 }) == o.port);
        let mut ours: Vec<Origin> = configured.cloned().collect();
        if named.unwrap_or(80) == port && self.is_address(host) {
            ours.push(Origin {
                tls: false,
                host: host.to_owned(),
                port,
            });
        }
        (!ours.is_empty()).then_some(ours)
    }

    /// Whether that host is an address, which no name server can turn, or `localhost`.
    fn is_address(&self, host: &str) -> bool {
        let address = host.trim_start_matches('[').trim_end_matches(']');
        match address.parse::<IpAddr>() {
            Ok(address) => !self.loopback || address.is_loopback(),
            Err(_) => host == "localhost",
        }
    }
}

/// What a browser says of a request's beginnings; nothing if no browser sends it.
fn fetch<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h [u8]> {
    headers.get(name).map(|value| value.as_bytes())
}

fn comes_from_elsewhere(headers: &HeaderMap) -> bool {
    !matches!(
        fetch(headers, "sec-fetch-site"),
        None | Some(b"same-origin" | b"none")
    )
}

/// A link that was followed to here in a tab: not a frame, not a form that is sent.
fn is_followed_link(method: &Method, headers: &HeaderMap) -> bool {
    matches!(*method, Method::GET | Method::HEAD)
        && fetch(headers, "sec-fetch-mode") == Some(b"navigate")
        && fetch(headers, "sec-fetch-dest") == Some(b"document")
}

#[cfg(test)]
mod tests {
    use super::*;

    const PORT: u16 = 8740;

    fn check(sites: &Sites, method: Method, headers: &[(&str, &str)]) -> Result<(), NotOurs> {
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            let name: axum::http::HeaderName = name.parse().expect("a name");
            map.append(name, value.parse().expect("a value"));
        }
        sites.check(&method, &map, PORT)
    }

    fn sites(loopback: bool, origins: &[&str]) -> Sites {
        Sites {
            origins: origins
                .iter()
                .map(|o| o.parse().expect("an origin"))
                .collect(),
            loopback,
        }
    }

    #[test]
    fn only_names_that_nobody_else_can_point_here_are_ours() {
        let local = sites(true, &[]);
        for host in [
            "127.0.0.1:8740",
            "localhost:8740",
            "LOCALHOST:8740",
            "[::1]:8740",
            "127.1.2.3:8740",
        ] {
            assert_eq!(
                check(&local, Method::GET, &[("host", host)]),
                Ok(()),
                "{host}"
            );
        }
        for host in [
            "attacker.example:8740",
            "127.0.0.1",
            "127.0.0.1:80",
            "192.0.2.7:8740",
            "localhost.attacker.example:8740",
            "127.0.0.1.attacker.example:8740",
            "localhost:8740:1",
            "user@localhost:8740",
            "",
            ":8740",
            "[::1",
            "[::1]8740",
            "localhost:+8740",
            "localhost:99999",
        ] {
            assert_eq!(
                check(&local, Method::GET, &[("host", host)]),
                Err(NotOurs::Host),
                "{host}"
            );
        }
        assert_eq!(check(&local, Method::GET, &[]), Err(NotOurs::NoHost));
        let two = [("host", "localhost:8740"), ("host", "attacker.example")];
        assert_eq!(check(&local, Method::GET, &two), Err(NotOurs::NoHost));

        let open = sites(
            false,
            &["http://truck.example:8740", "https://truck.example"],
        );
        for host in [
            "192.0.2.7:8740",
            "[2001:db8::7]:8740",
            "truck.example:8740",
            "truck.example",
        ] {
            assert_eq!(
                check(&open, Method::GET, &[("host", host)]),
                Ok(()),
                "{host}"
            );
        }
        for host in ["truck.example:81", "other.example:8740"] {
            assert_eq!(
                check(&open, Method::GET, &[("host", host)]),
                Err(NotOurs::Host),
                "{host}"
            );
        }
    }

    #[test]
    fn pages_of_other_origins_may_not_ask() {
        let open = sites(false, &["https://truck.example"]);
        let from = |host, origin| check(&open, Method::POST, &[("host", host), ("origin", origin)]);
        assert_eq!(from("192.0.2.7:8740", "http://192.0.2.7:8740"), Ok(()));
        assert_eq!(from("truck.example", "https://truck.example"), Ok(()));
        for origin in [
            "http://attacker.example",
            "null",
            "https://192.0.2.7:8740",
            "http://192.0.2.7",
            "http://192.0.2.7:3000",
            "https://truck.example",
            "http://192.0.2.7:8740.attacker.example",
            "",
        ] {
            assert_eq!(
                from("192.0.2.7:8740", origin),
                Err(NotOurs::CrossSite),
                "{origin}"
            );
        }
        assert_eq!(
            from("truck.example", "http://truck.example"),
            Err(NotOurs::CrossSite)
        );
        let two = [
            ("host", "192.0.2.7:8740"),
            ("origin", "http://192.0.2.7:8740"),
            ("origin", "http://attacker.example"),
        ];
        assert_eq!(check(&open, Method::POST, &two), Err(NotOurs::CrossSite));
    }

    #[test]
    fn a_link_may_be_followed_and_nothing_else_from_elsewhere() {
        let local = sites(true, &[]);
        let ask = |method, site, mode, dest| {
            let headers = [
                ("host", "localhost:8740"),
                ("sec-fetch-site", site),
                ("sec-fetch-mode", mode),
                ("sec-fetch-dest", dest),
            ];
            check(&local, method, &headers)
        };
        assert_eq!(ask(Method::GET, "same-origin", "cors", "empty"), Ok(()));
        assert_eq!(ask(Method::POST, "none", "navigate", "document"), Ok(()));
        for site in ["cross-site", "same-site", "anything"] {
            assert_eq!(ask(Method::GET, site, "navigate", "document"), Ok(()));
            for (method, mode, dest) in [
                (Method::POST, "navigate", "document"),
                (Method::GET, "navigate", "iframe"),
                (Method::GET, "no-cors", "image"),
                (Method::GET, "cors", "empty"),
            ] {
                assert_eq!(ask(method, site, mode, dest), Err(NotOurs::CrossSite));
            }
        }
    }
}
