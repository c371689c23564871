//! The form that begins a repair, from the visit that found what failed.

use std::collections::BTreeMap;

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use ohmtrail_words::{Said as Sentence, Tongue};

use super::list::{field, meters};
use super::more::back;
use super::reader::{Form, Reader};
use super::say::no_part;
use super::screen::Screen;
use super::words::{phrase, said};
use super::{frame, framed, seen};
use crate::api::{App, Named, Problem};
use crate::visits::{Repairer, repair_of};

/// A part by its name, and what it is.
type Choice = (String, Option<Sentence>);

/// What the form offers.
struct Offer {
    /// What the finding names, or why there is nothing to repair.
    parts: Result<Vec<Choice>, String>,
    /// The sheet's other parts.
    others: Vec<Choice>,
    /// The daemon's meters: names, and how each stands.
    meters: Vec<(String, String)>,
}

/// The form.
pub async fn form(State(app): State<App>, reader: Reader, Named(name): Named<String>) -> Response {
    shown(&app, reader, &name, None).await
}

async fn shown(app: &App, reader: Reader, name: &str, refused: Option<&Problem>) -> Response {
    match offer(app, name).await {
        Ok((screen, offer)) => framed(reader, &screen, refused, |screen, alert| {
            form_of(reader.tongue, screen, &offer, alert)
        }),
        Err(problem) => frame::wrong(reader, &problem),
    }
}

async fn offer(app: &App, name: &str) -> Result<(Screen, Offer), Problem> {
    let visit = app.visit(name)?;
    let standing = super::standings(app);
    let offer = seen(app, &visit, move |seen| {
        let found = repair_of(seen, Repairer::default());
        let found = found.map(|new| new.repair.map(|r| r.parts).unwrap_or_default());
        let parts = seen.book.sheet.parts.iter();
        let said = |words: &str| Some(seen.book.sheet.said(words));
        let parts = parts.map(|p| (p.name.clone(), said(&p.words)));
        let all: BTreeMap<String, Option<Sentence>> = parts.clone().collect();
        let named = found.as_deref().unwrap_or_default();
        Offer {
            others: parts.filter(|(name, _)| !named.contains(name)).collect(),
            // A wire is known by its name alone.
            parts: found.map_err(|e| e.to_string()).map(|named| {
                let each = named.into_iter();
                each.map(|name| (name.clone(), all.get(&name).cloned().unwrap_or_default()))
                    .collect()
            }),
            meters: standing,
        }
    });
    offer.await
}

fn form_of(t: Tongue, screen: &Screen, offer: &Offer, alert: &Markup) -> Markup {
    let view = &screen.view;
    html! {
        (back(t, view))
        h1 { (t.say("begin-repair")) }
        (alert)
        @match &offer.parts {
            Err(why) => p { (phrase(t, why)) },
            Ok(parts) => {
                p { (t.say("begin-repair-words")) }
                form.sheet method="post" action={ "/visits/" (view.id) "/repair" } {
                    fieldset {
                        legend { (t.say("parts-to-fit")) }
                        @for part in parts { (choice(t, part, true)) }
                    }
                    details { summary { (t.say("parts-to-fit-too")) }
                        @for part in &offer.others { (choice(t, part, false)) }
                    }
                    (field(t.say("technician"), "technician", &view.technician))
                    (field(t.say("work-order"), "work_order", &view.work_order))
                    (meters(t, &offer.meters))
                    p { button.main { (t.say("begin")) } }
                }
            }
        }
    }
}

fn choice(t: Tongue, (part, words): &Choice, checked: bool) -> Markup {
    html! {
        label.choice {
            input type="checkbox" name="fit" value=(part) checked[checked];
            span { @match words { Some(words) => (said(t, words)), None => (part) } }
        }
    }
}

/// Begins it.
pub async fn begin(
    State(app): State<App>,
    reader: Reader,
    Named(name): Named<String>,
    Form(fields): Form<Vec<(String, String)>>,
) -> Response {
    match begun(&app, &name, &fields).await {
        Ok(id) => Redirect::to(&format!("/visits/{id}")).into_response(),
        Err(problem) => shown(&app, reader, &name, Some(&problem)).await,
    }
}

async fn begun(app: &App, name: &str, fields: &[(String, String)]) -> Result<String, Problem> {
    let all = |name: &str| {
        let found = fields.iter().filter(move |(n, _)| n == name);
        found.map(|(_, v)| v.trim().to_owned()).collect::<Vec<_>>()
    };
    let one = |name: &str| all(name).into_iter().next().unwrap_or_default();
    let parts = all("fit");
    if parts.is_empty() {
        return Err(no_part());
    }
    let meters = super::chosen_meters(app, fields)?;
    let earlier = app.visit(name)?;
    let repairer = Repairer {
        work_order: one("work_order"),
        technician: one("technician"),
        parts,
    };
    let visit = app.visits().repair(&earlier, repairer).await?;
    super::join(&visit, meters).await?;
    Ok(visit.id.clone())
}
