//! What a person reads of a visit on a terminal.

use std::fmt::Write;

use ohmtrail_trail::event::{Conclusion, Event, Finding, Outcome, RepairEnd, Take};
use ohmtrail_visit::displayed;

/// A take on one line: what the display showed and what it proves.
pub fn take(take: &Take) -> String {
    match &take.verdict {
        Some(judged) => judged.words.clone(),
        None => format!(
            "{}: kept; no check of the sheet is at these points",
            displayed(take.function, take.shown)
        ),
    }
}

/// What else a person is told of an event; nothing for the rest.
pub fn event(event: &Event) -> Option<String> {
    Some(match event {
        Event::Gate(gate) if gate.open => {
            format!("gate {} open: {}", gate.gate, gate.why)
        }
        Event::Gate(gate) => format!("gate {} shut: {}", gate.gate, gate.why),
        Event::Voided { why, .. } => format!("void: {why}"),
        Event::Struck { take, why } => format!("take {take} struck: {why}"),
        Event::Suspects { ranked } => {
            let mut text = "suspects:".to_owned();
            for suspect in ranked.iter().take(3) {
                let _ = write!(
                    text,
                    "  {} {:.0} %",
                    names(&suspect.faults),
                    suspect.p * 100.0
                );
            }
            text
        }
        Event::Concluded(concluded) => return conclusion(concluded),
        Event::Fitted(fitted) => format!("fitted {}: {}", fitted.part, fitted.words),
        Event::RepairEnded(end) => ended(end),
        _ => return None,
    })
}

/// What a repair came to, in some lines.
fn ended(end: &RepairEnd) -> String {
    let mut text = format!("\nRepair: {}\n", end.proved.words());
    for why in &end.why {
        let _ = writeln!(text, "  {why}");
    }
    for proof in &end.proofs {
        let passed = match proof.passed {
            Some(true) => "passed",
            Some(false) => "failed",
            None => "not proven",
        };
        let _ = writeln!(text, "  {passed}: {}: {}", proof.what, proof.words);
    }
    text
}

fn names(faults: &[String]) -> String {
    if faults.is_empty() {
        "no fault at all".to_owned()
    } else {
        faults.join(" + ")
    }
}

/// What the isolation came to where no fault is named.
fn conclusion(conclusion: &Conclusion) -> Option<String> {
    let percent = conclusion.p * 100.0;
    let what = match conclusion.outcome {
        Outcome::Faults => return None,
        Outcome::NoFault => format!("nothing wrong with what was checked ({percent:.1} %)"),
        Outcome::NoneOfThese => format!("none of the sheet's faults ({percent:.1} %)"),
        Outcome::Undecided => format!("undecided, the leading suspect at {percent:.1} %"),
    };
    Some(format!("Concluded: {what}: {}", conclusion.why))
}

/// A finding in some lines.
pub fn finding(finding: &Finding) -> String {
    let mut text = String::new();
    if finding.faults.is_empty() {
        let _ = writeln!(
            text,
            "Finding: none of the faults that the sheet knows is carried."
        );
    } else {
        let _ = writeln!(
            text,
            "Finding: {} ({:.1} %)",
            finding.faults.join(" + "),
            finding.p * 100.0
        );
    }
    for set in &finding.alike {
        let _ = writeln!(text, "  not to be told from outside from: {}", names(set));
    }
    for consequence in &finding.consequences {
        let _ = writeln!(text, "  {consequence}");
    }
    let _ = writeln!(text, "  carried by asks {}", numbers(&finding.evidence));
    let _ = writeln!(text, "  ruled out: {} faults", finding.ruled_out.len());
    for open in &finding.unproven {
        let _ = writeln!(text, "  unproven: {} - {}", open.fault, open.why);
    }
    text
}

fn numbers(asks: &[u32]) -> String {
    asks.iter()
        .map(u32::to_string)
        .collect::<Vec<_>>()
        .join(", ")
}
