//! What a repair came to, by what was measured.

use ohmtrail_trail::event::{Proof, Proved, RepairEnd};
use ohmtrail_words::Said;

use super::lines::Line;

/// Why it came out so: what failed, else what is not proven, else that all was.
pub(crate) fn why_failed(lines: &[Line]) -> impl Iterator<Item = Said> {
    those(lines, Some(false)).map(Line::said)
}

/// What is not proven.
pub(crate) fn why_open(lines: &[Line]) -> impl Iterator<Item = Said> {
    those(lines, None).map(|l| Said::message("proof-open").with("proof", l.said()))
}

/// That everything was.
pub(crate) fn why_proven(proofs: usize) -> Said {
    Said::message("proofs-all").with("count", proofs.to_string())
}

fn those(lines: &[Line], passed: Option<bool>) -> impl Iterator<Item = &Line> {
    lines.iter().filter(move |l| l.passed == passed)
}

/// The end: *proven* only where every proof was made and passed.
pub(crate) fn end(lines: &[Line], stop: Option<Said>, has_power: bool) -> RepairEnd {
    let failed = lines.iter().any(|l| l.passed == Some(false));
    let open = lines.iter().any(|l| l.passed.is_none());
    let stopped = stop.is_some();
    let mut why: Vec<Said> = stop.into_iter().collect();
    let proved = if failed {
        why.extend(why_failed(lines));
        Proved::LeftOff
    } else if stopped && !has_power {
        Proved::LeftOff
    } else if stopped || open {
        why.extend(why_open(lines));
        Proved::Monitor
    } else {
        why.push(why_proven(lines.len()));
        Proved::Proven
    };
    RepairEnd {
        proved,
        why: why.iter().map(Said::to_string).collect(),
        proofs: lines.iter().map(Line::proof).collect::<Vec<Proof>>(),
    }
}
