//! The stock's file: what is read, and what is said of everything that is wrong with it.

use ohmtrail_stock::{FIELDS, Kind, Stock, StockError, fields};
use proptest::prelude::*;

fn wrong(text: &str) -> StockError {
    Stock::read("truck.csv", text.as_bytes()).expect_err("must be refused")
}

#[test]
fn every_trouble_is_said_with_its_line_and_column() {
    let error = wrong(
        "kind,name,quantity,farads,herm,fan,tolerance,volts,coil\n\
         capacitor,a,1,45,,,6 %,440 V,\n\
         capacitor,b,two,,45 uF,,6 %,440 V,\n\
         capacitor,a,1,5 uF,,,6,440 V,24 V\n\
         fuse,d,1,,,,,,\n\
         capacitor,,1,5 uF,,,6 %,440 V,\n\
         capacitor,e,1,5 uF\n",
    );
    let said: Vec<(u64, &str)> = error
        .troubles
        .iter()
        .map(|t| (t.line, t.column.as_str()))
        .collect();
    assert_eq!(
        said,
        [
            (2, "farads"),
            (3, "quantity"),
            (3, "fan"),
            (4, "coil"),
            (4, "tolerance"),
            (5, "kind"),
            (6, "name"),
            (7, ""),
        ]
    );
    let text = error.to_string();
    assert!(
        text.starts_with("truck.csv: line 2, column farads: \"45\" has no unit"),
        "{text}"
    );
    for part in [
        "both",
        "leave it empty",
        "such as 6 %",
        "none of capacitor, contactor",
    ] {
        assert!(text.contains(part), "{part} in {text}");
    }
}

#[test]
fn columns_are_held_to_the_list() {
    let text = wrong("kind,name,farad,volts,volts\ncapacitor,a,45 uF,440 V,\n").to_string();
    assert!(
        text.contains("line 1, column farad: no such column; did you mean"),
        "{text}"
    );
    assert!(text.contains("column volts: is there twice"), "{text}");
    let text = wrong("farads,volts\n45 uF,440 V\n").to_string();
    assert!(text.contains("column kind: is missing"), "{text}");
    assert!(text.contains("column name: is missing"), "{text}");
    assert!(wrong("").to_string().contains("column kind: is missing"));
}

#[test]
fn the_same_name_twice_and_bytes_that_are_no_text() {
    let text = wrong("kind,name,farads\ncapacitor,a,45 uF\ncapacitor,a,5 uF\n").to_string();
    assert!(
        text.contains("line 3, column name: \"a\" is on line 2 already"),
        "{text}"
    );
    let bytes = b"kind,name,farads\ncapacitor,\xff,45 uF\n";
    let text = Stock::read("s.csv", bytes)
        .expect_err("refused")
        .to_string();
    assert!(
        text.contains("line 2") && text.contains("value 2 is not UTF-8"),
        "{text}"
    );
}

/// A spreadsheet's byte-order mark, its line ends, comments and empty lines are read over; a quoted
/// comma and a line break inside a note keep the count of lines.
#[test]
fn what_spreadsheets_write() {
    let text = "\u{feff}kind,name,farads,note\r\n# bin by the door\r\ncapacitor,a,45 uF,\"long, wide\r\nold\"\r\n,,,\r\ncapacitor,b,5 uF,\r\n";
    let stock = Stock::read("s.csv", text.as_bytes()).expect("read");
    let lines: Vec<(u64, &str)> = stock
        .items
        .iter()
        .map(|i| (i.line, i.name.as_str()))
        .collect();
    assert_eq!(lines, [(3, "a"), (6, "b")]);
    assert_eq!(stock.items[0].note, "long, wide\r\nold");
    assert_eq!(stock.items[0].quantity, 1);
}

/// Each example of the list of fields is read as it is written there.
#[test]
fn the_examples_are_read() {
    for kind in Kind::ALL {
        for field in fields(kind).filter(|f| !matches!(f.name, "herm" | "fan")) {
            for example in field.example.split(", ") {
                // Two kinds write their duty each in words of its own.
                let example = match (kind, field.name) {
                    (Kind::Motor, "duty") => "continuous",
                    _ => example,
                };
                let text = format!(
                    "kind,name,{}\n{},x,\"{example}\"\n",
                    field.name,
                    kind.name()
                );
                // A contactor's or a capacitor's volts are one value.
                let one = field.name == "volts" && kind != Kind::Motor && example.contains('-');
                assert_eq!(
                    Stock::read("s.csv", text.as_bytes()).is_err(),
                    one,
                    "{text}"
                );
            }
        }
    }
    assert!(
        FIELDS
            .iter()
            .all(|f| !f.of.is_empty() && !f.what.is_empty())
    );
}

proptest! {
    /// Whatever the bytes, a stock is read or every trouble names a line of the file.
    #[test]
    fn any_bytes(
        head in prop::sample::select(vec!["", "kind,name,farads,herm,fan,tolerance,volts,quantity\n"]),
        body in prop_oneof![
            prop::collection::vec(any::<u8>(), 0..200),
            "(capacitor|motor|)(,([0-9./ -]{0,5}(uF|V|%|hp)?|\"[^\"]{0,5}\")){0,9}\r?\n(#x\n)?"
                .prop_map(String::into_bytes),
        ],
    ) {
        let bytes = [head.as_bytes(), &body].concat();
        if let Err(error) = Stock::read("s.csv", &bytes) {
            let lines = 1 + bytes.iter().filter(|b| **b == b'\n').count() as u64;
            prop_assert!(!error.troubles.is_empty());
            for trouble in error.troubles {
                prop_assert!((1..=lines).contains(&trouble.line), "{trouble}");
            }
        }
    }
}
