//! The page: what a technician looks at. HTML is rendered here, from what the visit says, and the small
//! script (`static/page.js`) asks for it again whenever the live stream says that something changed:
//! a phone that was away for a while, or that is one of two, shows what the trail holds. Without the
//! script every form still works.

mod add;
mod ask;
mod belief;
mod door;
mod files;
mod frame;
mod icon;
mod list;
mod more;
mod quote;
mod reader;
mod repair;
mod say;
mod screen;
mod trends;
mod units;
mod words;

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Router;
use axum::extract::{DefaultBodyLimit, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use maud::{Markup, html};
use ohmtrail_paper as paper;
use ohmtrail_words::Tongue;
use serde::Deserialize;

use self::frame::{Chosen, Page};
use self::list::{Offer, SheetChoice};
use self::reader::{Form, Reader};
use self::screen::Screen;
use crate::api::{App, Named, Problem, Query};
use crate::meters::Meter;
use crate::sheets::SheetsError;
use crate::visits::{New, Visit};

/// Longest form, bytes: the longest note fits.
const LONGEST_FORM: usize = 16 * 1024;

/// The page's routes. They are no part of the API's document.
pub fn router() -> Router<App> {
    Router::new()
        .route("/", get(visits))
        .route("/new", get(new).post(open))
        .route("/units", get(units::all))
        .route("/unit", get(units::one))
        .route("/settings", get(settings).post(keep_settings))
        .route("/visits/{visit}", get(visit))
        .route("/visits/{visit}/takes", get(takes))
        .route("/visits/{visit}/wires", get(wires))
        .route("/visits/{visit}/add", get(add::page))
        .route("/visits/{visit}/papers", get(papers))
        .route(
            "/visits/{visit}/repair",
            get(repair::form).post(repair::begin),
        )
        .route("/visits/{visit}/quote", get(quote::form).post(quote::keep))
        .route(
            "/visits/{visit}/decision",
            get(to_papers).post(quote::decide),
        )
        .route("/visits/{visit}/say", get(to_visit).post(say))
        .layer(DefaultBodyLimit::max(LONGEST_FORM))
        .merge(files::router())
}

async fn visits(State(app): State<App>, reader: Reader) -> Response {
    let t = reader.tongue;
    let all: Vec<_> = app.visits().list().iter().map(|v| v.summary()).collect();
    let title = t.say("visits");
    Page {
        reader,
        title: &title,
        top: html! {},
        body: list::visits(t, &all),
    }
    .into_response()
}

async fn settings(reader: Reader) -> Response {
    frame::settings(reader)
}

async fn keep_settings(Form(chosen): Form<Chosen>) -> Response {
    frame::keep(&chosen)
}

#[derive(Deserialize)]
struct Which {
    sheet: Option<String>,
}

/// Reads sheets where waiting for the disk harms nobody.
async fn reading<R: Send + 'static>(
    app: &App,
    read: impl FnOnce(&App) -> Result<R, SheetsError> + Send + 'static,
) -> Result<R, Problem> {
    let app = app.clone();
    let done = tokio::task::spawn_blocking(move || read(&app)).await;
    Ok(done.map_err(|e| Problem::system(e.to_string()))??)
}

async fn new(State(app): State<App>, reader: Reader, Query(which): Query<Which>) -> Response {
    let t = reader.tongue;
    let body = match which.sheet {
        None => choices(&app).await.map(|all| list::sheets(t, &all)),
        Some(name) => offer(&app, name).await.map(|offer| list::new(t, &offer)),
    };
    let title = t.say("new-visit");
    match body {
        Ok(body) => Page {
            reader,
            title: &title,
            top: html! {},
            body,
        }
        .into_response(),
        Err(problem) => frame::wrong(reader, &problem),
    }
}

async fn choices(app: &App) -> Result<Vec<SheetChoice>, Problem> {
    let all = reading(app, |app| {
        let sheets = &app.context().sheets;
        let choice = |name: String| {
            // What cannot be used is not offered; the check of sheets says why.
            let title = sheets.read(&name).ok().map(|s| s.said(&s.title));
            SheetChoice { name, title }
        };
        Ok(sheets.names().into_iter().map(choice).collect())
    });
    all.await
}

async fn offer(app: &App, name: String) -> Result<Offer, Problem> {
    let (sheet, complaints) = reading(app, move |app| {
        let sheet = app.context().sheets.read(&name)?;
        let complaints = sheet.complaints.iter();
        let complaints: Vec<_> = complaints
            .map(|c| (c.name.clone(), sheet.said(&c.words)))
            .collect();
        let title = Some(sheet.said(&sheet.title));
        let name = sheet.name.clone();
        Ok((SheetChoice { name, title }, complaints))
    })
    .await?;
    let visits: Vec<_> = app.visits().list().iter().map(|v| v.summary()).collect();
    let last = visits
        .into_iter()
        .max_by(|a, b| a.opened_at.cmp(&b.opened_at));
    Ok(Offer {
        sheet,
        complaints,
        meters: standings(app),
        technician: last.map(|v| v.technician).unwrap_or_default(),
    })
}

async fn open(
    State(app): State<App>,
    reader: Reader,
    Form(fields): Form<Vec<(String, String)>>,
) -> Response {
    match opened(&app, &fields).await {
        Ok(id) => Redirect::to(&format!("/visits/{id}")).into_response(),
        Err(problem) => frame::wrong(reader, &problem),
    }
}

async fn opened(app: &App, fields: &[(String, String)]) -> Result<String, Problem> {
    let field = |name: &str| {
        let mut found = fields.iter().filter(|(n, _)| n == name);
        found
            .next()
            .map(|(_, v)| v.trim().to_owned())
            .unwrap_or_default()
    };
    let meters = chosen_meters(app, fields)?;
    let complaint = Some((field("complaint"), field("words")));
    let visit = app.visits().open(New {
        work_order: field("work_order"),
        technician: field("technician"),
        unit: field("unit"),
        sheet: field("sheet"),
        previous: None,
        simulated: field("simulated") == "yes",
        complaint: complaint.filter(|(what, _)| !what.is_empty()),
        repair: None,
    });
    let visit = visit.await?;
    join(&visit, meters).await?;
    Ok(visit.id.clone())
}

/// The daemon's meters: names, and how each stands.
fn standings(app: &App) -> Vec<(String, String)> {
    let meters = app.context().meters.list();
    let each = meters
        .iter()
        .map(|m| (m.name.clone(), m.state().standing.word().to_owned()));
    each.collect()
}

/// The meters that a form names.
fn chosen_meters(app: &App, fields: &[(String, String)]) -> Result<Vec<Arc<Meter>>, Problem> {
    let named = fields.iter().filter(|(n, _)| n == "meter");
    let each = named.map(|(_, name)| {
        let found = app.context().meters.find(name);
        found.ok_or_else(|| Problem::not_found("meter", name, "/api/v1/meters"))
    });
    each.collect()
}

/// Has them join a visit that was begun.
async fn join(visit: &Visit, meters: Vec<Arc<Meter>>) -> Result<(), Problem> {
    let joined = visit.with(move |keeper| {
        for meter in &meters {
            keeper.join(meter, &meter.role)?;
        }
        keeper.answered(Vec::new()).map(drop)
    });
    Ok(joined.await??)
}

/// What there is to see of a visit, and something more of it.
async fn seen<R: Send + 'static>(
    app: &App,
    visit: &Arc<Visit>,
    more: impl FnOnce(&crate::visits::Seen<'_>) -> R + Send + Clone + 'static,
) -> Result<(Screen, R), Problem> {
    let id = visit.id.clone();
    // Before what is seen: what comes meanwhile is told again.
    let last = visit.log.last();
    let seen = visit.look(app.context(), move |seen| {
        (Screen::of(&id, last, seen), more(seen))
    });
    let (mut screen, more) = seen.await?;
    let (view, at) = (&screen.view, screen.opened_us);
    let door = app.index().at_the_door(&view.unit, view.simulated, at);
    screen.door = door.await;
    Ok((screen, more))
}

/// A page of a visit.
async fn page_of(
    app: &App,
    reader: Reader,
    name: &str,
    said: Option<&Problem>,
    body: impl FnOnce(&Screen, &Markup) -> Markup,
) -> Response {
    let screen = match app.visit(name) {
        Ok(visit) => seen(app, &visit, |_| ()).await,
        Err(problem) => Err(problem),
    };
    match screen {
        Ok((screen, ())) => framed(reader, &screen, said, body),
        Err(problem) => frame::wrong(reader, &problem),
    }
}

fn framed(
    reader: Reader,
    screen: &Screen,
    said: Option<&Problem>,
    body: impl FnOnce(&Screen, &Markup) -> Markup,
) -> Response {
    let alert = said.map(|p| frame::alert(reader.tongue, p));
    let alert = alert.unwrap_or_default();
    let page = Page {
        reader,
        title: &screen.view.id,
        top: screen::top(screen),
        body: body(screen, &alert),
    };
    let status = said.and_then(|p| axum::http::StatusCode::from_u16(p.status()).ok());
    (status.unwrap_or_default(), page).into_response()
}

async fn visit(State(app): State<App>, reader: Reader, Named(name): Named<String>) -> Response {
    let body = |screen: &Screen, alert: &Markup| screen::screen(reader, screen, alert);
    page_of(&app, reader, &name, None, body).await
}

#[derive(Deserialize)]
struct Before {
    before: Option<u32>,
}

async fn takes(
    State(app): State<App>,
    reader: Reader,
    Named(name): Named<String>,
    Query(Before { before }): Query<Before>,
) -> Response {
    let body = |screen: &Screen, alert: &Markup| more::takes(reader, screen, before, alert);
    page_of(&app, reader, &name, None, body).await
}

async fn wires(State(app): State<App>, reader: Reader, Named(name): Named<String>) -> Response {
    let body = |screen: &Screen, alert: &Markup| more::wires(reader.tongue, screen, alert);
    page_of(&app, reader, &name, None, body).await
}

async fn papers(State(app): State<App>, reader: Reader, Named(name): Named<String>) -> Response {
    papers_page(&app, reader, &name, None).await
}

/// What the papers of a visit say.
struct Papers {
    tag: String,
    write_up: String,
    quote: quote::Told,
}

/// The papers, with what a decision that was refused had said.
async fn papers_page(
    app: &App,
    reader: Reader,
    name: &str,
    refused: Option<(&Problem, &BTreeMap<String, String>)>,
) -> Response {
    let t = reader.tongue;
    match papers_of(app, name, t).await {
        Ok((screen, papers)) => framed(reader, &screen, refused.map(|r| r.0), |screen, alert| {
            let quote = quote::told(t, screen, &papers.quote, refused.map(|r| r.1));
            more::papers(t, screen, &papers.tag, &papers.write_up, &quote, alert)
        }),
        Err(problem) => frame::wrong(reader, &problem),
    }
}

async fn papers_of(app: &App, name: &str, t: Tongue) -> Result<(Screen, Papers), Problem> {
    let visit = app.visit(name)?;
    let file = format!("{name}.trail");
    let papers = seen(app, &visit, move |seen| {
        let record = seen.record;
        // As it hangs there, if that is in the reader's language.
        let hung = record.tag.clone();
        let hung = hung.filter(|hung| paper::tongue_of(hung) == Some(t));
        let tag = hung.unwrap_or_else(|| paper::tag(seen.book, record, &seen.head, t).text());
        Papers {
            tag,
            write_up: paper::write_up(seen.book, record, &seen.head, &file, t).markdown(),
            quote: quote::Told {
                quote: record.quote.clone(),
                decisions: record.decisions.clone(),
            },
        }
    });
    papers.await
}

/// A reload of what a decision answered.
async fn to_papers(Named(name): Named<String>) -> Redirect {
    Redirect::to(&format!("/visits/{name}/papers"))
}

/// A reload of what a form answered, in a browser without the script.
async fn to_visit(Named(name): Named<String>) -> Redirect {
    Redirect::to(&format!("/visits/{name}"))
}

/// Takes what a form says, and shows where it leads.
async fn say(
    State(app): State<App>,
    reader: Reader,
    Named(name): Named<String>,
    Form(said): Form<say::Said>,
) -> Response {
    let to = said.to();
    let done = match app.visit(&name) {
        Ok(visit) => say::say(&visit, said.clone(), reader.tongue).await,
        Err(problem) => Err(problem),
    };
    match done {
        Ok(()) => Redirect::to(&format!("/visits/{name}{to}")).into_response(),
        Err(problem) if said.is_volunteered() => {
            add::shown(&app, reader, &name, Some((&problem, &said))).await
        }
        Err(problem) => {
            let body = |screen: &Screen, alert: &Markup| screen::screen(reader, screen, alert);
            page_of(&app, reader, &name, Some(&problem), body).await
        }
    }
}
