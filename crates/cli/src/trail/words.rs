//! An event of a trail in a line of words.

use ohmtrail_core::reading::{Flags, Function, Shown};
use ohmtrail_trail::Displayed;
use ohmtrail_trail::event::{
    Act, Conclusion, Event, Finding, Outcome, Power, Request, Take, UnitState,
};

/// The event in words.
pub fn event(event: &Event) -> String {
    match event {
        Event::Opened(o) => format!(
            "opened: {}, unit {}, sheet {}, by {}{}",
            o.work_order,
            o.unit,
            o.sheet,
            o.technician,
            if o.simulated { "; simulated unit" } else { "" }
        ),
        Event::Plate(p) => format!("plate: {} {} = {} {}", p.part, p.key, p.value, p.unit),
        Event::Complaint { what, words } => format!("complaint: {what} {words}"),
        Event::MeterJoined(m) => format!(
            "meter {} joined: {} at {}, accuracy by {}{}",
            m.meter.0,
            m.driver,
            m.place,
            m.profile,
            if m.accuracy_assumed { " (assumed)" } else { "" }
        ),
        Event::MeterLost { meter, why } => format!("meter {} lost: {why}", meter.0),
        Event::MeterBack { meter, gap_us } => {
            format!("meter {} back after {:.1} s", meter.0, *gap_us as f64 / 1e6)
        }
        Event::Readings { meter, readings } => {
            let last = readings.last().map_or(String::new(), |r| {
                format!(", the last {}", shown(r.function, r.shown, r.flags))
            });
            format!("meter {}: {} readings{last}", meter.0, readings.len())
        }
        Event::Asked(a) => format!(
            "ask {}: {} ({:.1} min): {}",
            a.ask,
            request(&a.request),
            a.minutes,
            a.why
        ),
        Event::Looked { ask, what, answer } => {
            let answer = if *answer { "yes" } else { "no" };
            format!("looked{}: {what}: {answer}", of(*ask))
        }
        Event::Took(t) => take(t),
        Event::Skipped { ask, why } => format!("ask {ask} passed over: {why}"),
        Event::Voided { ask, why } => format!("void{}: {why}", of(*ask)),
        Event::Quoted(quote) => format!(
            "quote {}: {} options, in {}, until {}",
            quote.version,
            quote.options.len(),
            quote.currency,
            quote.valid_until
        ),
        Event::Decided(d) => match &d.option {
            Some(option) => format!(
                "option {option} of quote {} approved by {}, {}",
                d.quote, d.by, d.means
            ),
            None => format!("quote {} declined by {}, {}", d.quote, d.by, d.means),
        },
        Event::Struck { take, why } => format!("take {take} struck: {why}"),
        Event::Acted(a) => format!("done{}: {}", of(a.ask), act(&a.act)),
        Event::Gate(g) => format!(
            "gate {} {}: {} ({})",
            g.gate,
            if g.open { "open" } else { "shut" },
            g.why,
            g.points.join(" ")
        ),
        Event::Suspects { ranked } => {
            let list: Vec<String> = ranked
                .iter()
                .take(3)
                .map(|s| format!("{} {:.3}", set(&s.faults), s.p))
                .collect();
            format!("suspects: {}", list.join(", "))
        }
        Event::Concluded(c) => conclusion(c),
        Event::Found(f) => finding(f),
        Event::Lifted {
            end, from, mark, ..
        } => format!("lifted {end} from {from}, {mark}"),
        Event::PutBack { end, to, .. } => format!("put back {end} to {to}"),
        Event::WireChecked { end, on, .. } => format!("checked {end} on {on}"),
        Event::Repair(r) => format!(
            "repair of what the visit of {} found ({}): {}",
            r.day,
            set(&r.faults),
            r.parts.join(", ")
        ),
        Event::Fitted(f) => format!("fitted {}: {}", f.part, f.words),
        Event::RepairEnded(end) => {
            format!("repair {}: {}", end.proved.words(), end.why.join("; "))
        }
        Event::Photo { caption, size, .. } => format!("photograph, {size} bytes: {caption}"),
        Event::Note { text } => format!("note: {text}"),
        Event::Left(l) => format!(
            "left with power {}{}{}: {}",
            power(l.power),
            if l.locked { ", locked" } else { "" },
            lifted(&l.lifted),
            l.why
        ),
        Event::Tagged { text } => format!("tag:\n{text}"),
        Event::Closed => "closed".to_owned(),
        Event::MeterRole { meter, role } => format!("meter {} is for: {role}", meter.0),
        _ => "an event of a newer program".to_owned(),
    }
}

fn of(ask: Option<u32>) -> String {
    ask.map_or(String::new(), |ask| format!(" for ask {ask}"))
}

fn set(faults: &[String]) -> String {
    if faults.is_empty() {
        "no fault at all".to_owned()
    } else {
        faults.join(" + ")
    }
}

fn shown(function: Function, what: Shown, flags: Flags) -> String {
    let d = Displayed::of(function, what);
    let digits = if d.digits.is_empty() {
        "blank"
    } else {
        &d.digits
    };
    let flags: Vec<&str> = flags.names().collect();
    let flags = if flags.is_empty() {
        String::new()
    } else {
        format!(" [{}]", flags.join(" "))
    };
    format!("{} {digits} {}{flags}", function.name(), d.unit)
}

fn power(power: Power) -> &'static str {
    match power {
        Power::On => "on",
        Power::Off => "off",
    }
}

fn lifted(ends: &[String]) -> String {
    if ends.is_empty() {
        String::new()
    } else {
        format!(", lifted {}", ends.join(" "))
    }
}

fn state(s: &UnitState) -> String {
    let cooled = if s.cooled { ", motors cold" } else { "" };
    format!("power {}{}{cooled}", power(s.power), lifted(&s.lifted))
}

fn request(request: &Request) -> String {
    match request {
        Request::Look { what } => format!("look at {what}"),
        Request::Measure {
            function,
            points: [a, b],
            state: s,
        } if a == b => format!("{} {a}, {}", function.name(), state(s)),
        Request::Measure {
            function,
            points: [a, b],
            state: s,
        } => format!("{} {a} to {b}, {}", function.name(), state(s)),
        Request::LowImpedance {
            function,
            points: [a, b],
            state: s,
        } => format!(
            "{} in low impedance {a} to {b}, {}",
            function.name(),
            state(s)
        ),
        Request::AtStart {
            function,
            points: [a, b],
            state: s,
        } => format!(
            "{} held of the start {a} to {b}, {}",
            function.name(),
            state(s)
        ),
        Request::Act { act: a } => act(a),
        _ => "something of a newer program".to_owned(),
    }
}

fn act(act: &Act) -> String {
    match act {
        Act::OpenBreaker => "open the breaker".into(),
        Act::LockAndTag => "lock and tag it".into(),
        Act::LockDisconnect => "open and lock the disconnect in sight".into(),
        Act::OpenOtherSources => "open every other source".into(),
        Act::ProveMeter => "prove the meter on a known live source".into(),
        Act::Discharge => "discharge the capacitors through a resistor".into(),
        Act::Lift(ends) => format!("lift {}", ends.join(" ")),
        Act::PutBack(ends) => format!("put back {}", ends.join(" ")),
        Act::InsulateEnds => "insulate the lifted ends".into(),
        Act::CoversOnPeopleClear => "covers on, people clear".into(),
        Act::CloseBreaker => "take the lock off and close the breaker".into(),
        Act::WaitCool => "wait until the motors are cold".into(),
        Act::CallOn => "turn the thermostat to a call".into(),
        Act::CallOff => "turn the call off".into(),
        Act::Fit(part) => format!("fit the new part for {part}"),
        Act::CheckWire(end) => format!("look at {end}"),
        Act::PutRight(ends) => format!("put right {}", ends.join(" ")),
        Act::CallHeating => "turn the thermostat to a call for heating".into(),
        Act::StartDefrost => "start a defrost".into(),
        Act::ProveCharge => "prove the refrigerant charge".into(),
        _ => "something of a newer program".into(),
    }
}

fn take(t: &Take) -> String {
    let [a, b] = &t.points;
    let verdict = match &t.verdict {
        Some(v) => format!(": {} ({}, {})", v.words, v.source, v.status),
        None => String::new(),
    };
    format!(
        "take {}{}: {} at {a} to {b}, {}{verdict}",
        t.take,
        of(t.ask),
        shown(t.function, t.shown, t.flags),
        state(&t.state)
    )
}

fn conclusion(c: &Conclusion) -> String {
    let outcome = match c.outcome {
        Outcome::Faults => "faults found",
        Outcome::NoFault => "no fault found",
        Outcome::NoneOfThese => "none of the sheet's faults",
        Outcome::Undecided => "undecided",
    };
    format!("concluded: {outcome}, probability {:.3}: {}", c.p, c.why)
}

fn finding(f: &Finding) -> String {
    let mut text = format!("found: {}, probability {:.3}", set(&f.faults), f.p);
    for alike in &f.alike {
        text.push_str(&format!("\nnot told apart from {}", set(alike)));
    }
    for consequence in &f.consequences {
        text.push_str(&format!("\nfollows: {consequence}"));
    }
    for unproven in &f.unproven {
        text.push_str(&format!("\nunproven: {}: {}", unproven.fault, unproven.why));
    }
    text
}
