//! What the tests share: an invented visit with every kind of event, and record frames built from
//! `docs/trail.md` alone, without the crate's own writer.
#![allow(dead_code, reason = "each test file uses its own part")]

use std::fs;
use std::path::Path;

use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_trail::event::*;
use ohmtrail_trail::{Body, Damage, Record, read};

/// An entry `n` seconds into a visit on an invented day.
pub fn entry(n: u64, event: Event) -> Entry {
    let at = Stamp {
        steady: Micros(5_000_000 + n * 1_000_000),
        wall_us: 1_790_000_000_250_000 + n as i64 * 1_000_000,
    };
    Entry { at, event }
}

pub fn opened() -> Entry {
    entry(
        0,
        Event::Opened(Opened {
            tool: "0.1.0".into(),
            work_order: "WO-7 (invented)".into(),
            technician: "A. Invented".into(),
            unit: "cabin 3, \"lake side\"".into(),
            sheet: "split-heat-pump-1ph".into(),
            sheet_hash: [0x5A; 32],
            previous: Some([0xC3; 32]),
            simulated: true,
        }),
    )
}

/// A short take, as the crash tests write many of.
pub fn take(n: u32) -> Entry {
    let event = Event::Took(Take {
        take: n,
        ask: None,
        meter: MeterId(1),
        function: Function::Ohms,
        points: ["compressor.C".into(), "compressor.R".into()],
        state: off(&[]),
        shown: Shown::Value(Decimal::new(n as i32, -1)),
        flags: Flags::NONE,
        value: f64::from(n) / 10.0,
        uncertainty: 0.05,
        leads: 0.2,
        verdict: None,
    });
    entry(u64::from(n), event)
}

fn off(lifted: &[&str]) -> UnitState {
    let lifted = lifted.iter().map(|end| (*end).into()).collect();
    UnitState {
        power: Power::Off,
        lifted,
        cooled: true,
    }
}

fn on() -> UnitState {
    UnitState {
        power: Power::On,
        lifted: Vec::new(),
        cooled: false,
    }
}

/// The invented visit of the golden files: every event, every kind of ask and act, every function,
/// class and way of display. **Never changed**: new variants get a new visit and a new file.
pub fn visit() -> Vec<Entry> {
    let mut events = vec![
        opened().event,
        Event::Plate(PlateEntry {
            part: "run-cap".into(),
            key: "capacitance-fan".into(),
            value: "5".into(),
            unit: "uF".into(),
        }),
        Event::Complaint {
            what: "nothing-runs".into(),
            words: "it hums, then\nit is quiet".into(),
        },
        Event::MeterJoined(MeterJoined {
            meter: MeterId(1),
            driver: "segments-14".into(),
            place: "/dev/ttyUSB0".into(),
            profile: "cautious default".into(),
            accuracy_assumed: true,
        }),
        Event::MeterLost {
            meter: MeterId(1),
            why: "unplugged".into(),
        },
        Event::MeterBack {
            meter: MeterId(1),
            gap_us: 2_400_000,
        },
        Event::Readings {
            meter: MeterId(1),
            readings: Vec::new(),
        },
        Event::Readings {
            meter: MeterId(1),
            readings: streamed(),
        },
        Event::Looked {
            ask: Some(1),
            what: "run-cap.swollen".into(),
            answer: true,
        },
        Event::Looked {
            ask: None,
            what: "fan.hot".into(),
            answer: false,
        },
    ];
    events.extend(requests().into_iter().zip(1..).map(|(request, ask)| {
        Event::Asked(Asked {
            ask,
            request,
            why: "it tells most".into(),
            minutes: 1.5,
        })
    }));
    events.extend(
        acts()
            .into_iter()
            .map(|act| Event::Acted(Acted { ask: None, act })),
    );
    events.push(Event::Acted(Acted {
        ask: Some(3),
        act: Act::OpenBreaker,
    }));
    events.extend(takes().into_iter().map(Event::Took));
    events.extend([
        Event::Skipped {
            ask: 4,
            why: "can't reach".into(),
        },
        Event::Voided {
            ask: None,
            why: "live, in ohms".into(),
        },
        Event::Voided {
            ask: Some(2),
            why: "wrong function".into(),
        },
        Event::Struck {
            take: 2,
            why: "wrong point, \"C\" not \"H\"".into(),
        },
        Event::Gate(GateEvent {
            gate: "proved-dead".into(),
            open: true,
            points: vec!["contactor.L1".into(), "contactor.L2".into()],
            why: "live, dead, live".into(),
        }),
        Event::Suspects {
            ranked: vec![
                Suspect {
                    faults: vec!["run-cap.fan-open".into()],
                    p: 0.75,
                },
                Suspect {
                    faults: Vec::new(),
                    p: 0.003,
                },
            ],
        },
        Event::Found(Finding {
            faults: vec!["run-cap.fan-open".into()],
            alike: vec![vec!["wire-9.open".into()]],
            p: 0.993,
            consequences: vec!["fan.overload-open".into()],
            evidence: vec![2, 5, 7],
            ruled_out: vec![RuledOut {
                fault: "fan.start-open".into(),
                by: vec![6],
            }],
            unproven: vec![Unproven {
                fault: "compressor.turn-short".into(),
                p: 0.01,
                why: "no cold reference".into(),
            }],
        }),
        Event::Lifted {
            end: "cap-fan.1".into(),
            from: "run-cap.FAN".into(),
            mark: "brown".into(),
            photo: Some([0x11; 32]),
        },
        Event::Lifted {
            end: "cap-herm.1".into(),
            from: "run-cap.HERM".into(),
            mark: "".into(),
            photo: None,
        },
        Event::PutBack {
            end: "cap-fan.1".into(),
            to: "run-cap.FAN".into(),
            photo: None,
        },
        Event::Photo {
            hash: [0x11; 32],
            media_type: "image/jpeg".into(),
            size: 81_234,
            caption: "the capacitor's terminals".into(),
        },
        Event::Note {
            text: "µ, Ω, °C; comma, \"quote\"".into(),
        },
        Event::Left(LeftState {
            power: Power::Off,
            locked: true,
            lifted: vec!["cap-fan.1".into()],
            why: "part on order".into(),
        }),
        Event::Tagged {
            text: "DO NOT SWITCH ON".into(),
        },
        Event::Closed,
    ]);
    (0..)
        .zip(events)
        .map(|(n, event)| entry(n, event))
        .collect()
}

fn streamed() -> Vec<Streamed> {
    let shown = [
        Shown::Overload,
        Shown::Blank,
        Shown::Value(Decimal::new(-2384, -1)),
    ];
    let every = Function::ALL.into_iter().zip(shown.into_iter().cycle());
    (0..)
        .zip(every)
        .map(|(n, (function, shown))| Streamed {
            at: Micros(9_000_000 + n * 250_000),
            function,
            shown,
            flags: Flags(1 << (n % 9)),
        })
        .collect()
}

fn requests() -> Vec<Request> {
    vec![
        Request::Look {
            what: "contactor.pulled-in".into(),
        },
        Request::Measure {
            function: Function::VoltsAc,
            points: ["contactor.L1".into(), "contactor.L2".into()],
            state: on(),
        },
        Request::Act {
            act: Act::OpenBreaker,
        },
    ]
}

fn acts() -> Vec<Act> {
    vec![
        Act::OpenBreaker,
        Act::LockAndTag,
        Act::LockDisconnect,
        Act::OpenOtherSources,
        Act::ProveMeter,
        Act::Discharge,
        Act::Lift(vec!["cap-fan.1".into(), "cap-herm.1".into()]),
        Act::PutBack(vec!["cap-fan.1".into()]),
        Act::InsulateEnds,
        Act::CoversOnPeopleClear,
        Act::CloseBreaker,
        Act::WaitCool,
        Act::CallOn,
        Act::CallOff,
    ]
}

fn takes() -> Vec<Take> {
    let shown = |class| match class {
        Class::Open => (Shown::Overload, f64::NAN),
        Class::Absent => (Shown::Value(Decimal::new(0, -8)), 0.0),
        _ => (Shown::Value(Decimal::new(488, -8)), 4.88e-6),
    };
    let judged = |(take, class): (u32, Class)| {
        let (shown, value) = shown(class);
        Take {
            take,
            ask: Some(take),
            meter: MeterId(1),
            function: Function::Farads,
            points: ["run-cap.C".into(), "run-cap.FAN".into()],
            state: off(&["cap-fan.1", "cap-herm.1"]),
            shown,
            flags: Flags::AUTO_RANGE.with(Flags::RELATIVE),
            value,
            uncertainty: 4.2e-8,
            leads: 0.2,
            verdict: Some(Judged {
                class,
                likely: Likely::certain(class),
                lower: Some(4.5e-6),
                upper: None,
                too_close: class == Class::Low,
                source: "marking on the part".into(),
                status: "marked on the part or plate".into(),
                words: "judged, in words".into(),
            }),
        }
    };
    let mut takes: Vec<Take> = (1..).zip(Class::ALL).map(judged).collect();
    takes.push(Take {
        take: 7,
        ask: None,
        meter: MeterId(2),
        function: Function::VoltsAc,
        points: ["contactor.L1".into(), "ground".into()],
        state: on(),
        shown: Shown::Value(Decimal::new(2384, -1)),
        flags: Flags::NONE,
        value: 238.4,
        uncertainty: 1.3,
        leads: 0.0,
        verdict: None,
    });
    takes
}

/// A file header as the format's description gives it.
pub fn file_header(version: u16) -> Vec<u8> {
    let mut header = b"OHMTRAIL".to_vec();
    header.extend(version.to_le_bytes());
    header.extend([0, 0]);
    header.extend(crc32fast::hash(&header).to_le_bytes());
    header
}

/// A record as the format's description gives it, and its chain hash.
pub fn record(previous: [u8; 32], frame: (u16, u16, u32), body: &[u8]) -> (Vec<u8>, [u8; 32]) {
    let (kind, version, number) = frame;
    let mut bytes = (body.len() as u32).to_le_bytes().to_vec();
    bytes.extend(kind.to_le_bytes());
    bytes.extend(version.to_le_bytes());
    bytes.extend(number.to_le_bytes());
    bytes.extend(crc32fast::hash(&bytes).to_le_bytes());
    bytes.extend(body);
    let hash = *blake3::hash(&[&previous[..], &bytes].concat()).as_bytes();
    bytes.extend(hash);
    bytes.extend(crc32fast::hash(&bytes).to_le_bytes());
    (bytes, hash)
}

/// The chain hash of a record.
pub fn chain_hash(record: &[u8]) -> [u8; 32] {
    record[record.len() - 36..record.len() - 4]
        .try_into()
        .expect("32 bytes")
}

/// A whole trail of these entries by the format's description: the pieces are the file header, then
/// one for each record.
pub fn pieces(entries: &[Entry]) -> Vec<Vec<u8>> {
    let header = file_header(1);
    let mut hash = *blake3::hash(&header).as_bytes();
    let mut pieces = vec![header];
    for (number, entry) in (0..).zip(entries) {
        let body = postcard::to_allocvec(entry).expect("entries encode");
        let (bytes, next) = record(hash, (1, 1, number), &body);
        pieces.push(bytes);
        hash = next;
    }
    pieces
}

/// Everything that reading `bytes` as a trail gives.
pub fn items(path: &Path, bytes: &[u8]) -> Vec<Result<Record, Damage>> {
    fs::write(path, bytes).expect("a file to read");
    read(path).expect("a trail").collect()
}

/// The entries among items.
pub fn entries(items: &[Result<Record, Damage>]) -> Vec<Entry> {
    let entry = |record: &Record| match &record.body {
        Body::Entry(entry) => Some(entry.clone()),
        _ => None,
    };
    items
        .iter()
        .filter_map(|item| item.as_ref().ok().and_then(entry))
        .collect()
}

/// The damages among items.
pub fn damages(items: &[Result<Record, Damage>]) -> Vec<Damage> {
    items
        .iter()
        .filter_map(|item| item.as_ref().err().cloned())
        .collect()
}
