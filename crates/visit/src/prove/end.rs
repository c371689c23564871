//! What a repair came to, by what was measured.

use ohmtrail_trail::event::{Proof, Proved, RepairEnd};

use super::lines::Line;

/// The end: *proven* only where every proof was made and passed.
pub(crate) fn end(lines: Vec<Line>, stop: Option<String>, has_power: bool) -> RepairEnd {
    let proofs: Vec<Proof> = lines.into_iter().map(|l| l.proof).collect();
    let those = |passed: Option<bool>| {
        let each = proofs.iter().filter(move |p| p.passed == passed);
        each.map(|p| format!("{}: {}", p.what, p.words))
            .collect::<Vec<_>>()
    };
    let (failed, open) = (those(Some(false)), those(None));
    let mut why: Vec<String> = stop.clone().into_iter().collect();
    let proved = if !failed.is_empty() {
        why.extend(failed);
        Proved::LeftOff
    } else if stop.is_some() && !has_power {
        Proved::LeftOff
    } else if stop.is_some() || !open.is_empty() {
        let each = open.into_iter().map(|o| format!("not proven: {o}"));
        why.extend(each);
        Proved::Monitor
    } else {
        why.push(format!(
            "each of {} checks of the plan was made and passed, as measured in this visit",
            proofs.len()
        ));
        Proved::Proven
    };
    RepairEnd {
        proved,
        why,
        proofs,
    }
}
