//! The effective configuration, with where each value comes from.

use std::fmt::Write as _;

use serde_json::{Value as Json, json};

use super::read::{From, Value, Values};
use super::{Loaded, full_name};
use crate::config::keys::METER;

/// As a configuration file that says the same.
#[must_use]
pub fn to_toml(loaded: &Loaded) -> String {
    let mut out = String::new();
    let single = loaded.tables.single.iter().map(|(name, values)| {
        let heading = if name.is_empty() {
            String::new()
        } else {
            format!("\n[{name}]\n")
        };
        (heading, values)
    });
    let meters = loaded.tables.meters.iter();
    let meters = meters.map(|values| (format!("\n[[{METER}]]\n"), values));
    for (heading, values) in single.chain(meters) {
        out.push_str(&heading);
        for (key, value, from) in in_order(values) {
            // Writing to a string does not fail.
            let _ = writeln!(out, "{} = {}  # {}", key, text(value), words(from));
        }
    }
    out
}

/// As JSON: `{"values": {"listen.addresses": {"value": […], "from": "…"}}, "meters": […]}`.
#[must_use]
pub fn to_json(loaded: &Loaded) -> Json {
    let single = loaded.tables.single.iter().flat_map(|(_, values)| {
        values.values.iter().map(|(key, value, from)| {
            let shown = json!({"value": json_of(value), "from": words(*from)});
            (full_name(key), shown)
        })
    });
    let meters = loaded.tables.meters.iter().map(|values| {
        let pairs = values.values.iter();
        let pairs = pairs.map(|(key, value, _)| (key.name.to_owned(), json_of(value)));
        Json::Object(pairs.collect())
    });
    json!({
        "file": loaded.file.as_ref().map(|f| f.display().to_string()),
        "values": Json::Object(single.collect()),
        "meters": meters.collect::<Vec<Json>>(),
    })
}

/// In the order of the table of keys.
fn in_order(values: &Values) -> impl Iterator<Item = (&'static str, &Value, From)> {
    let order = super::keys::KEYS.iter();
    order.filter_map(|key| {
        let found = values.values.iter().find(|(k, ..)| std::ptr::eq(*k, key));
        found.map(|(_, value, from)| (key.name, value, *from))
    })
}

fn words(from: From) -> String {
    match from {
        From::Default => "default".to_owned(),
        From::Line(line) => format!("line {line}"),
        From::Flag => "command line".to_owned(),
    }
}

fn text(value: &Value) -> String {
    match value {
        Value::Text(text) => quoted(text),
        Value::Texts(list) => {
            let list: Vec<String> = list.iter().map(|t| quoted(t)).collect();
            format!("[{}]", list.join(", "))
        }
        Value::Count(n) => n.to_string(),
        Value::Switch(on) => on.to_string(),
    }
}

fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

fn json_of(value: &Value) -> Json {
    match value {
        Value::Text(text) => json!(text),
        Value::Texts(list) => json!(list),
        Value::Count(n) => json!(n),
        Value::Switch(on) => json!(on),
    }
}
