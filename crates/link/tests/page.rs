//! docs/probe-link.md is the code's own: its bytes are the encoder's, its messages those of the types.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use ohmtrail_link::frame::{Kind, Wire};
use ohmtrail_link::message::{Button, Down, Light, Request, Up};

use ohmtrail_link::hello::{PROTOCOL, SCHEMA};
use postcard_schema::Schema;
use postcard_schema::schema::{DataModelType as Type, DataModelVariant as Variant};
use postcard_schema::schema::{NamedType, NamedValue};

fn hex(wire: &Wire) -> String {
    let bytes: Vec<String> = wire.bytes().iter().map(|b| format!("{b:02x}")).collect();
    bytes.join(" ")
}

fn table() -> String {
    let mut table = "| what | bytes on the line |\n|---|---|\n".to_owned();
    let mut row = |what: &str, kind, message: &dyn Fn(&mut Wire, Kind)| {
        let mut wire = Wire::new();
        message(&mut wire, kind);
        table.push_str(&format!("| {what} | `{}` |\n", hex(&wire)));
    };
    let down = |message: Down<'static>| {
        move |wire: &mut Wire, kind| wire.message(kind, &message).expect("it fits")
    };
    let up =
        |message: Up| move |wire: &mut Wire, kind| wire.message(kind, &message).expect("it fits");
    row(
        "`Down::Hear`, session 7, 3 items stored",
        Kind::Down,
        &down(Down::Hear {
            session: 7,
            stored: Some(3),
        }),
    );
    row(
        "`Down::Ask`, session 7, number 1, the status",
        Kind::Down,
        &down(Down::Ask {
            session: 7,
            number: 1,
            request: Request::Status,
        }),
    );
    row(
        "`Down::Ask`, session 7, number 2, press *Yes*",
        Kind::Down,
        &down(Down::Ask {
            session: 7,
            number: 2,
            request: Request::Press(Button::Yes),
        }),
    );
    row(
        "`Up::Here`, session 7, newest item 300, a step is to be done, step 1005",
        Kind::Up,
        &up(Up::Here {
            session: 7,
            newest: 300,
            light: Light::Step,
            step: 1005,
        }),
    );
    table
}

/// What a type is, as a field of another.
fn word(named: &NamedType) -> String {
    match named.ty {
        Type::Option(inner) => format!("option of {}", word(inner)),
        Type::Seq(inner) => format!("list of {}", word(inner)),
        Type::ByteArray => "list of u8".to_owned(),
        Type::NewtypeStruct(inner) => format!("{} ({})", named.name, word(inner)),
        Type::Tuple(items) => match items {
            [first, rest @ ..] if rest.iter().all(|r| r.name == first.name) => {
                format!("{} {}", items.len(), word(first))
            }
            _ => words(items.iter().map(|i| word(i))),
        },
        _ => named.name.to_owned(),
    }
}

fn words(items: impl Iterator<Item = String>) -> String {
    items.collect::<Vec<_>>().join(", ")
}

fn fields(fields: &[&NamedValue]) -> String {
    words(
        fields
            .iter()
            .map(|f| format!("`{}` {}", f.name, word(f.ty))),
    )
}

/// The rows of a type and of those that it is made of, each once, in the order of their need.
fn describe(named: &'static NamedType, done: &mut BTreeSet<&'static str>, out: &mut String) {
    if matches!(named.ty, Type::Struct(_) | Type::Enum(_)) && !done.insert(named.name) {
        return;
    }
    let mut within: Vec<&'static NamedType> = Vec::new();
    match named.ty {
        Type::Option(inner) | Type::Seq(inner) | Type::NewtypeStruct(inner) => within.push(inner),
        Type::Tuple(items) | Type::TupleStruct(items) => within.extend(*items),
        Type::Struct(parts) => {
            writeln!(out, "\n**{}**: {}", named.name, fields(parts)).unwrap();
            within.extend(parts.iter().map(|p| p.ty));
        }
        Type::Enum(variants) => {
            writeln!(out, "\n**{}**\n\n| number | variant | fields |", named.name).unwrap();
            writeln!(out, "|---|---|---|").unwrap();
            for (number, variant) in variants.iter().enumerate() {
                let (text, types): (String, Vec<&'static NamedType>) = match variant.ty {
                    Variant::UnitVariant => (String::new(), Vec::new()),
                    Variant::NewtypeVariant(inner) => (word(inner), vec![inner]),
                    Variant::TupleVariant(items) => {
                        (words(items.iter().map(|i| word(i))), items.to_vec())
                    }
                    Variant::StructVariant(parts) => {
                        (fields(parts), parts.iter().map(|p| p.ty).collect())
                    }
                };
                writeln!(out, "| {number} | {} | {text} |", variant.name).unwrap();
                within.extend(types);
            }
        }
        _ => {}
    }
    for inner in within {
        describe(inner, done, out);
    }
}

fn messages() -> String {
    let mut out = format!("Protocol {PROTOCOL}, schema `{SCHEMA:016x}`.\n");
    let mut done = BTreeSet::new();
    for (what, named) in [
        ("From the host to the box", Down::SCHEMA),
        ("From the box to the host", Up::SCHEMA),
    ] {
        write!(out, "\n### {what}: {}\n", named.name).unwrap();
        describe(named, &mut done, &mut out);
    }
    out
}

/// With `OHMTRAIL_BLESS` set, the page takes over what the code says now.
#[test]
fn the_page_is_the_codes_own() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/probe-link.md");
    let mut page = fs::read_to_string(&path).expect("the page");
    let bless = std::env::var_os("OHMTRAIL_BLESS").is_some();
    for (name, wanted) in [("bytes", table()), ("messages", messages())] {
        let begin = format!("<!-- {name}: checked by crates/link/tests/page.rs -->\n");
        let end = format!("<!-- end {name} -->");
        let (before, rest) = page.split_once(&begin).expect("it begins");
        let (shown, after) = rest.split_once(&end).expect("it ends");
        if bless {
            page = format!("{before}{begin}{wanted}{end}{after}");
        } else {
            assert_eq!(shown, wanted, "{name}");
        }
    }
    if bless {
        fs::write(&path, page).expect("it is written");
    }
}
