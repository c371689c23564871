//! Words in the page's markup. What is said, and in which languages, is of the crate `ohmtrail-words`.

use maud::{Markup, html};
use ohmtrail_visit::{AMBIENT, LEADS, charge_point};
use ohmtrail_words::{Said, Tongue, runs};

/// Words of a sheet or of this program that stay the same: in the reader's language where it has them, else
/// in English, and marked so.
pub fn phrase(t: Tongue, words: &str) -> Markup {
    said(t, &Said::phrase(words))
}

/// A sentence in the reader's language; what it has in English is marked so.
pub fn said(t: Tongue, words: &Said) -> Markup {
    marked(&words.marked(t))
}

/// A text whose other language is marked in it.
pub fn marked(text: &str) -> Markup {
    html! {
        @for run in runs(text) {
            @match run.other {
                Some(other) => span lang=(other.tag()) { (run.words) },
                None => (run.words),
            }
        }
    }
}

/// The language of a text that is in another one as a whole, for what takes no markup within it.
pub fn other(text: &str) -> Option<&'static str> {
    let mut all = runs(text);
    let only = all.next().filter(|_| all.next().is_none());
    only.and_then(|run| run.other).map(Tongue::tag)
}

/// Two points of a unit by their names; the probes held together, the air, and what is read of a charge, in
/// words.
pub(super) fn between(t: Tongue, points: &[String; 2]) -> String {
    let [a, b] = points;
    match (a.as_str(), b.as_str(), of_charge(points)) {
        (LEADS, LEADS, _) => t.say("leads-together"),
        (AMBIENT, AMBIENT, _) => t.say("ambient-air"),
        (.., Some(words)) => t.phrase_or_own(words),
        _ => format!("{a} – {b}"),
    }
}

/// What is read of a charge there; none of points of the unit's wiring.
pub(super) fn of_charge([a, b]: &[String; 2]) -> Option<&'static str> {
    charge_point(a).filter(|_| a == b)
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use ohmtrail_core::gates::Gate;
    use ohmtrail_core::reading::Function;
    use ohmtrail_index::Quantity;
    use ohmtrail_trail::event::Act;
    use ohmtrail_words::{Part, messages};

    use super::*;
    use crate::forms::act_words;

    /// The page's own code, but for this file and those.
    fn code(but: &[&str]) -> String {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page");
        let mut code = String::new();
        for entry in std::fs::read_dir(folder).expect("the folder is there") {
            let path = entry.expect("it can be read").path();
            let left_out = but
                .iter()
                .chain(&["words.rs"])
                .any(|name| path.ends_with(name));
            if path.extension().is_some_and(|e| e == "rs") && !left_out {
                let text = std::fs::read_to_string(path).expect("text");
                // Tests speak to those who read the code.
                code += text.split("#[cfg(test)]").next().unwrap_or_default();
            }
        }
        code
    }

    /// What is put behind a prefix of a message's name: every word that there can be.
    fn composed() -> BTreeMap<&'static str, Vec<String>> {
        let ends = Vec::new;
        let acts = [
            Act::OpenBreaker,
            Act::LockAndTag,
            Act::LockDisconnect,
            Act::OpenOtherSources,
            Act::ProveMeter,
            Act::Discharge,
            Act::Lift(ends()),
            Act::PutBack(ends()),
            Act::InsulateEnds,
            Act::CoversOnPeopleClear,
            Act::CloseBreaker,
            Act::WaitCool,
            Act::CallOn,
            Act::CallOff,
            Act::Fit(String::new()),
            Act::CheckWire(String::new()),
            Act::PutRight(ends()),
            Act::CallHeating,
            Act::StartDefrost,
            Act::ProveCharge,
        ];
        let words = |all: &[&str]| all.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>();
        let gates = [
            Gate::ProvedDead,
            Gate::DischargedToMeasure,
            Gate::ReadyToEnergise,
        ];
        BTreeMap::from([
            ("act-", acts.iter().map(|a| act_words(a).0).collect()),
            ("do-", words(&["look", "measure", "act"])),
            (
                "function-",
                Function::ALL.map(|f| f.name().to_owned()).into(),
            ),
            ("line-", words(&["part", "labour", "other"])),
            ("gate-", gates.map(|g| g.name().to_owned()).into()),
            (
                "standing-",
                words(&[
                    "opening", "up", "silent", "garbage", "away", "failed", "ended",
                ]),
            ),
            ("hold-", words(&["lowest", "highest"])),
            (
                "outcome-",
                words(&["faults", "no-fault", "none-of-these", "undecided"]),
            ),
            (
                "role-",
                words(&["root-cause", "consequence", "coincidence"]),
            ),
            (
                "quantity-",
                Quantity::ALL.map(|q| q.name().to_owned()).into(),
            ),
            (
                "stage-",
                words(&[
                    "opening",
                    "before",
                    "isolating",
                    "repairing",
                    "leaving",
                    "left",
                    "closed",
                    "broken",
                ]),
            ),
        ])
    }

    /// Every message that the code names is there, and none is there that no code names.
    #[test]
    fn the_catalogue_is_what_the_code_says() {
        let known = messages(Tongue::English, Part::Page);
        let code = code(&[]);
        for head in [".say(\"", ".tell(\"", ".tell(\n"] {
            for piece in code.split(head).skip(1) {
                let piece = piece.trim_start().trim_start_matches('"');
                let id = piece.split('"').next().expect("an id");
                assert!(known.contains_key(id), "no catalogue has {id}");
            }
        }
        // The reasons that can be touched.
        for call in code.split("reasons(t, ").skip(1) {
            let all = call
                .split('[')
                .nth(1)
                .and_then(|rest| rest.split(']').next());
            for id in all.expect("a list").split(", ") {
                assert!(
                    known.contains_key(id.trim_matches('"')),
                    "no catalogue has {id}"
                );
            }
        }
        let composed = composed();
        let mut made = BTreeSet::new();
        for (prefix, ends) in &composed {
            assert!(
                code.contains(&format!("\"{prefix}{{")),
                "nothing says {prefix}"
            );
            for end in ends {
                let id = format!("{prefix}{end}");
                assert!(known.contains_key(&id), "no catalogue has {id}");
                made.insert(id);
            }
        }
        for id in known.keys() {
            let named = code.contains(&format!("\"{id}\"")) || made.contains(id);
            assert!(named, "nothing says {id}");
        }
    }

    /// What a browser is told, and no person; and the name.
    const NOT_READ: [&str; 6] = [
        "; Path=/; HttpOnly; SameSite=Strict; Max-Age=31536000",
        "light dark",
        "text/css; charset=utf-8",
        "text/javascript; charset=utf-8",
        "width=device-width, initial-scale=1",
        "\u{b7} Ohmtrail",
    ];

    /// A text without what is put into it.
    fn without_holes(text: &str) -> String {
        let mut pieces = text.split('{');
        let first = pieces.next().unwrap_or_default().to_owned();
        pieces.fold(first, |all, piece| {
            all + piece.split_once('}').map_or("", |(_, rest)| rest)
        })
    }

    /// No words that are read stand in the page's code. The problems of a form that a browser of ours never sends
    /// are in English, as those of the API.
    #[test]
    fn no_words_stand_in_the_code() {
        let mut found = BTreeSet::new();
        for line in code(&["say.rs", "reader.rs"]).lines() {
            for text in line.split('"').skip(1).step_by(2) {
                let text = without_holes(text);
                if text.trim().contains(' ') && text.chars().any(char::is_alphabetic) {
                    found.insert(text.trim().trim_start_matches('=').to_owned());
                }
            }
        }
        assert_eq!(found.into_iter().collect::<Vec<_>>(), NOT_READ);
    }
}
