//! Who reads the page, and how they want it: what a browser says of itself and keeps in cookies.

use std::convert::Infallible;

use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::header::{ACCEPT_LANGUAGE, COOKIE};
use axum::http::request::Parts;

use ohmtrail_words::Tongue;
use serde::de::DeserializeOwned;

use crate::api::Problem;

/// The cookie of the language.
pub const LANGUAGE: &str = "ohmtrail-language";
/// The cookie of the degrees.
pub const DEGREES: &str = "ohmtrail-degrees";

/// Degrees of temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Degrees {
    /// °C.
    Celsius,
    /// °F.
    Fahrenheit,
}

impl Degrees {
    /// The UCUM code.
    #[must_use]
    pub const fn ucum(self) -> &'static str {
        match self {
            Degrees::Celsius => "Cel",
            Degrees::Fahrenheit => "[degF]",
        }
    }

    /// A temperature in °C as it is shown in these degrees (ISO 80000-5).
    #[must_use]
    pub fn of_celsius(self, celsius: f64) -> String {
        match self {
            Degrees::Celsius => format!("{celsius:.1} °C"),
            Degrees::Fahrenheit => format!("{:.1} °F", celsius * 1.8 + 32.0),
        }
    }
}

/// Who reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reader {
    /// Their language.
    pub tongue: Tongue,
    /// Their degrees.
    pub degrees: Degrees,
}

impl<S: Sync> FromRequestParts<S> for Reader {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        let text = |name| parts.headers.get(name).and_then(|v| v.to_str().ok());
        let cookies = text(COOKIE).unwrap_or_default();
        let kept = |name: &str| {
            let pairs = cookies.split(';').filter_map(|p| p.trim().split_once('='));
            pairs.filter(|(n, _)| *n == name).map(|(_, v)| v).next()
        };
        let browser = Tongue::of_browser(text(ACCEPT_LANGUAGE).unwrap_or_default());
        let fahrenheit = kept(DEGREES) == Some(Degrees::Fahrenheit.ucum());
        Ok(Reader {
            tongue: kept(LANGUAGE).and_then(Tongue::of_tag).unwrap_or(browser),
            degrees: if fahrenheit {
                Degrees::Fahrenheit
            } else {
                Degrees::Celsius
            },
        })
    }
}

/// What a form sends (WHATWG URL, 5).
pub struct Form<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Form<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let body = Bytes::from_request(request, state).await?;
        let read = serde_urlencoded::from_bytes(&body);
        let wrong = |e: serde_urlencoded::de::Error| {
            Problem::unprocessable(
                format!("the form is not understood: {e}"),
                "load the page anew",
            )
        };
        read.map(Form).map_err(wrong)
    }
}
