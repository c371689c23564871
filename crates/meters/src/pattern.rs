//! The table `[lines]` of a profile: how a home-made box writes its lines, as a regular expression
//! with named groups.

use std::collections::BTreeMap;
use std::ops::Range as Span;

use ohmtrail_core::reading::{Flags, Function, Shown};
use regex::{Regex, RegexBuilder};
use serde::Deserialize;
use toml::Spanned;

use crate::decimal;
use crate::keyed::{self, KeyedError};
use crate::showing::{Reason, Showing};

/// How lines are read.
#[derive(Debug, Clone)]
pub struct Pattern {
    line: Regex,
    function: Option<Function>,
    functions: BTreeMap<String, Function>,
    unit: Option<String>,
    flags: BTreeMap<String, Flags>,
    overload: Vec<String>,
    /// The byte that ends a line.
    pub(crate) end: u8,
    /// What is sent to ask for a line, and how often, in microseconds.
    pub(crate) ask: Option<(Vec<u8>, u64)>,
}

impl PartialEq for Pattern {
    fn eq(&self, other: &Self) -> bool {
        let of = |p: &Pattern| {
            (
                p.line.as_str().to_owned(),
                p.function,
                p.functions.clone(),
                p.unit.clone(),
                p.flags.clone(),
                p.overload.clone(),
                p.end,
                p.ask.clone(),
            )
        };
        of(self) == of(other)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(crate) struct Table {
    pattern: Spanned<String>,
    function: Option<Spanned<String>>,
    functions: Option<BTreeMap<String, Spanned<String>>>,
    unit: Option<Spanned<String>>,
    flags: Option<BTreeMap<String, Spanned<String>>>,
    overload: Option<Vec<String>>,
    end: Option<Spanned<String>>,
    poll: Option<Spanned<String>>,
    every_ms: Option<Spanned<u64>>,
}

/// The groups that a pattern may have.
const GROUPS: [&str; 4] = ["value", "unit", "function", "flags"];
/// The most that a compiled pattern may take, bytes; the time to match is bounded by its size and
/// the line's in any case.
const SIZE: usize = 1 << 20;
/// From one question to the next, in milliseconds.
const EVERY_MS: std::ops::RangeInclusive<u64> = 20..=1_000;
/// The longest question.
const POLL: usize = 64;

type Wrong = (Span<usize>, String);

/// The function of that name.
pub(crate) fn function(name: &Spanned<String>) -> Result<Function, Wrong> {
    Function::by_name(name.get_ref()).ok_or_else(|| {
        let names: Vec<&str> = Function::ALL.iter().map(|f| f.name()).collect();
        (
            name.span(),
            format!(
                "function `{}` is not known; one of {}",
                name.get_ref(),
                names.join(", ")
            ),
        )
    })
}

fn compile(pattern: &Spanned<String>) -> Result<Regex, Wrong> {
    let wrong = |what: String| (pattern.span(), what);
    let text = pattern.get_ref();
    let build = |text: &str| RegexBuilder::new(text).size_limit(SIZE).build();
    // By itself first, so that its own faults are told, and not those of what is put around it.
    build(text).map_err(|e| {
        let words = e.to_string();
        let last = words.lines().last().unwrap_or_default().trim();
        wrong(format!(
            "pattern: {}",
            last.strip_prefix("error: ").unwrap_or(last)
        ))
    })?;
    let whole = build(&format!(r"\A(?:{text})\z")).map_err(|e| wrong(format!("pattern: {e}")))?;
    let mut has_value = false;
    for name in whole.capture_names().flatten() {
        has_value |= name == "value";
        if !GROUPS.contains(&name) {
            return Err(wrong(format!(
                "pattern: group `{name}` is not known; one of {}",
                GROUPS.join(", ")
            )));
        }
    }
    if !has_value {
        return Err(wrong(
            "pattern: no group `value`: write (?<value>…) around the digits".into(),
        ));
    }
    Ok(whole)
}

impl Table {
    /// Checks the table.
    pub(crate) fn check(self) -> Result<Pattern, Wrong> {
        let line = compile(&self.pattern)?;
        let at = self.pattern.span();
        let has = |group: &str| line.capture_names().flatten().any(|name| name == group);
        let fixed = self.function.as_ref().map(function).transpose()?;
        if fixed.is_none() && !has("function") {
            let what =
                "say what is measured: function = \"ohms\" or another, or a group (?<function>…)";
            return Err((at, what.into()));
        }
        if self.unit.is_none() && !has("unit") {
            let what = "say the unit: unit = \"mV\" or another, or a group (?<unit>…)";
            return Err((at, what.into()));
        }
        if let (Some(unit), Some(fixed)) = (&self.unit, fixed)
            && unit.get_ref() != fixed.ucum()
            && let Err(e) = keyed::parse("0", unit.get_ref(), fixed)
        {
            return Err((unit.span(), e.to_string()));
        }
        let mut functions = BTreeMap::new();
        for (word, name) in self.functions.into_iter().flatten() {
            functions.insert(word, function(&name)?);
        }
        let mut flags = BTreeMap::new();
        for (word, name) in self.flags.into_iter().flatten() {
            let flag = Flags::by_name(name.get_ref()).ok_or_else(|| {
                let all: Vec<&str> = Flags(u16::MAX).names().collect();
                (
                    name.span(),
                    format!(
                        "flag `{}` is not known; one of {}",
                        name.get_ref(),
                        all.join(", ")
                    ),
                )
            })?;
            flags.insert(word, flag);
        }
        let end = match self.end {
            None => b'\n',
            Some(end) => match end.get_ref().as_str() {
                "\n" | "\r\n" => b'\n',
                "\r" => b'\r',
                _ => {
                    let what = "end is one of \"\\n\", \"\\r\\n\" and \"\\r\"";
                    return Err((end.span(), what.into()));
                }
            },
        };
        let ask = match (self.poll, self.every_ms) {
            (None, None) => None,
            (None, Some(every)) => {
                let what = "every-ms without poll: say what is sent";
                return Err((every.span(), what.into()));
            }
            (Some(poll), every) => {
                let text = poll.get_ref();
                if text.is_empty() || text.len() > POLL {
                    let what = format!("poll is 1 to {POLL} bytes, with its line's end");
                    return Err((poll.span(), what));
                }
                let every_ms = match every {
                    None => 500,
                    Some(ms) if EVERY_MS.contains(ms.get_ref()) => ms.into_inner(),
                    Some(ms) => {
                        let (least, most) = (EVERY_MS.start(), EVERY_MS.end());
                        let what = format!("every-ms is from {least} to {most}");
                        return Err((ms.span(), what));
                    }
                };
                Some((text.clone().into_bytes(), every_ms * 1_000))
            }
        };
        Ok(Pattern {
            line,
            function: fixed,
            functions,
            unit: self.unit.map(Spanned::into_inner),
            flags,
            overload: self.overload.unwrap_or_default(),
            end,
            ask,
        })
    }
}

impl Pattern {
    /// What a line says.
    ///
    /// # Errors
    /// The [`Reason`] why it is refused.
    pub fn read(&self, line: &str) -> Result<Showing, Reason> {
        let groups = self.line.captures(line).ok_or(Reason::Text)?;
        let group = |name: &str| groups.name(name).map(|m| m.as_str().trim());
        let value = group("value").ok_or(Reason::Text)?;
        let function = match group("function") {
            Some(word) => self
                .functions
                .get(word)
                .copied()
                .or_else(|| Function::by_name(word))
                .ok_or(Reason::FunctionCode)?,
            None => self.function.ok_or(Reason::FunctionCode)?,
        };
        let unit = group("unit").or(self.unit.as_deref()).unwrap_or_default();
        let mut flags = Flags::NONE;
        let words = group("flags").unwrap_or_default();
        for word in words.split([' ', '\t', ',', ';']).filter(|w| !w.is_empty()) {
            let flag = self.flags.get(word).copied();
            flags = flags.with(
                flag.or_else(|| Flags::by_name(word))
                    .ok_or(Reason::Symbols)?,
            );
        }
        let shown = if self.overload.iter().any(|word| word == value) {
            Shown::Overload
        } else {
            shown(value, unit, function)?
        };
        Ok(Showing {
            function,
            shown,
            flags,
        })
    }
}

/// The digits as they stand, with an exponent where there is one; overload and dashes as typed
/// values have them.
fn shown(value: &str, unit: &str, function: Function) -> Result<Shown, Reason> {
    let mut number = decimal::parse(value);
    // A box that writes exponents needs no prefix: farads stand for themselves.
    if let Some(number) = number
        && unit == function.ucum()
    {
        return Ok(Shown::Value(number));
    }
    // A meter's digits are kept as they are.
    if keyed::is_converted(unit, function) {
        return Err(Reason::NotCarried);
    }
    let text = if number.is_some() { "0" } else { value };
    let plain = keyed::parse(text, unit, function).map_err(|e| match e {
        KeyedError::NoUnit { .. } => Reason::NoUnit,
        KeyedError::WrongUnit { .. } | KeyedError::TwoUnits(..) => Reason::Units,
        _ => Reason::Digits,
    })?;
    if let (Some(number), Shown::Value(zero)) = (&mut number, plain) {
        // The zero stands at the unit's own power of ten.
        let power = i16::from(number.exponent) + i16::from(zero.exponent);
        number.exponent = i8::try_from(power).map_err(|_| Reason::Digits)?;
    }
    Ok(number.map_or(plain, Shown::Value))
}
