//! The tag and the write-up of a visit; the quote for a repair, and what was decided on it.

use axum::Json;
use axum::extract::State;
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::http::{HeaderValue, StatusCode};
use axum::response::Response;
use ohmtrail_paper::{self as paper, QuoteDraft};
use ohmtrail_trail::event::{Event, Quote};
use ohmtrail_trail::{Hash, photos};
use ohmtrail_visit::{Input, Refusal, Totals};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::answers::hash;
use super::extract::{Body, Named, Query, Raw};
use super::language::Language;
use super::problem::Problem;
use super::{App, text};
use crate::after::AfterError;

const PLAIN: &str = "text/plain; charset=utf-8";
const HTML: &str = "text/html; charset=utf-8";
const PDF: &str = "application/pdf";

/// The form of a paper.
#[derive(Debug, Clone, Copy, Default, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// Plain text.
    #[default]
    Text,
    /// One page of HTML.
    Html,
    /// PDF.
    Pdf,
}

/// The sheet of paper of a PDF.
#[derive(Debug, Clone, Copy, Default, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Size {
    /// ISO A4.
    #[default]
    A4,
    /// US letter.
    Letter,
}

/// How a paper is wanted.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Wanted {
    /// `text`, `html` or `pdf`.
    #[serde(default)]
    form: Form,
    /// `a4` or `letter`: of a write-up's PDF.
    #[serde(default)]
    size: Size,
    /// `en` or `es`.
    #[serde(default)]
    language: Language,
}

/// Get the tag, as it would be hung now
///
/// As text, or as a card of 74 x 105 mm to print; there is no tag in HTML.
#[utoipa::path(get, path = "/api/v1/visits/{visit}/tag", tag = "papers",
    params(("visit" = String, Path), Wanted),
    responses((status = 200, body = String, content_type = "text/plain"), Problem))]
pub async fn tag(
    State(app): State<App>,
    Named(visit): Named<String>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Problem> {
    let visit = app.visit(&visit)?;
    let tongue = wanted.language.into();
    let card = visit.look(app.context(), move |seen| {
        paper::tag(seen.book, seen.record, &seen.head, tongue)
    });
    let card = card.await?;
    match wanted.form {
        Form::Text => Ok(text(PLAIN, card.text())),
        Form::Pdf => {
            let made = tokio::task::spawn_blocking(move || paper::tag_pdf(&card)).await;
            let made = made.map_err(|e| Problem::system(e.to_string()))?;
            Ok(text(PDF, made.map_err(|e| Problem::system(e.to_string()))?))
        }
        Form::Html => Err(Problem::unprocessable(
            "a tag is no page",
            "ask for it as text or as pdf",
        )),
    }
}

/// Get the write-up
#[utoipa::path(get, path = "/api/v1/visits/{visit}/write-up", tag = "papers",
    params(("visit" = String, Path), Wanted),
    responses((status = 200, body = String, content_type = "text/plain"), Problem))]
pub async fn write_up(
    State(app): State<App>,
    Named(visit): Named<String>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Problem> {
    let visit = app.visit(&visit)?;
    let file = format!("{}.trail", visit.id);
    let tongue = wanted.language.into();
    let written = visit.look(app.context(), move |seen| {
        paper::write_up(seen.book, seen.record, &seen.head, &file, tongue)
    });
    let written = written.await?;
    if matches!(wanted.form, Form::Text) {
        return Ok(text(PLAIN, written.markdown()));
    }
    let folder = visit.photos();
    let set = move || {
        let photos = |hash: &[u8; 32]| photos::load(&folder, &Hash(*hash)).ok();
        match (wanted.form, wanted.size) {
            (Form::Pdf, Size::A4) => paper::pdf(&written, paper::Sheet::A4, &photos),
            (Form::Pdf, Size::Letter) => paper::pdf(&written, paper::Sheet::Letter, &photos),
            _ => Ok(written.html(&photos).into_bytes()),
        }
    };
    let made = tokio::task::spawn_blocking(set).await;
    let made = made.map_err(|e| Problem::system(e.to_string()))?;
    let made = made.map_err(|e| Problem::system(e.to_string()))?;
    Ok(match wanted.form {
        Form::Pdf => text(PDF, made),
        _ => {
            let mut response = text(HTML, made);
            let policy = HeaderValue::try_from(paper::content_security_policy());
            let policy = policy.map_err(|e| Problem::system(e.to_string()))?;
            response
                .headers_mut()
                .insert(CONTENT_SECURITY_POLICY, policy);
            response
        }
    })
}

/// What a quote comes to.
#[derive(Debug, Serialize, ToSchema)]
pub struct Quoted {
    /// Its version: a decision is on the one that stands.
    version: u32,
    /// The currency, ISO 4217.
    currency: String,
    /// How many decimals its amounts have.
    decimals: u8,
    /// The last day that it holds.
    valid_until: String,
    /// Its options.
    options: Vec<Offered>,
}

/// An option, and what it comes to in minor units of the currency.
#[derive(Debug, Serialize, ToSchema)]
pub struct Offered {
    /// Its name.
    name: String,
    /// What is done.
    title: String,
    /// Whether it is the one that is recommended.
    recommended: bool,
    /// Its lines together.
    net: u64,
    /// The tax on those that are taxed.
    tax: u64,
    /// Both.
    gross: u64,
}

impl Quoted {
    fn of(quote: &Quote) -> Self {
        let offered = quote.options.iter().map(|option| {
            // An amount that cannot be counted is refused before it comes into a trail.
            let totals = Totals::of(option).unwrap_or_default();
            Offered {
                name: option.name.clone(),
                title: option.title.clone(),
                recommended: option.recommended,
                net: totals.net,
                tax: totals.tax,
                gross: totals.gross,
            }
        });
        Quoted {
            version: quote.version,
            currency: quote.currency.clone(),
            decimals: quote.decimals,
            valid_until: quote.valid_until.clone(),
            options: offered.collect(),
        }
    }
}

fn refused(error: &AfterError) -> Problem {
    let detail = error.said();
    match error {
        AfterError::Refused(Refusal::NotClosed) => Problem::new(
            StatusCode::CONFLICT,
            "visit-open",
            detail,
            "POST close first",
        ),
        AfterError::Refused(Refusal::NoQuote) => Problem::new(
            StatusCode::CONFLICT,
            "no-quote",
            detail,
            "POST a quote first",
        ),
        AfterError::Refused(_) | AfterError::OtherTrail(_) => {
            Problem::unprocessable(detail, "correct what is named")
        }
        AfterError::Older(_) => Problem::new(
            StatusCode::CONFLICT,
            "older-paper",
            detail,
            "get the write-up anew, with the hash on it",
        ),
        AfterError::Trail(_) => Problem::system(detail),
    }
}

async fn after(app: &App, visit: &str, input: Input) -> Result<Vec<Event>, Problem> {
    let visit = app.visit(visit)?;
    let closed = visit.look(app.context(), |seen| seen.record.closed).await?;
    if !closed {
        return Err(refused(&AfterError::Refused(Refusal::NotClosed)));
    }
    let said = visit.say_after(app.context(), input).await?;
    let kept = said.map_err(|e| refused(&e))?;
    Ok(kept.into_iter().map(|k| k.entry.event).collect())
}

/// Add a quote to a visit that has ended
///
/// The body is the quote's file, TOML: docs/paper.md has an example. A quote replaces the one before.
#[utoipa::path(post, path = "/api/v1/visits/{visit}/quote", tag = "papers",
    params(("visit" = String, Path)),
    request_body(content = String, content_type = "application/toml"),
    responses((status = 201, body = Quoted), Problem))]
pub async fn quote(
    State(app): State<App>,
    Named(visit): Named<String>,
    Raw(body): Raw,
) -> Result<(StatusCode, Json<Quoted>), Problem> {
    let remedy = "send a quote's file as the body";
    let words = std::str::from_utf8(&body);
    let words = words.map_err(|_| Problem::unprocessable("the body is no text", remedy))?;
    let read = paper::quote(QUOTE, words);
    let read = read.map_err(|e| Problem::unprocessable(e.to_string(), remedy))?;
    let events = after(&app, &visit, Input::Quote(read)).await?;
    let kept = events.iter().find_map(|e| match e {
        Event::Quoted(quote) => Some(Quoted::of(quote)),
        _ => None,
    });
    let kept = kept.ok_or_else(|| Problem::system("the quote was not kept"))?;
    Ok((StatusCode::CREATED, Json(kept)))
}

/// What a quote is called in errors.
const QUOTE: &str = "the quote";

/// Keeps a quote that was written in a form.
pub(crate) async fn keep_quote(app: &App, visit: &str, draft: QuoteDraft) -> Result<(), Problem> {
    let read = draft.quote(QUOTE);
    let read = read.map_err(|e| Problem::unprocessable(e.said(), "correct what is named"))?;
    after(app, visit, Input::Quote(read)).await.map(drop)
}

/// Get the quote that stands
#[utoipa::path(get, path = "/api/v1/visits/{visit}/quote", tag = "papers",
    params(("visit" = String, Path)),
    responses((status = 200, body = Quoted), Problem))]
pub async fn quoted(
    State(app): State<App>,
    Named(visit): Named<String>,
) -> Result<Json<Quoted>, Problem> {
    let found = app.visit(&visit)?;
    let stands = found.look(app.context(), |seen| {
        seen.record.quote.as_ref().map(Quoted::of)
    });
    let missing = || refused(&AfterError::Refused(Refusal::NoQuote));
    Ok(Json(stands.await?.ok_or_else(missing)?))
}

/// What was decided on a quote.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Decided {
    /// The option that was approved; null if the repair was declined.
    pub option: Option<String>,
    /// Who decided.
    pub by: String,
    /// By what means it was told.
    pub means: String,
    /// The head hash on the write-up that it was decided on.
    pub paper: String,
}

/// Say what was decided on the quote
///
/// On the write-up as it stands: one that was made before something came into the trail is refused.
#[utoipa::path(post, path = "/api/v1/visits/{visit}/decision", tag = "papers",
    params(("visit" = String, Path)), request_body = Decided,
    responses((status = 201), Problem))]
pub async fn decide(
    State(app): State<App>,
    Named(visit): Named<String>,
    Body(decided): Body<Decided>,
) -> Result<StatusCode, Problem> {
    keep_decision(&app, &visit, decided).await?;
    Ok(StatusCode::CREATED)
}

/// Keeps what was decided.
pub(crate) async fn keep_decision(app: &App, visit: &str, decided: Decided) -> Result<(), Problem> {
    let input = Input::Decide {
        option: decided.option,
        by: decided.by,
        means: decided.means,
        paper: hash(&decided.paper)?,
    };
    after(app, visit, input).await.map(drop)
}
