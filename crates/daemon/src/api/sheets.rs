//! Sheets: the list, what one holds, its schematic, and what is wrong with one.

use axum::Json;
use axum::extract::State;
use axum::response::Response;
use ohmtrail_circuit::draw;
use ohmtrail_circuit::review::review;
use ohmtrail_circuit::sheet::{self, Question, Sheet, read_text};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::extract::{Body, Named, Query};
use super::language::Spoken;
use super::problem::Problem;
use super::{App, text};
use crate::sheets::SheetsError;

/// Every sheet.
#[derive(Debug, Serialize, ToSchema)]
pub struct SheetList {
    sheets: Vec<SheetLine>,
}

/// A sheet's line in the list.
#[derive(Debug, Serialize, ToSchema)]
pub struct SheetLine {
    /// Its name.
    name: String,
    /// What it describes.
    title: String,
    /// What keeps it from being used; see the check of sheets.
    problem: Option<String>,
}

/// What a sheet holds.
#[derive(Debug, Serialize, ToSchema)]
pub struct SheetView {
    /// Its name.
    name: String,
    /// What it describes.
    title: String,
    /// The BLAKE3 hash of its text.
    hash: String,
    /// What customers report.
    complaints: Vec<NamedWords>,
    /// The parts.
    parts: Vec<NamedWords>,
    /// Every point that a probe can reach.
    points: Vec<NamedWords>,
    /// Every fault.
    faults: Vec<NamedWords>,
    /// Everything that eyes, ears and hands are asked for.
    looks: Vec<NamedWords>,
    /// Every measurement that can be asked for.
    measurements: Vec<Measurement>,
}

/// A name, and what it is.
#[derive(Debug, Serialize, ToSchema)]
pub struct NamedWords {
    /// The name.
    name: String,
    /// What it is.
    words: String,
}

impl NamedWords {
    pub(super) fn new(name: &str, words: &str) -> Self {
        NamedWords {
            name: name.to_owned(),
            words: words.to_owned(),
        }
    }
}

/// A measurement of a sheet.
#[derive(Debug, Serialize, ToSchema)]
pub struct Measurement {
    /// What to set the meter to.
    function: &'static str,
    /// Between which points.
    points: [String; 2],
    /// The wire ends that are lifted.
    lifted: Vec<String>,
    /// Why.
    why: String,
}

/// Reads a sheet where waiting for the disk harms nobody.
async fn read<R: Send + 'static>(
    app: &App,
    name: String,
    then: impl FnOnce(&Sheet) -> R + Send + 'static,
) -> Result<R, Problem> {
    let app = app.clone();
    let read = move || Ok::<_, SheetsError>(then(&app.context().sheets.read(&name)?));
    let done = tokio::task::spawn_blocking(read).await;
    Ok(done.map_err(|e| Problem::system(e.to_string()))??)
}

/// List the sheets
#[utoipa::path(get, path = "/api/v1/sheets", tag = "sheets",
    responses((status = 200, body = SheetList), Problem))]
pub async fn list(State(app): State<App>) -> Result<Json<SheetList>, Problem> {
    let line = move || {
        let sheets = &app.context().sheets;
        let line = |name: String| match sheets.read(&name) {
            Ok(sheet) => SheetLine {
                name,
                title: sheet.title,
                problem: None,
            },
            Err(error) => SheetLine {
                name,
                title: String::new(),
                problem: Some(error.to_string()),
            },
        };
        sheets.names().into_iter().map(line).collect()
    };
    let sheets = tokio::task::spawn_blocking(line).await;
    let sheets = sheets.map_err(|e| Problem::system(e.to_string()))?;
    Ok(Json(SheetList { sheets }))
}

fn view(sheet: &Sheet) -> SheetView {
    let named = NamedWords::new;
    let mut looks = Vec::new();
    let mut measurements = Vec::new();
    for check in &sheet.checks {
        match &check.question {
            Question::Look { part, look } => {
                looks.push(named(&sheet.look_name(*part, look), &check.why));
            }
            Question::Measure {
                function, points, ..
            } => {
                let ends = check.lift.and_then(|l| sheet.lifts.get(l));
                let ends = ends.map_or(&[][..], |l| &l.ends);
                let name = |p: &sheet::PointId| sheet.point_name(*p).to_owned();
                measurements.push(Measurement {
                    function: function.name(),
                    points: [name(&points[0]), name(&points[1])],
                    lifted: ends.iter().map(name).collect(),
                    why: check.why.clone(),
                });
            }
        }
    }
    SheetView {
        name: sheet.name.clone(),
        title: sheet.title.clone(),
        hash: ohmtrail_trail::Hash(sheet.hash).to_string(),
        complaints: sheet
            .complaints
            .iter()
            .map(|c| named(&c.name, &c.words))
            .collect(),
        parts: sheet
            .parts
            .iter()
            .map(|p| named(&p.name, &p.words))
            .collect(),
        points: sheet.points.iter().map(|(n, w)| named(n, w)).collect(),
        faults: sheet
            .faults
            .iter()
            .map(|f| named(&f.name, &f.words))
            .collect(),
        looks,
        measurements,
    }
}

/// Get what a sheet holds
#[utoipa::path(get, path = "/api/v1/sheets/{sheet}", tag = "sheets",
    params(("sheet" = String, Path)),
    responses((status = 200, body = SheetView), Problem))]
pub async fn get(
    State(app): State<App>,
    Named(name): Named<String>,
) -> Result<Json<SheetView>, Problem> {
    Ok(Json(read(&app, name, view).await?))
}

/// Get the schematic of a sheet
#[utoipa::path(get, path = "/api/v1/sheets/{sheet}/schematic.svg", tag = "sheets",
    params(("sheet" = String, Path), Spoken),
    responses((status = 200, body = String, content_type = "image/svg+xml"), Problem))]
pub async fn schematic(
    State(app): State<App>,
    Named(name): Named<String>,
    Query(wanted): Query<Spoken>,
) -> Result<Response, Problem> {
    let tongue = wanted.language.into();
    let svg = read(&app, name, move |sheet| draw::schematic(sheet, tongue)).await?;
    Ok(text("image/svg+xml", svg))
}

/// Get the compiled table of a sheet
///
/// What its faults are isolated with, in the form that a probe box and every other program of this
/// version reads.
#[utoipa::path(get, path = "/api/v1/sheets/{sheet}/table", tag = "sheets",
    params(("sheet" = String, Path)),
    responses((status = 200, body = Vec<u8>, content_type = "application/octet-stream"), Problem))]
pub async fn table(
    State(app): State<App>,
    Named(name): Named<String>,
) -> Result<Response, Problem> {
    let compile = move || app.context().sheets.bundle(&name);
    let done = tokio::task::spawn_blocking(compile).await;
    let bundle = done.map_err(|e| Problem::system(e.to_string()))??;
    let bytes = bundle.compiled.bytes.clone();
    Ok(text("application/octet-stream", bytes))
}

/// A sheet to be checked.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SheetText {
    /// What to call it.
    name: String,
    /// Its text, as docs/sheet.md has it.
    toml: String,
}

/// What a check of a sheet came to.
#[derive(Debug, Serialize, ToSchema)]
pub struct Checked {
    /// Whether it can be visited with.
    sound: bool,
    /// Everything that is wrong with it.
    problems: Vec<SheetProblem>,
    /// What could be better.
    notes: Vec<SheetProblem>,
    /// Faults that no check sees.
    unseen: Vec<String>,
    /// Sets of faults that no check tells apart.
    alike: Vec<Vec<String>>,
}

/// Something about a sheet.
#[derive(Debug, Serialize, ToSchema)]
pub struct SheetProblem {
    /// The sheet, or the one it is based on.
    file: String,
    /// The line, counted from 1.
    line: usize,
    /// What.
    what: String,
    /// What to do about it.
    remedy: String,
}

impl SheetProblem {
    fn of(problem: &sheet::Problem) -> Self {
        SheetProblem {
            file: problem.file.clone(),
            line: problem.line,
            what: problem.what.clone(),
            remedy: problem.remedy.clone(),
        }
    }
}

fn checked(name: &str, toml: &str) -> Checked {
    let wrong = |problems: Vec<SheetProblem>| Checked {
        sound: false,
        problems,
        notes: Vec::new(),
        unseen: Vec::new(),
        alike: Vec::new(),
    };
    let sheet = match read_text(name, toml) {
        Ok(sheet) => sheet,
        Err(error) => return wrong(error.problems.iter().map(SheetProblem::of).collect()),
    };
    let review = match review(&sheet) {
        Ok(review) => review,
        Err(error) => {
            return wrong(vec![SheetProblem {
                file: name.to_owned(),
                line: 1,
                what: error.to_string(),
                remedy: "ask for less in one sheet".to_owned(),
            }]);
        }
    };
    let names = |faults: &Vec<usize>| -> Vec<String> {
        let named = faults.iter().filter_map(|f| sheet.faults.get(*f));
        named.map(|f| f.name.clone()).collect()
    };
    Checked {
        sound: true,
        problems: Vec::new(),
        notes: review.notes.iter().map(SheetProblem::of).collect(),
        unseen: names(&review.unseen),
        alike: review.alike.iter().map(names).collect(),
    }
}

/// Name everything that is wrong with a sheet, and what could be better
#[utoipa::path(post, path = "/api/v1/sheets/check", tag = "sheets", request_body = SheetText,
    responses((status = 200, body = Checked), Problem))]
pub async fn check(Body(sheet): Body<SheetText>) -> Result<Json<Checked>, Problem> {
    let done = tokio::task::spawn_blocking(move || checked(&sheet.name, &sheet.toml)).await;
    done.map(Json).map_err(|e| Problem::system(e.to_string()))
}
