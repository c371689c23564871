//! A compressor that stands on an open overload: what its S-R readings, a cold reference and the
//! ambient say about when it closes, worked out anew from the record each time.
//!
//! Nothing of it is an event of its own. The cold reference is a value of the plate
//! ([`COLD_KEY`]), the ambient a take in °C at the point [`AMBIENT`], S-R is read like any other
//! pair. So a trail has all of it, and a visit that goes on from its trail knows it again.

mod cold;
mod words;

use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::class::Class;
use ohmtrail_core::cooldown::{Advice, Given, Normal, Outlook, RESET, STILL_OPEN, Sample, outlook};
use ohmtrail_core::math::phi;
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::{Celsius, Micros, Ohms};
use ohmtrail_trail::event::{Power, Stamp};
use ohmtrail_words::Said;

pub use cold::{COLD_KEY, Cold};
pub use words::cooling as cooling_said;

use crate::book::{Book, Windings};
use crate::record::{Record, Took};
use crate::visit::Visit;

/// The point that stands for the air around the unit: a take in °C between it and itself is the
/// ambient.
pub const AMBIENT: &str = "ambient";

/// After what time an open common is read again where nothing better is known, microseconds: half an
/// hour, the least that a compressor is said to need (a trade tip on open overloads, verified).
const LOOK_AGAIN: u64 = 30 * 60_000_000;
/// How often common is read open before it is left for another day.
const MOST_OPENS: usize = 8;

/// An S-R reading as a temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warm {
    /// The take.
    pub take: u32,
    /// When.
    pub at: Stamp,
    /// The same on the clock of [`Record::elapsed`].
    pub(crate) elapsed: Micros,
    /// The winding's mean temperature; none without a cold reference.
    pub winding: Option<Quantity<Celsius>>,
}

/// A compressor that stands on an open overload.
#[derive(Debug, Clone, PartialEq)]
pub struct Cooling {
    /// The part.
    pub part: String,
    /// Its common was not read since it was switched off: whether it is open is only supposed.
    pub unread: bool,
    /// What its S-R had when it was cold.
    pub cold: Option<Cold>,
    /// The ambient, as last taken.
    pub ambient: Option<Quantity<Celsius>>,
    /// Its S-R readings since it was switched off.
    pub readings: Vec<Warm>,
    /// What is to be expected.
    pub outlook: Outlook,
    /// The moment that this was worked out for, on the clock of [`Record::elapsed`].
    pub now: Micros,
    /// When common last read open.
    pub(crate) open: Micros,
}

impl Cooling {
    /// Minutes from that moment to another, negative if it is past.
    #[must_use]
    pub fn minutes_to(&self, moment: Micros) -> f64 {
        (moment.since(self.now) as f64 - self.now.since(moment) as f64) / 60e6
    }

    /// What is to be expected, in words.
    #[must_use]
    pub fn words(&self) -> String {
        self.said().to_string()
    }

    /// The same before it is put into a language.
    #[must_use]
    pub fn said(&self) -> Said {
        let words = cooling_said(&self.outlook, self.now);
        if self.unread {
            Said::message("if-overload-open").with("words", words)
        } else {
            words
        }
    }

    /// What a further look at it would have to differ in to be news.
    fn news(&self) -> News {
        News {
            part: self.part.clone(),
            cold: self.cold.clone(),
            ambient: self.ambient.map(|a| a.value.get().to_bits()),
            readings: self.readings.iter().map(|r| r.take).collect(),
            open: self.open,
            advice: self.outlook.advice,
        }
    }
}

/// What was told of a compressor's cooling.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct News {
    part: String,
    cold: Option<Cold>,
    ambient: Option<u64>,
    readings: Vec<u32>,
    open: Micros,
    advice: Advice,
}

/// What common of a motor last read since it was switched off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Common {
    /// Nothing: it was not read.
    Unread,
    /// Open to a winding, at this moment.
    Open(Micros),
    /// A path.
    Path,
}

impl Record {
    /// The clock of the visit at a moment: the time since it was opened, over restarts of the
    /// program.
    #[must_use]
    pub fn elapsed(&self, steady: Micros) -> Micros {
        let last = self.last_at.map_or(steady, |at| at.steady);
        Micros(self.clock.0.saturating_add(steady.since(last)))
    }

    /// Every compressor that stands on an open overload, at a moment of [`Record::elapsed`]: its
    /// common reads open, or was not read since the wait for it was asked for.
    #[must_use]
    pub fn cooling(&self, book: &Book<'_>, now: Micros) -> Vec<Cooling> {
        self.coolings(book, now, self.wait_asked)
    }

    fn coolings(&self, book: &Book<'_>, now: Micros, unread_too: bool) -> Vec<Cooling> {
        // A three-phase motor behind its open overload has no pair left that could be read.
        let all = book.windings().iter();
        all.filter(|m| m.hermetic && m.checks.iter().any(|(p, ..)| !p.through_overload()))
            .filter_map(|motor| self.cooling_of(book, motor, now, unread_too))
            .collect()
    }

    /// The takes that count of a motor's pairs through its overload, or of those past it, since it
    /// was switched off.
    fn takes_of_pairs<'r>(
        &'r self,
        motor: &'r Windings,
        through: bool,
    ) -> impl Iterator<Item = &'r Took> {
        let off = self.off_at.unwrap_or(Micros(u64::MAX));
        self.takes.iter().filter(move |t| {
            t.counts()
                && t.elapsed >= off
                && motor.checks.iter().any(|(pair, _, check)| {
                    pair.through_overload() == through && Some(*check) == t.check
                })
        })
    }

    /// What common last read.
    fn common(&self, motor: &Windings) -> Common {
        let read = self.takes_of_pairs(motor, true);
        let classes = read.filter_map(|t| Some((t, t.take.verdict.as_ref()?.class)));
        match classes.last() {
            None => Common::Unread,
            Some((took, Class::Open)) => Common::Open(took.elapsed),
            Some(_) => Common::Path,
        }
    }

    /// Whether a part was last seen to run.
    fn runs(&self, part: &str) -> bool {
        let what = format!("{part}.running");
        let seen = self.looks.iter().rev().find(|l| l.what == what);
        seen.is_some_and(|l| l.answer)
    }

    /// That of one motor.
    pub(crate) fn cooling_of(
        &self,
        book: &Book<'_>,
        motor: &Windings,
        now: Micros,
        unread_too: bool,
    ) -> Option<Cooling> {
        let off = self.off_at.filter(|_| self.power == Power::Off)?;
        let part = book.sheet.parts[motor.part].name.clone();
        let common = self.common(motor);
        let open = match common {
            Common::Open(moment) => moment,
            Common::Unread if unread_too && !self.runs(&part) => off,
            Common::Unread | Common::Path => return None,
        };
        let cold = self
            .plate(&part, COLD_KEY)
            .and_then(|plate| Cold::read(&plate.value).ok());
        let ambient = self.ambient();
        let mut readings = Vec::new();
        let mut samples = Vec::new();
        for took in self.takes_of_pairs(motor, false) {
            let take = &took.take;
            let Some(shown) = take.shown.decimal() else {
                continue;
            };
            if !(take.value.is_finite() && take.value > 0.0) {
                continue;
            }
            let joined = self.meters.iter().find(|m| m.meter == take.meter);
            let ohms = Quantity {
                assumed: joined.is_none_or(|m| m.accuracy_assumed),
                ..Quantity::new(Ohms(take.value), take.uncertainty)
            };
            samples.push(Sample {
                at: took.elapsed,
                ohms,
                step: Ohms(shown.resolution()),
            });
            let winding = cold
                .as_ref()
                .and_then(|c| c.reference.temperature(ohms).ok());
            readings.push(Warm {
                take: take.take,
                at: took.at,
                elapsed: took.elapsed,
                winding,
            });
        }
        let given = Given {
            reference: cold.as_ref().map(|c| c.reference),
            ambient,
            samples: &samples,
            ..Given::new(off, open)
        };
        // Numbers that are none do not get into a record.
        let mut outlook = outlook(&given, now).ok()?;
        let unread = common == Common::Unread;
        if unread && outlook.advice == Advice::StaysOpen {
            // Nothing is open that was not read.
            outlook.advice = Advice::MeasureAgain;
        }
        Some(Cooling {
            part,
            unread,
            cold,
            ambient,
            readings,
            outlook,
            now,
            open,
        })
    }

    /// The ambient, as last taken.
    pub(crate) fn ambient(&self) -> Option<Quantity<Celsius>> {
        let took = self.takes.iter().rev().find(|t| {
            t.counts()
                && t.take.function == Function::Celsius
                && t.take.points[0] == AMBIENT
                && t.take.value.is_finite()
        })?;
        let joined = self.meters.iter().find(|m| m.meter == took.take.meter);
        Some(Quantity {
            assumed: joined.is_none_or(|m| m.accuracy_assumed),
            ..Quantity::new(Celsius(took.take.value), took.take.uncertainty)
        })
    }

    /// When common read open since the motors were called cold, oldest first.
    fn cold_opens(&self, motor: &Windings) -> Vec<Micros> {
        self.takes_of_pairs(motor, true)
            .filter(|t| t.take.state.cooled)
            .filter(|t| {
                t.take
                    .verdict
                    .as_ref()
                    .is_some_and(|v| v.class == Class::Open)
            })
            .map(|t| t.elapsed)
            .collect()
    }
}

/// What an open common leg of a motor that was called cold is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum ColdOpen {
    /// It is evidence: a good protector would have closed, or the technician's word that it is cold
    /// is all there is; and it was read twice.
    Proves,
    /// Read once: it is read again.
    Again,
    /// By what was measured the motor may still be hot: read again, and not before this moment of
    /// [`Record::elapsed`].
    NotBefore(Micros),
    /// The same, and it was read often enough: it cannot be told in this visit.
    NotNow,
}

impl Record {
    /// What an open common leg of a motor that was called cold is worth.
    pub(crate) fn cold_open(&self, book: &Book<'_>, motor: &Windings) -> ColdOpen {
        let opens = self.cold_opens(motor);
        let (Some(&open), Common::Open(_)) = (opens.last(), self.common(motor)) else {
            return ColdOpen::Proves;
        };
        let Some(cooling) = self.cooling_of(book, motor, open, false) else {
            return ColdOpen::Proves;
        };
        let later = Micros(open.0.saturating_add(LOOK_AGAIN));
        let outlook = cooling.outlook;
        let said = match (outlook.advice, outlook.window, outlook.slowest) {
            (Advice::StaysOpen, ..) => ColdOpen::Proves,
            (_, Some(window), _) => ColdOpen::NotBefore(window.late.unwrap_or(later)),
            (_, None, Some(slowest)) => ColdOpen::NotBefore(slowest),
            // Readings that do not fit, or a warm one by itself.
            _ if outlook.still_open.is_some() || outlook.advice == Advice::DoesNotFit => {
                ColdOpen::NotBefore(later)
            }
            _ if cooling.is_hot_at(open) => ColdOpen::NotBefore(later),
            // Nothing measured speaks of heat: the technician's word stands.
            _ => ColdOpen::Proves,
        };
        match said {
            ColdOpen::Proves if opens.len() < 2 => ColdOpen::Again,
            ColdOpen::NotBefore(_) if opens.len() >= MOST_OPENS => ColdOpen::NotNow,
            other => other,
        }
    }
}

impl Cooling {
    /// Whether start to run, read shortly before or after that moment, has the winding so hot that a
    /// good protector may be open.
    fn is_hot_at(&self, moment: Micros) -> bool {
        let latest = self.readings.last();
        let near = latest
            .is_some_and(|r| moment.since(r.elapsed).max(r.elapsed.since(moment)) <= LOOK_AGAIN);
        let reset = Normal::of(&RESET);
        near && self.outlook.winding.is_some_and(|w| {
            let spread = w.u.hypot(reset.sd);
            let open = phi((w.value.get() - reset.mean) / spread);
            open > STILL_OPEN.upper.unwrap_or(0.0)
        })
    }
}

impl Visit<'_> {
    /// What is expected of compressors that stand on an open overload, as the end of a sentence,
    /// and the minutes after which each of them should have closed.
    pub(crate) fn cooling_expected(&self, steady: Micros) -> (Said, Option<f32>) {
        let all = self
            .record
            .coolings(self.book, self.record.elapsed(steady), true);
        let words = all.iter().fold(Said::default(), |said, c| {
            said.then(". ", Said::own(c.part.clone()).then(": ", c.said()))
        });
        let late = |c: &Cooling| {
            let late = c.outlook.window?.late?;
            Some(c.minutes_to(late).max(0.0) as f32)
        };
        let minutes = all
            .iter()
            .map(late)
            .try_fold(0.0_f32, |most, m| m.map(|m| most.max(m)));
        (words, minutes.filter(|_| !all.is_empty()))
    }

    /// What there is to tell of compressors that stand on an open overload, and was not told yet.
    pub fn cooling_news(&mut self, at: Stamp) -> Vec<Cooling> {
        let all = self
            .record
            .cooling(self.book, self.record.elapsed(at.steady));
        let news: Vec<News> = all.iter().map(Cooling::news).collect();
        let told = std::mem::replace(&mut self.live.cooling_told, news);
        all.into_iter()
            .filter(|c| !told.contains(&c.news()))
            .collect()
    }
}
