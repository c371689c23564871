//! A compressor that stands on an open overload: what its S-R readings, a cold reference and the
//! ambient say about when it closes, worked out anew from the record each time.
//!
//! Nothing of it is an event of its own. The cold reference is a value of the plate
//! ([`COLD_KEY`]), the ambient a take in °C at the point [`AMBIENT`], S-R is read like any other
//! pair. So a trail has all of it, and a visit that goes on from its trail knows it again.

mod cold;
mod words;

use ohmtrail_circuit::sheet::Heat;
use ohmtrail_core::accuracy::Quantity;
use ohmtrail_core::class::Class;
use ohmtrail_core::cooldown::{Advice, Given, Outlook, Sample, outlook};
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::{Celsius, Micros, Ohms};
use ohmtrail_trail::event::{Power, Stamp};

pub use cold::{COLD_KEY, Cold};
pub use words::cooling as cooling_words;

use crate::book::{Book, WindingPair, Windings};
use crate::record::{Record, Took};
use crate::visit::Visit;

/// The point that stands for the air around the unit: a take in °C between it and itself is the
/// ambient.
pub const AMBIENT: &str = "ambient";

/// An S-R reading as a temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warm {
    /// The take.
    pub take: u32,
    /// When.
    pub at: Stamp,
    /// The winding's mean temperature; none without a cold reference.
    pub winding: Option<Quantity<Celsius>>,
}

/// A compressor that stands on an open overload.
#[derive(Debug, Clone, PartialEq)]
pub struct Cooling {
    /// The part.
    pub part: String,
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
        cooling_words(&self.outlook, self.now)
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

/// Whether common was read open, and when last; none if it was not read, or its latest reading has
/// a path. `heat` narrows it to takes of one heat.
fn common_open(record: &Record, motor: &Windings, heat: Option<Heat>) -> Option<Micros> {
    let since = record.off_at?;
    let mut latest: Option<(&Took, bool)> = None;
    for took in record
        .takes
        .iter()
        .filter(|t| t.counts() && t.elapsed >= since)
    {
        let own = motor.checks.iter().any(|(pair, of, check)| {
            *pair != WindingPair::StartRun
                && Some(*check) == took.check
                && (heat.is_none() || of.is_none() || *of == heat)
        });
        if own && let Some(verdict) = &took.take.verdict {
            latest = Some((took, verdict.class == Class::Open));
        }
    }
    latest
        .filter(|(_, open)| *open)
        .map(|(took, _)| took.elapsed)
}

impl Record {
    /// The clock of the visit at a moment: the time since it was opened, over restarts of the
    /// program.
    #[must_use]
    pub fn elapsed(&self, steady: Micros) -> Micros {
        let last = self.last_at.map_or(steady, |at| at.steady);
        Micros(self.clock.0.saturating_add(steady.since(last)))
    }

    /// Every compressor that stands on an open overload, at a moment of [`Record::elapsed`].
    #[must_use]
    pub fn cooling(&self, book: &Book<'_>, now: Micros) -> Vec<Cooling> {
        let hermetic = book.windings().iter().filter(|m| m.hermetic);
        hermetic
            .filter_map(|motor| self.cooling_of(book, motor, now))
            .collect()
    }

    /// That of one motor.
    pub(crate) fn cooling_of(
        &self,
        book: &Book<'_>,
        motor: &Windings,
        now: Micros,
    ) -> Option<Cooling> {
        let off = self.off_at.filter(|_| self.power == Power::Off)?;
        let open = common_open(self, motor, None)?;
        let part = book.sheet.parts[motor.part].name.clone();
        let cold = self
            .plate(&part, COLD_KEY)
            .and_then(|plate| Cold::read(&plate.value).ok());
        let ambient = self.ambient();
        let mut readings = Vec::new();
        let mut samples = Vec::new();
        for took in self.takes.iter().filter(|t| t.counts() && t.elapsed >= off) {
            let start_run = motor.checks.iter().any(|(pair, _, check)| {
                *pair == WindingPair::StartRun && Some(*check) == took.check
            });
            let take = &took.take;
            let Some(shown) = take.shown.decimal().filter(|_| start_run) else {
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
        let outlook = outlook(&given, now).ok()?;
        Some(Cooling {
            part,
            cold,
            ambient,
            readings,
            outlook,
            now,
            open,
        })
    }

    /// The ambient, as last taken.
    fn ambient(&self) -> Option<Quantity<Celsius>> {
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

    /// How often common was read open since the motors were called cold.
    pub(crate) fn cold_opens(&self, motor: &Windings) -> usize {
        let since = self.off_at.unwrap_or_default();
        let cold = |took: &&Took| {
            motor.checks.iter().any(|(pair, heat, check)| {
                *pair != WindingPair::StartRun
                    && heat.is_none_or(|h| h == Heat::Cold)
                    && Some(*check) == took.check
            })
        };
        let takes = self
            .takes
            .iter()
            .filter(|t| t.counts() && t.elapsed >= since);
        takes
            .filter(|t| t.take.state.cooled)
            .filter(cold)
            .filter(|t| {
                t.take
                    .verdict
                    .as_ref()
                    .is_some_and(|v| v.class == Class::Open)
            })
            .count()
    }
}

/// Whether an open common leg of a motor that was called cold speaks against its protector.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum ColdOpen {
    /// It does: a good one would have closed, or the technician's word is all there is, and it was
    /// read twice.
    Proves,
    /// Read once: it is read again.
    Again,
    /// By its temperature or the time it may still be hot: not before this moment of
    /// [`Record::elapsed`].
    NotBefore(Micros),
    /// By its temperature it may still be hot, and no time can be given.
    NotNow,
}

impl Record {
    /// What an open common leg of a motor that was called cold is worth.
    pub(crate) fn cold_open(&self, book: &Book<'_>, motor: &Windings) -> ColdOpen {
        let repeated = self.cold_opens(motor) > 1;
        let Some(open) = common_open(self, motor, Some(Heat::Cold)) else {
            return ColdOpen::Proves;
        };
        let Some(cooling) = self.cooling_of(book, motor, open) else {
            return ColdOpen::Proves;
        };
        let outlook = cooling.outlook;
        let said = match (outlook.advice, outlook.window, outlook.slowest) {
            (Advice::StaysOpen, ..) => ColdOpen::Proves,
            (Advice::DoesNotFit, ..) => ColdOpen::NotNow,
            (_, Some(window), _) => window.late.map_or(ColdOpen::NotNow, ColdOpen::NotBefore),
            (_, None, Some(slowest)) => ColdOpen::NotBefore(slowest),
            // A reading that is warm by itself, in a measured ambient.
            (..) if outlook.still_open.is_some() => ColdOpen::NotNow,
            // Nothing measured speaks of heat: the technician's word that it is cold stands.
            (..) => ColdOpen::Proves,
        };
        match said {
            ColdOpen::Proves if !repeated => ColdOpen::Again,
            other => other,
        }
    }
}

impl Visit<'_> {
    /// What is expected of compressors that stand on an open overload, as the end of a sentence,
    /// and the minutes after which each of them should have closed.
    pub(crate) fn cooling_expected(&self, steady: Micros) -> (String, Option<f32>) {
        let all = self.record.cooling(self.book, self.record.elapsed(steady));
        let words = all
            .iter()
            .map(|c| format!(". {}: {}", c.part, c.words()))
            .collect();
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
