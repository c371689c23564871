//! Labels for the parts of a tray, on a sheet of paper.

use serde::Serialize;

/// One label.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Label {
    /// What is read from an arm's length.
    pub head: String,
    /// What is read close up.
    pub lines: Vec<String>,
}
