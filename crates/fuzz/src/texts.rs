//! Texts of others: sheets, profiles, configurations. What is wrong is named with a line of the
//! text; what is read holds together.

use std::path::Path;

use axum::http::{HeaderMap, HeaderValue, Method};
use ohmtrail_circuit::sheet::read_text;
use ohmtrail_core::accuracy::AccuracyTable;
use ohmtrail_core::reading::Function;
use ohmtrail_daemon::auth::site::{Origin, Sites};
use ohmtrail_daemon::auth::token::{Code, Token};
use ohmtrail_daemon::config::{ConfigError, Flags, Loaded, Places, to_toml};
use ohmtrail_meters::profile::Profile;
use ohmtrail_meters::spec::Spec;

fn lines(text: &str) -> usize {
    text.bytes().filter(|b| *b == b'\n').count() + 1
}

/// A sheet.
pub fn sheet(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    match read_text("fuzzed", text) {
        Ok(sheet) => assert!(!sheet.parts.is_empty(), "a sheet without parts is none"),
        Err(e) => {
            assert!(!e.problems.is_empty(), "refused without a reason");
            for problem in e.problems.iter().filter(|p| p.file == "fuzzed") {
                let within = 1..=lines(text);
                assert!(
                    within.contains(&problem.line),
                    "{problem} of {}",
                    lines(text)
                );
            }
        }
    }
}

/// A meter's profile, and then a meter as it is named.
pub fn profile(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    match Profile::parse("fuzzed", text) {
        Ok(profile) => {
            for function in [Function::VoltsAc, Function::Ohms, Function::Farads] {
                for magnitude in [0.0, 1e-12, 1.0, 1e9] {
                    let _ = profile.accuracy(function, magnitude);
                }
            }
        }
        Err(e) => assert!(
            (1..=lines(text)).contains(&e.line),
            "{e} of {}",
            lines(text)
        ),
    }
    let _ = text.parse::<Spec>();
}

/// A configuration, and what a request says of its site and its session.
pub fn config(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let places = Places::of(&[("HOME", "/home/technician")]);
    let read = |text: &str| Loaded::read(Path::new("fuzzed"), text, &Flags::default(), &places);
    match read(text) {
        Ok(loaded) => {
            // What is shown says the same.
            let again = read(&to_toml(&loaded)).expect("what is shown is read");
            assert_eq!(
                format!("{:?}", again.config),
                format!("{:?}", loaded.config)
            );
        }
        Err(ConfigError::Wrong(problems)) => {
            assert!(!problems.0.is_empty(), "refused without a reason");
            for problem in problems.0 {
                assert!((1..=lines(text)).contains(&problem.line), "{problem}");
            }
        }
        Err(e) => panic!("{e}"),
    }
    site(text);
    if let Some(token) = Token::read(text) {
        assert!(token.reveal().eq_ignore_ascii_case(text));
    }
    if let Some(code) = Code::read(text) {
        assert!(Code::read(&code.reveal()).is_some());
    }
}

fn site(text: &str) {
    if let Ok(origin) = text.parse::<Origin>() {
        let again = origin.to_string().parse();
        assert_eq!(again, Ok(origin), "an origin reads back as itself");
    }
    let Ok(value) = HeaderValue::from_str(text) else {
        return;
    };
    let mut headers = HeaderMap::new();
    headers.insert("host", value.clone());
    let sites = Sites {
        origins: Vec::new(),
        loopback: true,
    };
    let for_us = sites.check(&Method::GET, &headers, 8740).is_ok();
    assert!(
        !for_us || text.ends_with(":8740"),
        "{text} is no address of ours"
    );
    headers.insert("host", HeaderValue::from_static("127.0.0.1:8740"));
    headers.insert("origin", value);
    let from_us = sites.check(&Method::POST, &headers, 8740).is_ok();
    let ours = text.eq_ignore_ascii_case("http://127.0.0.1:8740");
    assert!(!from_us || ours, "{text} is no origin of ours");
}
