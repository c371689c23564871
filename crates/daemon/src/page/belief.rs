//! What is believed: the suspects with their evidence, and the finding.

use maud::{Markup, html};
use ohmtrail_visit::NONE_OF_THESE;
use ohmtrail_words::Tongue;

use super::screen::Screen;
use super::words::{marked, phrase, said};
use crate::forms::Suspect;

/// Suspects that are shown at once.
const SUSPECTS: usize = 6;

/// The suspects as ranked bars, each with its evidence.
pub(super) fn suspects(t: Tongue, screen: &Screen) -> Markup {
    let view = &screen.view;
    let words = |s: &Suspect| {
        if s.faults.is_empty() {
            return html! { (t.say("no-fault")) };
        }
        if s.faults == [NONE_OF_THESE] {
            return html! { (t.say("none-of-these")) };
        }
        let all: Vec<String> = s.faults.iter().map(|f| screen.fault_words(t, f)).collect();
        marked(&all.join(" + "))
    };
    html! {
        section #suspects data-part {
            @if !view.suspects.is_empty() && view.finding.is_none() {
                h2 { (t.say("suspects")) }
                ol.bars { @for (rank, suspect) in view.suspects.iter().take(SUSPECTS).enumerate() {
                    @let share = format!("{:.0}", suspect.p * 100.0);
                    li { details id={ "suspect-" (suspect.faults.join("+")) } {
                        summary {
                            span.name id={ "bar-" (rank) } { (words(suspect)) } " " b { (share) " %" }
                            progress max="100" value=(share) aria-labelledby={ "bar-" (rank) } {}
                        }
                        p.small { (suspect.faults.join(" + ")) }
                        @let evidence = screen.evidence(&suspect.faults);
                        @if evidence.is_empty() { p { (t.say("no-evidence")) } }
                        ul { @for (ask, bits) in evidence {
                            li { b { (if bits > 0.0 { t.say("speaks-for") } else { t.say("speaks-against") }) } " "
                                (marked(&screen.answered(t, ask))) }
                        } }
                    } }
                } }
            }
        }
    }
}

/// The finding.
pub(super) fn finding(t: Tongue, screen: &Screen) -> Markup {
    let view = &screen.view;
    let Some(found) = &view.finding else {
        return html! { section #finding data-part {} };
    };
    let words = |f: &String| screen.fault_words(t, f);
    let share = format!("{:.1}", found.p * 100.0);
    html! {
        section #finding data-part {
            h2 { (t.say("finding")) }
            @if found.faults.is_empty() { p.large { (t.say("no-fault-carried")) } }
            ul.found { @for fault in &found.faults { li { b { (marked(&words(fault))) } " " span.small { (fault) } } } }
            @if !found.faults.is_empty() { p { (t.tell("finding-share", &[("share", &share)])) } }
            @if let Some(conclusion) = &view.conclusion { p { (phrase(t, &conclusion.why)) } }
            @for line in &screen.consequences { p { (said(t, line)) } }
            @if !found.alike.is_empty() { p { (t.say("alike")) ": " (found.alike.iter().map(|a| a.join(" + ")).collect::<Vec<_>>().join("; ")) } }
            details { summary { (t.say("carried-by")) }
                ul { @for ask in &found.evidence { li { (marked(&screen.answered(t, *ask))) } } } }
            details { summary { (t.say("ruled-out")) " (" (found.ruled_out.len()) ")" }
                ul { @for out in &found.ruled_out { li { (marked(&words(&out.fault))) ": "
                    (marked(&out.by.iter().map(|a| screen.answered(t, *a)).collect::<Vec<_>>().join("; "))) } } } }
            details { summary { (t.say("unproven")) " (" (found.unproven.len()) ")" }
                ul { @for why in &screen.unproven { li { (said(t, why)) } } } }
        }
    }
}
