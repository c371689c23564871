//! What every page of the daemon has around it.

use axum::http::header::SET_COOKIE;
use axum::http::{HeaderValue, StatusCode};
use axum::response::{Html, IntoResponse, Redirect, Response};
use maud::{DOCTYPE, Markup, html};
use ohmtrail_words::Tongue;

use super::reader::{DEGREES, Degrees, LANGUAGE, Reader};
use super::words::{phrase, said};
use crate::api::Problem;

/// A page in its frame.
pub struct Page<'p> {
    /// Who reads it.
    pub reader: Reader,
    /// Its title.
    pub title: &'p str,
    /// What stands at the top beside the way back to all visits; may be empty.
    pub top: Markup,
    /// The page itself.
    pub body: Markup,
}

impl IntoResponse for Page<'_> {
    fn into_response(self) -> Response {
        let t = self.reader.tongue;
        let markup = html! {
            (DOCTYPE)
            html lang=(t.tag()) {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (self.title) " · Ohmtrail" }
                    link rel="stylesheet" href="/page.css";
                    link rel="icon" href="/icon.svg" type="image/svg+xml";
                    link rel="apple-touch-icon" href="/icon-192.png";
                    link rel="manifest" href="/app.webmanifest";
                    script src="/page.js" defer {}
                }
                body {
                    a.jump href="#main" { (t.say("jump-to-main")) }
                    header.top {
                        a.home href="/" { "Ohmtrail" }
                        div.here { (self.top) }
                        a.gear href="/settings" { (t.say("settings")) }
                    }
                    p #offline role="status" hidden { (t.say("no-connection")) }
                    main #main { (self.body) }
                    footer { p { (t.say("caution")) } }
                }
            }
        };
        Html(markup.into_string()).into_response()
    }
}

/// A page that says what is wrong, and what to do.
pub fn wrong(reader: Reader, problem: &Problem) -> Response {
    let t = reader.tongue;
    let title = t.say("wrong-title");
    let page = Page {
        reader,
        title: &title,
        top: html! {},
        body: html! {
            h1 { (title) }
            // What to do instead is said to programs in their terms; a person looks for it.
            @if problem.status() == StatusCode::NOT_FOUND { (said_alone(t, problem)) p { a.button href="/units" { (t.say("search")) } } }
            @else { (alert(t, problem)) }
            p { a.button href="/" { (t.say("to-visits")) } }
        },
    };
    let status = StatusCode::from_u16(problem.status());
    let status = status.unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    (status, page).into_response()
}

/// What is wrong, and what to do, to be read out at once.
pub fn alert(t: Tongue, problem: &Problem) -> Markup {
    html! {
        div #alert.alert role="alert" {
            p { strong { (said(t, problem.said())) } }
            p { (phrase(t, problem.remedy())) }
        }
    }
}

/// What is wrong, without what to do.
fn said_alone(t: Tongue, problem: &Problem) -> Markup {
    html! { div #alert.alert role="alert" { p { strong { (said(t, problem.said())) } } } }
}

/// The settings of this browser.
pub fn settings(reader: Reader) -> Response {
    let t = reader.tongue;
    let title = t.say("settings");
    let choice = |name: &str, value: &str, words: &str, now: bool| {
        html! {
            label.choice {
                input type="radio" name=(name) value=(value) checked[now];
                span { (words) }
            }
        }
    };
    let page = Page {
        reader,
        title: &title,
        top: html! {},
        body: html! {
            h1 { (title) }
            form.sheet method="post" action="/settings" {
                fieldset {
                    legend { (t.say("language")) }
                    @for tongue in Tongue::ALL {
                        (choice("language", tongue.tag(), &tongue.say("own-name"), tongue == t))
                    }
                }
                fieldset {
                    legend { (t.say("degrees")) }
                    @for (degrees, words) in [(Degrees::Celsius, "°C"), (Degrees::Fahrenheit, "°F")] {
                        (choice("degrees", degrees.ucum(), words, degrees == reader.degrees))
                    }
                }
                p { button.main { (t.say("keep")) } }
            }
            section.sheet {
                h2 { (t.say("this-phone")) }
                p { (t.say("this-phone-words")) }
                label.choice { input type="checkbox" data-keep="speak"; span { (t.say("speak")) } }
                label.choice { input type="checkbox" data-keep="sound"; span { (t.say("sound")) } }
            }
        },
    };
    page.into_response()
}

/// The settings as a form sends them.
#[derive(Debug, serde::Deserialize)]
pub struct Chosen {
    #[serde(default)]
    language: String,
    #[serde(default)]
    degrees: String,
}

/// Keeps them in the browser for a year.
pub fn keep(chosen: &Chosen) -> Response {
    let mut response = Redirect::to("/").into_response();
    let tongue = Tongue::of_tag(&chosen.language).unwrap_or(Tongue::English);
    let fahrenheit = chosen.degrees == Degrees::Fahrenheit.ucum();
    let degrees = if fahrenheit {
        Degrees::Fahrenheit
    } else {
        Degrees::Celsius
    };
    for (name, value) in [(LANGUAGE, tongue.tag()), (DEGREES, degrees.ucum())] {
        let cookie = format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict; Max-Age=31536000");
        if let Ok(cookie) = HeaderValue::try_from(cookie) {
            response.headers_mut().append(SET_COOKIE, cookie);
        }
    }
    response
}
