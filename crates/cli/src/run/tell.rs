//! What a person reads of a visit on a terminal.

use std::fmt::Write;

use ohmtrail_trail::event::{Act, Asked, Conclusion, Event, Finding, Outcome, Request, Take};
use ohmtrail_visit::displayed;

use super::dialogue::{act_words, power_word};

/// What is asked, on one line.
pub fn request(asked: &Asked) -> String {
    match &asked.request {
        Request::Look { what } => format!("look: {what}"),
        Request::Measure {
            function,
            points: [a, b],
            state,
        } => {
            let mut text = format!("measure {}: {a} to {b}", function.name());
            let _ = write!(text, " (power {}", power_word(state.power));
            if !state.lifted.is_empty() {
                let _ = write!(text, ", lifted {}", state.lifted.join(" "));
            }
            text.push(')');
            text
        }
        Request::Act { act } => format!("do: {}", act_sentence(act)),
        other => format!("{other:?}"),
    }
}

/// An act as an instruction.
fn act_sentence(act: &Act) -> String {
    match act {
        Act::OpenBreaker => "open the breaker of the unit".to_owned(),
        Act::LockAndTag => "lock it open and hang the lock's tag".to_owned(),
        Act::LockDisconnect => "open the disconnect within sight and lock it".to_owned(),
        Act::OpenOtherSources => "open every other source of the unit".to_owned(),
        Act::ProveMeter => "prove the meter on a source that is known to be live".to_owned(),
        Act::Discharge => "discharge the capacitors through a resistor".to_owned(),
        Act::Lift(ends) => format!("lift {}, mark it, take its photograph", ends.join(" ")),
        Act::PutBack(ends) => format!("put back {}", ends.join(" ")),
        Act::InsulateEnds => "insulate the lifted ends".to_owned(),
        Act::CoversOnPeopleClear => "covers on, people clear".to_owned(),
        Act::CloseBreaker => "take the lock off and close the breaker".to_owned(),
        Act::WaitCool => "leave the unit until its motors are cold".to_owned(),
        Act::CallOn => "set the thermostat to call".to_owned(),
        Act::CallOff => "take the call away".to_owned(),
        other => act_words(other).0.replace('-', " "),
    }
}

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
        _ => return None,
    })
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
