//! What a reading is worth: its value without the leads, its uncertainty, and its verdict.

use ohmtrail_circuit::sheet::Heat;
use ohmtrail_core::accuracy::{AccuracyTable, Circuit, Measured, Quantity, Void, admit, measure};
use ohmtrail_core::class::Class;
use ohmtrail_core::gates::limits as gate_limits;
use ohmtrail_core::leads::{Leads, estimate_from_sum};
use ohmtrail_core::reading::{Flags, Function, Reading, Shown};
use ohmtrail_core::rules::winding::{self, Pairs, SumOutcome};
use ohmtrail_core::units::{Micros, Ohms, Volts};
use ohmtrail_core::verdict::{Bands, Limit, Verdict};
use ohmtrail_trail::event::{Judged, Take};
use ohmtrail_words::Said;

use crate::book::{Book, WindingPair, Windings};
use crate::input::LEADS;
use crate::known::against_known;
use crate::limits::held;
use crate::record::Record;
use crate::words::{GHOST, amount, said_shown};

/// A reading without the leads.
pub(crate) struct Weighed {
    /// Base unit; NaN for an overload.
    pub value: f64,
    pub u: f64,
    pub leads: f64,
    /// The uncertainty rests on an assumed accuracy.
    pub assumed: bool,
}

impl Weighed {
    /// Nothing was read.
    pub(crate) const NOTHING: Weighed = Weighed {
        value: f64::NAN,
        u: 0.0,
        leads: 0.0,
        assumed: false,
    };
}

/// The value of a reading, or why it proves nothing.
pub(crate) fn weigh(
    reading: &Reading,
    wanted: Function,
    circuit: Circuit,
    accuracy: &dyn AccuracyTable,
    leads: &Leads,
) -> Result<Weighed, String> {
    let words = |why: Void| why.words().to_owned();
    admit(reading, wanted, circuit).map_err(words)?;
    let ohms = matches!(reading.function, Function::Ohms | Function::Continuity);
    let zeroes = ohms || reading.function == Function::Farads;
    if reading.flags.has(Flags::RELATIVE) && !zeroes {
        return Err("display relative to a stored value: switch that off and measure again".into());
    }
    if reading.shown == Shown::Overload {
        return Ok(Weighed {
            assumed: accuracy.assumed(),
            ..Weighed::NOTHING
        });
    }
    let measured = measure(reading, wanted, circuit, accuracy).map_err(words)?;
    if !ohms {
        return Ok(Weighed {
            value: measured.value,
            u: measured.u,
            leads: 0.0,
            assumed: measured.assumed,
        });
    }
    let read = Quantity::<Ohms>::from_measured(measured);
    let left = leads.take_off(read).map_err(words)?;
    Ok(Weighed {
        value: left.value.get(),
        u: left.u,
        leads: leads.remaining().value.get(),
        assumed: left.assumed,
    })
}

/// What is known of the leads at this reading.
pub(crate) fn leads(book: &Book<'_>, record: &Record, reading: &Reading) -> Leads {
    if reading.flags.has(Flags::RELATIVE)
        && let Shown::Value(shown) = reading.shown
    {
        return Leads::Zeroed {
            step: Ohms(shown.resolution()),
        };
    }
    let mut takes = record.takes.iter().rev().filter(|t| t.counts());
    if let Some(took) = takes.find(|t| t.take.points[0] == LEADS && t.take.value.is_finite()) {
        return Leads::Shorted(Quantity::new(Ohms(took.take.value), took.take.uncertainty));
    }
    for motor in book.windings() {
        for heat in [Heat::AsFound, Heat::Cold] {
            if let Some(pairs) = three(record, motor, heat, None, |leads| leads > 0.0)
                && let Ok(sum) =
                    estimate_from_sum(pairs.common_start, pairs.common_run, pairs.start_run)
            {
                return Leads::FromSum(sum.leads);
            }
        }
    }
    Leads::Unknown
}

/// Three readings of one motor as read, leads included; none if one is missing or open, or fails
/// `usable`. `now` is a reading of one of the checks that is not in the record yet.
fn three(
    record: &Record,
    motor: &Windings,
    heat: Heat,
    now: Option<(usize, &Weighed)>,
    usable: impl Fn(f64) -> bool,
) -> Option<Pairs<Quantity<Ohms>>> {
    let of = |pair| {
        let check = motor.check(pair, heat)?;
        let (value, leads, u) = match now {
            Some((own, weighed)) if own == check => (weighed.value, weighed.leads, weighed.u),
            _ => {
                let take = &record.latest(check)?.take;
                (take.value, take.leads, take.uncertainty)
            }
        };
        (value.is_finite() && usable(leads)).then(|| Quantity::new(Ohms(value + leads), u))
    };
    Some(Pairs {
        common_start: of(WindingPair::CommonStart)?,
        common_run: of(WindingPair::CommonRun)?,
        start_run: of(WindingPair::StartRun)?,
    })
}

/// The verdict on a take of a check; `accuracy` says where the range of the meter ends, if that is to be
/// looked at.
pub(crate) fn verdict(
    book: &Book<'_>,
    record: &Record,
    check: usize,
    reading: &Reading,
    weighed: &Weighed,
    accuracy: Option<&dyn AccuracyTable>,
) -> Result<Option<(Verdict, Said)>, String> {
    let Some(held) = held(book, record, check) else {
        return Ok(None);
    };
    let (verdict, mut words) = held_against(reading, weighed, held.limit, &held.bands, accuracy)?;
    words = words.then_if("; ", sum_rule(book, record, check, reading, weighed));
    let low = reading.flags.has(Flags::LOW_IMPEDANCE);
    if !low && verdict.class == Class::Low && book.in_low_impedance(check).is_some() {
        words = words.then("; ", GHOST.into());
    }
    words = words.then_if("; ", against_known(book, record, check, weighed));
    Ok(Some((verdict, words)))
}

/// The verdict on a take once more, before it is put into a language; none if what is said of it now is not
/// what the trail has: a version of the program before this one said it otherwise. The record is that of
/// before the take.
pub(crate) fn said_again(
    book: &Book<'_>,
    record: &Record,
    check: Option<usize>,
    take: &Take,
    judged: &Judged,
) -> Option<Said> {
    let reading = Reading {
        function: take.function,
        shown: take.shown,
        flags: take.flags,
        meter: take.meter,
        at: Micros(0),
    };
    // Whether an accuracy was assumed is in the trail by its words alone.
    [false, true].into_iter().find_map(|assumed| {
        let weighed = Weighed {
            value: take.value,
            u: take.uncertainty,
            leads: take.leads,
            assumed,
        };
        let of_gate = || {
            let ground = judged.source == gate_limits::GROUND_CLEAR_SOURCE.what;
            match judged.upper {
                _ if ground => ground_verdict(&reading, &weighed),
                Some(at_most) => gate_verdict(&reading, &weighed, Volts(at_most)),
                None => None,
            }
        };
        let of_check = || verdict(book, record, check?, &reading, &weighed, None).ok()?;
        let of_proof = || {
            let mended = record.mended.as_deref()?;
            let request = &record.ask(take.ask?)?.request;
            let read = (&reading, &weighed);
            let said = crate::prove::verdict(book, record, mended, request, read, None);
            Some(said.ok()??.1)
        };
        let same = |words: &Said| words.to_string() == judged.words;
        let words = |(_, words): (Verdict, Said)| Some(words).filter(same);
        of_check()
            .and_then(words)
            .or_else(|| of_gate().and_then(words))
            .or_else(|| of_proof().filter(same))
    })
}

/// The verdict on a take against a limit, or why it proves nothing.
pub(crate) fn held_against(
    reading: &Reading,
    weighed: &Weighed,
    limit: Limit,
    bands: &Bands,
    accuracy: Option<&dyn AccuracyTable>,
) -> Result<(Verdict, Said), String> {
    let verdict = if weighed.value.is_nan() {
        let edges = bands.edges.iter().filter(|e| e.is_finite());
        let highest = edges.fold(0.0_f64, |most, e| most.max(f64::from(*e)));
        if accuracy
            .and_then(|a| a.top_of_range(reading.function))
            .is_some_and(|top| top < highest.min(10e6))
        {
            return Err(Void::OutOfRange.words().to_owned());
        }
        Verdict::overload(weighed.assumed, limit, bands)
    } else {
        let measured = Measured {
            value: weighed.value,
            u: weighed.u,
            assumed: weighed.assumed,
        };
        Verdict::of(measured, limit, bands)
    };
    if let Some(why) = verdict.void {
        return Err(why.words().to_owned());
    }
    let words = said(reading, &verdict);
    Ok((verdict, words))
}

/// A verdict as the trail keeps it.
pub(crate) fn kept((verdict, words): (Verdict, Said)) -> Judged {
    let limit = verdict.limit;
    Judged {
        class: verdict.class,
        likely: verdict.likely,
        lower: limit.lower,
        upper: limit.upper,
        too_close: verdict.too_close(),
        source: limit.source.what.to_owned(),
        status: limit.source.status.words().to_owned(),
        words: words.to_string(),
    }
}

/// A verdict in a sentence.
fn said(reading: &Reading, verdict: &Verdict) -> Said {
    let shown = said_shown(reading.function, reading.shown);
    said_as(shown, reading.function, verdict)
}

/// The same of a value that was worked out: what was shown, and what kind of value it is.
pub(crate) fn said_as(shown: Said, function: Function, verdict: &Verdict) -> Said {
    let source = verdict.limit.source;
    let of_source = Said::phrase(source.what)
        .then(" (", source.status.words().into())
        .then(")", Said::default());
    let mut said = shown
        .then(": ", verdict.class.word().into())
        .then_if(", ", limits_words(function, &verdict.limit))
        .then("; ", verdict.decision.words().into())
        .then("; ", of_source);
    if verdict.measured.assumed {
        said = said.then("; ", "meter accuracy assumed".into());
    }
    if verdict.too_close() {
        said = said.then("; ", "too close to a limit to call".into());
    }
    said
}

fn limits_words(function: Function, limit: &Limit) -> Option<Said> {
    let amount = |value| amount(function, value);
    Some(match (limit.lower, limit.upper) {
        (Some(low), Some(high)) => Said::message("limits-between")
            .with("low", amount(low))
            .with("high", amount(high)),
        (Some(low), None) => Said::message("limits-from").with("low", amount(low)),
        (None, Some(high)) => Said::message("limits-to").with("high", amount(high)),
        (None, None) => return None,
    })
}

/// What the sum rule says, once the last of three windings is in.
fn sum_rule(
    book: &Book<'_>,
    record: &Record,
    check: usize,
    reading: &Reading,
    weighed: &Weighed,
) -> Option<Said> {
    let motor = book
        .windings()
        .iter()
        .find(|m| m.checks.iter().any(|(.., c)| *c == check))?;
    let heat = motor.checks.iter().find(|(.., c)| *c == check)?.1?;
    let pairs = three(record, motor, heat, Some((check, weighed)), |_| true)?;
    let verdict = winding::sum_rule(&pairs, &leads(book, record, reading)).ok()?;
    Some(match verdict.outcome {
        SumOutcome::Consistent => Said::message("sum-agrees").with("source", winding::SUM.what),
        SumOutcome::Inconsistent => {
            Said::message("sum-disagrees").with("source", winding::SUM.what)
        }
        SumOutcome::NotJudged => "the leads were estimated from these three readings".into(),
    })
}

/// What hangs on a tripped breaker or a blown fuse, read to ground, is held against.
pub(crate) fn ground_verdict(reading: &Reading, weighed: &Weighed) -> Option<(Verdict, Said)> {
    let clear = gate_limits::GROUND_CLEAR.get();
    let limit = Limit::new(Some(clear), None, gate_limits::GROUND_CLEAR_SOURCE);
    let bands = Bands::about(Some(clear), None);
    let verdict = if weighed.value.is_nan() {
        Verdict::overload(weighed.assumed, limit, &bands)
    } else {
        let measured = Measured {
            value: weighed.value,
            u: weighed.u,
            assumed: weighed.assumed,
        };
        Verdict::of(measured, limit, &bands)
    };
    by_itself(reading, verdict)
}

/// What a reading in a test for absence of voltage, or at a capacitor, is held against.
pub(crate) fn gate_verdict(
    reading: &Reading,
    weighed: &Weighed,
    at_most: Volts,
) -> Option<(Verdict, Said)> {
    let source = if at_most == gate_limits::DEAD {
        gate_limits::DEAD_SOURCE
    } else if at_most == gate_limits::TOUCH {
        gate_limits::TOUCH_SOURCE
    } else {
        gate_limits::MEASURE_SOURCE
    };
    let limit = Limit::new(None, Some(at_most.get()), source);
    let bands = Bands::about(None, Some(at_most.get()));
    let verdict = if weighed.value.is_nan() {
        Verdict::overload(weighed.assumed, limit, &bands)
    } else {
        // A voltage's sign says nothing here.
        let measured = Measured {
            value: weighed.value.abs(),
            u: weighed.u,
            assumed: weighed.assumed,
        };
        Verdict::of(measured, limit, &bands)
    };
    by_itself(reading, verdict)
}

/// A verdict that no other reading adds to; none if it is void.
fn by_itself(reading: &Reading, verdict: Verdict) -> Option<(Verdict, Said)> {
    let words = said(reading, &verdict);
    verdict.void.is_none().then_some((verdict, words))
}
