//! What a repaired unit is asked under power, from its sheet and its plates: the start, both motors,
//! supply and control volts, drops, amperes, capacitors under load; where it heats too, that mode and
//! a defrost.

use ohmtrail_circuit::operate::LINE_HERTZ;
use ohmtrail_circuit::parts::Sight;
use ohmtrail_circuit::sheet::{Part, PointId, Question};
use ohmtrail_core::class::Class;
use ohmtrail_core::reading::Function;
use ohmtrail_core::rules::{Rule, control, current, drop, supply};
use ohmtrail_core::source::{Source, Status};
use ohmtrail_core::verdict::{Bands, Limit};
use ohmtrail_words::Said;

use super::mended::{Mended, Told};
use crate::book::Book;
use crate::limits::{Held, held, plate_number, section, value};
use crate::record::Record;

/// The tolerance of a maker's curve where none is given, a share (common practice, no published source).
const CURVE_TOLERANCE: f64 = 0.1;

/// Under this share of its rated amperes a motor does not turn: a clamp shows a little of its neighbours.
const STANDS: f64 = 0.25;
const STANDS_SOURCE: Source = Source::new(
    "a quarter of a motor's rated amperes: it does not turn",
    Status::CommonPractice,
);

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Quest {
    Look {
        what: String,
        want: bool,
    },
    Measure {
        function: Function,
        points: [PointId; 2],
        at_start: bool,
    },
}

/// What an answer is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Against {
    /// It is kept, and proves that it was read.
    Nothing,
    /// It should be held against something, and nothing is known: it proves nothing.
    Unknown,
    Limit(Limit, Bands),
    /// A capacitor's marking, by its volts and the amperes in the wire between these points.
    Section {
        amps: [PointId; 2],
        marked: Limit,
        hertz: f64,
    },
}

/// What comes of a value outside of its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outside {
    LeaveOff,
    Monitor,
    Warn,
}

/// One proof under power.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Item {
    pub what: Said,
    pub told: Told,
    pub quest: Quest,
    pub against: Against,
    pub outside: Outside,
    pub why: Said,
}

/// Every proof under power, in the order they are asked for.
pub(crate) fn plan(book: &Book<'_>, record: &Record, mended: &Mended) -> Vec<Item> {
    let sheet = book.sheet;
    let healthy = mended.healthy(book);
    let named = |at: &usize| (*at, &sheet.parts[*at]);
    let motors: Vec<(usize, &Part)> = healthy.running.iter().map(named).collect();
    let mut items = start(book, record, &motors);
    for (at, part) in &motors {
        items.extend(look(book, *at, part, Sight::Running, "proof-runs"));
    }
    for (at, part) in healthy.pulled_in.iter().map(named) {
        items.extend(look(book, at, part, Sight::PulledIn, "proof-pulls-in"));
    }
    items.extend(supply_volts(book, record));
    for (_, part) in healthy.pulled_in.iter().map(named) {
        items.extend(coil(book, record, part));
        items.extend(poles(book, record, part));
    }
    for (_, part) in &motors {
        items.extend(amps(book, record, part, Told::Call));
    }
    items.extend(sections(book, record, &motors));
    items.extend(heat_pump(book, record, &motors));
    items
}

fn measure(
    what: impl Into<Said>,
    function: Function,
    points: [PointId; 2],
    why: impl Into<Said>,
) -> Item {
    Item {
        what: what.into(),
        told: Told::Call,
        quest: Quest::Measure {
            function,
            points,
            at_start: false,
        },
        against: Against::Nothing,
        outside: Outside::Monitor,
        why: why.into(),
    }
}

fn against(held: Option<Held>) -> Against {
    held.map_or(Against::Unknown, |h| Against::Limit(h.limit, h.bands))
}

/// The limit by itself, and the class of what lies under `absent`.
fn limit(limit: Limit, absent: Option<f64>) -> Against {
    let bands = limit.bands();
    let bands = absent.map_or(bands, |edge| bands.with_bottom(Class::Absent, edge));
    Against::Limit(limit, bands)
}

fn terminal(part: &Part, name: &str) -> Option<PointId> {
    let at = part.kind.terminals.iter().position(|t| t.name == name)?;
    Some(part.first_point + at)
}

fn hermetic(part: &Part) -> bool {
    part.kind.name.ends_with("compressor")
}

/// The poles of the unit's line that its sheet reads volts between, with the check.
fn line(book: &Book<'_>) -> Vec<([PointId; 2], usize)> {
    let poles = book.sheet.dead.load.first().cloned().unwrap_or_default();
    let checks = book.sheet.checks.iter().enumerate();
    let own = checks.filter_map(|(c, check)| match &check.question {
        Question::Measure {
            function: Function::VoltsAc,
            points,
            limits: Some(_),
            low_impedance: false,
        } if check.power == Some(true) && points.iter().all(|p| poles.contains(p)) => {
            Some((*points, c))
        }
        _ => None,
    });
    own.collect()
}

/// The lower of the volts on the unit's plate: as read, such as `208/230`, in any order; else by the
/// window that the sheet holds its supply against.
fn plate_volts(book: &Book<'_>, record: &Record) -> Option<f64> {
    let read = record.plate("unit", "rated-volts").and_then(|plate| {
        let each = plate.value.split(['/', '-']);
        let each: Option<Vec<f64>> = each.map(|v| v.trim().parse().ok()).collect();
        each?.into_iter().reduce(f64::min)
    });
    read.or_else(|| {
        let (_, check) = line(book).first().copied()?;
        let Question::Measure { limits, .. } = &book.sheet.checks[check].question else {
            return None;
        };
        let (low, _) = (*limits)?;
        let dual = [
            supply::Compressor::WeldedSinglePhase,
            supply::Compressor::ScrollSinglePhase,
            supply::Compressor::ThreePhase,
        ];
        let dual = dual.iter().any(|c| c.window().lower == Some(low));
        Some(if dual {
            208.0
        } else {
            low / supply::GENERIC.lower.unwrap_or(1.0)
        })
    })
}

/// The start: how low the line sags and how high the amperes rise.
fn start(book: &Book<'_>, record: &Record, motors: &[(usize, &Part)]) -> Vec<Item> {
    let mut items = Vec::new();
    if let (Some((points, _)), Some(volts)) =
        (line(book).first().copied(), plate_volts(book, record))
    {
        items.push(Item {
            against: limit(supply::STARTING.limit_of(volts), None),
            ..measure(
                "start sag",
                Function::VoltsAc,
                points,
                Said::message("why-start-sag")
                    .with(
                        "share",
                        supply::STARTING.lower.unwrap_or_default().to_string(),
                    )
                    .with("volts", format!("{volts:.0}")),
            )
        });
    }
    let largest = motors.iter().find(|(_, p)| hermetic(p)).or(motors.first());
    if let Some((wire, part)) = largest.and_then(|(_, p)| Some((common(book, p)?, *p))) {
        let lra = plate_number(record, &part.name, "lra");
        let plate = lra.map(|lra| Said::message("why-inrush-plate").with("amps", lra.to_string()));
        items.push(measure(
            of_part(book, "proof-inrush", part),
            Function::AmpsAc,
            wire,
            Said::from("the highest amperes of the same start, as the clamp held them")
                .then_if("; ", plate),
        ));
    }
    for item in &mut items {
        if let Quest::Measure { at_start, .. } = &mut item.quest {
            *at_start = true;
        }
    }
    items
}

/// What is proven of a part, by its message.
fn of_part(book: &Book<'_>, id: &'static str, part: &Part) -> Said {
    Said::message(id).with("part", book.sheet.said(&part.words))
}

fn look(book: &Book<'_>, at: usize, part: &Part, sight: Sight, id: &'static str) -> Option<Item> {
    let look = part.kind.looks.iter().find(|l| l.sight == sight)?;
    let what = book.sheet.look_name(at, look);
    book.sheet.look(&what)?;
    Some(Item {
        what: of_part(book, id, part),
        quest: Quest::Look { what, want: true },
        outside: Outside::LeaveOff,
        ..measure(
            Said::default(),
            Function::VoltsAc,
            [0, 0],
            "with the call on; if a motor hums and does not turn, switch off within 5 s",
        )
    })
}

fn supply_volts(book: &Book<'_>, record: &Record) -> Vec<Item> {
    let each = line(book).into_iter().map(|(points, check)| Item {
        against: against(held(book, record, check)),
        ..measure(
            "supply under load",
            Function::VoltsAc,
            points,
            "line volts with everything running",
        )
    });
    each.collect()
}

fn coil(book: &Book<'_>, record: &Record, part: &Part) -> Option<Item> {
    let points = [terminal(part, "A1")?, terminal(part, "A2")?];
    let mut checks = 0..book.checks();
    let check = checks.find(|c| match &book.sheet.checks[*c].question {
        Question::Measure {
            function: Function::VoltsAc,
            points: own,
            low_impedance: false,
            ..
        } => *own == points && book.sheet.checks[*c].power == Some(true),
        _ => false,
    })?;
    Some(Item {
        against: against(held(book, record, check)),
        ..measure(
            of_part(book, "proof-coil", part),
            Function::VoltsAc,
            points,
            "control volts under load: a coil that is fed too little chatters",
        )
    })
}

/// The drop across each pole that opens, in circuits of line volts.
fn poles(book: &Book<'_>, record: &Record, part: &Part) -> Vec<Item> {
    // Across an open one stands half of the line's volts at least.
    let open = plate_volts(book, record).map(|volts| 0.5 * volts);
    let each = ["1", "2", "3"].into_iter().filter_map(|n| {
        let points = [
            terminal(part, &format!("L{n}"))?,
            terminal(part, &format!("T{n}"))?,
        ];
        let worn = drop::WORN.limit();
        let bands = worn.bands();
        let bands = open.map_or(bands, |volts| bands.with_top(Class::Open, volts));
        Some(Item {
            against: Against::Limit(worn, bands),
            ..measure(
                of_part(book, "proof-drop", part).with("pole", n.to_owned()),
                Function::VoltsAc,
                points,
                "drop across the closed pole under load",
            )
        })
    });
    each.collect()
}

/// The wire to a motor's common, or to its first lead: both of its ends.
fn common(book: &Book<'_>, part: &Part) -> Option<[PointId; 2]> {
    let names = ["C", "common", "T1"];
    let point = names.iter().find_map(|name| terminal(part, name))?;
    let wire = book.sheet.wires.iter();
    let wire = wire.clone().find(|w| w.terminals.contains(&point))?;
    Some(wire.ends)
}

/// What a motor's amperes are held against, what comes of more, and what nothing runs under.
fn rating(record: &Record, part: &Part) -> Option<(Limit, Outside, f64)> {
    let read = |key: &str| plate_number(record, &part.name, key).filter(|a| *a > 0.0);
    let rated = read(if hermetic(part) { "rla" } else { "fla" })
        .or_else(|| value(part, "rated-amps"))
        .filter(|a| *a > 0.0);
    let by = |rule: Rule, amps: f64, outside| (rule.limit_of(amps), outside, rated.unwrap_or(amps));
    let found = match (read("mcc"), read("curve-amps"), rated) {
        (Some(mcc), ..) if hermetic(part) => by(current::MCC, mcc, Outside::LeaveOff),
        (_, Some(curve), _) if hermetic(part) => {
            let share = read("curve-tolerance").unwrap_or(CURVE_TOLERANCE);
            let [low, high] = [1.0 - share, 1.0 + share].map(|s| Some(s * curve));
            (
                Limit::new(low, high, current::CURVE),
                Outside::Monitor,
                rated.unwrap_or(curve),
            )
        }
        // Over the rated-load amperes is a warning, near those of a locked rotor is a failure.
        (.., Some(rla)) if hermetic(part) => match read("lra") {
            Some(lra) => {
                let locked = current::LOCKED.limit_of(lra).lower;
                let limit = Limit::new(None, locked, current::LOCKED.source);
                (limit, Outside::LeaveOff, rla)
            }
            None => by(current::RLA, rla, Outside::Warn),
        },
        (.., Some(fla)) => by(current::FLA, fla, Outside::Monitor),
        _ => return None,
    };
    let (limit, outside, rated) = found;
    let idle = current::IDLE.limit_of(rated).low();
    Some((limit, outside, idle))
}

fn amps(book: &Book<'_>, record: &Record, part: &Part, told: Told) -> Option<Item> {
    let wire = common(book, part)?;
    let (of, outside, idle) = rating(record, part)?;
    let id = match told {
        Told::Heating => "proof-amps-heating",
        Told::Defrost => "proof-amps-defrost",
        _ => "proof-amps",
    };
    let why = if hermetic(part) {
        "running amperes: above the maximum continuous current it has failed, above the rated-load \
         amperes is a warning and no more"
    } else {
        "running amperes against the motor's full-load amperes"
    };
    Some(Item {
        told,
        against: limit(of, Some(idle)),
        outside,
        ..measure(of_part(book, id, part), Function::AmpsAc, wire, why)
    })
}

/// Every section of a run capacitor that feeds a motor that runs: its amperes, then its volts.
fn sections(book: &Book<'_>, record: &Record, motors: &[(usize, &Part)]) -> Vec<Item> {
    let sheet = book.sheet;
    let motors_own = |t: &PointId| {
        motors.iter().any(|(_, p)| {
            let own = p.first_point..p.first_point + p.kind.terminals.len();
            own.contains(t)
        })
    };
    // A frequency that cannot be read, such as 50/60, is no frequency.
    let hertz = match record.plate("unit", "hertz") {
        Some(_) => plate_number(record, "unit", "hertz"),
        None => Some(LINE_HERTZ),
    };
    let mut items = Vec::new();
    let cans = sheet.parts.iter();
    for part in cans.filter(|p| matches!(p.kind.name, "run-capacitor" | "dual-run-capacitor")) {
        let shared = terminal(part, "C").or_else(|| terminal(part, "1"));
        let own = part.first_point..part.first_point + part.kind.terminals.len();
        for point in own.filter(|p| Some(*p) != shared) {
            let wires = sheet.wires.iter();
            let wire = wires
                .clone()
                .find(|w| w.terminals.contains(&point) && w.terminals.iter().any(motors_own));
            let (Some(wire), Some(shared)) = (wire, shared) else {
                continue;
            };
            let points = [shared, point];
            let Some(marked) = section(book, record, points) else {
                continue;
            };
            let name = sheet.point_name(point);
            items.push(measure(
                Said::message("proof-amps").with("part", name.to_owned()),
                Function::AmpsAc,
                wire.ends,
                "capacitance under load, first the amperes in the capacitor's lead",
            ));
            items.push(Item {
                against: hertz.map_or(Against::Unknown, |hertz| Against::Section {
                    amps: wire.ends,
                    marked,
                    hertz,
                }),
                outside: Outside::LeaveOff,
                ..measure(
                    Said::message("proof-section").with("point", name.to_owned()),
                    Function::VoltsAc,
                    points,
                    "then the volts across the capacitor itself, not the line: insulated probes, it \
                     stands at more than the line's",
                )
            });
        }
    }
    items
}

/// The volts at the reversing valve that count as none, and both modes of a unit that has one.
fn heat_pump(book: &Book<'_>, record: &Record, motors: &[(usize, &Part)]) -> Vec<Item> {
    let sheet = book.sheet;
    let has_call = sheet.parts.iter().any(|p| terminal(p, "O").is_some());
    let valve = sheet.parts.iter().find(|p| p.kind.name == "solenoid");
    let Some(valve) = valve.filter(|_| has_call) else {
        return Vec::new();
    };
    let points = [valve.first_point, valve.first_point + 1];
    let why =
        "control volts at the reversing valve: fed for cooling and in a defrost, not for heating";
    let volts = |told, id: &'static str, of: Limit, absent: Option<f64>| Item {
        told,
        against: limit(of, absent),
        outside: Outside::LeaveOff,
        ..measure(of_part(book, id, valve), Function::VoltsAc, points, why)
    };
    let none = control::COIL_RELEASED.limit_of(control::NOMINAL).lower;
    let fed = control::LOADED.limit();
    let not_fed = Limit::new(None, none, control::COIL_RELEASED.source);
    let mut items = vec![
        volts(Told::Call, "proof-fed", fed, none),
        volts(Told::Heating, "proof-not-fed-heating", not_fed, None),
    ];
    for (_, part) in motors {
        items.extend(amps(book, record, part, Told::Heating));
    }
    if sheet.parts.iter().any(|p| p.kind.name == "defrost-relay") {
        items.push(volts(Told::Defrost, "proof-fed-defrost", fed, none));
        for (_, part) in motors {
            let item = amps(book, record, part, Told::Defrost);
            items.extend(item.map(|item| {
                if hermetic(part) {
                    item
                } else {
                    stands(book, item, record, part)
                }
            }));
        }
    }
    items
}

/// A fan that a defrost stops.
fn stands(book: &Book<'_>, item: Item, record: &Record, part: &Part) -> Item {
    let rated = plate_number(record, &part.name, "fla").or_else(|| value(part, "rated-amps"));
    let most = rated.map(|rated| STANDS * rated);
    Item {
        what: of_part(book, "proof-stands-defrost", part),
        against: limit(Limit::new(None, most, STANDS_SOURCE), None),
        outside: Outside::Monitor,
        why: "in a defrost the outdoor fan stands still: no amperes to speak of".into(),
        ..item
    }
}
