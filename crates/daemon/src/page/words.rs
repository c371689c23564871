//! What the page says, in the languages that it speaks: Project Fluent catalogues, one file each.
//!
//! What a visit says of itself (why it asks, what a verdict is) is kept in its trail in English and is
//! shown as it was kept.

use std::sync::OnceLock;

use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use maud::{Markup, html};
use unic_langid::{LanguageIdentifier, langid};

/// A language of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tongue {
    /// English.
    English,
    /// Spanish.
    Spanish,
}

/// The catalogues.
const CATALOGUES: [(Tongue, &str); 2] = [
    (Tongue::English, include_str!("words/en.ftl")),
    (Tongue::Spanish, include_str!("words/es.ftl")),
];

impl Tongue {
    /// All of them, the first where nothing else is wanted.
    pub const ALL: [Tongue; 2] = [Tongue::English, Tongue::Spanish];

    /// Its tag (BCP 47).
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Tongue::English => "en",
            Tongue::Spanish => "es",
        }
    }

    /// The one of that tag, if the page speaks it.
    #[must_use]
    pub fn of_tag(tag: &str) -> Option<Self> {
        let primary = tag.split(['-', '_']).next()?.trim();
        let is = |t: &Tongue| t.tag().eq_ignore_ascii_case(primary);
        Tongue::ALL.into_iter().find(is)
    }

    /// The first of a browser's languages that the page speaks (RFC 9110, 12.5.4). Browsers list
    /// them by preference.
    #[must_use]
    pub fn of_browser(accepted: &str) -> Self {
        let tags = accepted.split(',').filter_map(|t| t.split(';').next());
        tags.filter_map(Tongue::of_tag)
            .next()
            .unwrap_or(Tongue::English)
    }

    const fn language(self) -> LanguageIdentifier {
        match self {
            Tongue::English => langid!("en"),
            Tongue::Spanish => langid!("es"),
        }
    }

    fn bundle(self) -> Option<&'static FluentBundle<FluentResource>> {
        static ALL: OnceLock<Vec<(Tongue, FluentBundle<FluentResource>)>> = OnceLock::new();
        let all = ALL.get_or_init(|| CATALOGUES.map(|(t, text)| (t, read(t, text))).into());
        all.iter().find(|(t, _)| *t == self).map(|(_, b)| b)
    }

    /// A message.
    #[must_use]
    pub fn say(self, id: &str) -> String {
        self.tell(id, &[])
    }

    /// A message with what it names. One that a catalogue lacks is said in English; one that no
    /// catalogue has is shown by its id, with its hyphens as blanks.
    #[must_use]
    pub fn tell(self, id: &str, named: &[(&str, &str)]) -> String {
        let mut args = FluentArgs::new();
        for (name, value) in named {
            let count = value.parse::<u32>().map(FluentValue::from);
            args.set(*name, count.unwrap_or_else(|_| FluentValue::from(*value)));
        }
        let of = |tongue: Tongue| {
            let bundle = tongue.bundle()?;
            let pattern = bundle.get_message(id)?.value()?;
            let said = bundle.format_pattern(pattern, Some(&args), &mut Vec::new());
            Some(said.into_owned())
        };
        of(self)
            .or_else(|| of(Tongue::English))
            .unwrap_or_else(|| id.replace('-', " "))
    }
}

/// What a trail or a sheet says, in the language that it is kept in.
pub fn kept(words: &str) -> Markup {
    html! { span lang=(Tongue::English.tag()) { (words) } }
}

/// A catalogue as it is used. What is wrong with one is found by the tests.
fn read(tongue: Tongue, text: &str) -> FluentBundle<FluentResource> {
    let mut bundle = FluentBundle::new_concurrent(vec![tongue.language()]);
    // The page isolates directions by its markup.
    bundle.set_use_isolating(false);
    let resource = FluentResource::try_new(text.to_owned()).unwrap_or_else(|(good, _)| good);
    bundle.add_resource_overriding(resource);
    bundle
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use ohmtrail_core::gates::Gate;
    use ohmtrail_core::reading::Function;
    use ohmtrail_trail::event::Act;

    use super::*;
    use crate::forms::act_words;

    /// The messages of a catalogue, each with the names that it uses.
    fn messages(text: &str) -> BTreeMap<String, BTreeSet<String>> {
        let resource = FluentResource::try_new(text.to_owned());
        let resource = resource.unwrap_or_else(|(_, errors)| panic!("{errors:?}"));
        assert!(resource.entries().count() > 50);
        let mut all = BTreeMap::new();
        let mut current = String::new();
        for line in text.lines().filter(|l| !l.starts_with('#')) {
            if let Some((id, _)) = line.split_once(" =")
                && !line.starts_with(' ')
            {
                current = id.to_owned();
                let again = all.insert(current.clone(), BTreeSet::new());
                assert!(again.is_none(), "{current} is there twice");
            }
            for piece in line.split("{ $").skip(1) {
                let name = piece.split([' ', '}']).next().expect("a name");
                let names = all.get_mut(&current).expect("a message comes first");
                names.insert(name.to_owned());
            }
        }
        all
    }

    #[test]
    fn every_language_has_every_message_with_the_same_names() {
        let [(_, english), (_, spanish)] = CATALOGUES;
        assert_eq!(messages(english), messages(spanish));
    }

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
        let [(_, english), _] = CATALOGUES;
        let known = messages(english);
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

    #[test]
    fn one_is_told_from_many() {
        let says = |t: Tongue, points| t.tell("gate-shown-at", &[("points", points)]);
        assert_eq!(says(Tongue::English, "1"), "shown at 1 point");
        assert_eq!(says(Tongue::English, "12"), "shown at 12 points");
        assert_eq!(says(Tongue::Spanish, "1"), "demostrado en 1 punto");
    }

    #[test]
    fn nothing_says_that_anything_is_safe() {
        for (_, text) in CATALOGUES {
            let small = text.to_lowercase();
            for word in [" safe", " seguro", " segura", " a salvo"] {
                let there = small.lines().find(|l| l.contains(word));
                assert_eq!(there, None, "{word}");
            }
        }
    }

    #[test]
    fn the_browsers_first_language_that_is_spoken_is_used() {
        // RFC 9110, 12.5.4: its example, and others.
        assert_eq!(
            Tongue::of_browser("da, en-gb;q=0.8, en;q=0.7"),
            Tongue::English
        );
        assert_eq!(
            Tongue::of_browser("es-MX,es;q=0.9,en;q=0.8"),
            Tongue::Spanish
        );
        assert_eq!(Tongue::of_browser("fr, es"), Tongue::Spanish);
        assert_eq!(Tongue::of_browser(""), Tongue::English);
    }
}
