//! One value of a row, as the index keeps it and as exports have it.

use serde_json::Value as Json;

/// One value of a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// None.
    Null,
    /// A whole number; a yes or no is 1 or 0.
    Int(i64),
    /// A number, finite.
    Real(f64),
    /// Text.
    Text(String),
}

/// The values of one row, in the order of its table's columns.
pub type Row = Vec<Value>;

impl Value {
    /// As a whole number; none for every other value.
    #[must_use]
    pub const fn int(&self) -> Option<i64> {
        match self {
            Value::Int(n) => Some(*n),
            _ => None,
        }
    }

    /// As a number; none for text and for none.
    #[must_use]
    pub const fn real(&self) -> Option<f64> {
        match self {
            Value::Real(x) => Some(*x),
            Value::Int(n) => Some(*n as f64),
            _ => None,
        }
    }

    /// As text; empty for every other value.
    #[must_use]
    pub fn text(&self) -> &str {
        match self {
            Value::Text(text) => text,
            _ => "",
        }
    }

    /// As text; none for every other value.
    #[must_use]
    pub fn some_text(&self) -> Option<String> {
        match self {
            Value::Text(text) => Some(text.clone()),
            _ => None,
        }
    }

    /// Whether it is a 1.
    #[must_use]
    pub const fn yes(&self) -> bool {
        matches!(self, Value::Int(1))
    }

    /// As JSON.
    #[must_use]
    pub fn json(&self) -> Json {
        match self {
            Value::Null => Json::Null,
            Value::Int(n) => (*n).into(),
            Value::Real(x) => (*x).into(),
            Value::Text(text) => text.as_str().into(),
        }
    }
}

impl From<i64> for Value {
    fn from(n: i64) -> Self {
        Value::Int(n)
    }
}

impl From<u32> for Value {
    fn from(n: u32) -> Self {
        Value::Int(n.into())
    }
}

impl From<bool> for Value {
    fn from(yes: bool) -> Self {
        Value::Int(yes.into())
    }
}

/// A number that is none, as of an overload, is no value.
impl From<f64> for Value {
    fn from(x: f64) -> Self {
        if x.is_finite() {
            Value::Real(x)
        } else {
            Value::Null
        }
    }
}

/// A NUL, that ends a text for many programs, becomes a space.
impl From<String> for Value {
    fn from(text: String) -> Self {
        Value::Text(if text.contains('\0') {
            text.replace('\0', " ")
        } else {
            text
        })
    }
}

impl From<&str> for Value {
    fn from(text: &str) -> Self {
        text.to_owned().into()
    }
}

impl<T: Into<Value>> From<Option<T>> for Value {
    fn from(value: Option<T>) -> Self {
        value.map_or(Value::Null, Into::into)
    }
}
