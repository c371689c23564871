//! What a reading of a repair is held against, and its verdict.

use ohmtrail_circuit::rewired::Telling;
use ohmtrail_circuit::sheet::PointId;
use ohmtrail_core::accuracy::{AccuracyTable, Measured, Quantity};
use ohmtrail_core::class::Class;
use ohmtrail_core::reading::{Function, Reading};
use ohmtrail_core::rules::under_load::{FORMULA, Feed, capacitance};
use ohmtrail_core::units::{Amps, Hertz, Volts};
use ohmtrail_core::verdict::{Limit, Verdict};
use ohmtrail_trail::event::{Judged, Power, Request};
use ohmtrail_words::Said;

use super::mended::{How, Mended};
use super::plan::{Against, Quest, plan};
use crate::book::Book;
use crate::judge::{Weighed, held_against, kept, said_as};
use crate::limits::HEALTHY;
use crate::record::Record;
use crate::words::{amount, said_shown};

/// Standard uncertainty of the mains' frequency, hertz (common practice, no published source).
const HERTZ_U: f64 = 0.05;

/// What this request is held against; none if it is no proof of the plan.
fn against(
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    request: &Request,
) -> Option<Against> {
    let asked = request.measurement()?;
    let points = asked.points.each_ref().map(|p| book.sheet.point(p));
    let same = |own: &[PointId; 2]| {
        let [a, b] = own.map(Some);
        points == [a, b] || points == [b, a]
    };
    if asked.function.injects() {
        if !asked.state.lifted.is_empty() {
            return None;
        }
        let pairs = &mended.rewired(book, record).pairs;
        let pair = pairs.iter().find(|p| same(&p.points))?;
        return Some(ohms(book, record, mended, pair));
    }
    if asked.state.power == Power::Off {
        return None;
    }
    let items = plan(book, record, mended).into_iter();
    let item = items.filter(|i| i.told == mended.told).find(|i| {
        matches!(&i.quest, Quest::Measure { function, points, at_start }
            if *function == asked.function && *at_start == asked.at_start && same(points))
    })?;
    Some(item.against)
}

/// A pair of the plan of ohms, by its own range or by what the pair before it read.
fn ohms(book: &Book<'_>, record: &Record, mended: &Mended, pair: &Telling) -> Against {
    let [lower, upper] = pair.limits;
    let Some(base) = pair.times else {
        let limit = Limit::new(lower, upper, HEALTHY);
        return Against::Limit(limit, limit.bands());
    };
    let names = base.map(|p| book.sheet.point_name(p));
    let answer = mended.latest(|a| {
        a.wired == mended.wired
            && a.request.measurement().is_some_and(|m| {
                m.function == Function::Ohms && m.state.lifted.is_empty() && *m.points == names
            })
    });
    let read = answer.and_then(|a| match a.how {
        How::Took(number) => record.takes.iter().find(|t| t.take.take == number),
        _ => None,
    });
    let read = read.filter(|t| t.counts() && t.take.value.is_finite() && t.take.value > 0.0);
    let Some(read) = read else {
        return Against::Nothing;
    };
    // What that reading leaves open is taken off either side.
    let (value, open) = (read.take.value, 2.0 * read.take.uncertainty);
    let lower = lower.map(|times| times * (value + open));
    let upper = upper.map(|times| times * (value - open));
    let limit = Limit::new(lower, upper, HEALTHY);
    Against::Limit(limit, limit.bands())
}

/// What is expected where this is asked, for the band beside the live value.
pub(crate) fn expected(
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    request: &Request,
) -> Option<Limit> {
    match against(book, record, mended, request)? {
        Against::Limit(limit, _) => Some(limit),
        Against::Section { .. } | Against::Nothing | Against::Unknown => None,
    }
}

/// The verdict on a take that answers a proof, and its words before they are put into a language.
pub(crate) fn verdict(
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    request: &Request,
    (reading, weighed): (&Reading, &Weighed),
    accuracy: Option<&dyn AccuracyTable>,
) -> Result<Option<(Judged, Said)>, String> {
    match against(book, record, mended, request) {
        Some(Against::Limit(limit, bands)) => {
            let (verdict, words) = held_against(reading, weighed, limit, &bands, accuracy)?;
            Ok(Some((kept((verdict, words.clone())), words)))
        }
        Some(Against::Section {
            amps,
            marked,
            hertz,
        }) => section(
            book,
            record,
            mended,
            (reading, weighed),
            (amps, marked, hertz),
        )
        .map(Some),
        Some(Against::Nothing | Against::Unknown) | None => Ok(None),
    }
}

/// A capacitor by its volts and the amperes that were read in its lead.
fn section(
    book: &Book<'_>,
    record: &Record,
    mended: &Mended,
    (reading, weighed): (&Reading, &Weighed),
    (wire, marked, hertz): ([PointId; 2], Limit, f64),
) -> Result<(Judged, Said), String> {
    let names = wire.map(|p| book.sheet.point_name(p));
    let answer = mended.latest(|a| {
        a.told == mended.told
            && a.wired == mended.wired
            && a.request.measurement().is_some_and(|m| {
                m.function == Function::AmpsAc && !m.at_start && *m.points == names
            })
    });
    let amps = answer.and_then(|a| match a.how {
        How::Took(number) => record.takes.iter().find(|t| t.take.take == number),
        _ => None,
    });
    let amps = amps.filter(|t| t.counts() && t.take.value.is_finite());
    let amps = &amps
        .ok_or("the amperes in the capacitor's lead were not read: they come first")?
        .take;
    let farads = capacitance(
        Quantity::new(Amps(amps.value), amps.uncertainty),
        Quantity::new(Volts(weighed.value), weighed.u),
        Quantity::new(Hertz(hertz), HERTZ_U),
        Feed::Mains,
    )
    .map_err(|e| e.words().to_owned())?;
    let measured = Measured {
        assumed: weighed.assumed,
        ..farads.measured()
    };
    let bands = marked
        .bands()
        .with_bottom(Class::Absent, 0.1 * marked.low());
    let verdict = Verdict::of(measured, marked, &bands);
    if let Some(why) = verdict.void {
        return Err(why.words().to_owned());
    }
    let shown = Said::message("proof-under-load")
        .with("volts", said_shown(reading.function, reading.shown))
        .with("amps", said_shown(Function::AmpsAc, amps.shown))
        .with("farads", amount(Function::Farads, measured.value))
        .with("formula", FORMULA.what);
    let words = said_as(shown, Function::Farads, &verdict);
    let judged = Judged {
        // Of the capacitance, not of the volts that were read.
        lower: None,
        upper: None,
        ..kept((verdict, words.clone()))
    };
    Ok((judged, words))
}
