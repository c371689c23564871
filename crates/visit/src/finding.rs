//! The finding: the faults, what carries them, what follows from them, what was ruled out and by
//! which asks, and what stays unproven.

use std::collections::BTreeMap;

use ohmtrail_circuit::operate::Unit;
use ohmtrail_circuit::sheet::{FaultId, Heat, Masked};
use ohmtrail_circuit::unit::Drawn;
use ohmtrail_core::class::Class;
use ohmtrail_core::rules::winding::UNPROVEN;
use ohmtrail_trail::event::{Finding, Role, RuledOut, Unproven};
use ohmtrail_words::Said;

use crate::book::{Book, WindingPair};
use crate::conclusion::{come_and_go, told};
use crate::isolate::fault_names;
use crate::record::{Answer, Record};
use crate::visit::Visit;

/// Under this probability a fault is ruled out; over it, it is still unproven.
const RULED_OUT: f32 = 0.001;
/// Bits from which an answer carries a fault, or speaks against one.
const CARRIES: f32 = 1.0;
/// How many asks are named for each fault that is ruled out.
const NAMED: usize = 3;
/// Sampled units that consequences are looked for in.
const SAMPLES: usize = 6;

impl Visit<'_> {
    /// The finding for this hypothesis, or that nothing was found; and what the faults are to each
    /// other.
    pub(crate) fn finding(&mut self, found: Option<(u16, f32)>) -> (Finding, Vec<Role>) {
        let book = self.book;
        let answers = self.record.answers(book);
        let faults: Vec<FaultId> = found
            .map(|(h, _)| book.table.faults_of(h).map(usize::from).collect())
            .unwrap_or_default();
        let marginals: Vec<f32> = self
            .with_belief(&answers, |belief, _| {
                let all = 0..book.table.faults;
                all.map(|f| belief.marginal(f)).collect()
            })
            .unwrap_or_default();
        let named = |f: &FaultId| book.sheet.faults[*f].name.clone();
        let bits = weigh(book, &answers);
        let roles = self.roles(&faults);
        let consequences = consequences(book, &roles, &faults, &answers, &bits);
        let minutes = self.minutes_to_go_on(&answers);
        let (ruled_out, mut unproven) = self.others(&faults, &marginals, &bits, minutes);
        unproven.extend(self.never_proven(&faults, &marginals, &ruled_out));
        let finding = Finding {
            faults: faults.iter().map(named).collect(),
            alike: found.map(|(h, _)| self.alike(h)).unwrap_or_default(),
            p: found.map_or(0.0, |(_, p)| p),
            consequences: consequences.iter().map(Said::to_string).collect(),
            evidence: evidence(&faults, &answers, &bits),
            ruled_out,
            unproven,
        };
        (finding, roles)
    }

    /// Other fault sets that no check tells from this one.
    fn alike(&self, hypothesis: u16) -> Vec<Vec<String>> {
        let table = &self.book.table;
        let group = table.group(hypothesis);
        (0..table.hypotheses)
            .filter(|&h| h != hypothesis && table.group(h) == group)
            .map(|h| fault_names(self.book, h))
            .collect()
    }

    /// What follows from these faults in at least half of the sampled units.
    pub(crate) fn follows(&self, faults: &[FaultId]) -> Vec<String> {
        if faults.is_empty() {
            return Vec::new();
        }
        let mut counts: BTreeMap<String, usize> = BTreeMap::new();
        for index in 0..SAMPLES {
            let drawn = Drawn::sample(self.book.sheet, index, SAMPLES);
            let unit = Unit::new(&self.book.circuit, drawn, faults);
            for what in unit.consequences() {
                *counts.entry(what).or_default() += 1;
            }
        }
        counts
            .into_iter()
            .filter(|(_, n)| *n * 2 >= SAMPLES)
            .map(|(what, _)| what)
            .collect()
    }

    /// The faults beside the finding: ruled out with the asks that weigh most against each, or
    /// unproven.
    fn others(
        &self,
        faults: &[FaultId],
        marginals: &[f32],
        bits: &BTreeMap<FaultId, Vec<(u32, f32)>>,
        minutes: Option<f32>,
    ) -> (Vec<RuledOut>, Vec<Unproven>) {
        let next = minutes.map(|m| format!("{m:.1}"));
        let next = next.as_deref();
        let (mut ruled_out, mut unproven) = (Vec::new(), Vec::new());
        for (f, &p) in marginals.iter().enumerate() {
            let Some(fault) = self.book.sheet.faults.get(f) else {
                continue;
            };
            if faults.contains(&f) {
                continue;
            }
            if p >= RULED_OUT {
                unproven.push(Unproven {
                    fault: fault.name.clone(),
                    p,
                    why: format!(
                        "{}: {}",
                        fault.words,
                        why_left(self.book, faults, f, p, next)
                    ),
                });
                continue;
            }
            let mut against: Vec<(u32, f32)> = bits.get(&f).cloned().unwrap_or_default();
            against.retain(|(_, b)| *b <= -CARRIES);
            against.sort_by(|a, b| a.1.total_cmp(&b.1));
            against.truncate(NAMED);
            if !against.is_empty() {
                ruled_out.push(RuledOut {
                    fault: fault.name.clone(),
                    by: against.iter().map(|(ask, _)| *ask).collect(),
                });
            }
        }
        unproven.sort_by(|a, b| b.p.total_cmp(&a.p));
        (ruled_out, unproven)
    }

    /// What no check of a dead unit proves of a motor whose windings were read, and what must be
    /// read again when an overload was open.
    fn never_proven(
        &self,
        faults: &[FaultId],
        marginals: &[f32],
        ruled_out: &[RuledOut],
    ) -> Vec<Unproven> {
        let sheet = self.book.sheet;
        let mut all = Vec::new();
        for motor in self.book.windings() {
            let part = &sheet.parts[motor.part].name;
            let named = |kind: &str| {
                faults.iter().any(|f| {
                    let fault = &sheet.faults[*f];
                    fault.owner == motor.part && is_kind(fault.kind_name, kind)
                })
            };
            let p = |kind: &str| {
                let own = sheet.faults.iter().zip(marginals);
                own.filter(|(f, _)| f.owner == motor.part && is_kind(f.kind_name, kind))
                    .map(|(_, p)| *p)
                    .fold(0.0, f32::max)
            };
            let class = |pair, heat| {
                let check = motor.check(pair, heat)?;
                let take = &self.record.latest(check)?.take;
                take.verdict.as_ref().map(|v| v.class)
            };
            let read = |heat| {
                let pairs = WindingPair::ALL.into_iter();
                pairs.filter_map(move |pair| class(pair, heat))
            };
            let any_read = read(Heat::AsFound).chain(read(Heat::Cold)).next().is_some();
            let hot_open = read(Heat::AsFound).any(|c| c == Class::Open);
            let cold_closed = read(Heat::Cold).any(|c| c != Class::Open);
            let follows = self
                .follows(faults)
                .contains(&format!("{part}.overload-open-from-heat"));
            if (hot_open || follows || named("overheated")) && !cold_closed {
                all.push(Unproven {
                    fault: format!("{part}.protector-failed"),
                    p: p("protector-failed"),
                    why:
                        "its overload was open from heat, or follows as open from what was found: \
                          recheck the windings when cool, before anything is said of this motor"
                            .to_owned(),
                });
            }
            if !any_read {
                continue;
            }
            let [turns, ground, seized] = UNPROVEN;
            let ruled = |fault: &str| ruled_out.iter().any(|r| r.fault == fault);
            for (fault, kind, why) in [
                ("turns-shorted", "start-shorted", turns),
                ("weak-ground", "grounded", ground),
                ("seized", "seized", seized),
            ] {
                // Against a known value they are faults of the sheet, each of its winding.
                let by_value = |winding: &str| {
                    let name = format!("{part}.{winding}-{fault}");
                    self.book.sheet.fault(&name).is_some()
                };
                if by_value("run") && by_value("start") {
                    continue;
                }
                let fault = format!("{part}.{fault}");
                if !named(kind) && !ruled(&fault) {
                    all.push(Unproven {
                        fault,
                        p: p(kind),
                        why: why.to_owned(),
                    });
                }
            }
        }
        all
    }
}

/// What follows from the faults, and how those show that come and go.
pub(crate) fn consequences(
    book: &Book<'_>,
    roles: &[Role],
    faults: &[FaultId],
    answers: &[Answer],
    bits: &BTreeMap<FaultId, Vec<(u32, f32)>>,
) -> Vec<Said> {
    let told = roles.iter().filter_map(|r| told(r, roles));
    told.chain(come_and_go(book, faults, answers, bits))
        .collect()
}

/// Why it was worth leaving a fault of this probability unproven; `next` are the minutes of the next check,
/// if there is one.
pub(crate) fn why_left(
    book: &Book<'_>,
    faults: &[FaultId],
    f: FaultId,
    p: f32,
    next: Option<&str>,
) -> Said {
    let sheet = book.sheet;
    let hidden = |by: &&FaultId| sheet.masked.contains(&Masked { by: **by, fault: f });
    if let Some(by) = faults.iter().find(hidden) {
        return Said::message("hidden-by").with("fault", sheet.faults[*by].name.clone());
    }
    match next {
        None => "neither shown nor ruled out, and no check that can be made tells more".into(),
        Some(next) => {
            let cost = p * f32::from(book.table.callback_minutes);
            Said::message("left-unproven")
                .with("cost", format!("{cost:.1}"))
                .with("next", next.to_owned())
        }
    }
}

/// Whether a motor's fault is of this kind: on a three-phase motor each winding has its own.
fn is_kind(name: &str, kind: &str) -> bool {
    let of_winding = |name: &str| {
        let rest = name.strip_prefix("winding-")?;
        Some(rest.split_once('-')?.1.to_owned())
    };
    name == kind || of_winding(name).is_some_and(|what| kind.ends_with(&what))
}

/// What each answer says about each fault by itself, in bits, by the fault's name: over zero for it,
/// under zero against it.
#[must_use]
pub fn weights_of_evidence(book: &Book<'_>, record: &Record) -> BTreeMap<String, Vec<(u32, f32)>> {
    let named = |(fault, bits): (FaultId, Vec<(u32, f32)>)| {
        Some((book.sheet.faults.get(fault)?.name.clone(), bits))
    };
    let weighed = weigh(book, &record.answers(book));
    weighed.into_iter().filter_map(named).collect()
}

/// What each answer says about each fault by itself, in bits.
pub(crate) fn weigh(book: &Book<'_>, answers: &[Answer]) -> BTreeMap<FaultId, Vec<(u32, f32)>> {
    let table = &book.table;
    let mut all = BTreeMap::new();
    for fault in 0..table.faults {
        let bits = answers
            .iter()
            .filter_map(|a| {
                let bits = table.weigh(fault, a.number, &a.evidence).ok()?;
                Some((a.ask?, bits))
            })
            .collect();
        all.insert(usize::from(fault), bits);
    }
    all
}

/// The asks that speak for a fault of the finding; for no fault, every ask that was answered.
fn evidence(
    faults: &[FaultId],
    answers: &[Answer],
    bits: &BTreeMap<FaultId, Vec<(u32, f32)>>,
) -> Vec<u32> {
    let mut all: Vec<u32> = if faults.is_empty() {
        answers.iter().filter_map(|a| a.ask).collect()
    } else {
        faults
            .iter()
            .filter_map(|f| bits.get(f))
            .flatten()
            .filter(|(_, b)| *b >= CARRIES)
            .map(|(ask, _)| *ask)
            .collect()
    };
    all.sort_unstable();
    all.dedup();
    all
}
