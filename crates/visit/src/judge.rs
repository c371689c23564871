//! What a reading is worth: its value without the leads, its uncertainty, and its verdict.

use ohmtrail_circuit::sheet::Heat;
use ohmtrail_core::accuracy::{AccuracyTable, Circuit, Measured, Quantity, Void, admit, measure};
use ohmtrail_core::class::Class;
use ohmtrail_core::gates::limits as gate_limits;
use ohmtrail_core::leads::{Leads, estimate_from_sum};
use ohmtrail_core::reading::{Flags, Function, Reading, Shown};
use ohmtrail_core::rules::winding::{self, Pairs, SumOutcome};
use ohmtrail_core::units::{Ohms, Volts};
use ohmtrail_core::verdict::{Bands, Limit, Verdict};
use ohmtrail_trail::event::Judged;

use crate::book::{Book, WindingPair, Windings};
use crate::input::LEADS;
use crate::known::against_known;
use crate::limits::held;
use crate::record::Record;
use crate::words::{GHOST, amount, displayed};

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

/// The verdict on a take of a check.
pub(crate) fn verdict(
    book: &Book<'_>,
    record: &Record,
    check: usize,
    reading: &Reading,
    weighed: &Weighed,
    accuracy: &dyn AccuracyTable,
) -> Result<Option<Judged>, String> {
    let Some(held) = held(book, record, check) else {
        return Ok(None);
    };
    let mut judged = held_against(reading, weighed, held.limit, &held.bands, accuracy)?;
    if let Some(words) = sum_rule(book, record, check, reading, weighed) {
        judged.words.push_str(&words);
    }
    let low = reading.flags.has(Flags::LOW_IMPEDANCE);
    if !low && judged.class == Class::Low && book.in_low_impedance(check).is_some() {
        judged.words.push_str("; ");
        judged.words.push_str(GHOST);
    }
    if let Some(words) = against_known(book, record, check, weighed) {
        judged.words.push_str(&words);
    }
    Ok(Some(judged))
}

/// The verdict on a take against a limit, or why it proves nothing.
pub(crate) fn held_against(
    reading: &Reading,
    weighed: &Weighed,
    limit: Limit,
    bands: &Bands,
    accuracy: &dyn AccuracyTable,
) -> Result<Judged, String> {
    let verdict = if weighed.value.is_nan() {
        let edges = bands.edges.iter().filter(|e| e.is_finite());
        let highest = edges.fold(0.0_f64, |most, e| most.max(f64::from(*e)));
        if accuracy
            .top_of_range(reading.function)
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
    Ok(judged(reading, &verdict))
}

/// A verdict as the trail keeps it.
fn judged(reading: &Reading, verdict: &Verdict) -> Judged {
    let shown = displayed(reading.function, reading.shown);
    judged_as(&shown, reading.function, verdict)
}

/// The same of a value that was worked out: what was shown, in words, and what kind of value it is.
pub(crate) fn judged_as(shown: &str, function: Function, verdict: &Verdict) -> Judged {
    let limit = verdict.limit;
    let source = limit.source;
    let assumed = if verdict.measured.assumed {
        "; meter accuracy assumed"
    } else {
        ""
    };
    let close = if verdict.too_close() {
        "; too close to a limit to call"
    } else {
        ""
    };
    let words = format!(
        "{shown}: {}{}; {}; {} ({}){assumed}{close}",
        verdict.class.word(),
        limits_words(function, &limit),
        verdict.decision.words(),
        source.what,
        source.status.words(),
    );
    Judged {
        class: verdict.class,
        likely: verdict.likely,
        lower: limit.lower,
        upper: limit.upper,
        too_close: verdict.too_close(),
        source: source.what.to_owned(),
        status: source.status.words().to_owned(),
        words,
    }
}

fn limits_words(function: Function, limit: &Limit) -> String {
    match (limit.lower, limit.upper) {
        (Some(low), Some(high)) => {
            format!(
                ", limits {} to {}",
                amount(function, low),
                amount(function, high)
            )
        }
        (Some(low), None) => format!(", at least {}", amount(function, low)),
        (None, Some(high)) => format!(", at most {}", amount(function, high)),
        (None, None) => String::new(),
    }
}

/// What the sum rule says, once the last of three windings is in.
fn sum_rule(
    book: &Book<'_>,
    record: &Record,
    check: usize,
    reading: &Reading,
    weighed: &Weighed,
) -> Option<String> {
    let motor = book
        .windings()
        .iter()
        .find(|m| m.checks.iter().any(|(.., c)| *c == check))?;
    let heat = motor.checks.iter().find(|(.., c)| *c == check)?.1?;
    let pairs = three(record, motor, heat, Some((check, weighed)), |_| true)?;
    let verdict = winding::sum_rule(&pairs, &leads(book, record, reading)).ok()?;
    Some(match verdict.outcome {
        SumOutcome::Consistent => format!(
            "; the three windings are continuous and their readings agree ({}); shorted turns, \
             ground and seizure stay unproven",
            winding::SUM.what
        ),
        SumOutcome::Inconsistent => format!(
            "; the three windings' readings do not agree ({}): measure them again",
            winding::SUM.what
        ),
        SumOutcome::NotJudged => "; the leads were estimated from these three readings".to_owned(),
    })
}

/// What hangs on a tripped breaker or a blown fuse, read to ground, is held against.
pub(crate) fn ground_verdict(reading: &Reading, weighed: &Weighed) -> Option<Judged> {
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
    verdict.void.is_none().then(|| judged(reading, &verdict))
}

/// What a reading in a test for absence of voltage, or at a capacitor, is held against.
pub(crate) fn gate_verdict(reading: &Reading, weighed: &Weighed, at_most: Volts) -> Option<Judged> {
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
    verdict.void.is_none().then(|| judged(reading, &verdict))
}
