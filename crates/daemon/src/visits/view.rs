//! A visit as a client sees it whole.

use std::collections::BTreeMap;

use ohmtrail_core::reading::MeterId;
use ohmtrail_trail::{Hash, rfc3339};
use ohmtrail_words::Said;
use serde::Serialize;
use utoipa::ToSchema;

use super::Seen;
use super::tell::Now;
use crate::forms::{Ask, Conclusion, Cooldown, Finding, Gate, Left, Suspect, Verdict, power_word};
use crate::meters::{Standing, State};

/// What is known of a visit only while it is open.
#[derive(Debug)]
pub struct Live {
    /// How it stands.
    pub now: Now,
    /// Its connected meters by their numbers in the visit: name and state.
    pub meters: BTreeMap<MeterId, (String, State)>,
}

/// Everything that a visit's trail says, and how it stands.
#[derive(Debug, Serialize, ToSchema)]
pub struct VisitView {
    /// Its name.
    pub id: String,
    /// The work order.
    pub work_order: String,
    /// Who does it.
    pub technician: String,
    /// The unit, as the shop names it.
    pub unit: String,
    /// The sheet's name.
    pub sheet: String,
    /// The unit is simulated: nothing here was measured on a real one.
    pub simulated: bool,
    /// The head hash of the trail before this one of the same unit.
    pub previous: Option<String>,
    /// When it was opened, by the wall clock.
    pub opened_at: Option<String>,
    /// How it stands; none once it has ended.
    pub now: Option<Now>,
    /// The unit's power, as the acts so far left it: `on` or `off`.
    pub power: &'static str,
    /// Whether a lock hangs on it.
    pub locked: bool,
    /// A live value was read where there should be none, and nothing was opened since.
    pub alarmed: bool,
    /// Whether the motors had time to cool.
    pub cooled: bool,
    /// The wire ends that are lifted now.
    pub lifted: Vec<String>,
    /// The safety gates as they were last said to be; after a restart all are shut.
    pub gates: Vec<Gate>,
    /// The suspects, most probable first.
    pub suspects: Vec<Suspect>,
    /// What the isolation came to.
    pub conclusion: Option<Conclusion>,
    /// The finding that stands.
    pub finding: Option<Finding>,
    /// Compressors that stand on an open overload.
    pub cooling: Vec<Cooldown>,
    /// How the unit was left.
    pub left: Option<Left>,
    /// The tag that was hung.
    pub tag: Option<String>,
    /// Whether the visit has ended.
    pub closed: bool,
    /// What the customer reports.
    pub complaints: Vec<Complaint>,
    /// Values read off plates and parts.
    pub plates: Vec<Plate>,
    /// The meters.
    pub meters: Vec<VisitMeter>,
    /// Every ask so far.
    pub asks: Vec<Ask>,
    /// Every look that was answered.
    pub looks: Vec<Look>,
    /// Every take.
    pub takes: Vec<Taken>,
    /// What was passed over.
    pub skipped: Vec<Skipped>,
    /// Every wire end that was lifted.
    pub wires: Vec<WireEnd>,
    /// Notes.
    pub notes: Vec<String>,
    /// Photographs.
    pub photos: Vec<Photo>,
    /// The head hash of the trail.
    pub head: String,
}

/// What the customer reports.
#[derive(Debug, Serialize, ToSchema)]
pub struct Complaint {
    /// The sheet's name for it.
    pub what: String,
    /// The customer's words.
    pub words: String,
}

/// A value read off a plate or a part.
#[derive(Debug, Serialize, ToSchema)]
pub struct Plate {
    /// The part, or `unit`.
    pub part: String,
    /// What it is.
    pub key: String,
    /// As printed.
    pub value: String,
    /// UCUM unit, empty if none.
    pub unit: String,
}

/// A meter of a visit.
#[derive(Debug, Serialize, ToSchema)]
pub struct VisitMeter {
    /// Its number in the visit.
    pub number: u16,
    /// What the daemon calls it; none if it is not connected to this visit.
    pub name: Option<String>,
    /// What it is for.
    pub role: String,
    /// The driver that reads it.
    pub driver: String,
    /// Where it is.
    pub place: String,
    /// The profile that its accuracy is taken from.
    pub profile: String,
    /// Whether that is the cautious default.
    pub accuracy_assumed: bool,
    /// How it stands; none if it is not connected to this visit.
    pub standing: Option<Standing>,
    /// Why; empty while it is up.
    pub why: String,
}

/// A look that was answered.
#[derive(Debug, Serialize, ToSchema)]
pub struct Look {
    /// The ask that it answers.
    pub ask: Option<u32>,
    /// What was looked at.
    pub what: String,
    /// Yes or no.
    pub answer: bool,
}

/// A take, and what became of it.
#[derive(Debug, Serialize, ToSchema)]
pub struct Taken {
    /// The take and its verdict.
    pub verdict: Verdict,
    /// When, by the wall clock.
    pub at: Option<String>,
    /// The meter's number in the visit.
    pub meter: u16,
    /// The unit's power at the time: `on` or `off`.
    pub power: &'static str,
    /// The wire ends that were lifted.
    pub lifted: Vec<String>,
    /// The annunciators.
    pub flags: Vec<&'static str>,
    /// The value judged in base units, leads taken off; none for an overload.
    pub value: Option<f64>,
    /// Its standard uncertainty.
    pub uncertainty: Option<f64>,
    /// The lower limit of "within", in base units.
    pub lower: Option<f64>,
    /// The upper limit.
    pub upper: Option<f64>,
    /// The base unit, UCUM.
    pub unit: &'static str,
    /// Why it was struck.
    pub struck: Option<String>,
    /// Why it is void.
    pub void: Option<String>,
    /// Its verdict, before it is put into a language.
    #[serde(skip)]
    #[schema(ignore)]
    pub said: Option<Said>,
}

/// An ask that was passed over.
#[derive(Debug, Serialize, ToSchema)]
pub struct Skipped {
    /// The ask.
    pub ask: u32,
    /// Why.
    pub why: String,
}

/// A wire end of the wire map.
#[derive(Debug, Serialize, ToSchema)]
pub struct WireEnd {
    /// The end.
    pub end: String,
    /// The terminal it was on.
    pub from: String,
    /// Its mark, as seen.
    pub mark: String,
    /// The hash of its photograph.
    pub photo: Option<String>,
    /// The terminal it was put back on.
    pub back_on: Option<String>,
    /// Whether it was checked since it is back.
    pub checked: bool,
}

/// A photograph.
#[derive(Debug, Serialize, ToSchema)]
pub struct Photo {
    /// Its BLAKE3 hash, by which it is fetched.
    pub hash: String,
    /// What it shows.
    pub caption: String,
}

impl VisitView {
    /// The visit of that name.
    #[must_use]
    pub fn of(id: &str, seen: &Seen<'_>) -> Self {
        let record = seen.record;
        let opened = record.opened.clone();
        let opened = opened.as_ref();
        let text = |field: fn(&ohmtrail_trail::event::Opened) -> &String| {
            opened.map_or_else(String::new, |o| field(o).clone())
        };
        VisitView {
            id: id.to_owned(),
            work_order: text(|o| &o.work_order),
            technician: text(|o| &o.technician),
            unit: text(|o| &o.unit),
            sheet: text(|o| &o.sheet),
            simulated: opened.is_some_and(|o| o.simulated),
            previous: opened.and_then(|o| o.previous).map(|h| Hash(h).to_string()),
            opened_at: record.opened_at.and_then(|at| rfc3339(at.wall_us)),
            now: seen.live.as_ref().map(|live| live.now.clone()),
            power: power_word(record.power),
            locked: record.locked,
            alarmed: record.alarmed,
            cooled: record.cooled,
            lifted: record.lifted.clone(),
            gates: record.gates.values().map(Gate::of).collect(),
            suspects: record.suspects.iter().map(Suspect::of).collect(),
            conclusion: record.conclusion.as_ref().map(Conclusion::of),
            finding: record.finding.as_ref().map(Finding::of),
            cooling: cooling(seen),
            left: record.left.as_ref().map(Left::of),
            tag: record.tag.clone(),
            closed: record.closed,
            complaints: record
                .complaints
                .iter()
                .map(|(what, words)| Complaint {
                    what: what.clone(),
                    words: words.clone(),
                })
                .collect(),
            plates: record
                .plates
                .iter()
                .map(|p| Plate {
                    part: p.part.clone(),
                    key: p.key.clone(),
                    value: p.value.clone(),
                    unit: p.unit.clone(),
                })
                .collect(),
            meters: meters(seen),
            asks: record.asks.iter().map(Ask::of).collect(),
            looks: record
                .looks
                .iter()
                .map(|l| Look {
                    ask: l.ask,
                    what: l.what.clone(),
                    answer: l.answer,
                })
                .collect(),
            takes: record.takes.iter().map(Taken::of).collect(),
            skipped: record
                .skipped
                .iter()
                .map(|(ask, why)| Skipped {
                    ask: *ask,
                    why: why.clone(),
                })
                .collect(),
            wires: record
                .wires
                .iter()
                .map(|w| WireEnd {
                    end: w.end.clone(),
                    from: w.from.clone(),
                    mark: w.mark.clone(),
                    photo: w.photo.map(|h| Hash(h).to_string()),
                    back_on: w.back_on.clone(),
                    checked: w.checked,
                })
                .collect(),
            notes: record.notes.clone(),
            photos: record
                .photos
                .iter()
                .map(|(hash, caption)| Photo {
                    hash: Hash(*hash).to_string(),
                    caption: caption.clone(),
                })
                .collect(),
            head: seen.head.to_string(),
        }
    }
}

/// Compressors that cool, while the visit is open.
fn cooling(seen: &Seen<'_>) -> Vec<Cooldown> {
    let Some(last) = seen.record.last_at.filter(|_| seen.live.is_some()) else {
        return Vec::new();
    };
    let now = seen.record.elapsed(last.steady);
    let all = seen.record.cooling(seen.book, now);
    all.iter().map(Cooldown::of).collect()
}

/// The meters of a visit.
#[must_use]
pub fn meters(seen: &Seen<'_>) -> Vec<VisitMeter> {
    let record = seen.record;
    let joined = record.meters.iter().map(|m| {
        let live = seen.live.as_ref().and_then(|l| l.meters.get(&m.meter));
        VisitMeter {
            number: m.meter.0,
            name: live.map(|(name, _)| name.clone()),
            role: record.roles.get(&m.meter).cloned().unwrap_or_default(),
            driver: m.driver.clone(),
            place: m.place.clone(),
            profile: m.profile.clone(),
            accuracy_assumed: m.accuracy_assumed,
            standing: live.map(|(_, state)| state.standing),
            why: live.map_or_else(String::new, |(_, state)| state.why.clone()),
        }
    });
    joined.collect()
}

impl Taken {
    fn of(took: &ohmtrail_visit::Took) -> Self {
        let take = &took.take;
        let finite = |x: f64| Some(x).filter(|x| x.is_finite());
        Taken {
            verdict: Verdict::of(take),
            at: rfc3339(took.at.wall_us),
            meter: take.meter.0,
            power: power_word(take.state.power),
            lifted: take.state.lifted.clone(),
            flags: take.flags.names().collect(),
            value: finite(take.value),
            uncertainty: finite(take.uncertainty),
            lower: take.verdict.as_ref().and_then(|v| v.lower),
            upper: take.verdict.as_ref().and_then(|v| v.upper),
            unit: take.function.ucum(),
            struck: took.struck.clone(),
            void: took.void.clone(),
            said: took.words(),
        }
    }
}
