//! What a sheet says in languages other than its English: `[words.es]`, by the English words as they stand in
//! the sheet. What the kinds of parts and the built-in sheets say is in the catalogues already.

use std::collections::BTreeSet;

use ohmtrail_words::{Glossary, Said, Tongue};
use toml::de::DeValue;

use super::near::did_you_mean;
use super::toml::Keys;
use super::{Question, Sheet};

impl Sheet {
    /// Words of this sheet, before they are put into a language.
    #[must_use]
    pub fn said(&self, words: &str) -> Said {
        Said::of_sheet(words, &self.glossary)
    }

    /// Everything that the sheet says, a phrase at a time: what can be said in another language.
    #[must_use]
    pub fn phrases(&self) -> BTreeSet<&str> {
        let mut all = BTreeSet::from([self.title.as_str()]);
        for part in &self.parts {
            all.insert(&part.words);
            all.extend(part.kind.terminals.iter().map(|t| t.words));
            all.extend(part.kind.faults.iter().map(|f| f.words));
            all.extend(part.kind.looks.iter().map(|l| l.words));
        }
        all.extend(self.wires.iter().map(|w| w.mark.as_str()));
        all.extend(self.complaints.iter().map(|c| c.words.as_str()));
        let whys = self
            .checks
            .iter()
            .filter(|c| matches!(c.question, Question::Measure { .. }) && !c.is_low_impedance());
        all.extend(whys.map(|c| c.why.as_str()));
        all.remove("");
        all
    }

    /// What the sheet says and nothing has in that language.
    #[must_use]
    pub fn lacks(&self, tongue: Tongue) -> Vec<&str> {
        let mut all = self.phrases();
        all.retain(|words| tongue.phrase_by(&self.glossary, words).is_none());
        all.into_iter().collect()
    }

    /// Takes up the words of a sheet, the base first. Of a base, what a sheet based on it has removed or
    /// worded otherwise is passed over; what the sheet itself names must be there.
    pub(super) fn take_words(&mut self, layers: &[Keys<'_, '_>]) {
        let mut own = Glossary::default();
        let phrases = self.phrases();
        let mut place = None;
        // What is named of a part that could not be read is not wrong for it.
        let sound = layers.iter().all(|l| l.text.problems.borrow().is_empty());
        for (n, layer) in layers.iter().enumerate() {
            let Some(words) = layer.table("words") else {
                continue;
            };
            let Some(spanish) = words.table("es") else {
                words.finish();
                continue;
            };
            words.finish();
            place = Some(spanish.place());
            for (english, span, value) in spanish.all() {
                let said = value.get_ref();
                if sound && n + 1 == layers.len() && !phrases.contains(english) {
                    layer.text.problem(
                        span,
                        format!("\"{english}\" is nothing that this sheet says"),
                        format!(
                            "{}write a title, `words`, `mark` or `why` of this sheet as it stands there",
                            did_you_mean(english, phrases.iter().copied())
                        ),
                    );
                    continue;
                }
                match said {
                    DeValue::String(said) if !said.trim().is_empty() => {
                        own.add(Tongue::Spanish, english, said);
                    }
                    _ => layer.text.problem(
                        value.span(),
                        format!("\"{english}\" has no words here"),
                        "give a text in quotes, or leave the line out",
                    ),
                }
            }
        }
        // A mark that nobody noted is the sheet's.
        let marks: BTreeSet<String> = self.wires.iter().map(|w| w.mark.clone()).collect();
        for mark in marks.iter().filter(|m| !m.is_empty()) {
            if let Some(said) = own.of(Tongue::Spanish, mark).map(str::to_owned) {
                let by = |t: Tongue, mark| t.tell("mark-by-sheet", &[("mark", mark)]);
                let english = by(Tongue::English, mark);
                own.add(Tongue::Spanish, &english, &by(Tongue::Spanish, &said));
            }
        }
        self.places.words = place;
        self.glossary = own;
    }
}
