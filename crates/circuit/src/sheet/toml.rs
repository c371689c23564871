//! TOML with its place in the file: every value can say which line it stands on.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::error::{Place, Problem};
use super::near::did_you_mean;

/// A text with its name, and the problems found in it.
pub(crate) struct Text<'t> {
    pub name: &'t str,
    pub text: &'t str,
    pub problems: &'t RefCell<Vec<Problem>>,
    /// What the sheets that are based on this one remove.
    pub removed: Vec<String>,
}

impl<'t> Text<'t> {
    /// The place that a span begins at.
    pub fn place(&self, span: &Range<usize>) -> Place {
        let before = self.text.as_bytes().iter().take(span.start);
        Place {
            file: self.name.to_owned(),
            line: 1 + before.filter(|b| **b == b'\n').count(),
        }
    }

    pub fn problem(&self, span: Range<usize>, what: impl Into<String>, remedy: impl Into<String>) {
        let Place { file, line } = self.place(&span);
        self.problems.borrow_mut().push(Problem {
            file,
            line,
            what: what.into(),
            remedy: remedy.into(),
        });
    }

    /// Whether that part, wire, lifted set, point, fault, look or check of this text is removed by a
    /// sheet that is based on it: itself, or what it is a point, fault or look of.
    pub fn is_removed(&self, name: &str) -> bool {
        let of = name.split('.').next().unwrap_or_default();
        self.removed.iter().any(|r| r == name || r == of)
    }

    pub fn parse(&self) -> Option<Spanned<DeTable<'t>>> {
        match DeTable::parse(self.text) {
            Ok(table) => Some(table),
            Err(e) => {
                self.problem(
                    e.span().unwrap_or(0..0),
                    format!("not TOML: {}", e.message()),
                    "correct this line",
                );
                None
            }
        }
    }
}

/// A table whose keys are used up one by one, so that what is left over is known.
pub(crate) struct Keys<'d, 't> {
    pub text: &'d Text<'t>,
    pub span: Range<usize>,
    table: &'d DeTable<'d>,
    used: RefCell<Vec<&'static str>>,
}

impl<'d, 't> Keys<'d, 't> {
    pub fn new(text: &'d Text<'t>, span: Range<usize>, table: &'d DeTable<'d>) -> Self {
        Keys {
            text,
            span,
            table,
            used: RefCell::new(Vec::new()),
        }
    }

    pub fn get(&self, key: &'static str) -> Option<&'d Spanned<DeValue<'d>>> {
        self.used.borrow_mut().push(key);
        self.table
            .iter()
            .find(|(k, _)| k.get_ref().as_ref() == key)
            .map(|(_, v)| v)
    }

    /// A text; none, with a problem, if it is another type.
    pub fn string(&self, key: &'static str) -> Option<(&'d str, Range<usize>)> {
        let value = self.get(key)?;
        let text = value.get_ref().as_str();
        if text.is_none() {
            self.wrong_type(value, key, "a text in quotes");
        }
        text.map(|t| (t, value.span()))
    }

    /// A text that must be there.
    pub fn need(&self, key: &'static str) -> Option<(&'d str, Range<usize>)> {
        if self.get(key).is_none() {
            self.text.problem(
                self.span.clone(),
                format!("`{key}` is missing"),
                format!("add `{key} = \"…\"` here"),
            );
        }
        self.string(key)
    }

    /// A number, or none.
    pub fn number(&self, key: &'static str) -> Option<f64> {
        let value = self.get(key)?;
        let number = match value.get_ref() {
            DeValue::Float(f) => f.as_str().parse().ok(),
            DeValue::Integer(i) => i.as_str().parse().ok(),
            _ => None,
        };
        if number.is_none_or(|n: f64| !n.is_finite()) {
            self.wrong_type(value, key, "a number");
            return None;
        }
        number
    }

    /// Yes or no, or none.
    pub fn boolean(&self, key: &'static str) -> Option<bool> {
        let value = self.get(key)?;
        let is = value.get_ref().as_bool();
        if is.is_none() {
            self.wrong_type(value, key, "true or false");
        }
        is
    }

    /// A list of texts; empty if absent.
    pub fn strings(&self, key: &'static str) -> Vec<(&'d str, Range<usize>)> {
        let Some(value) = self.get(key) else {
            return Vec::new();
        };
        let Some(array) = value.get_ref().as_array() else {
            self.wrong_type(value, key, "a list of texts");
            return Vec::new();
        };
        array
            .iter()
            .filter_map(|item| match item.get_ref().as_str() {
                Some(text) => Some((text, item.span())),
                None => {
                    self.wrong_type(item, key, "a list of texts");
                    None
                }
            })
            .collect()
    }

    /// A list of texts, or a list of such lists: each by itself, a plain one as the only one.
    pub fn lists(&self, key: &'static str) -> Vec<Vec<(&'d str, Range<usize>)>> {
        let list = |item: &'d Spanned<DeValue<'d>>| match item.get_ref().as_str() {
            Some(text) => Some((text, item.span())),
            None => {
                self.wrong_type(item, key, "a list of texts, or of lists of texts");
                None
            }
        };
        let Some(array) = self.get(key).and_then(|v| v.get_ref().as_array()) else {
            return vec![self.strings(key)];
        };
        if array.iter().all(|item| item.get_ref().as_array().is_none()) {
            return vec![array.iter().filter_map(list).collect()];
        }
        array
            .iter()
            .map(|item| match item.get_ref().as_array() {
                Some(inner) => inner.iter().filter_map(list).collect(),
                None => list(item).into_iter().collect(),
            })
            .collect()
    }

    /// The names of a list that no sheet based on this one removes.
    pub fn left(&self, key: &'static str) -> Vec<(&'d str, Range<usize>)> {
        let mut names = self.strings(key);
        names.retain(|(name, _)| !self.text.is_removed(name));
        names
    }

    /// Whether a name of a list is removed by a sheet based on this one.
    pub fn lost(&self, key: &'static str) -> bool {
        self.strings(key)
            .iter()
            .any(|(n, _)| self.text.is_removed(n))
    }

    /// A list of tables (`[[key]]`); empty if absent.
    pub fn tables(&self, key: &'static str) -> Vec<Keys<'d, 't>> {
        let Some(value) = self.get(key) else {
            return Vec::new();
        };
        let Some(array) = value.get_ref().as_array() else {
            self.wrong_type(value, key, "a list of tables, `[[…]]`");
            return Vec::new();
        };
        array
            .iter()
            .filter_map(|item| match item.get_ref().as_table() {
                Some(table) => Some(Keys::new(self.text, item.span(), table)),
                None => {
                    self.wrong_type(item, key, "a list of tables, `[[…]]`");
                    None
                }
            })
            .collect()
    }

    /// A table, or none.
    pub fn table(&self, key: &'static str) -> Option<Keys<'d, 't>> {
        let value = self.get(key)?;
        match value.get_ref().as_table() {
            Some(table) => Some(Keys::new(self.text, value.span(), table)),
            None => {
                self.wrong_type(value, key, "a table, `[…]`");
                None
            }
        }
    }

    /// Where the table begins.
    pub fn place(&self) -> Place {
        self.text.place(&self.span)
    }

    /// Every key with its value, used or not.
    pub fn all(&self) -> impl Iterator<Item = (&'d str, Range<usize>, &'d Spanned<DeValue<'d>>)> {
        self.table
            .iter()
            .map(|(k, v)| (k.get_ref().as_ref(), k.span(), v))
    }

    /// Names the keys that nobody asked for.
    pub fn finish(&self) {
        let used = self.used.borrow();
        for (key, span, _) in self.all() {
            if !used.contains(&key) {
                let mut known = used.clone();
                known.sort_unstable();
                known.dedup();
                self.text.problem(
                    span,
                    format!("`{key}` is not a key of this table"),
                    format!(
                        "{}known keys are {}",
                        did_you_mean(key, known.iter().copied()),
                        known.join(", ")
                    ),
                );
            }
        }
    }

    fn wrong_type(&self, value: &Spanned<DeValue<'_>>, key: &str, want: &str) {
        self.text.problem(
            value.span(),
            format!("`{key}` is a {}", value.get_ref().type_str()),
            format!("give {want}"),
        );
    }
}
