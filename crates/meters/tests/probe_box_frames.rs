//! The frame files of the probe box, whose greeting carries the schema of its messages: written
//! anew with `OHMTRAIL_BLESS=1` when a message is added, and compared otherwise.

use std::fmt::Write;
use std::fs;
use std::path::Path;

use ohmtrail_core::reading::{Decimal, Flags, Function, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_link::frame::{Kind, Wire};
use ohmtrail_link::hello::{BoxHello, Identity, Speaks};
use ohmtrail_link::message::{Light, Live, Up};

fn framed(kind: Kind, body: &[u8]) -> Vec<u8> {
    let mut wire = Wire::new();
    wire.plain(kind, body).expect("it fits");
    wire.bytes().to_vec()
}

fn up(up: &Up) -> Vec<u8> {
    let mut wire = Wire::new();
    wire.message(Kind::Up, up).expect("it fits");
    wire.bytes().to_vec()
}

fn hello(speaks: Speaks) -> Vec<u8> {
    let hello = BoxHello {
        speaks,
        session: 1,
        who: Identity {
            id: 0x0B0C,
            ring: 7,
            firmware: [0, 1, 0],
        },
    };
    framed(Kind::BoxHello, &hello.encode())
}

fn live(session: u32, function: Function, shown: Shown) -> Vec<u8> {
    up(&Up::Live {
        session,
        live: Live {
            function,
            shown,
            flags: Flags::NONE,
            at: Micros(100_000),
        },
    })
}

struct File {
    name: &'static str,
    about: &'static str,
    sends: Vec<Vec<u8>>,
    expect: &'static [&'static str],
    skipped: usize,
}

fn files() -> Vec<File> {
    let value = |mantissa, exponent| Shown::Value(Decimal::new(mantissa, exponent));
    let good = live(1, Function::Ohms, value(70, -2));
    let mut flipped = good.clone();
    flipped[4] ^= 0x10;
    let mut cut = good.clone();
    cut.truncate(5);
    cut.push(0);
    let unknown = framed(Kind::Up, &[9, 1, 2, 3]);
    let other = Speaks {
        schema: 1,
        ..Speaks::OURS
    };
    let here = up(&Up::Here {
        session: 1,
        newest: 3,
        light: Light::Wait,
        step: 0,
    });
    vec![
        File {
            name: "values",
            about: "A greeting, then values of several functions.",
            sends: vec![
                hello(Speaks::OURS),
                good.clone(),
                live(1, Function::VoltsAc, value(2384, -1)),
                live(1, Function::Farads, value(551, -7)),
                live(1, Function::Ohms, Shown::Overload),
                live(1, Function::VoltsDc, value(-12, -2)),
                here,
            ],
            expect: &[
                "ohms 70e-2",
                "volts-ac 2384e-1",
                "farads 551e-7",
                "ohms overload",
                "volts-dc -12e-2",
            ],
            skipped: 0,
        },
        File {
            name: "damaged",
            about: "A flipped bit, a frame cut short, a message of no kind, and noise: each refused, \
                    and the value after them read.",
            sends: vec![
                hello(Speaks::OURS),
                flipped.clone(),
                cut.clone(),
                unknown.clone(),
                vec![1, 2, 3, 4, 5, 0],
                flipped.clone(),
                good.clone(),
            ],
            expect: &[
                "rejected layout",
                "rejected layout",
                "rejected layout",
                "rejected layout",
                "rejected layout",
                "ohms 70e-2",
            ],
            skipped: flipped.len() * 2 + cut.len() + unknown.len() + 6,
        },
        File {
            name: "other-session",
            about: "Values of another session, or before any greeting, are not this host's.",
            sends: vec![
                good.clone(),
                hello(Speaks::OURS),
                live(2, Function::Ohms, value(1, 0)),
                good.clone(),
            ],
            expect: &["ohms 70e-2"],
            skipped: 0,
        },
        File {
            name: "other-schema",
            about: "A box of another schema: nothing that it sends is read.",
            sends: vec![hello(other), good],
            expect: &[],
            skipped: 0,
        },
    ]
}

#[test]
fn the_files_are_those_of_the_messages_of_now() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/frames");
    for file in files() {
        let mut text = format!("# {}\nframe: probe-box\n", file.about);
        for bytes in &file.sends {
            let hex: Vec<String> = bytes.iter().map(|b| format!("{b:02x}")).collect();
            writeln!(text, "hex: {}", hex.join(" ")).unwrap();
        }
        for expect in file.expect {
            writeln!(text, "expect: {expect}").unwrap();
        }
        writeln!(text, "skipped: {}", file.skipped).unwrap();
        let path = folder.join(format!("probe-box-{}.txt", file.name));
        if std::env::var_os("OHMTRAIL_BLESS").is_some() {
            fs::write(&path, text).unwrap();
        } else {
            assert_eq!(fs::read_to_string(&path).unwrap(), text, "{}", file.name);
        }
    }
}
