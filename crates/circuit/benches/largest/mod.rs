//! The built-in sheet with the largest table: most checks times faults.

use ohmtrail_circuit::sheet::{BUILTIN, Sheet, read_builtin};

/// Reads it.
pub fn largest() -> Sheet {
    BUILTIN
        .iter()
        .filter_map(|(name, _)| read_builtin(name))
        .map(|sheet| sheet.expect("a built-in sheet reads"))
        .max_by_key(|sheet| sheet.checks.len() * sheet.faults.len())
        .expect("there are built-in sheets")
}
