//! What is said of a search: text and JSON.

use ohmtrail_core::fit::capacitor::Capacitor;
use ohmtrail_core::fit::{Aspect, Outcome, Reason, Row};
use ohmtrail_core::rules::capacitor::Tolerance;
use ohmtrail_core::units::{Farads, Volts};
use ohmtrail_stock::{Failed, Judged, Offer, Offers, Piece, Use};
use serde_json::{Value, json as value};

use crate::check::number::{digits, show};
use crate::fail::Fail;
use crate::out::Out;

/// What is said with every search.
pub const CAUTIONS: [&str; 3] = [
    "this informs a qualified person: the instructions of the unit's maker and local codes prevail",
    "the unit is off, locked, tagged and proved dead, its capacitors are discharged and proved, before a part is touched",
    "size, terminals, mounting and wire gauge are not compared; what was fitted is proven by measuring the running unit",
];

/// The document of one failed part.
pub fn json(failed: &Failed, found: &Offers) -> Value {
    value!({
        "part": failed.part,
        "words": failed.words,
        "wanted": failed.wanted,
        "from": failed.from,
        "offers": found,
    })
}

/// The cautions, each on a line.
pub fn cautions(out: &mut Out) -> Result<(), Fail> {
    for caution in CAUTIONS {
        out.line(&format!("caution: {caution}"))?;
    }
    Ok(())
}

/// Where something is, in brackets.
pub fn place(place: &str) -> String {
    if place.is_empty() {
        String::new()
    } else {
        format!(" ({place})")
    }
}

/// Everything about one failed part.
pub fn text(failed: &Failed, found: &Offers, out: &mut Out) -> Result<(), Fail> {
    out.line(&format!(
        "{}: {} fit, {} unknown, {} do not fit",
        failed.part,
        found.fits.len(),
        found.unknown.len(),
        found.refused.len()
    ))?;
    out.line(&format!("  for {}", failed.words))?;
    for line in &failed.from {
        out.line(&format!("  {line}"))?;
    }
    for offer in found
        .fits
        .iter()
        .chain(&found.unknown)
        .chain(&found.refused)
    {
        one(offer, out)?;
    }
    for name in &found.none_left {
        out.line(&format!("none left: {name}"))?;
    }
    if found.left_off {
        out.line("there are more combinations than these: those of fewer pieces come first")?;
    }
    Ok(())
}

fn one(offer: &Offer, out: &mut Out) -> Result<(), Fail> {
    let names: Vec<String> = offer.pieces.iter().map(piece).collect();
    out.line(&format!("{}: {}", offer.outcome.words(), names.join(" + ")))?;
    if let Some(common) = offer.common {
        out.line(&format!("  one can for two: {}", common.words()))?;
    }
    for judged in &offer.judged {
        section(judged, offer, out)?;
    }
    for note in notes(offer) {
        out.line(&format!("  note: {note}"))?;
    }
    Ok(())
}

fn piece(piece: &Piece) -> String {
    let uses = match piece.uses {
        Use::Whole => "",
        Use::Herm => ", HERM section alone",
        Use::Fan => ", FAN section alone",
        Use::Joined => ", both sections joined",
    };
    let section = if piece.section.is_empty() {
        String::new()
    } else {
        format!(" for {}", piece.section)
    };
    let note = if piece.note.is_empty() {
        String::new()
    } else {
        format!(" [{}]", piece.note)
    };
    format!("{}{}{uses}{section}{note}", piece.name, place(&piece.place))
}

fn section(judged: &Judged, offer: &Offer, out: &mut Out) -> Result<(), Fail> {
    let before = if judged.section.is_empty() {
        String::new()
    } else {
        format!("{}: ", judged.section)
    };
    if let Some(bank) = &judged.bank {
        out.line(&format!("  {before}{}", marking(&bank.whole)))?;
        let pieces = offer.pieces.iter().filter(|p| p.section == judged.section);
        let several = pieces.clone().count() > 1 || pieces.clone().any(|p| p.uses == Use::Joined);
        if let (true, Some(worst), Some(likely)) = (several, bank.whole.tolerance, bank.statistical)
        {
            out.line(&format!(
                "  {before}tolerance of the sum: {} at worst, which decides; {} if the pieces deviate independently",
                tolerance(worst),
                tolerance(likely)
            ))?;
        }
    }
    // Of what is refused, only why; of the rest, all that is not the very same.
    let refused = offer.outcome == Outcome::Refused;
    let worth =
        |row: &&Row| row.reason != Reason::Same && !(refused && row.outcome == Outcome::Fits);
    for row in judged.report.rows().iter().filter(worth) {
        out.line(&format!("  {before}{}", criterion(row)))?;
    }
    Ok(())
}

fn marking(whole: &Capacitor) -> String {
    let mut parts = Vec::new();
    parts.extend(whole.farads.map(|f| show(f.get(), Farads::UCUM)));
    parts.extend(whole.tolerance.map(tolerance));
    parts.extend(whole.volts.map(|v| show(v.get(), Volts::UCUM)));
    if parts.is_empty() {
        "nothing is known of it".to_owned()
    } else {
        parts.join(", ")
    }
}

fn tolerance(t: Tolerance) -> String {
    let percent = |share: f64| digits(share * 100.0);
    let (minus, plus) = (percent(t.minus.get()), percent(t.plus.get()));
    if minus == plus {
        format!("\u{b1}{plus} %")
    } else {
        format!("-{minus}/+{plus} %")
    }
}

/// One criterion: what it is, both values where they are numbers, the reason; where it does not
/// fit, the rule too.
fn criterion(row: &Row) -> String {
    let number = |x: f64| match row.aspect {
        Aspect::Tolerance => show(x, "1"),
        Aspect::Power => format!("{} W", digits(x)),
        Aspect::Shaft | Aspect::ShaftLength => format!("{} mm", digits(x * 1e3)),
        _ if row.unit == "1" => digits(x),
        _ => show(x, row.unit),
    };
    // Ranks and yes-or-no have numbers in the rule, and none for people.
    let told = !matches!(
        row.aspect,
        Aspect::Duty | Aspect::Protection | Aspect::ClassTwo | Aspect::Enclosure
    );
    let values = match (row.offered, row.asked) {
        (Some(offered), Some(asked)) if told => {
            format!(" {} where {} is asked:", number(offered), number(asked))
        }
        (Some(offered), None) if told => format!(" {}:", number(offered)),
        (None, Some(asked)) if told => format!(" {} is asked:", number(asked)),
        _ => String::new(),
    };
    let by = if row.outcome == Outcome::Fits {
        String::new()
    } else {
        format!("; by {} ({})", row.source.what, row.source.status.words())
    };
    format!("{}:{values} {}{by}", row.aspect.words(), row.reason.words())
}

/// What to do with the pieces, where it is not plain.
fn notes(offer: &Offer) -> Vec<&'static str> {
    let mut notes = Vec::new();
    if offer.outcome == Outcome::Refused {
        return notes;
    }
    let uses = |uses| offer.pieces.iter().any(|p| p.uses == uses);
    if uses(Use::Herm) || uses(Use::Fan) {
        notes.push("the terminal of the other section stays empty: insulate it, and mark the can");
    }
    if uses(Use::Joined) {
        notes.push("HERM and FAN are joined for the one lead, C takes the other");
    }
    let sections: Vec<&str> = offer.pieces.iter().map(|p| p.section.as_str()).collect();
    if sections.iter().any(|s| !s.is_empty()) {
        notes.push("one side of each goes where C was");
    }
    let repeated = sections
        .iter()
        .any(|s| sections.iter().filter(|other| *other == s).count() > 1);
    if repeated {
        notes.push("pieces in parallel: both sides of each to both sides of the other, each strapped by itself, each discharged and proved");
    }
    notes
}
