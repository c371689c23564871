//! One rule of the trade on values as typed.

use std::fmt;
use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use ohmtrail_core::rules;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

use super::App;
use super::extract::Body;
use super::problem::Problem;

/// Judges values as they would be typed after `ohmtrail check`; gives the JSON document of the
/// answer, or what is wrong with the words.
#[derive(Clone)]
pub struct Judge(Arc<Judging>);

type Judging = dyn Fn(&[String]) -> Result<Value, String> + Send + Sync;

impl Judge {
    /// A judge.
    pub fn new(judge: impl Fn(&[String]) -> Result<Value, String> + Send + Sync + 'static) -> Self {
        Judge(Arc::new(judge))
    }
}

impl fmt::Debug for Judge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Judge")
    }
}

/// Every limit.
#[derive(Debug, Serialize, ToSchema)]
pub struct Rules {
    rules: Vec<Rule>,
}

/// A limit, its source, and how far that was checked.
#[derive(Debug, Serialize, ToSchema)]
pub struct Rule {
    id: &'static str,
    what: &'static str,
    unit: &'static str,
    lower: Option<f64>,
    upper: Option<f64>,
    source: &'static str,
    status: &'static str,
    may_condemn: bool,
}

/// List every limit with its source
#[utoipa::path(get, path = "/api/v1/rules", tag = "checks",
    responses((status = 200, body = Rules)))]
pub async fn rules() -> Json<Rules> {
    let row = |rule: &rules::Rule| Rule {
        id: rule.id,
        what: rule.what,
        unit: rule.unit,
        lower: rule.lower,
        upper: rule.upper,
        source: rule.source.what,
        status: rule.source.status.words(),
        may_condemn: rule.source.status.may_condemn(),
    };
    Json(Rules {
        rules: rules::all().map(row).collect(),
    })
}

/// What is to be judged.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// The rule and its values, as they are typed after `ohmtrail check`:
    /// `["capacitor", "55.1uF", "--marked", "55uF", "--tolerance", "6%"]`.
    words: Vec<String>,
}

/// Judge typed values against one rule
///
/// The answer is the document of `ohmtrail check --json` (docs/command-line.md).
#[utoipa::path(post, path = "/api/v1/checks", tag = "checks", request_body = Check,
    responses((status = 200, body = Value), Problem))]
pub async fn judge(
    State(app): State<App>,
    Body(check): Body<Check>,
) -> Result<Json<Value>, Problem> {
    // A profile is a file, and a client names no files.
    if check.words.iter().any(|w| w.starts_with("--meter")) {
        return Err(Problem::unprocessable(
            "--meter names a file",
            "state the accuracy with --accuracy",
        ));
    }
    let judged = (app.0.judge.0)(&check.words);
    judged.map(Json).map_err(|what| {
        Problem::unprocessable(what, "docs/command-line.md has each rule with an example")
    })
}
