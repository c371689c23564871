//! A trail for other programs: JSON lines with everything in it, and CSV with a row for each take.
//! Times are RFC 3339 in UTC, units are UCUM codes. `docs/trail.md` lists the fields.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::Path;

use ohmtrail_core::reading::{Flags, Function, Shown};
use serde::Serialize;
use serde_json::{Map, Value, json};
use time::OffsetDateTime;

use crate::display::Displayed;
use crate::error::{Damage, Error};
use crate::event::{Entry, Event, Power, Take};
use crate::hash::Hash;
use crate::reader::{Body, Record, read};

/// A wall-clock time as RFC 3339 in UTC with six decimals; none outside the years 0 to 9999, that
/// RFC 3339 can't write.
#[must_use]
pub fn rfc3339(wall_us: i64) -> Option<String> {
    let t = OffsetDateTime::from_unix_timestamp_nanos(i128::from(wall_us) * 1000).ok()?;
    (0..=9999).contains(&t.year()).then(|| {
        format!(
            "{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:06}Z",
            t.year(),
            u8::from(t.month()),
            t.day(),
            t.hour(),
            t.minute(),
            t.second(),
            t.microsecond()
        )
    })
}

/// Writes the takes of a trail as CSV (RFC 4180), a row for each, the struck ones too. Returns what is
/// damaged in the trail.
///
/// # Errors
/// As [`read`], and [`Error::Export`] if `out` fails.
pub fn export_csv(path: impl AsRef<Path>, out: impl Write) -> Result<Vec<Damage>, Error> {
    let mut takes = Vec::new();
    let mut struck = BTreeMap::new();
    let mut damage = Vec::new();
    for item in read(path)? {
        match item {
            Ok(Record {
                number,
                body: Body::Entry(Entry { at, event }),
                ..
            }) => match event {
                Event::Took(take) => takes.push((number, at, take)),
                Event::Struck { take, why } => {
                    struck.insert(take, why);
                }
                _ => {}
            },
            Ok(_) => {}
            Err(found) => damage.push(found),
        }
    }
    let mut csv = csv::Writer::from_writer(out);
    for (number, at, take) in &takes {
        let why = struck.get(&take.take).map_or("", String::as_str);
        let times = (rfc3339(at.wall_us).unwrap_or_default(), at.steady.0);
        csv.serialize(Row::of(*number, times, take, why))
            .map_err(csv_error)?;
    }
    if takes.is_empty() {
        csv.write_record(COLUMNS).map_err(csv_error)?;
    }
    csv.flush().map_err(Error::Export)?;
    Ok(damage)
}

fn csv_error(error: csv::Error) -> Error {
    Error::Export(io::Error::from(error))
}

/// The columns of the CSV, in order.
const COLUMNS: [&str; 28] = [
    "record",
    "at",
    "steady_us",
    "take",
    "ask",
    "meter",
    "function",
    "point_1",
    "point_2",
    "power",
    "lifted",
    "cooled",
    "display",
    "display_unit",
    "flags",
    "value",
    "uncertainty",
    "unit",
    "leads_ohm",
    "class",
    "probability",
    "too_close",
    "lower",
    "upper",
    "source",
    "status",
    "verdict",
    "struck",
];

/// A take as a row: the fields are the columns.
#[derive(Serialize)]
struct Row<'a> {
    record: u32,
    at: String,
    steady_us: u64,
    take: u32,
    ask: Option<u32>,
    meter: u16,
    function: &'static str,
    point_1: &'a str,
    point_2: &'a str,
    power: &'static str,
    lifted: String,
    cooled: bool,
    display: String,
    display_unit: String,
    flags: String,
    value: Option<f64>,
    uncertainty: Option<f64>,
    unit: &'static str,
    leads_ohm: f64,
    class: Option<&'static str>,
    probability: Option<f32>,
    too_close: Option<bool>,
    lower: Option<f64>,
    upper: Option<f64>,
    source: Option<&'a str>,
    status: Option<&'a str>,
    verdict: Option<&'a str>,
    struck: &'a str,
}

impl<'a> Row<'a> {
    fn of(record: u32, (at, steady_us): (String, u64), take: &'a Take, struck: &'a str) -> Self {
        let shown = Displayed::of(take.function, take.shown);
        let verdict = take.verdict.as_ref();
        let [point_1, point_2] = &take.points;
        Row {
            record,
            at,
            steady_us,
            take: take.take,
            ask: take.ask,
            meter: take.meter.0,
            function: take.function.name(),
            point_1,
            point_2,
            power: match take.state.power {
                Power::Off => "off",
                Power::On => "on",
            },
            lifted: take.state.lifted.join(" "),
            cooled: take.state.cooled,
            display: shown.digits,
            display_unit: shown.unit,
            flags: take.flags.names().collect::<Vec<_>>().join(" "),
            value: Some(take.value).filter(|v| v.is_finite()),
            uncertainty: Some(take.uncertainty).filter(|u| u.is_finite()),
            unit: take.function.ucum(),
            leads_ohm: take.leads,
            class: verdict.map(|v| v.class.word()),
            probability: verdict.map(|v| v.likely.of(v.class)),
            too_close: verdict.map(|v| v.too_close),
            lower: verdict.and_then(|v| v.lower),
            upper: verdict.and_then(|v| v.upper),
            source: verdict.map(|v| v.source.as_str()),
            status: verdict.map(|v| v.status.as_str()),
            verdict: verdict.map(|v| v.words.as_str()),
            struck,
        }
    }
}

/// Writes everything in a trail as JSON lines, one for each record and each damage, in the order of
/// the file. Returns what is damaged.
///
/// # Errors
/// As [`read`], and [`Error::Export`] if `out` fails.
pub fn export_jsonl(path: impl AsRef<Path>, mut out: impl Write) -> Result<Vec<Damage>, Error> {
    let mut damage = Vec::new();
    for item in read(path)? {
        let line = match item {
            Ok(record) => json_line(&record),
            Err(found) => {
                let line = damage_line(&found);
                damage.push(found);
                Ok(line)
            }
        };
        let line = line.map_err(|e| Error::Export(e.into()))?;
        writeln!(out, "{line}").map_err(Error::Export)?;
    }
    out.flush().map_err(Error::Export)?;
    Ok(damage)
}

/// The line of [`export_jsonl`] for one record.
///
/// # Errors
/// What the JSON writer says; no record of this program brings it about.
pub fn json_line(record: &Record) -> serde_json::Result<Value> {
    let mut line = Map::new();
    match &record.body {
        Body::Entry(entry) => return entry_line(record.number, &record.hash, entry),
        Body::Cut(note) => {
            line.insert("cut".into(), serde_json::to_value(note)?);
        }
        Body::Unknown { kind, version } => {
            line.insert("unknown".into(), json!({"kind": kind, "version": version}));
        }
    }
    line.insert("record".into(), record.number.into());
    line.insert("hash".into(), record.hash.to_string().into());
    Ok(Value::Object(line))
}

/// The line of [`export_jsonl`] for an entry in the record of that number and chain hash.
///
/// # Errors
/// As [`json_line`].
pub fn entry_line(number: u32, hash: &Hash, entry: &Entry) -> serde_json::Result<Value> {
    let (name, mut data) = named(&entry.event)?;
    show(&mut data);
    Ok(json!({
        "record": number,
        "hash": hash.to_string(),
        "at": rfc3339(entry.at.wall_us),
        "steady_us": entry.at.steady.0,
        "event": name,
        "data": data,
    }))
}

fn damage_line(damage: &Damage) -> Value {
    json!({"damage": {
        "record": damage.record,
        "offset": damage.offset,
        "bytes": damage.bytes,
        "words": damage.to_string(),
    }})
}

/// The event's name and its fields. By way of text, so that an `f32` keeps its short digits.
fn named(event: &Event) -> serde_json::Result<(String, Value)> {
    match serde_json::from_str(&serde_json::to_string(event)?)? {
        Value::Object(fields) => Ok(fields.into_iter().next().unwrap_or_default()),
        Value::String(name) => Ok((name, Value::Null)),
        other => Ok((String::new(), other)),
    }
}

/// Wherever a reading stands, puts what the display showed in place of mantissa and exponent, and
/// the names of the annunciators in place of their bits; a streamed reading's time is named as the
/// steady clock's.
fn show(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            if let Some((displayed, flags)) = reading(fields) {
                fields.remove("shown");
                fields.insert("display".into(), displayed.digits.into());
                fields.insert("unit".into(), displayed.unit.into());
                fields.insert("flags".into(), flags.names().collect::<Vec<_>>().into());
                if let Some(at) = fields.remove("at") {
                    fields.insert("steady_us".into(), at);
                }
            }
            fields.values_mut().for_each(show);
        }
        Value::Array(values) => values.iter_mut().for_each(show),
        _ => {}
    }
}

fn reading(fields: &Map<String, Value>) -> Option<(Displayed, Flags)> {
    let function = Function::by_name(fields.get("function")?.as_str()?)?;
    let shown: Shown = serde_json::from_value(fields.get("shown")?.clone()).ok()?;
    let flags: Flags = serde_json::from_value(fields.get("flags")?.clone()).ok()?;
    Some((Displayed::of(function, shown), flags))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_those_of_rfc_3339() {
        // RFC 3339 section 5.8, first example; the seconds since 1970 by `date -u +%s`.
        assert_eq!(
            rfc3339(482_196_050_520_000).as_deref(),
            Some("1985-04-12T23:20:50.520000Z")
        );
        assert_eq!(rfc3339(-1).as_deref(), Some("1969-12-31T23:59:59.999999Z"));
        assert_eq!(rfc3339(i64::MAX), None);
        assert_eq!(rfc3339(i64::MIN), None);
    }
}
