//! One rule of the trade on values as typed.

use std::collections::BTreeMap;
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

/// How a check came out.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// It passes.
    Pass,
    /// A number that is held against nothing: it passes nothing.
    Computed,
    /// The value proves nothing, or is too close to call.
    NotJudged,
    /// To be checked by other means: what it fails does not condemn alone.
    Check,
    /// It fails.
    Fail,
}

/// What a check came to: the document of `ohmtrail check --json`.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Judged {
    /// The check.
    check: String,
    /// How it came out: the worst of what counts.
    outcome: Outcome,
    /// In a sentence.
    words: String,
    /// The values that were judged.
    readings: Vec<JudgedReading>,
    /// What was found besides: a pattern, a name, a number.
    found: Vec<FoundBesides>,
    /// A verdict for each limit.
    verdicts: Vec<LimitVerdict>,
    /// What the check leaves unproven.
    unproven: Vec<String>,
    /// How it is decided.
    decision_rule: String,
    /// How probabilities are computed.
    probabilities_by: String,
    /// The accuracy that was used.
    accuracy: StatedAccuracy,
    /// What was assumed of the leads.
    leads: Option<String>,
    /// What to be careful of.
    cautions: Vec<String>,
}

/// The accuracy that was used.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StatedAccuracy {
    /// In words.
    words: String,
    /// Whether it is the cautious default.
    assumed: bool,
}

/// A value that was judged.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct JudgedReading {
    /// What it is of.
    name: String,
    /// What the meter was set to.
    function: String,
    /// The digits, or `OL`.
    display: String,
    /// Their UCUM unit.
    unit: String,
    /// The annunciators.
    flags: Vec<String>,
    /// In the base unit; none for an overload.
    value: Option<f64>,
    /// Its standard uncertainty, in the base unit.
    uncertainty: Option<f64>,
    /// The function's base unit, UCUM.
    base_unit: String,
}

/// Something found that is no limit's verdict.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FoundBesides {
    /// What it is.
    name: String,
    /// In a word.
    word: String,
    /// In a sentence.
    words: String,
    /// What programs need of it; its form goes by the name.
    data: Value,
    /// Where it comes from.
    source: Option<String>,
    /// How far that was checked.
    status: Option<String>,
}

/// A verdict against one limit.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LimitVerdict {
    /// What was judged.
    name: String,
    /// Whether it counts for the outcome; else it informs only.
    counts: bool,
    /// `pass`, `conditional-pass`, `conditional-fail`, `fail`, `not-judged` or `check`.
    decision: String,
    /// The same in words.
    decision_words: String,
    /// The class that the value falls in; none if it is void.
    class: Option<String>,
    /// The probability of each class.
    likely: BTreeMap<String, Option<f64>>,
    /// The probability that it is within the limits.
    p_within: Option<f64>,
    /// Whether it is too close to call.
    too_close: bool,
    /// Why it proves nothing, if it does not.
    void: Option<String>,
    /// The value.
    value: Option<f64>,
    /// Its standard uncertainty.
    uncertainty: Option<f64>,
    /// Their UCUM unit.
    unit: String,
    /// The lower limit.
    lower: Option<f64>,
    /// The upper limit.
    upper: Option<f64>,
    /// Where the limit comes from.
    source: String,
    /// How far that was checked.
    status: String,
    /// Whether a value outside it condemns by itself.
    may_condemn: bool,
}

/// Judge typed values against one rule
///
/// The answer is the document of `ohmtrail check --json` (docs/command-line.md).
#[utoipa::path(post, path = "/api/v1/checks", tag = "checks", request_body = Check,
    responses((status = 200, body = Judged), Problem))]
pub async fn judge(
    State(app): State<App>,
    Body(check): Body<Check>,
) -> Result<Json<Judged>, Problem> {
    // A profile is a file, and a client names no files.
    if check.words.iter().any(|w| w.starts_with("--meter")) {
        return Err(Problem::unprocessable(
            "--meter names a file",
            "state the accuracy with --accuracy",
        ));
    }
    let judged = (app.0.judge.0)(&check.words);
    let judged = judged.map_err(|what| {
        Problem::unprocessable(what, "docs/command-line.md has each rule with an example")
    })?;
    let judged = serde_json::from_value(judged);
    judged
        .map(Json)
        .map_err(|e| Problem::system(format!("the answer is not of its form: {e}")))
}
