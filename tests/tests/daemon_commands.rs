//! The HTTP API does what the command line does: every command has its operations, or is in the list of
//! those that make no sense over HTTP. A new command fails here until it is in the table.

use std::collections::{BTreeMap, BTreeSet};

use ohmtrail_tests::cli::{ohmtrail, workspace};
use ohmtrail_tests::client::Daemon;

/// How the API serves a command.
enum Served {
    /// By these operations.
    By(&'static [&'static str]),
    /// Not, and why.
    Not(&'static str),
}

use Served::{By, Not};

const TABLE: &[(&str, Served)] = &[
    (
        "demo",
        Not("plays an invented technician at a simulated unit, to show what a visit is"),
    ),
    (
        "visit",
        By(&[
            "post /api/v1/visits",
            "post /api/v1/visits/{visit}/repair",
            "get /api/v1/visits/{visit}/now",
            "post /api/v1/visits/{visit}/asks/{ask}/look",
            "post /api/v1/visits/{visit}/asks/{ask}/watch",
            "post /api/v1/visits/{visit}/asks/{ask}/display",
            "post /api/v1/visits/{visit}/asks/{ask}/done",
            "post /api/v1/visits/{visit}/asks/{ask}/skip",
            "post /api/v1/visits/{visit}/close",
        ]),
    ),
    (
        "isolate",
        By(&[
            "post /api/v1/visits",
            "post /api/v1/visits/{visit}/takes",
            "post /api/v1/visits/{visit}/takes/{take}/strike",
            "get /api/v1/visits/{visit}/suspects",
            "get /api/v1/visits/{visit}/finding",
        ]),
    ),
    (
        "paper",
        By(&[
            "get /api/v1/visits/{visit}/tag",
            "get /api/v1/visits/{visit}/write-up",
        ]),
    ),
    ("quote add", By(&["post /api/v1/visits/{visit}/quote"])),
    ("quote show", By(&["get /api/v1/visits/{visit}/quote"])),
    (
        "quote decide",
        By(&["post /api/v1/visits/{visit}/decision"]),
    ),
    ("check list", By(&["get /api/v1/rules"])),
    ("check supply", CHECKS),
    ("check drop", CHECKS),
    ("check unbalance", CHECKS),
    ("check control", CHECKS),
    ("check discharge", CHECKS),
    ("check capacitor", CHECKS),
    ("check under-load", CHECKS),
    ("check winding", CHECKS),
    ("check terminals", CHECKS),
    ("check spread", CHECKS),
    ("check temperature", CHECKS),
    ("check cooldown", CHECKS),
    ("check hermetic", CHECKS),
    ("check open-motor", CHECKS),
    ("check large-hermetic", CHECKS),
    ("check motor-current", CHECKS),
    ("check compressor-current", CHECKS),
    ("check saturation", CHECKS),
    ("check superheat", CHECKS),
    ("check subcooling", CHECKS),
    ("check target-superheat", CHECKS),
    ("check air", CHECKS),
    ("check split", CHECKS),
    ("check compression", CHECKS),
    ("check charge", CHECKS),
    ("fits capacitor", STOCK),
    ("fits contactor", STOCK),
    ("fits transformer", STOCK),
    ("fits motor", STOCK),
    ("fits relay", STOCK),
    ("fits numbered-part", STOCK),
    ("fits visit", STOCK),
    ("fits stock", STOCK),
    ("bench tray", TRAY),
    ("bench sorted", BENCH),
    ("bench repeat", BENCH),
    ("bench drift", BENCH),
    ("index rebuild", KEPT),
    ("index update", KEPT),
    (
        "index verify",
        Not("compares the file with a rebuild beside it, where the command runs"),
    ),
    ("index units", By(&["get /api/v1/index/units"])),
    ("index search", By(&["get /api/v1/index/search"])),
    ("index history", By(&["get /api/v1/index/history"])),
    ("index door", By(&["get /api/v1/index/door"])),
    ("index trend", By(&["get /api/v1/index/trends"])),
    (
        "index export",
        Not("hands whole tables on, where the command runs"),
    ),
    ("index kinds", By(&["get /api/v1/index/kinds"])),
    ("index push", PUSH),
    ("index fetch", PUSH),
    ("sheet list", By(&["get /api/v1/sheets"])),
    ("sheet kinds", By(&["get /api/v1/kinds"])),
    (
        "sheet new",
        Not("writes a file to begin with, where it is going to be edited"),
    ),
    ("sheet check", By(&["post /api/v1/sheets/check"])),
    ("sheet points", SHEET),
    ("sheet faults", SHEET),
    ("sheet looks", SHEET),
    ("sheet checks", SHEET),
    ("sheet complaints", SHEET),
    (
        "sheet draw",
        By(&[
            "get /api/v1/sheets/{sheet}/schematic.svg",
            "get /api/v1/visits/{visit}/asks/{ask}/picture.svg",
        ]),
    ),
    (
        "sheet netlist",
        Not("writes the input of a circuit simulator, which is run where the file is"),
    ),
    ("sheet priors", By(&["get /api/v1/priors"])),
    ("sheet costs", By(&["get /api/v1/costs"])),
    ("sheet compile", By(&["get /api/v1/sheets/{sheet}/table"])),
    (
        "trail verify",
        By(&["get /api/v1/visits/{visit}/trail/verify"]),
    ),
    (
        "trail show",
        By(&[
            "get /api/v1/visits/{visit}",
            "get /api/v1/visits/{visit}/readings",
        ]),
    ),
    (
        "trail export",
        By(&[
            "get /api/v1/visits/{visit}/trail.jsonl",
            "get /api/v1/visits/{visit}/trail.csv",
        ]),
    ),
    ("meters", By(&["get /api/v1/drivers", "get /api/v1/ports"])),
    (
        "meters watch",
        By(&[
            "post /api/v1/meters",
            "get /api/v1/meters/{meter}",
            "get /api/v1/events",
        ]),
    ),
    ("box load", BOX),
    ("box status", BOX),
    ("box log", BOX),
    ("box selftest", BOX),
    ("serve", Not("is what serves")),
    (
        "config check",
        Not("is asked before there is a daemon, of a file that it has not read"),
    ),
    (
        "config show",
        Not("names places of the machine, for whoever is at its console"),
    ),
    (
        "config pair",
        Not("shows a code at the console: who can ask for one has no need of it"),
    ),
    ("config sessions", By(&["get /sessions"])),
    (
        "config revoke",
        By(&["delete /sessions/{id}", "delete /sessions"]),
    ),
    ("completions", Not("is for a shell")),
    ("exit-codes", Not("is for a shell")),
];

const STOCK: Served =
    Not("reads the stock's file, which lies where the command runs; the daemon has no stock yet");
const BENCH: Served = Not("reads a table, which lies where the command runs");
const TRAY: Served = Not("measures at the bench where the command runs, with a meter of its own");
const KEPT: Served = By(&["get /api/v1/index"]);
const PUSH: Served =
    Not("goes out to a store or a database, with the keys to it; the daemon has none");
const CHECKS: Served = By(&["post /api/v1/checks"]);
const SHEET: Served = By(&["get /api/v1/sheets/{sheet}"]);
const BOX: Served = Not(
    "a box has one lead, for one program at a time: while the daemon reads it as a meter, nothing \
     else can be said to it",
);

/// The names of the commands that a command's help lists, and whether it can be run without one.
fn listed(path: &[String]) -> (Vec<String>, bool) {
    let mut command = ohmtrail();
    let out = command.args(path).arg("--help").output().expect("it runs");
    assert!(out.status.success(), "{path:?}");
    let help = String::from_utf8(out.stdout).expect("text");
    let names = help
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| line.is_empty() || line.starts_with("  "))
        .filter_map(|line| line.strip_prefix("  "))
        .filter(|line| !line.starts_with(' '))
        .filter_map(|line| line.split_whitespace().next());
    let names = names.filter(|name| *name != "help").map(str::to_owned);
    let optional = help
        .lines()
        .any(|line| line.starts_with("Usage: ") && line.ends_with("[COMMAND]"));
    (names.collect(), optional)
}

fn collect(path: &[String], found: &mut BTreeSet<String>) {
    let (names, optional) = listed(path);
    if !path.is_empty() && (names.is_empty() || optional) {
        found.insert(path.join(" "));
    }
    for name in names {
        collect(&[path, &[name]].concat(), found);
    }
}

#[test]
fn every_command_has_its_operations_or_a_reason() {
    let mut commands = BTreeSet::new();
    collect(&[], &mut commands);
    let table: BTreeMap<&str, &Served> = TABLE.iter().map(|(name, how)| (*name, how)).collect();
    assert_eq!(table.len(), TABLE.len(), "each command once");
    let named: BTreeSet<String> = table.keys().map(|name| (*name).to_owned()).collect();
    let missing: Vec<_> = commands.difference(&named).collect();
    assert!(
        missing.is_empty(),
        "commands without operations: {missing:?}"
    );
    let gone: Vec<_> = named.difference(&commands).collect();
    assert!(gone.is_empty(), "no commands any more: {gone:?}");

    let data = tempfile::tempdir().expect("a folder");
    let daemon = Daemon::start(data.path(), &[]);
    let document = daemon.get("/api/v1/openapi.json").good();
    for (command, how) in &table {
        match how {
            By(operations) => {
                assert!(!operations.is_empty(), "{command}");
                for operation in *operations {
                    let (method, path) = operation.split_once(' ').expect("a method and a path");
                    let there = document["paths"][path][method].is_object();
                    assert!(there, "{command}: {operation} is not in the document");
                }
            }
            Not(why) => assert!(why.len() > 10, "{command}: why?"),
        }
    }
    assert_eq!(daemon.stop(), 0);
}

const BEGIN: &str = "<!-- commands: made from tests/tests/daemon_commands.rs -->\n";
const END: &str = "<!-- end commands -->";

/// With `OHMTRAIL_BLESS` set, the page takes over the table.
#[test]
fn the_page_has_this_table() {
    let mut table = "| command | over HTTP |\n|---|---|\n".to_owned();
    let mut last = None;
    let mut rows: Vec<(String, String)> = Vec::new();
    for (command, how) in TABLE {
        let how = match how {
            By(operations) => {
                let upper = operations.iter().map(|operation| {
                    let (method, path) = operation.split_once(' ').expect("a method and a path");
                    format!("`{} {path}`", method.to_uppercase())
                });
                upper.collect::<Vec<_>>().join(", ")
            }
            Not(why) => format!("none: {why}"),
        };
        // Commands that are served alike share a row.
        if last.as_ref() == Some(&how)
            && let Some((commands, _)) = rows.last_mut()
        {
            commands.push_str(&format!(", `{command}`"));
        } else {
            rows.push((format!("`{command}`"), how.clone()));
        }
        last = Some(how);
    }
    for (commands, how) in rows {
        table.push_str(&format!("| {commands} | {how} |\n"));
    }
    let path = workspace().join("docs/daemon.md");
    let page = std::fs::read_to_string(&path).expect("the page");
    let (before, rest) = page.split_once(BEGIN).expect("the table begins");
    let (shown, after) = rest.split_once(END).expect("the table ends");
    if std::env::var_os("OHMTRAIL_BLESS").is_some() {
        std::fs::write(&path, format!("{before}{BEGIN}{table}{END}{after}")).expect("written");
        return;
    }
    assert_eq!(
        shown, table,
        "run it with OHMTRAIL_BLESS=1, and read the difference"
    );
}
