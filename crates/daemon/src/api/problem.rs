//! Errors as RFC 9457 has them: what is wrong, where, and what to do.

use axum::extract::rejection::{BytesRejection, JsonRejection, PathRejection, QueryRejection};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use ohmtrail_words::Said;
use serde::Serialize;
use utoipa::{IntoResponses, ToSchema};

use crate::meters::AddError;
use crate::sheets::SheetsError;
use crate::trouble;
use crate::visits::{Away, OpenError, SayError};

/// A problem.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ProblemBody {
    /// Always `about:blank`: the code tells problems apart.
    #[serde(rename = "type")]
    kind: &'static str,
    /// The meaning of the status.
    title: &'static str,
    /// The status.
    status: u16,
    /// Which problem it is, for programs. Codes never change their meaning.
    code: &'static str,
    /// What is wrong, and where.
    detail: String,
    /// What to do.
    remedy: String,
    /// What is wrong, before it is put into a language.
    #[serde(skip)]
    #[schema(ignore)]
    said: Box<Said>,
}

/// An error of the API.
#[derive(Debug, Clone, PartialEq, Eq, IntoResponses)]
#[response(
    status = "default",
    description = "What is wrong, where, and what to do (RFC 9457)",
    content_type = "application/problem+json"
)]
pub struct Problem(#[to_schema] ProblemBody);

impl Problem {
    /// A problem of this status, code, words and remedy.
    #[must_use]
    pub fn new(
        status: StatusCode,
        code: &'static str,
        detail: impl Into<Said>,
        remedy: impl Into<String>,
    ) -> Self {
        let said = detail.into();
        Problem(ProblemBody {
            kind: "about:blank",
            title: status.canonical_reason().unwrap_or("Error"),
            status: status.as_u16(),
            code,
            detail: said.to_string(),
            remedy: remedy.into(),
            said: Box::new(said),
        })
    }

    /// There is nothing of that name.
    #[must_use]
    pub fn not_found(what: &str, name: &str, list: &str) -> Self {
        Problem::new(
            StatusCode::NOT_FOUND,
            "not-found",
            Said::message("not-found")
                .with("kind", Said::phrase(what))
                .with("name", name.to_owned()),
            format!("GET {list} lists what there is"),
        )
    }

    /// Something in the request is not understood.
    #[must_use]
    pub fn unprocessable(detail: impl Into<Said>, remedy: impl Into<String>) -> Self {
        Problem::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "not-understood",
            detail,
            remedy,
        )
    }

    /// The system refuses, or this program has a defect.
    #[must_use]
    pub fn system(detail: impl Into<Said>) -> Self {
        Problem::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "system",
            detail,
            "look at the daemon's log",
        )
    }

    /// The status.
    #[must_use]
    pub fn status(&self) -> u16 {
        self.0.status
    }

    /// What is wrong, and where, before it is put into a language.
    #[must_use]
    pub fn said(&self) -> &Said {
        &self.0.said
    }

    /// What to do.
    #[must_use]
    pub fn remedy(&self) -> &str {
        &self.0.remedy
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let status =
            StatusCode::from_u16(self.0.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        // The body always has a JSON form.
        let body = serde_json::to_vec(&self.0).unwrap_or_default();
        let mut response = (status, body).into_response();
        let kind = HeaderValue::from_static("application/problem+json");
        response.headers_mut().insert(header::CONTENT_TYPE, kind);
        if status == StatusCode::SERVICE_UNAVAILABLE {
            let soon = HeaderValue::from_static("1");
            response.headers_mut().insert(header::RETRY_AFTER, soon);
        }
        response
    }
}

impl From<Away> for Problem {
    fn from(away: Away) -> Self {
        let detail = match &away {
            Away::Broken(why) => Said::message("visit-broken").with("why", why.clone()),
            other => Said::phrase(other.to_string()),
        };
        match away {
            Away::Closed => Problem::new(
                StatusCode::CONFLICT,
                "visit-closed",
                detail,
                "open a new visit, with this one's head hash as `previous`",
            ),
            Away::Broken(_) => Problem::new(
                StatusCode::CONFLICT,
                "visit-broken",
                detail,
                "put right what it names, and start the daemon again",
            ),
            Away::Restarted => Problem::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "visit-restarted",
                detail,
                "GET the visit, and say again what it does not have",
            ),
            Away::Busy => Problem::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "visit-busy",
                detail,
                "try again; look at the disk's room and at the daemon's log",
            ),
        }
    }
}

impl From<SayError> for Problem {
    fn from(error: SayError) -> Self {
        use ohmtrail_visit::Refusal;
        let detail = error.said();
        let conflict =
            |code, remedy: &str| Problem::new(StatusCode::CONFLICT, code, detail.clone(), remedy);
        match &error {
            SayError::Refused(Refusal::Closed) => Away::Closed.into(),
            SayError::Refused(Refusal::NotOpen { .. }) | SayError::NotOpen { .. } => conflict(
                "ask-not-open",
                "answer the ask that is open: `now.ask` of the visit",
            ),
            SayError::Refused(Refusal::Answer { .. }) | SayError::NoMeasurement(_) => conflict(
                "other-answer",
                "answer it as its `do` says: look, measure or act",
            ),
            SayError::Refused(Refusal::NotLeft) => {
                conflict("not-left", "answer the open asks, or POST leave first")
            }
            SayError::Refused(_) => Problem::unprocessable(detail, "correct what is named"),
            SayError::Trail(_) => Problem::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "not-kept",
                detail,
                "nothing was told; look at the disk's room, then say it again",
            ),
            SayError::Unknown { .. } => Problem::unprocessable(detail, "use one of those names"),
            SayError::WhichMeter { .. } => conflict(
                "which-meter",
                "set the meter to what is asked, name one with `meter`, or type the value",
            ),
            SayError::MeterAway { .. } => conflict(
                "meter-away",
                "bring the meter back, or type the value from its display",
            ),
            SayError::Replayed(_) => conflict(
                "meter-replayed",
                "open a visit with `simulated`, or add a meter that is there",
            ),
            SayError::Value(_) => Problem::unprocessable(detail, "send it as the display shows it"),
        }
    }
}

impl From<SheetsError> for Problem {
    fn from(error: SheetsError) -> Self {
        match &error {
            SheetsError::Unknown { name, .. } => {
                Problem::not_found("sheet", name, "/api/v1/sheets")
            }
            SheetsError::Changed(_) => Problem::new(
                StatusCode::CONFLICT,
                "sheet-changed",
                trouble::of_sheet(&error),
                "put that version of the sheet into the folder `sheets`",
            ),
            _ => Problem::unprocessable(error.to_string(), "correct the sheet"),
        }
    }
}

impl From<OpenError> for Problem {
    fn from(error: OpenError) -> Self {
        match error {
            OpenError::Sheet(error) => error.into(),
            OpenError::Say(error) => error.into(),
            OpenError::Away(away) => away.into(),
            OpenError::Io { .. } => Problem::system(error.to_string()),
        }
    }
}

impl From<AddError> for Problem {
    fn from(error: AddError) -> Self {
        let detail = error.to_string();
        match error {
            AddError::Taken(_) | AddError::TakenPlace { .. } | AddError::TooMany => Problem::new(
                StatusCode::CONFLICT,
                "meter-taken",
                detail,
                "DELETE the other meter first, or choose another name",
            ),
            _ => Problem::unprocessable(detail, "docs/meters.md says how a meter is named"),
        }
    }
}

impl From<JsonRejection> for Problem {
    fn from(rejection: JsonRejection) -> Self {
        let remedy = "send JSON with content-type application/json, as /api/v1/openapi.json has it";
        Problem::new(
            rejection.status(),
            "not-understood",
            rejection.body_text(),
            remedy,
        )
    }
}

impl From<BytesRejection> for Problem {
    fn from(rejection: BytesRejection) -> Self {
        let remedy = "send less, or try again";
        Problem::new(rejection.status(), "body", rejection.body_text(), remedy)
    }
}

impl From<PathRejection> for Problem {
    fn from(rejection: PathRejection) -> Self {
        let remedy = "/api/v1/openapi.json says what the path takes";
        Problem::new(
            rejection.status(),
            "not-understood",
            rejection.body_text(),
            remedy,
        )
    }
}

impl From<QueryRejection> for Problem {
    fn from(rejection: QueryRejection) -> Self {
        let remedy = "/api/v1/openapi.json says what the query takes";
        Problem::new(
            rejection.status(),
            "not-understood",
            rejection.body_text(),
            remedy,
        )
    }
}

/// The answer to a path that there is not.
pub async fn no_such_path(uri: axum::http::Uri) -> Problem {
    Problem::new(
        StatusCode::NOT_FOUND,
        "no-such-path",
        format!("there is nothing at {}", uri.path()),
        "/api/v1/openapi.json lists every path",
    )
}

/// The answer to a method that a path does not have.
pub async fn no_such_method(method: axum::http::Method, uri: axum::http::Uri) -> Problem {
    Problem::new(
        StatusCode::METHOD_NOT_ALLOWED,
        "no-such-method",
        format!("{} does not take {method}", uri.path()),
        "/api/v1/openapi.json lists what each path takes",
    )
}
