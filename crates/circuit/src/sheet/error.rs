//! What is wrong with a sheet: which file, which line, and what to do.

use std::fmt;

/// A place in a sheet's text.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Place {
    /// The file, or the built-in sheet's name.
    pub file: String,
    /// The line, counted from 1.
    pub line: usize,
}

/// Where things of a sheet are written, each in the order of the sheet's own list.
#[derive(Debug, Clone, Default)]
pub struct Places {
    /// Of each part.
    pub parts: Vec<Place>,
    /// Of each wire.
    pub wires: Vec<Place>,
    /// Of each lifted set.
    pub lifts: Vec<Place>,
    /// Of each check; of a look, its part's.
    pub checks: Vec<Place>,
    /// Of `[dead]`.
    pub dead: Option<Place>,
    /// Of `[words.es]`.
    pub words: Option<Place>,
}

/// One thing wrong with a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file, or the built-in sheet's name.
    pub file: String,
    /// The line, counted from 1.
    pub line: usize,
    /// What is wrong.
    pub what: String,
    /// What to do about it.
    pub remedy: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}:{}: {}; {}",
            self.file, self.line, self.what, self.remedy
        )
    }
}

/// Everything wrong with a sheet, in the order of its lines, then of those it is based on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetError {
    /// The problems; never empty.
    pub problems: Vec<Problem>,
}

impl fmt::Display for SheetError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.problems.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for SheetError {}
