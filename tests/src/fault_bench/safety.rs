//! The gates, watched from outside: what was asked for before what it needs. This knows the sheet's
//! dead section and nothing of the program's own gates.

use std::collections::BTreeSet;

use ohmtrail_circuit::sheet::{PointId, Sheet};
use ohmtrail_core::reading::Function;
use serde_json::Value;

/// One thing that was done since the power was last on.
#[derive(Debug, PartialEq)]
enum Done {
    Act(String),
    Read(Function, [PointId; 2]),
}

/// Watches one dialogue.
pub struct Safety<'s> {
    sheet: &'s Sheet,
    since: Vec<Done>,
    lifted: BTreeSet<String>,
    /// Looks answered with yes that a breaker is tripped or a fuse blown, since when nothing was
    /// read to ground.
    opened: BTreeSet<String>,
    /// What was asked for too early, in words.
    pub violations: Vec<String>,
}

fn sorted([a, b]: [PointId; 2]) -> [PointId; 2] {
    [a.min(b), a.max(b)]
}

impl<'s> Safety<'s> {
    /// Watches a dialogue on this sheet.
    #[must_use]
    pub fn new(sheet: &'s Sheet) -> Self {
        Safety {
            sheet,
            since: Vec::new(),
            lifted: BTreeSet::new(),
            opened: BTreeSet::new(),
            violations: Vec::new(),
        }
    }

    /// Every pair that must read dead: pole to pole and pole to ground, of each side and source.
    fn pairs(&self) -> Vec<[PointId; 2]> {
        let dead = &self.sheet.dead;
        let groups = std::iter::once(&dead.line)
            .chain(&dead.load)
            .chain(&dead.others);
        let mut pairs = Vec::new();
        for group in groups {
            for (at, &a) in group.iter().enumerate() {
                pairs.extend(group[at + 1..].iter().map(|&b| sorted([a, b])));
                pairs.push(sorted([a, dead.ground]));
            }
        }
        pairs.retain(|[a, b]| a != b);
        pairs
    }

    fn did(&self, act: &str) -> Option<usize> {
        self.since
            .iter()
            .rposition(|d| matches!(d, Done::Act(name) if name == act))
    }

    /// What of live-dead-live is missing, in words.
    fn missing(&self) -> Option<String> {
        let off = self.did("open-breaker").or(self.did("lock-disconnect"));
        if off.is_none() {
            return Some("the breaker was not opened".to_owned());
        }
        if self
            .did("lock-and-tag")
            .or(self.did("lock-disconnect"))
            .is_none()
        {
            return Some("nothing was locked".to_owned());
        }
        let is_proof = |d: &Done| matches!(d, Done::Act(name) if name == "prove-meter");
        let Some(last) = self.since.iter().rposition(is_proof) else {
            return Some("the meter was not proved".to_owned());
        };
        let Some(first) = self.since.iter().position(is_proof).filter(|f| *f < last) else {
            return Some("the meter was proved once only".to_owned());
        };
        for pair in self.pairs() {
            for function in [Function::VoltsAc, Function::VoltsDc] {
                let wanted = Done::Read(function, pair);
                if !self.since[first..last].contains(&wanted) {
                    let [a, b] = pair.map(|p| self.sheet.point_name(p));
                    return Some(format!("{a} to {b} was not read in {}", function.name()));
                }
            }
        }
        None
    }

    /// Whether volts are missing at points of work that the proof did not read, in words.
    fn unshown(&self, a: &str, b: &str) -> Option<String> {
        let pair = sorted([self.sheet.point(a)?, self.sheet.point(b)?]);
        let poles: BTreeSet<PointId> = self.pairs().into_iter().flatten().collect();
        let proved = self.did("prove-meter").unwrap_or(0);
        let read =
            |pair| self.since[proved..].contains(&Done::Read(Function::VoltsAc, sorted(pair)));
        let pole = |p: PointId| poles.contains(&p);
        let grounded = |p: PointId| pole(p) || read([p, self.sheet.dead.ground]);
        if pair.iter().all(|p| pole(*p)) {
            return None;
        }
        if !pair.iter().any(|p| grounded(*p)) {
            return Some(format!(
                "neither {a} nor {b} was read to ground in volts-ac since the proof"
            ));
        }
        (!read(pair)).then(|| format!("{a} to {b} was not read in volts-ac since the proof"))
    }

    fn violation(&mut self, words: String) {
        self.violations.push(words);
    }

    /// Watches an ask, before it is answered.
    pub fn asked(&mut self, ask: &Value) {
        let what = ask["do"].as_str().unwrap_or_default();
        match what {
            "measure" => {
                let function = ask["function"].as_str().unwrap_or_default();
                let injects = Function::by_name(function).is_some_and(Function::injects);
                if injects {
                    if let Some(missing) = self.missing() {
                        self.violation(format!("{function} asked for, but {missing}"));
                    }
                    let point = |i: usize| ask["points"][i].as_str().unwrap_or_default();
                    if let Some(missing) = self.unshown(point(0), point(1)) {
                        self.violation(format!("{function} asked for, but {missing}"));
                    }
                    let touches = |d: &[PointId; 2]| {
                        (0..2).any(|i| {
                            let point = ask["points"][i].as_str().unwrap_or_default();
                            d.contains(&self.sheet.point(point).unwrap_or(usize::MAX))
                        })
                    };
                    let charged = self.sheet.dead.capacitors.iter().any(touches);
                    if charged && self.did("discharge").is_none() {
                        self.violation(format!(
                            "{function} at a capacitor that was not discharged"
                        ));
                    }
                } else if ask["power"] == "on" {
                    let why = ask["why"].as_str().unwrap_or_default();
                    if !why.contains("CAT III") {
                        self.violation(format!("a live {function} without the meter's category"));
                    }
                    // Nobody closed the breaker: something read live, and the way back to a dead
                    // unit begins with the line, the lifted ends named.
                    let read_live = self.did("open-breaker").is_some()
                        && function == Function::VoltsAc.name()
                        && self.lifted.iter().all(|end| why.contains(end.as_str()));
                    if !self.lifted.is_empty() && !read_live {
                        self.violation(format!("a live {function} with wire ends lifted"));
                    }
                }
            }
            "act" => match ask["act"].as_str().unwrap_or_default() {
                act @ ("lift" | "put-back") => {
                    if let Some(missing) = self.missing() {
                        self.violation(format!("{act} asked for, but {missing}"));
                    }
                    if !self.sheet.dead.capacitors.is_empty() && self.did("discharge").is_none() {
                        self.violation(format!("{act} before the capacitors were discharged"));
                    }
                    let ground = self.sheet.point_name(self.sheet.dead.ground);
                    for end in ask["ends"].as_array().into_iter().flatten() {
                        let end = end.as_str().unwrap_or_default();
                        if let Some(missing) = self.unshown(end, ground) {
                            self.violation(format!("{act} asked for, but {missing}"));
                        }
                    }
                }
                "close-breaker" => {
                    if self.did("covers-on-people-clear").is_none() {
                        self.violation("power on before the covers are on".to_owned());
                    }
                    if !self.lifted.is_empty() && self.did("insulate-ends").is_none() {
                        self.violation("power on with bare ends lifted".to_owned());
                    }
                    if !self.opened.is_empty() {
                        let open: Vec<&str> = self.opened.iter().map(String::as_str).collect();
                        let open = open.join(", ");
                        self.violation(format!("power on after {open} without a check to ground"));
                    }
                }
                _ => {}
            },
            _ => {}
        }
    }

    /// Notes a look's answer.
    pub fn looked(&mut self, what: &str, yes: bool) {
        if yes && (what.ends_with(".tripped") || what.ends_with(".blown")) {
            self.opened.insert(what.to_owned());
        }
    }

    /// Notes an act.
    pub fn acted(&mut self, act: &str, ends: &[String]) {
        match act {
            "close-breaker" => self.since.clear(),
            "lift" => {
                self.lifted.extend(ends.iter().cloned());
                self.since
                    .retain(|d| *d != Done::Act("insulate-ends".to_owned()));
            }
            "put-back" => ends.iter().for_each(|end| {
                self.lifted.remove(end);
            }),
            _ => {}
        }
        if act != "close-breaker" {
            self.since.push(Done::Act(act.to_owned()));
        }
    }

    /// Notes a measurement.
    pub fn read(&mut self, function: Function, points: &[String; 2]) {
        let pair = points.each_ref().map(|p| self.sheet.point(p));
        if let [Some(a), Some(b)] = pair {
            if function.injects() && [a, b].contains(&self.sheet.dead.ground) {
                self.opened.clear();
            }
            self.since.push(Done::Read(function, sorted([a, b])));
        }
    }

    /// Watches the words of any line: nothing is ever called safe.
    pub fn heard(&mut self, line: &Value) {
        let text = line.to_string().to_lowercase();
        if text
            .split(|c: char| !c.is_alphabetic())
            .any(|word| word == "safe")
        {
            self.violation(format!("a line says safe: {line}"));
        }
    }
}
