//! What is fuzzed: a function for each place where bytes of others come in. Each takes any bytes, and
//! panics if something does not hold that must. `tests/fuzz` searches for such bytes, and
//! `tests/tests/fuzz_corpus.rs` runs what was found on the way: docs/fuzzing.md.
#![forbid(unsafe_code)]

mod api;
mod host;
mod meters;
mod replay;
mod script;
mod station;
mod texts;
mod trails;

/// One place where bytes of others come in.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    /// Its name, and that of its corpus's folder.
    pub name: &'static str,
    /// What must hold for any bytes.
    pub run: fn(&[u8]),
}

/// Every target.
pub const TARGETS: &[Target] = &[
    Target {
        name: "lcd14",
        run: |bytes| meters::frames("lcd14", bytes),
    },
    Target {
        name: "ascii14",
        run: |bytes| meters::frames("ascii14", bytes),
    },
    Target {
        name: "count14",
        run: |bytes| meters::frames("count14", bytes),
    },
    Target {
        name: "scpi",
        run: |bytes| meters::answers("scpi", bytes),
    },
    Target {
        name: "lines",
        run: |bytes| meters::answers("lines", bytes),
    },
    Target {
        name: "gatt",
        run: meters::characteristic,
    },
    Target {
        name: "guess",
        run: meters::guess,
    },
    Target {
        name: "sheet",
        run: texts::sheet,
    },
    Target {
        name: "profile",
        run: texts::profile,
    },
    Target {
        name: "config",
        run: texts::config,
    },
    Target {
        name: "trail",
        run: trails::trail,
    },
    Target {
        name: "replay",
        run: replay::replay,
    },
    Target {
        name: "box-host",
        run: host::host,
    },
    Target {
        name: "box",
        run: station::station,
    },
    Target {
        name: "api",
        run: api::bodies,
    },
];

/// The target of that name.
///
/// # Panics
/// If there is none.
#[must_use]
pub fn target(name: &str) -> Target {
    let found = TARGETS.iter().find(|t| t.name == name);
    *found.unwrap_or_else(|| panic!("no target {name}"))
}
