//! docs/sources.md lists every limit of the core, with its source and how far that was checked.

mod docs_blocks;

use std::collections::BTreeSet;
use std::fmt::Write as _;

use ohmtrail_core::gates::limits as gates;
use ohmtrail_core::refrigerant::charge::{Fault, Feature, HABITS, Look, Suspect};
use ohmtrail_core::rules;
use ohmtrail_core::source::{Source, Status};

const PAGE: &str = "sources.md";

/// A limit as the page shows it: no more digits than it has.
fn number(x: f64) -> String {
    let rounded = format!("{x:.6e}").parse::<f64>().unwrap_or(x);
    if rounded != 0.0 && (rounded.abs() < 1e-3 || rounded.abs() >= 1e5) {
        format!("{rounded:e}")
    } else {
        format!("{rounded}")
    }
}

fn limits() -> String {
    let mut out = String::new();
    let mut subject = "";
    for rule in rules::all() {
        let (own, _) = rule.id.split_once('.').unwrap_or((rule.id, ""));
        if own != subject {
            subject = own;
            writeln!(
                out,
                "\n### `{subject}`\n\n| limit | what | from | to | unit | source | status |\n|---|---|---|---|---|---|---|"
            )
            .unwrap();
        }
        let side = |limit: Option<f64>| limit.map_or_else(String::new, number);
        writeln!(
            out,
            "| `{}` | {} | {} | {} | {} | {} | {} |",
            rule.id,
            rule.what,
            side(rule.lower),
            side(rule.upper),
            rule.unit,
            rule.source.what,
            rule.source.status.words()
        )
        .unwrap();
    }
    out.push('\n');
    out
}

/// The numbers that the safety gates hold to.
fn gate_limits() -> String {
    let minutes = |us: u64| format!("{} min", us / 60_000_000);
    let seconds = |us: u64| format!("{} s", us / 1_000_000);
    let rows: [(&str, String, Source); 13] = [
        (
            "absent, at most, at a test for absence of voltage",
            format!("{} V", gates::DEAD.0),
            gates::DEAD_SOURCE,
        ),
        (
            "live at sight, from",
            format!("{} V", gates::LIVE.0),
            gates::LIVE_SOURCE,
        ),
        (
            "live at sight by clamp, from",
            format!("{} A", gates::LIVE_AMPS.0),
            gates::LIVE_AMPS_SOURCE,
        ),
        (
            "at a capacitor before anyone touches, at most",
            format!("{} V", gates::TOUCH.0),
            gates::TOUCH_SOURCE,
        ),
        (
            "at a capacitor before ohms or farads, at most",
            format!("{} V", gates::MEASURE.0),
            gates::MEASURE_SOURCE,
        ),
        (
            "between the two proofs of the meter, at most",
            minutes(gates::PROOF_LASTS),
            gates::TIMES_SOURCE,
        ),
        (
            "a capacitor's reading serves for touching, at most",
            minutes(gates::TOUCH_LASTS),
            gates::TIMES_SOURCE,
        ),
        (
            "a capacitor's reading serves for measuring, at most",
            minutes(gates::MEASURE_LASTS),
            gates::TIMES_SOURCE,
        ),
        (
            "covers on and people clear hold, at most",
            minutes(gates::READY_LASTS),
            gates::TIMES_SOURCE,
        ),
        (
            "a compressor rests before it is started again, at least",
            minutes(gates::COMPRESSOR_REST),
            gates::TIMES_SOURCE,
        ),
        (
            "a stall is held, at most",
            seconds(gates::STALL_HELD),
            gates::TIMES_SOURCE,
        ),
        (
            "to ground behind a tripped breaker before it is restored, at least",
            format!("{} MOhm", gates::GROUND_CLEAR.0 / 1e6),
            gates::GROUND_CLEAR_SOURCE,
        ),
        (
            "CAT III 600 V serves, at most (above it CAT III 1000 V)",
            format!("{} V", gates::CATEGORY_600.0),
            gates::CATEGORY_SOURCE,
        ),
    ];
    let mut out = "\n| what | value | source | status |\n|---|---|---|---|\n".to_owned();
    for (what, value, source) in rows {
        writeln!(
            out,
            "| {what} | {value} | {} | {} |",
            source.what,
            source.status.words()
        )
        .unwrap();
    }
    out.push('\n');
    out
}

/// What the refrigerant side is weighed with, besides the drawn units: estimates, all of them.
fn weights() -> String {
    let mut out = format!("\nBy {} ({}).\n", HABITS.what, HABITS.status.words());
    out.push_str("\n| suspect | held probable beforehand |\n|---|---|\n");
    let faults = Fault::ALL.map(Suspect::Fault);
    for suspect in [Suspect::NoFault]
        .into_iter()
        .chain(faults)
        .chain([Suspect::NoneOfThese])
    {
        writeln!(out, "| `{}` | {} |", suspect.name(), suspect.prior()).unwrap();
    }
    out.push_str("\n| look | about | yes where it is | yes where it is not |\n|---|---|---|---|\n");
    for look in Look::ALL {
        let [there, elsewhere] = look.yes();
        let about = look.about().name();
        writeln!(
            out,
            "| `{}` | `{about}` | {there} | {elsewhere} |",
            look.name()
        )
        .unwrap();
    }
    out.push_str("\n| quantity | what the model does not know of a unit, K |\n|---|---|\n");
    for feature in Feature::ALL {
        writeln!(out, "| `{}` | {} |", feature.name(), feature.blur()).unwrap();
    }
    out.push('\n');
    out
}

/// The statuses, and what each may do.
fn statuses() -> String {
    let mut out = "\n| status | may condemn alone | limits |\n|---|---|---|\n".to_owned();
    for status in [
        Status::Verified,
        Status::SecondHand,
        Status::Computed,
        Status::Memory,
        Status::CommonPractice,
        Status::Plate,
    ] {
        let count = rules::all().filter(|r| r.source.status == status).count();
        let may = if status.may_condemn() { "yes" } else { "no" };
        writeln!(out, "| {} | {may} | {count} |", status.words()).unwrap();
    }
    out.push('\n');
    out
}

#[test]
fn every_limit_is_listed_with_its_source() {
    docs_blocks::in_step(
        PAGE,
        &[
            ("statuses", statuses()),
            ("limits", limits()),
            ("gates", gate_limits()),
            ("charge", weights()),
        ],
    );
}

/// Each limit has a name of its own, a side, and a source in words.
#[test]
fn the_rows_can_be_told_apart() {
    let mut names = BTreeSet::new();
    for rule in rules::all() {
        assert!(names.insert(rule.id), "{} is there twice", rule.id);
        assert!(rule.lower.is_some() || rule.upper.is_some(), "{}", rule.id);
        assert!(rule.source.what.len() > 8, "{}", rule.id);
        assert!(!rule.what.contains('|'), "{} breaks the table", rule.id);
    }
    assert!(names.len() > 50, "{}", names.len());
}
