//! What sheets are written with: the kinds of parts, and the files that replace what is held probable
//! and what it costs to be wrong.

use axum::Json;
use axum::response::Response;
use ohmtrail_circuit::parts::{KINDS, Kind};
use ohmtrail_circuit::sheet::unit_words;
use ohmtrail_circuit::{costs, priors};
use serde::Serialize;
use utoipa::ToSchema;

use super::sheets::NamedWords;
use super::text;

const TOML: &str = "application/toml";

/// The kinds of parts.
#[derive(Debug, Serialize, ToSchema)]
pub struct Kinds {
    kinds: Vec<KindView>,
}

/// What a part can be.
#[derive(Debug, Serialize, ToSchema)]
pub struct KindView {
    /// Its name in sheets.
    name: &'static str,
    /// What it is.
    words: &'static str,
    /// Its terminals.
    terminals: Vec<Terminal>,
    /// Its values.
    values: Vec<PartValue>,
    /// How it can fail.
    faults: Vec<NamedWords>,
    /// What can be seen, heard or felt of it.
    looks: Vec<NamedWords>,
}

/// A terminal.
#[derive(Debug, Serialize, ToSchema)]
pub struct Terminal {
    /// Its name.
    name: &'static str,
    /// What it is.
    words: &'static str,
    /// Whether it is bonded to ground inside.
    bonded: bool,
}

/// A value of a part.
#[derive(Debug, Serialize, ToSchema)]
pub struct PartValue {
    /// Its key in a sheet.
    name: &'static str,
    /// What it is.
    words: &'static str,
    /// Its unit, in words.
    unit: &'static str,
    /// What it is where the sheet does not say; none if it must.
    default: Option<f64>,
    /// How far one part differs from the next: a relative standard deviation.
    spread: f64,
}

fn view(kind: &Kind) -> KindView {
    let named = NamedWords::new;
    let terminals = kind.terminals.iter().map(|t| Terminal {
        name: t.name,
        words: t.words,
        bonded: t.bonded,
    });
    let values = kind.params.iter().map(|p| PartValue {
        name: p.name,
        words: p.words,
        unit: unit_words(p.unit),
        default: p.default,
        spread: p.spread,
    });
    KindView {
        name: kind.name,
        words: kind.about,
        terminals: terminals.collect(),
        values: values.collect(),
        faults: kind.faults.iter().map(|f| named(f.name, f.words)).collect(),
        looks: kind.looks.iter().map(|l| named(l.name, l.words)).collect(),
    }
}

/// List the kinds of parts, with their terminals, values, faults and looks
#[utoipa::path(get, path = "/api/v1/kinds", tag = "sheets",
    responses((status = 200, body = Kinds)))]
pub async fn list() -> Json<Kinds> {
    Json(Kinds {
        kinds: KINDS.iter().copied().map(view).collect(),
    })
}

/// Get the built-in priors: what is held probable beforehand
#[utoipa::path(get, path = "/api/v1/priors", tag = "sheets",
    responses((status = 200, body = String, content_type = "application/toml")))]
pub async fn priors() -> Response {
    text(TOML, priors::BUILTIN.1)
}

/// Get the built-in costs: what it costs to be wrong, and to take time
#[utoipa::path(get, path = "/api/v1/costs", tag = "sheets",
    responses((status = 200, body = String, content_type = "application/toml")))]
pub async fn costs() -> Response {
    text(TOML, costs::BUILTIN.1)
}
