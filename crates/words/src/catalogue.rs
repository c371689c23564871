//! The catalogues: Project Fluent, one file for each part and language.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use unic_langid::{LanguageIdentifier, langid};

use crate::phrase::phrases;

/// A language that is spoken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Tongue {
    /// English.
    #[default]
    English,
    /// Spanish.
    Spanish,
}

/// What a catalogue is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The page.
    Page,
    /// The visit: why something is asked, what a value proves, why something is refused.
    Visit,
    /// The papers.
    Paper,
    /// Drawings of a unit.
    Drawing,
}

const CATALOGUES: [(Tongue, Part, &str); 8] = [
    (
        Tongue::English,
        Part::Page,
        include_str!("catalogues/page.en.ftl"),
    ),
    (
        Tongue::Spanish,
        Part::Page,
        include_str!("catalogues/page.es.ftl"),
    ),
    (
        Tongue::English,
        Part::Visit,
        include_str!("catalogues/visit.en.ftl"),
    ),
    (
        Tongue::Spanish,
        Part::Visit,
        include_str!("catalogues/visit.es.ftl"),
    ),
    (
        Tongue::English,
        Part::Paper,
        include_str!("catalogues/paper.en.ftl"),
    ),
    (
        Tongue::Spanish,
        Part::Paper,
        include_str!("catalogues/paper.es.ftl"),
    ),
    (
        Tongue::English,
        Part::Drawing,
        include_str!("catalogues/drawing.en.ftl"),
    ),
    (
        Tongue::Spanish,
        Part::Drawing,
        include_str!("catalogues/drawing.es.ftl"),
    ),
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

    /// The one of that tag, if it is spoken.
    #[must_use]
    pub fn of_tag(tag: &str) -> Option<Self> {
        let primary = tag.split(['-', '_']).next()?.trim();
        let is = |t: &Tongue| t.tag().eq_ignore_ascii_case(primary);
        Tongue::ALL.into_iter().find(is)
    }

    /// Of a browser's languages the one that is spoken and wanted most (RFC 9110, 12.5.4): by its weight, the
    /// first of those with the same; English where none is.
    #[must_use]
    pub fn of_browser(accepted: &str) -> Self {
        let ranges = accepted.split(',').filter_map(|range| {
            let (tag, parameters) = range.split_once(';').unwrap_or((range, ""));
            Some((Tongue::of_range(tag.trim())?, weight(parameters)?))
        });
        let wanted = ranges.filter(|(_, weight)| *weight > 0);
        // The last of equals is what `max_by_key` gives.
        let all: Vec<_> = wanted.collect();
        let best = all.into_iter().rev().max_by_key(|(_, weight)| *weight);
        best.map(|(tongue, _)| tongue).unwrap_or_default()
    }

    /// The one that a language range stands for (RFC 4647, 2.1): `*` for the first of all.
    fn of_range(range: &str) -> Option<Self> {
        if range == "*" {
            return Some(Tongue::default());
        }
        Tongue::of_tag(range)
    }

    pub(crate) const fn language(self) -> LanguageIdentifier {
        match self {
            Tongue::English => langid!("en"),
            Tongue::Spanish => langid!("es"),
        }
    }

    fn bundle(self) -> Option<&'static FluentBundle<FluentResource>> {
        static ALL: OnceLock<Vec<(Tongue, FluentBundle<FluentResource>)>> = OnceLock::new();
        let all = ALL.get_or_init(|| {
            let of = |tongue: Tongue| {
                let own = CATALOGUES.iter().filter(|(t, ..)| *t == tongue);
                (tongue, read(tongue, own.map(|(.., text)| *text)))
            };
            Tongue::ALL.map(of).into()
        });
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
            args.set(*name, argument(value));
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

/// The weight among a language range's parameters, in thousandths (RFC 9110, 12.4.2): 1000 where none is
/// stated, none where it is no weight.
fn weight(parameters: &str) -> Option<u32> {
    let mut all = parameters.split(';').map(str::trim);
    let stated = all.find_map(|p| p.strip_prefix("q=").or_else(|| p.strip_prefix("Q=")));
    let Some(stated) = stated else {
        return Some(1000);
    };
    let (whole, part) = stated.split_once('.').unwrap_or((stated, ""));
    if part.len() > 3 || !part.bytes().all(|b| b.is_ascii_digit()) || !["0", "1"].contains(&whole) {
        return None;
    }
    let weight: u32 = format!("{whole}{part:0<3}").parse().ok()?;
    (weight <= 1000).then_some(weight)
}

/// A count chooses between one and many; anything else stands as it is written.
fn argument(value: &str) -> FluentValue<'_> {
    match value.parse::<u32>() {
        Ok(count) if count.to_string() == value => FluentValue::from(count),
        _ => FluentValue::from(value),
    }
}

/// Catalogues as they are used. What is wrong with one is found by the tests.
pub(crate) fn read<'t>(
    tongue: Tongue,
    texts: impl Iterator<Item = &'t str>,
) -> FluentBundle<FluentResource> {
    let mut bundle = FluentBundle::new_concurrent(vec![tongue.language()]);
    // Directions are isolated by the markup, where there is any.
    bundle.set_use_isolating(false);
    for text in texts {
        let resource = FluentResource::try_new(text.to_owned()).unwrap_or_else(|(good, _)| good);
        bundle.add_resource_overriding(resource);
    }
    bundle
}

/// The messages of a catalogue, each with the names that it uses: for those who check that what they name
/// is there.
#[must_use]
pub fn messages(tongue: Tongue, part: Part) -> BTreeMap<String, BTreeSet<String>> {
    let own = CATALOGUES
        .iter()
        .filter(|(t, p, _)| *t == tongue && *p == part);
    let mut all = BTreeMap::new();
    let mut current = String::new();
    for line in own.flat_map(|(.., text)| text.lines()) {
        if let Some((id, _)) = line.split_once(" =")
            && !line.starts_with(['#', ' '])
        {
            current = id.to_owned();
            all.insert(current.clone(), BTreeSet::new());
        }
        for piece in line.split("{ $").skip(1) {
            let name = piece.split([' ', '}']).next().unwrap_or_default();
            if let Some(names) = all.get_mut(&current) {
                names.insert(name.to_owned());
            }
        }
    }
    all
}

/// All that is said in a language, a message or a phrase at a time, with the names that it has in it; of
/// phrases in English their ids, which are made of their words.
pub fn said_in(tongue: Tongue) -> impl Iterator<Item = String> {
    let own = CATALOGUES.iter().filter(move |(t, ..)| *t == tongue);
    let lines = own.flat_map(|(.., text)| text.lines().filter(|l| !l.starts_with('#')));
    let said = lines.map(|line| match line.split_once(" = ") {
        Some((_, said)) => said.to_owned(),
        None => line.to_owned(),
    });
    let phrases = phrases().map(move |(id, said)| match tongue {
        Tongue::English => id.replace('-', " "),
        Tongue::Spanish => said.to_owned(),
    });
    said.chain(phrases)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PARTS: [Part; 4] = [Part::Page, Part::Visit, Part::Paper, Part::Drawing];

    #[test]
    fn every_catalogue_is_whole_and_no_id_is_there_twice() {
        for tongue in Tongue::ALL {
            let mut lines = 0;
            let mut ids = BTreeSet::new();
            for (_, _, text) in CATALOGUES.iter().filter(|(t, ..)| *t == tongue) {
                let resource = FluentResource::try_new((*text).to_owned());
                resource.unwrap_or_else(|(_, errors)| panic!("{errors:?}"));
                let heads = text
                    .lines()
                    .filter(|l| !l.starts_with(['#', ' ', '[', '*', '}']));
                lines += heads.filter(|l| l.contains(" =")).count();
            }
            for part in PARTS {
                let messages = messages(tongue, part);
                assert!(messages.len() > 20, "{part:?}");
                ids.extend(messages.into_keys());
            }
            assert_eq!(ids.len(), lines, "{tongue:?} has an id twice");
        }
    }

    #[test]
    fn every_language_has_every_message_with_the_same_names() {
        for part in PARTS {
            assert_eq!(
                messages(Tongue::English, part),
                messages(Tongue::Spanish, part)
            );
        }
    }

    #[test]
    fn one_is_told_from_many() {
        let says = |t: Tongue, points| t.tell("gate-shown-at", &[("points", points)]);
        assert_eq!(says(Tongue::English, "1"), "shown at 1 point");
        assert_eq!(says(Tongue::English, "12"), "shown at 12 points");
        assert_eq!(says(Tongue::Spanish, "1"), "hecha en 1 punto");
        assert_eq!(
            argument("0012"),
            FluentValue::from("0012"),
            "no digit is lost"
        );
    }

    /// A prohibition is read without its heading too: by a screen reader, on a card that is folded or torn.
    #[test]
    fn what_is_forbidden_says_so_by_itself() {
        for (tongue, begins) in [(Tongue::English, "Do not "), (Tongue::Spanish, "No ")] {
            let all = messages(tongue, Part::Paper).into_keys();
            let forbidden = all.filter(|id| id.starts_with("tag-no-"));
            let said: Vec<String> = forbidden.map(|id| tongue.say(&id)).collect();
            assert!(said.len() >= 4, "{said:?}");
            assert!(said.iter().all(|s| s.starts_with(begins)), "{said:?}");
        }
    }

    #[test]
    fn nothing_says_that_anything_is_safe() {
        for (_, _, text) in CATALOGUES {
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
        // By weight, not by place (RFC 9110, 12.4.2); a weight of 0 is one that is not wanted.
        for (accepted, wanted) in [
            ("en;q=0.5, es;q=0.9", Tongue::Spanish),
            ("en;q=0.5,es-419", Tongue::Spanish),
            ("es;q=0, en;q=0.1", Tongue::English),
            ("es;q=0", Tongue::English),
            ("es;q=0.5, en;q=0.5", Tongue::Spanish),
            ("es;q=0.7, *;q=0.8", Tongue::English),
            ("es;q=0.2, fr;q=1.0", Tongue::Spanish),
            ("ES-mx ; Q=1.000 , en;q=0.999", Tongue::Spanish),
            ("en;q=1.5, es;q=0.1", Tongue::Spanish),
            ("en;q=none, es;q=0.1", Tongue::Spanish),
        ] {
            assert_eq!(Tongue::of_browser(accepted), wanted, "{accepted}");
        }
    }
}
