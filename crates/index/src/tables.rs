//! The tables of the index: their columns, what they mean, and the SQL that makes them. The index
//! and every export is made from this one list.

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    /// A whole number; a yes or no is 1 or 0.
    Int,
    /// A number.
    Real,
    /// Text.
    Text,
}

/// A column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub of: Of,
    /// Whether it always has a value.
    pub always: bool,
    /// What it means, with its unit.
    pub about: &'static str,
}

/// A table. Its rows belong to visits: the first column is the visit.
#[derive(Debug, PartialEq, Eq)]
pub struct Table {
    /// Its name.
    pub name: &'static str,
    /// What a row is.
    pub about: &'static str,
    /// Its columns.
    pub columns: &'static [Column],
    /// How many of its first columns tell its rows apart.
    pub key: usize,
}

const fn int(name: &'static str, about: &'static str) -> Column {
    Column {
        name,
        of: Of::Int,
        always: true,
        about,
    }
}

const fn real(name: &'static str, about: &'static str) -> Column {
    Column {
        of: Of::Real,
        ..int(name, about)
    }
}

const fn text(name: &'static str, about: &'static str) -> Column {
    Column {
        of: Of::Text,
        ..int(name, about)
    }
}

const fn or_none(column: Column) -> Column {
    Column {
        always: false,
        ..column
    }
}

const VISIT: Column = int(
    "visit",
    "the visit's number: its opening in milliseconds since 1970, by the wall clock, and 20 bits of its trail's name",
);

/// The visits.
pub const VISITS: Table = Table {
    name: "visits",
    about: "a visit",
    columns: &[
        VISIT,
        text(
            "trail",
            "the trail's name for ever: the chain hash of its first record",
        ),
        text("head", "the chain hash of its last record: the head hash"),
        int("records", "whole records"),
        text("unit", "the unit, as the shop names it"),
        int("simulated", "1: nothing in it was measured on a real unit"),
        text("sheet", "the sheet"),
        or_none(int(
            "sheet_same",
            "1: the index was made with the very sheet of the visit; 0: with another version of it; empty: with none of that name",
        )),
        text("work_order", "the work order"),
        text("technician", "who made the visit"),
        int(
            "opened_us",
            "when it was opened, microseconds since 1970 by the wall clock",
        ),
        or_none(int("closed_us", "when it was closed")),
        or_none(text(
            "complaint",
            "what the customer reported, by the sheet's name for it",
        )),
        or_none(text(
            "outcome",
            "what the isolation came to: `faults`, `no-fault`, `none-of-these`, `undecided`",
        )),
        or_none(real("p", "the probability of that")),
        or_none(text(
            "proved",
            "how a repair came out: `proven`, `monitor`, `left off`",
        )),
        or_none(text("proved_why", "why it came out so")),
        or_none(text("left_power", "how the unit was left: `on`, `off`")),
        or_none(int("left_locked", "1: with a lock on it")),
        or_none(text("left_why", "why it was left so")),
        or_none(real("air", "the air around the unit as measured, Cel")),
        or_none(real("air_u", "its standard uncertainty, K")),
        or_none(text(
            "previous",
            "the head hash of the trail before it of the same unit",
        )),
        int("damage", "how many damages its trail has"),
    ],
    key: 1,
};

/// The takes.
pub const TAKES: Table = Table {
    name: "takes",
    about: "a take, struck and void ones too",
    columns: &[
        VISIT,
        int("take", "the take's number in the visit"),
        int("at_us", "when, microseconds since 1970 by the wall clock"),
        text("function", "what the meter was set to"),
        text("point_1", "the first point"),
        text("point_2", "the second point"),
        or_none(text(
            "part",
            "the part that it is a value of, as far as the sheet tells",
        )),
        or_none(text("kind", "that part's kind")),
        int("power", "1: under power"),
        int("cooled", "1: the motors had time to cool"),
        int(
            "at_start",
            "1: what the meter held of the start just made: the lowest volts, the highest amps",
        ),
        or_none(int(
            "off_us",
            "how long the unit had been off, microseconds; empty if that is not known",
        )),
        int("meter", "the meter's number in the visit"),
        int("assumed", "1: the meter's accuracy is the cautious default"),
        or_none(real(
            "value",
            "the value, leads taken off, in the function's base unit; empty for an overload",
        )),
        or_none(real("uncertainty", "its standard uncertainty, base unit")),
        or_none(text("class", "the most probable class")),
        or_none(real("likely", "that class's probability")),
        or_none(int("too_close", "1: too close to call")),
        or_none(real("lower", "the lower limit of *within*, base unit")),
        or_none(real("upper", "the upper limit of *within*, base unit")),
        or_none(text("source", "where the limits come from")),
        or_none(text("void", "why it does not count; empty if it does")),
    ],
    key: 2,
};

/// The faults found.
pub const FINDINGS: Table = Table {
    name: "findings",
    about: "a fault of the last finding of a visit",
    columns: &[
        VISIT,
        text("fault", "the fault, as the sheet names it"),
        int("simulated", "1: of a simulated unit"),
        text("part", "the part that is condemned, or the wire"),
        or_none(text("kind", "its kind; `wire` for a wire")),
        text("mode", "how it failed"),
        int("at_us", "when it was found"),
        real(
            "p",
            "the probability of all the faults of the finding together",
        ),
        or_none(text("role", "`root-cause`, `consequence` or `coincidence`")),
        int(
            "alike",
            "how many sets of faults no check from outside tells from the finding",
        ),
    ],
    key: 2,
};

/// The plates.
pub const PLATES: Table = Table {
    name: "plates",
    about: "a value read off a data plate or a part",
    columns: &[
        VISIT,
        int("record", "the record's number"),
        text("part", "the part, or `unit`"),
        text("what", "what it is"),
        text("value", "as printed"),
        text("unit_of", "its unit, a UCUM code"),
    ],
    key: 2,
};

/// The parts fitted.
pub const FITTED: Table = Table {
    name: "fitted",
    about: "a part that was fitted",
    columns: &[
        VISIT,
        int("record", "the record's number"),
        int("at_us", "when"),
        text("part", "the part"),
        text("stamp", "what is stamped on it"),
        or_none(int(
            "matches",
            "1: it matches by every rule; empty if something is not known",
        )),
    ],
    key: 2,
};

/// The decisions.
pub const DECISIONS: Table = Table {
    name: "decisions",
    about: "what was decided on a quote",
    columns: &[
        VISIT,
        int("record", "the record's number"),
        int("at_us", "when"),
        int("quote", "the quote's version"),
        or_none(text(
            "option_of",
            "the option that was approved; empty if the repair was declined",
        )),
        text("by_whom", "who decided"),
        text("means", "by what means it was told"),
    ],
    key: 2,
};

/// The damages.
pub const DAMAGES: Table = Table {
    name: "damages",
    about: "something in a trail that is not as it was written",
    columns: &[
        VISIT,
        int("number", "counted from 0 in each trail"),
        int("record", "the record it concerns"),
        int("offset_of", "where it begins, bytes"),
        int("bytes", "how many bytes it covers"),
        text("words", "what it is"),
    ],
    key: 2,
};

/// What is searched.
pub const WORDS: Table = Table {
    name: "words",
    about: "every word of a visit that is searched, once, in order",
    columns: &[
        VISIT,
        text(
            "words",
            "lower case, split at everything that is neither letter nor digit",
        ),
    ],
    key: 1,
};

/// The tables that hold what the trails say, in the order in which they are filled.
pub const TABLES: [&Table; 8] = [
    &VISITS, &TAKES, &FINDINGS, &PLATES, &FITTED, &DECISIONS, &DAMAGES, &WORDS,
];

/// The tables that are handed to other programs.
pub const EXPORTED: [&Table; 7] = [
    &VISITS, &TAKES, &FINDINGS, &PLATES, &FITTED, &DECISIONS, &DAMAGES,
];

/// What stands beside the tables: the parts of the sheets that may be visited, the units and the kinds of
/// parts with their counts, where the trails lie, and what the index was told.
const BESIDE: &str = "
CREATE TABLE parts (sheet TEXT NOT NULL, part TEXT NOT NULL, kind TEXT NOT NULL, PRIMARY KEY (sheet, part));
CREATE TABLE units (unit TEXT NOT NULL, simulated BIGINT NOT NULL, sheet TEXT NOT NULL, visits BIGINT NOT NULL,
  first_us BIGINT NOT NULL, last_us BIGINT NOT NULL, PRIMARY KEY (unit, simulated));
CREATE TABLE counts (what TEXT NOT NULL, simulated BIGINT NOT NULL, name TEXT NOT NULL, mode TEXT NOT NULL,
  n BIGINT NOT NULL, PRIMARY KEY (what, simulated, name, mode));
CREATE TABLE files (path TEXT PRIMARY KEY, bytes BIGINT NOT NULL, changed_ns BIGINT NOT NULL, visit BIGINT,
  records BIGINT NOT NULL, head TEXT NOT NULL, rewritten TEXT, problem TEXT);
CREATE TABLE told (what TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE INDEX visits_unit ON visits (unit, simulated, visit);
CREATE INDEX units_last ON units (simulated, last_us);
CREATE INDEX files_visit ON files (visit);
CREATE INDEX files_problem ON files (path) WHERE problem IS NOT NULL;
";

/// The version of the tables. Another one is made anew from the trails.
pub(crate) const VERSION: i64 = 3;

/// The SQL that makes every table, with the type that text has.
pub(crate) fn schema(text: &str) -> String {
    let tables = TABLES.iter().map(|table| table.create_with(text));
    let beside = BESIDE.replace(" TEXT", &format!(" {text}"));
    tables.chain([beside]).collect()
}

impl Table {
    /// The SQL that makes it.
    #[must_use]
    pub fn create(&self) -> String {
        self.create_with("TEXT")
    }

    fn create_with(&self, text: &str) -> String {
        let columns: Vec<String> = self
            .columns
            .iter()
            .map(|c| {
                let of = match c.of {
                    Of::Int => "BIGINT",
                    Of::Real => "DOUBLE PRECISION",
                    Of::Text => text,
                };
                format!("{} {of}{}", c.name, if c.always { " NOT NULL" } else { "" })
            })
            .collect();
        format!(
            "CREATE TABLE {} ({}, PRIMARY KEY ({}));",
            self.name,
            columns.join(", "),
            self.names(self.key)
        )
    }

    /// The SQL for the rows of the visits from `$1` to `$2`, in the order of its key.
    #[must_use]
    pub fn select_between(&self) -> String {
        let (all, key) = (self.names(self.columns.len()), self.names(self.key));
        let name = self.name;
        format!("SELECT {all} FROM {name} WHERE visit BETWEEN $1 AND $2 ORDER BY {key}")
    }

    fn names(&self, n: usize) -> String {
        let names: Vec<&str> = self.columns.iter().take(n).map(|c| c.name).collect();
        names.join(", ")
    }
}
