//! The meters of the daemon, and the drivers there are.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use ohmtrail_meters::driver;
use ohmtrail_meters::ports::ports as plugged_in;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::App;
use super::extract::{Body, Named};
use super::problem::Problem;
use crate::forms::function;
use crate::meters::{Meter, Named as NamedMeter, ReadingNews, Standing};

/// A meter.
#[derive(Debug, Serialize, ToSchema)]
pub struct MeterView {
    /// Its name.
    name: String,
    /// What it is for, unless a visit says otherwise.
    role: String,
    /// The driver that reads it.
    driver: &'static str,
    /// Where it is.
    place: String,
    /// The profile that its accuracy is taken from.
    profile: String,
    /// Whether that is the cautious default.
    accuracy_assumed: bool,
    /// How it stands.
    standing: Standing,
    /// Why; empty while it is up.
    why: String,
    /// For how many seconds it has stood so.
    for_seconds: f64,
    /// What it showed last; none before its first reading.
    latest: Option<ReadingNews>,
    /// Readings since it was opened.
    readings: u64,
    /// Frames that were refused since.
    refused: u64,
    /// The visits that it has joined, and what it is for.
    visits: Vec<Used>,
}

/// A visit that uses a meter.
#[derive(Debug, Serialize, ToSchema)]
pub struct Used {
    /// The visit.
    visit: String,
    /// What the meter is for.
    role: String,
}

/// The meters.
#[derive(Debug, Serialize, ToSchema)]
pub struct MeterList {
    meters: Vec<MeterView>,
}

fn view(app: &App, meter: &Meter) -> MeterView {
    let state = meter.state();
    let clocks = &app.context().clocks;
    let tally = meter.tally();
    let visits = app.visits().list();
    let used = visits.iter().filter_map(|v| {
        Some(Used {
            visit: v.id.clone(),
            role: v.role(meter.number)?,
        })
    });
    MeterView {
        name: meter.name.clone(),
        role: meter.role.clone(),
        driver: meter.driver(),
        place: meter.source.place(),
        profile: meter.profile.name.clone(),
        accuracy_assumed: meter.profile.ranges.is_empty(),
        standing: state.standing,
        why: state.why,
        for_seconds: clocks.now().steady.since(state.since) as f64 / 1e6,
        latest: meter
            .latest()
            .map(|r| ReadingNews::of(&meter.name, &r, clocks)),
        readings: tally.readings,
        refused: tally.all_rejected(),
        visits: used.collect(),
    }
}

/// List the meters
#[utoipa::path(get, path = "/api/v1/meters", tag = "meters",
    responses((status = 200, body = MeterList)))]
pub async fn list(State(app): State<App>) -> Json<MeterList> {
    let meters = app.context().meters.list();
    Json(MeterList {
        meters: meters.iter().map(|m| view(&app, m)).collect(),
    })
}

/// A meter to be read.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewMeter {
    /// Where it is and what reads it, as docs/meters.md has it:
    /// `serial:/dev/ttyUSB0,frame=count14`. A port is named by its path under /dev, a profile by its
    /// file in the folder `profiles` of the data folder, a trail to replay (`replay:FILE`) by its file
    /// in `visits`.
    spec: String,
    /// What to call it; without it, `meter-N`.
    #[serde(default)]
    name: Option<String>,
    /// What it is for, unless a visit says otherwise.
    #[serde(default)]
    role: String,
}

/// Add a meter, and begin to read it
///
/// It need not be plugged in yet. It is remembered: after a start of the daemon it is read again, until
/// it is taken off.
#[utoipa::path(post, path = "/api/v1/meters", tag = "meters", request_body = NewMeter,
    responses((status = 201, body = MeterView), Problem))]
pub async fn add(
    State(app): State<App>,
    Body(new): Body<NewMeter>,
) -> Result<(StatusCode, Json<MeterView>), Problem> {
    let mut named = NamedMeter {
        name: new.name.clone().unwrap_or_default(),
        role: new.role.clone(),
        spec: new.spec,
    };
    let spec = named.spec(&app.0.data)?;
    let meter = app.context().meters.add(new.name, new.role, spec)?;
    named.name.clone_from(&meter.name);
    if let Err(e) = app.0.kept.keep(named) {
        app.context().meters.remove(&meter.name).await;
        return Err(Problem::system(e.to_string()));
    }
    Ok((StatusCode::CREATED, Json(view(&app, &meter))))
}

fn find(app: &App, name: &str) -> Result<std::sync::Arc<Meter>, Problem> {
    let found = app.context().meters.find(name);
    found.ok_or_else(|| Problem::not_found("meter", name, "/api/v1/meters"))
}

/// Get a meter
#[utoipa::path(get, path = "/api/v1/meters/{meter}", tag = "meters",
    params(("meter" = String, Path)),
    responses((status = 200, body = MeterView), Problem))]
pub async fn get(
    State(app): State<App>,
    Named(name): Named<String>,
) -> Result<Json<MeterView>, Problem> {
    let meter = find(&app, &name)?;
    Ok(Json(view(&app, &meter)))
}

/// Take a meter off, and let go of its port
///
/// One that the configuration names is there again after the next start.
#[utoipa::path(delete, path = "/api/v1/meters/{meter}", tag = "meters",
    params(("meter" = String, Path)),
    responses((status = 204), Problem))]
pub async fn remove(
    State(app): State<App>,
    Named(name): Named<String>,
) -> Result<StatusCode, Problem> {
    find(&app, &name)?;
    let forgotten = app.0.kept.forget(&name);
    forgotten.map_err(|e| Problem::system(e.to_string()))?;
    app.context().meters.remove(&name).await;
    Ok(StatusCode::NO_CONTENT)
}

/// What a meter is to measure.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Function {
    /// The function, such as `volts-ac`.
    function: String,
}

/// Set what a meter measures, where it can be told
///
/// On ohms and farads a meter drives its own current: whoever sends this answers for the circuit.
/// A meter that is set by hand says so in the stream of all meters.
#[utoipa::path(put, path = "/api/v1/meters/{meter}/function", tag = "meters",
    params(("meter" = String, Path)), request_body = Function,
    responses((status = 202), Problem))]
pub async fn measure(
    State(app): State<App>,
    Named(name): Named<String>,
    Body(wanted): Body<Function>,
) -> Result<StatusCode, Problem> {
    let meter = find(&app, &name)?;
    let function = function(&wanted.function);
    let function = function.map_err(|e| Problem::unprocessable(e, "use one of those"))?;
    meter.measure(function);
    Ok(StatusCode::ACCEPTED)
}

/// The serial ports.
#[derive(Debug, Serialize, ToSchema)]
pub struct Ports {
    /// Their paths: lasting names where they have one.
    ports: Vec<String>,
}

/// List the serial ports that are plugged in
#[utoipa::path(get, path = "/api/v1/ports", tag = "meters",
    responses((status = 200, body = Ports)))]
pub async fn ports() -> Json<Ports> {
    let ports = plugged_in();
    Json(Ports {
        ports: ports.iter().map(|p| p.display().to_string()).collect(),
    })
}

/// The drivers.
#[derive(Debug, Serialize, ToSchema)]
pub struct Drivers {
    drivers: Vec<DriverView>,
}

/// A driver.
#[derive(Debug, Serialize, ToSchema)]
pub struct DriverView {
    /// Its name in specs: `frame=NAME`.
    name: &'static str,
    /// What it reads.
    what: &'static str,
    /// The settings of a serial line.
    line: String,
    /// What its meters can measure; empty if not known.
    functions: Vec<&'static str>,
    /// What its frames cannot tell.
    untold: &'static [&'static str],
    /// Whether its meters speak only when asked.
    asked: bool,
}

/// List the drivers
#[utoipa::path(get, path = "/api/v1/drivers", tag = "meters",
    responses((status = 200, body = Drivers)))]
pub async fn drivers() -> Json<Drivers> {
    let row = |d: &driver::Entry| DriverView {
        name: d.name,
        what: d.what,
        line: d.line.to_string(),
        functions: d.about.functions.iter().map(|f| f.name()).collect(),
        untold: d.about.untold,
        asked: d.asked,
    };
    Json(Drivers {
        drivers: driver::drivers().iter().map(row).collect(),
    })
}
