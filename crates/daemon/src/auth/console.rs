//! What the console shows for pairing: the code, and the same as a QR code to be pointed a phone at.

use std::fmt::Write as _;
use std::net::{IpAddr, SocketAddr, UdpSocket};

use qrcode::render::unicode::Dense1x2;
use qrcode::{EcLevel, QrCode};

use super::pair::Paths;
use super::token::Code;
use crate::config::Listen;

/// The address of the form with the code filled in.
#[must_use]
pub fn link(base: &str, code: &Code) -> String {
    format!("{base}{}?code={}", Paths::PAIR, code.reveal())
}

/// Under which origins a phone reaches the daemon, the likeliest first; `bound` are the addresses
/// that it listens at.
#[must_use]
pub fn bases(listen: &Listen, bound: &[SocketAddr]) -> Vec<String> {
    let named = listen.origins.iter().map(ToString::to_string);
    let addresses = bound.iter().map(|address| {
        let ip = if address.ip().is_unspecified() {
            own_address(address.ip()).unwrap_or(address.ip())
        } else {
            address.ip()
        };
        format!("http://{}", SocketAddr::new(ip, address.port()))
    });
    named.chain(addresses).collect()
}

/// The address that this machine would use towards its network. Nothing is sent for it: a datagram
/// socket that is connected has looked up its route, no more (the addresses are of RFC 5737 and
/// RFC 3849, for documentation).
fn own_address(of: IpAddr) -> Option<IpAddr> {
    let (here, there) = if of.is_ipv4() {
        ("0.0.0.0:0", "192.0.2.1:9")
    } else {
        ("[::]:0", "[2001:db8::1]:9")
    };
    let socket = UdpSocket::bind(here).ok()?;
    socket.connect(there).ok()?;
    let own = socket.local_addr().ok()?.ip();
    (!own.is_unspecified()).then_some(own)
}

/// The code in words and as a QR code, for a terminal. Dark on light whatever the terminal's
/// colours: the light parts are drawn.
#[must_use]
pub fn show(bases: &[String], code: &Code, lasts_seconds: u64) -> String {
    let mut out = format!(
        "Pairing code: {}   (once, within {lasts_seconds} s)\n",
        code.reveal()
    );
    for base in bases {
        // Writing to a string does not fail.
        let _ = writeln!(out, "Enter it at {base}{}", Paths::PAIR);
    }
    if let Some(base) = bases.first()
        && let Ok(qr) = QrCode::with_error_correction_level(link(base, code), EcLevel::M)
    {
        let picture = qr
            .render::<Dense1x2>()
            .dark_color(Dense1x2::Light)
            .light_color(Dense1x2::Dark)
            .build();
        let _ = writeln!(out, "{picture}");
    }
    out
}
