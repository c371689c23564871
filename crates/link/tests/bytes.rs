//! The byte-level examples of docs/probe-box.md are the encoder's own.

use std::fs;
use std::path::Path;

use ohmtrail_link::frame::{Kind, Wire};
use ohmtrail_link::message::{Button, Down, Light, Request, Up};

const BEGIN: &str = "<!-- bytes: checked by crates/link/tests/bytes.rs -->\n";
const END: &str = "<!-- end bytes -->";

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

/// With `OHMTRAIL_BLESS` set, the page takes over the bytes of now.
#[test]
fn the_page_has_the_bytes_of_the_encoder() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/probe-box.md");
    let page = fs::read_to_string(&path).expect("the page");
    let (before, rest) = page.split_once(BEGIN).expect("the table begins");
    let (shown, after) = rest.split_once(END).expect("the table ends");
    if std::env::var_os("OHMTRAIL_BLESS").is_some() {
        let page = format!("{before}{BEGIN}{}{END}{after}", table());
        fs::write(&path, page).expect("it is written");
        return;
    }
    assert_eq!(shown, table());
}
