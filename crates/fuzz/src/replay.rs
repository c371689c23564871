//! What a trail may say: any entries are folded, written up and gone on from, and none of them opens
//! a gate.

use std::sync::OnceLock;

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_core::units::Micros;
use ohmtrail_paper as paper;
use ohmtrail_trail::Hash;
use ohmtrail_trail::event::{Entry, Event, Opened, Stamp};
use ohmtrail_visit::{Book, Refusal, SheetBundle, Visit};
use ohmtrail_words::Tongue;

/// The sheet that the trails are of.
const SHEET: &str = "control-loop-24v";
/// More events than a visit has to say by itself at one moment.
const MOST: usize = 200;

fn book() -> &'static Book<'static> {
    static BOOK: OnceLock<Book<'static>> = OnceLock::new();
    BOOK.get_or_init(|| {
        let sheet = read_builtin(SHEET)
            .expect("a built-in sheet")
            .expect("a sound one");
        let bundle: &'static SheetBundle =
            Box::leak(Box::new(SheetBundle::new(sheet).expect("it compiles")));
        Book::new(bundle).expect("a book")
    })
}

/// The entries of a trail, one after the other, behind a sound first one.
pub fn replay(bytes: &[u8]) {
    let book = book();
    let mut entries = vec![first(book)];
    let mut rest = bytes;
    while let Ok((entry, more)) = postcard::take_from_bytes::<Entry>(rest) {
        entries.push(entry);
        rest = more;
    }
    let last = entries.last().map_or(Micros(0), |entry| entry.at.steady);
    let mut visit = match Visit::replay(book, &entries) {
        Ok(visit) => visit,
        // One of the entries opened a visit on another sheet.
        Err(Refusal::OtherSheet { .. }) => return,
        Err(e) => panic!("{e}"),
    };
    let at = Stamp {
        steady: Micros(last.0.saturating_add(1_000_000)),
        wall_us: 0,
    };
    assert!(!visit.may_measure_dead(at), "a gate is read back");
    let mut said = 0;
    loop {
        let events = visit.next(at);
        if events.is_empty() {
            break;
        }
        said += events.len();
        assert!(said < MOST, "{events:?}, and no end");
        for event in events {
            visit.apply(&Entry { at, event });
        }
    }
    assert!(!visit.may_measure_dead(at), "a gate opens by itself");
    let _ = visit.stage();
    let head = Hash([0; 32]);
    let tag = paper::tag(book, visit.record(), &head, Tongue::Spanish);
    assert!(!tag.text().is_empty());
    let written = paper::write_up(book, visit.record(), &head, "fuzzed.trail", Tongue::Spanish);
    assert!(!written.markdown().is_empty());
}

fn first(book: &Book<'_>) -> Entry {
    Entry {
        at: Stamp {
            steady: Micros(0),
            wall_us: 0,
        },
        event: Event::Opened(Opened {
            tool: "fuzzed".to_owned(),
            work_order: String::new(),
            technician: String::new(),
            unit: "invented".to_owned(),
            sheet: book.sheet.name.clone(),
            sheet_hash: book.sheet.hash,
            previous: None,
            simulated: true,
        }),
    }
}
