//! The trail of a visit: its file, its exports, its check, and the readings in it.

use std::path::PathBuf;

use axum::Json;
use axum::extract::State;
use axum::response::Response;
use ohmtrail_trail::event::Event;
use ohmtrail_trail::{Body, Displayed, Error, export_csv, export_jsonl, read, verify as check};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::extract::{Named, Query};
use super::problem::Problem;
use super::{App, text};

/// Does something with the file of a trail, where waiting for the disk harms nobody. Readings that
/// are not in it yet are put there first.
async fn file<R: Send + 'static>(
    app: &App,
    visit: &str,
    with: impl FnOnce(PathBuf) -> Result<R, Error> + Send + 'static,
) -> Result<R, Problem> {
    let visit = app.visit(visit)?;
    // A visit that has ended, or is being opened anew, has nothing to put there.
    let _ = visit.with(|keeper| keeper.flush_now()).await;
    let path = visit.path.clone();
    let done = tokio::task::spawn_blocking(move || with(path)).await;
    let done = done.map_err(|e| Problem::system(e.to_string()))?;
    done.map_err(|e| Problem::system(e.to_string()))
}

/// Get the trail's file
#[utoipa::path(get, path = "/api/v1/visits/{visit}/trail", tag = "trail",
    params(("visit" = String, Path)),
    responses((status = 200, body = Vec<u8>, content_type = "application/octet-stream"), Problem))]
pub async fn download(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Response, Problem> {
    let bytes = file(&app, &visit, |path| {
        std::fs::read(&path).map_err(Error::Export)
    });
    Ok(text("application/octet-stream", bytes.await?))
}

/// Get everything in the trail, as JSON lines
#[utoipa::path(get, path = "/api/v1/visits/{visit}/trail.jsonl", tag = "trail",
    params(("visit" = String, Path)),
    responses((status = 200, body = String, content_type = "application/jsonl"), Problem))]
pub async fn lines(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Response, Problem> {
    let lines = file(&app, &visit, |path| {
        let mut out = Vec::new();
        export_jsonl(path, &mut out).map(|_damage| out)
    });
    Ok(text("application/jsonl", lines.await?))
}

/// Get the takes, as CSV
#[utoipa::path(get, path = "/api/v1/visits/{visit}/trail.csv", tag = "trail",
    params(("visit" = String, Path)),
    responses((status = 200, body = String, content_type = "text/csv"), Problem))]
pub async fn rows(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Response, Problem> {
    let rows = file(&app, &visit, |path| {
        let mut out = Vec::new();
        export_csv(path, &mut out).map(|_damage| out)
    });
    Ok(text("text/csv; charset=utf-8", rows.await?))
}

/// What a check of a trail came to.
#[derive(Debug, Serialize, ToSchema)]
pub struct Verified {
    /// Whether it is as it was written.
    sound: bool,
    /// Whole records.
    records: u32,
    /// The hash of the last one: what papers print.
    head: String,
    /// The head hash of the trail before this one of the same unit.
    previous: Option<String>,
    /// What is damaged, in words.
    damage: Vec<String>,
    /// Bytes after the last whole record.
    torn_tail: u64,
    /// Torn tails that were cut off on earlier openings.
    cuts: usize,
    /// Records of a newer program, passed over.
    newer: usize,
}

/// Check a trail: whether anything in it was changed or lost
#[utoipa::path(get, path = "/api/v1/visits/{visit}/trail/verify", tag = "trail",
    params(("visit" = String, Path)),
    responses((status = 200, body = Verified), Problem))]
pub async fn verify(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Json<Verified>, Problem> {
    let report = file(&app, &visit, check).await?;
    Ok(Json(Verified {
        sound: report.is_sound(),
        records: report.records,
        head: report.head.to_string(),
        previous: report.previous.map(|h| h.to_string()),
        damage: report.damage.iter().map(ToString::to_string).collect(),
        torn_tail: report.torn_tail,
        cuts: report.cuts.len(),
        newer: report.skipped.len(),
    }))
}

/// Which readings.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Which {
    /// Of this meter, by its number in the visit.
    meter: Option<u16>,
    /// From this record on.
    #[serde(default)]
    from: u32,
    /// At most so many; 1000 without it, 100000 at most.
    limit: Option<usize>,
}

/// Streamed readings of a visit, oldest first.
#[derive(Debug, Serialize, ToSchema)]
pub struct Readings {
    readings: Vec<Streamed>,
    /// Go on from this record; none if these are all.
    next: Option<u32>,
}

/// A streamed reading.
#[derive(Debug, Serialize, ToSchema)]
pub struct Streamed {
    /// The record of its group.
    record: u32,
    /// The meter's number in the visit.
    meter: u16,
    /// When, by the steady clock of that run of the daemon.
    steady_us: u64,
    /// What the meter was set to.
    function: &'static str,
    /// The digits.
    display: String,
    /// Their UCUM unit.
    unit: String,
    /// The annunciators.
    flags: Vec<&'static str>,
    /// The value in base units; none for an overload and a blank display.
    value: Option<f64>,
}

fn streamed(path: PathBuf, which: &Which) -> Result<Readings, Error> {
    let limit = which.limit.unwrap_or(1_000).min(100_000);
    let mut found = Readings {
        readings: Vec::new(),
        next: None,
    };
    for record in read(path)?.flatten() {
        let Body::Entry(entry) = record.body else {
            continue;
        };
        let Event::Readings { meter, readings } = entry.event else {
            continue;
        };
        if record.number < which.from || which.meter.is_some_and(|m| m != meter.0) {
            continue;
        }
        // A group is given whole, so that `next` is never in the middle of one.
        if found.readings.len() >= limit {
            found.next = Some(record.number);
            break;
        }
        found.readings.extend(readings.iter().map(|r| {
            let shown = Displayed::of(r.function, r.shown);
            let value = match r.shown {
                ohmtrail_core::reading::Shown::Value(decimal) => Some(decimal.value()),
                _ => None,
            };
            Streamed {
                record: record.number,
                meter: meter.0,
                steady_us: r.at.0,
                function: r.function.name(),
                display: shown.digits,
                unit: shown.unit,
                flags: r.flags.names().collect(),
                value,
            }
        }));
    }
    Ok(found)
}

/// Get streamed readings
#[utoipa::path(get, path = "/api/v1/visits/{visit}/readings", tag = "trail",
    params(("visit" = String, Path), Which),
    responses((status = 200, body = Readings), Problem))]
pub async fn readings(
    State(app): State<App>,
    Named(visit): Named<String>,
    Query(which): Query<Which>,
) -> Result<Json<Readings>, Problem> {
    Ok(Json(
        file(&app, &visit, move |path| streamed(path, &which)).await?,
    ))
}
