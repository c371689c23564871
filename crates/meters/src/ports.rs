//! The serial ports that are plugged in.

use std::path::{Path, PathBuf};

/// Serial ports by their lasting names; those without one by the kernel's.
#[must_use]
pub fn ports() -> Vec<PathBuf> {
    let names = |folder: &str, keep: fn(&str) -> bool| -> Vec<PathBuf> {
        let Ok(entries) = std::fs::read_dir(folder) else {
            return Vec::new();
        };
        entries
            .filter_map(Result::ok)
            .filter(|e| e.file_name().to_str().is_some_and(keep))
            .map(|e| e.path())
            .collect()
    };
    let mut ports = names("/dev/serial/by-id", |_| true);
    let lasting: Vec<PathBuf> = ports
        .iter()
        .filter_map(|p| Path::canonicalize(p).ok())
        .collect();
    let kernel = names("/dev", |name| {
        ["ttyUSB", "ttyACM", "rfcomm"]
            .iter()
            .any(|start| name.starts_with(start))
    });
    ports.extend(kernel.into_iter().filter(|p| !lasting.contains(p)));
    ports.sort();
    ports
}
