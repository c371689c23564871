//! A configuration file's text to values, by the table of keys; everything wrong with it at once.

use std::fmt;
use std::ops::Range;

use ohmtrail_circuit::sheet::did_you_mean;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::keys::{self, Key, Kind, METER, TABLES};

/// One thing wrong with a configuration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file.
    pub file: String,
    /// The line, counted from 1.
    pub line: usize,
    /// The key; empty if it is about more than one.
    pub key: String,
    /// What is wrong.
    pub what: String,
    /// What to do about it.
    pub remedy: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: ", self.file, self.line)?;
        if !self.key.is_empty() {
            write!(f, "{}: ", self.key)?;
        }
        write!(f, "{}; {}", self.what, self.remedy)
    }
}

/// A key's value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Value {
    /// Of a text, a path or a word.
    Text(String),
    /// Of a list of texts.
    Texts(Vec<String>),
    /// Of a count.
    Count(u64),
    /// Of a switch.
    Switch(bool),
}

/// Where a value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum From {
    /// Nobody gave one.
    Default,
    /// This line of the file.
    Line(usize),
    /// The command line.
    Flag,
}

/// The values of one table.
#[derive(Debug, Clone, Default)]
pub struct Values {
    /// The line it begins at.
    pub line: usize,
    /// By the key's name.
    pub values: Vec<(&'static Key, Value, From)>,
}

impl Values {
    /// What every key of that table is if nobody gives it.
    pub fn defaults(table: &str) -> Self {
        let values = keys::of(table).filter_map(|key| {
            let text = format!("x = {}", key.default?);
            let parsed = DeTable::parse(&text).ok()?;
            let (_, value) = parsed.get_ref().iter().next()?;
            Some((key, read(key, value).ok()?, From::Default))
        });
        Values {
            line: 0,
            values: values.collect(),
        }
    }

    /// Puts a value in place of what was there.
    pub fn set(&mut self, key: &'static Key, value: Value, from: From) {
        self.values.retain(|(k, ..)| k.name != key.name);
        self.values.push((key, value, from));
    }

    /// The value of that key, if there is one.
    pub fn get(&self, name: &str) -> Option<(&Value, From)> {
        let found = self.values.iter().find(|(key, ..)| key.name == name);
        found.map(|(_, value, from)| (value, *from))
    }
}

/// A file's tables.
#[derive(Debug, Clone)]
pub struct Tables {
    /// By name, without the meters.
    pub single: Vec<(&'static str, Values)>,
    /// The meters in the order of the file.
    pub meters: Vec<Values>,
}

impl Tables {
    /// The tables if no file is there.
    pub fn defaults() -> Self {
        let single = TABLES.iter().filter(|(name, _)| *name != METER);
        Tables {
            single: single
                .map(|(name, _)| (*name, Values::defaults(name)))
                .collect(),
            meters: Vec::new(),
        }
    }

    /// The table of that name.
    pub fn table_mut(&mut self, name: &str) -> Option<&mut Values> {
        let found = self.single.iter_mut().find(|(n, _)| *n == name);
        found.map(|(_, values)| values)
    }
}

/// What reads one file.
pub struct Reader<'t> {
    file: &'t str,
    text: &'t str,
    problems: Vec<Problem>,
}

/// Reads a file's text; the problems are in the order of the lines, and none if all is well.
pub fn tables(file: &str, text: &str) -> (Tables, Vec<Problem>) {
    let mut reader = Reader {
        file,
        text,
        problems: Vec::new(),
    };
    let tables = reader.tables();
    reader.problems.sort_by_key(|p| p.line);
    (tables, reader.problems)
}

impl Reader<'_> {
    fn tables(&mut self) -> Tables {
        let mut tables = Tables::defaults();
        let (parsed, errors) = DeTable::parse_recoverable(self.text);
        if !errors.is_empty() {
            // What is left of a broken file may be misread: only its breaks are named.
            for e in errors {
                let at = e.span().unwrap_or(0..0);
                self.problem(
                    at,
                    "",
                    format!("not TOML: {}", e.message()),
                    "correct this line",
                );
            }
            return tables;
        }
        let top = parsed.get_ref();
        let names: Vec<&str> = TABLES
            .iter()
            .map(|(name, _)| *name)
            .filter(|n| !n.is_empty())
            .collect();
        for (name, value) in top.iter() {
            let word = name.get_ref().as_ref();
            if !names.contains(&word) {
                self.top_key(&names, word, name.span(), value, &mut tables);
            } else if word == METER {
                self.meters(value, &mut tables);
            } else if let Some(inside) = value.get_ref().as_table() {
                if let Some(values) = tables.table_mut(word) {
                    self.keys(word, inside, values);
                }
            } else {
                let what = format!("this is a {}", value.get_ref().type_str());
                self.problem(
                    name.span(),
                    word,
                    what,
                    format!("write it as a table, `[{word}]`"),
                );
            }
        }
        tables
    }

    /// A key at the top of the file, or what is neither a table nor a key.
    fn top_key(
        &mut self,
        names: &[&str],
        word: &str,
        span: Range<usize>,
        value: &Spanned<DeValue<'_>>,
        tables: &mut Tables,
    ) {
        if let Some(key) = keys::of("").find(|k| k.name == word) {
            if let (Some(value), Some(values)) = (self.value(key, value), tables.table_mut("")) {
                values.set(key, value, From::Line(self.line(&span)));
            }
            return;
        }
        let known: Vec<&str> = keys::of("")
            .map(|k| k.name)
            .chain(names.iter().copied())
            .collect();
        // A key in the wrong place is likelier than a misspelt table.
        let remedy = match keys::KEYS.iter().find(|k| k.name == word) {
            Some(key) => format!("it belongs in the table `[{}]`", key.table),
            None => format!(
                "{}known here are {}",
                did_you_mean(word, known.iter().copied()),
                known.join(", ")
            ),
        };
        self.problem(span, word, "there is no such key or table", remedy);
    }

    fn meters(&mut self, value: &Spanned<DeValue<'_>>, tables: &mut Tables) {
        let Some(list) = value.get_ref().as_array() else {
            let what = format!("this is a {}", value.get_ref().type_str());
            self.problem(
                value.span(),
                METER,
                what,
                "write one `[[meter]]` for each meter",
            );
            return;
        };
        for item in list.iter() {
            let Some(inside) = item.get_ref().as_table() else {
                let what = format!("this is a {}", item.get_ref().type_str());
                self.problem(
                    item.span(),
                    METER,
                    what,
                    "write one `[[meter]]` for each meter",
                );
                continue;
            };
            let mut values = Values::defaults(METER);
            values.line = self.line(&item.span());
            self.keys(METER, inside, &mut values);
            for key in keys::of(METER).filter(|k| k.default.is_none()) {
                let is_written = inside.iter().any(|(k, _)| k.get_ref().as_ref() == key.name);
                if !is_written {
                    let what = "this meter lacks it";
                    let remedy = format!("add `{} = \"…\"`", key.name);
                    self.problem(item.span(), &full_name(key), what, remedy);
                }
            }
            self.is_named_once(&values, &tables.meters);
            tables.meters.push(values);
        }
    }

    fn is_named_once(&mut self, meter: &Values, before: &[Values]) {
        let Some((Value::Text(name), From::Line(line))) = meter.get("name") else {
            return;
        };
        let same =
            |other: &&Values| matches!(other.get("name"), Some((Value::Text(n), _)) if n == name);
        if let Some(other) = before.iter().find(same) {
            self.problems.push(Problem {
                file: self.file.to_owned(),
                line,
                key: "meter.name".to_owned(),
                what: format!("`{name}` is also the meter's of line {}", other.line),
                remedy: "give each its own name".to_owned(),
            });
        }
    }

    fn keys(&mut self, table: &str, inside: &DeTable<'_>, values: &mut Values) {
        for (name, value) in inside.iter() {
            let word = name.get_ref().as_ref();
            match keys::of(table).find(|k| k.name == word) {
                Some(key) => {
                    if let Some(value) = self.value(key, value) {
                        values.set(key, value, From::Line(self.line(&name.span())));
                    }
                }
                None => {
                    let known: Vec<&str> = keys::of(table).map(|k| k.name).collect();
                    let remedy = format!(
                        "{}known here are {}",
                        did_you_mean(word, known.iter().copied()),
                        known.join(", ")
                    );
                    let key = format!("{table}.{word}");
                    self.problem(name.span(), &key, "there is no such key", remedy);
                }
            }
        }
    }

    fn value(&mut self, key: &'static Key, value: &Spanned<DeValue<'_>>) -> Option<Value> {
        match read(key, value) {
            Ok(value) => Some(value),
            Err((span, what, remedy)) => {
                self.problem(span, &full_name(key), what, remedy);
                None
            }
        }
    }

    fn problem(
        &mut self,
        at: Range<usize>,
        key: &str,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        self.problems.push(Problem {
            file: self.file.to_owned(),
            line: self.line(&at),
            key: key.to_owned(),
            what: what.into(),
            remedy: remedy.into(),
        });
    }

    fn line(&self, at: &Range<usize>) -> usize {
        let before = self.text.as_bytes().iter().take(at.start);
        1 + before.filter(|b| **b == b'\n').count()
    }
}

/// `listen.addresses`, or `data`.
pub fn full_name(key: &Key) -> String {
    if key.table.is_empty() {
        key.name.to_owned()
    } else {
        format!("{}.{}", key.table, key.name)
    }
}

type Wrong = (Range<usize>, String, String);

/// A value of the kind that the key wants.
fn read(key: &Key, value: &Spanned<DeValue<'_>>) -> Result<Value, Wrong> {
    let wrong_type = |value: &Spanned<DeValue<'_>>| {
        let what = format!("this is a {}", value.get_ref().type_str());
        (value.span(), what, format!("give {}", wanted(key.kind)))
    };
    let text = |value: &Spanned<DeValue<'_>>| {
        let text = value.get_ref().as_str().ok_or_else(|| wrong_type(value))?;
        match key.check.map(|check| check(text)) {
            Some(Err(why)) => Err((value.span(), why, "correct it".to_owned())),
            _ => Ok(text.to_owned()),
        }
    };
    match key.kind {
        Kind::Text | Kind::Path => text(value).map(Value::Text),
        Kind::Texts => {
            let list = value
                .get_ref()
                .as_array()
                .ok_or_else(|| wrong_type(value))?;
            list.iter()
                .map(text)
                .collect::<Result<_, _>>()
                .map(Value::Texts)
        }
        Kind::OneOf(words) => {
            let given = text(value)?;
            if !words.contains(&given.as_str()) {
                let near = did_you_mean(&given, words.iter().copied());
                let remedy = format!("{near}it is one of {}", words.join(", "));
                return Err((value.span(), format!("`{given}` is not known"), remedy));
            }
            Ok(Value::Text(given))
        }
        Kind::Count { min, max, .. } => {
            let DeValue::Integer(number) = value.get_ref() else {
                return Err(wrong_type(value));
            };
            let digits = number.as_str().replace('_', "");
            match u64::from_str_radix(&digits, number.radix()) {
                Ok(n) if (min..=max).contains(&n) => Ok(Value::Count(n)),
                _ => Err((
                    value.span(),
                    format!("{digits} is out of range"),
                    format!("give {}", wanted(key.kind)),
                )),
            }
        }
        Kind::Switch => match value.get_ref().as_bool() {
            Some(on) => Ok(Value::Switch(on)),
            None => Err(wrong_type(value)),
        },
    }
}

/// What a key wants, in words.
pub fn wanted(kind: Kind) -> String {
    match kind {
        Kind::Text => "a text in quotes".to_owned(),
        Kind::Path => "a path in quotes".to_owned(),
        Kind::Texts => "a list of texts".to_owned(),
        Kind::OneOf(words) => format!("one of {}", words.join(", ")),
        Kind::Count { min, max, unit } => format!("a whole number of {unit}, {min} to {max}"),
        Kind::Switch => "true or false".to_owned(),
    }
}
