//! A tray as it is measured: readings and keys in, takes out.
//!
//! A step is taken by itself when the display stands still on something: [`ohmtrail_core::settle`].
//! Then the leads must have been seen off before the next. A display that looks as if nothing were
//! connected never takes by itself, since it is what the meter shows between parts: an open coil and an
//! empty capacitor are told by hand ([`Tray::enter`]).

use ohmtrail_core::accuracy::{AccuracyTable, Circuit, Measured, Quantity, Unit, measure};
use ohmtrail_core::class::Class;
use ohmtrail_core::leads::Leads;
use ohmtrail_core::reading::{Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::rules::winding::{Pairs, RESIDUAL, SUM, SumOutcome, sum_rule};
use ohmtrail_core::rules::{RuleError, capacitor, control, drop, insulation};
use ohmtrail_core::settle::{Settler, State};
use ohmtrail_core::source::Source;
use ohmtrail_core::units::{Micros, Ohms};
use ohmtrail_core::verdict::{Decision, Verdict};

use super::script::{Held, PATH, Script, Step};

/// What one value came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// How it stands to its limit; none where it is written down only.
    pub decision: Option<Decision>,
    /// The lower limit, base unit.
    pub low: Option<f64>,
    /// The upper limit, base unit.
    pub high: Option<f64>,
    /// Where the limit comes from, or why there is no verdict.
    pub by: String,
}

/// A value of a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// Which part, from 1.
    pub part: u32,
    /// Which step of the script, from 0.
    pub step: usize,
    /// What the display showed.
    pub shown: Shown,
    /// Value and standard uncertainty, base unit, if it has one.
    pub measured: Option<Measured>,
    /// What it came to.
    pub outcome: Outcome,
}

/// What came of a reading or a key.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// A value was taken.
    Taken(Take),
    /// The leads may go on to this step of this part.
    Next {
        /// Which part.
        part: u32,
        /// Which step.
        step: usize,
    },
    /// The meter is on another function.
    Function {
        /// What the step wants.
        wanted: Function,
        /// What it is on.
        got: Function,
    },
    /// A key asked for a value, and the display does not stand still: it is taken when it does.
    NotStill,
    /// A key asked for a value, and the leads are still on what was taken.
    StillOn,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Wait<'t> {
    /// For something to be connected.
    On,
    /// For the leads to be taken off what this step was read of.
    Off(&'t Step),
}

/// A tray being measured.
pub struct Tray<'t> {
    script: &'t Script,
    table: &'t dyn AccuracyTable,
    leads: Leads,
    parts: Option<u32>,
    part: u32,
    step: usize,
    wait: Wait<'t>,
    settler: Settler,
    still: Option<Reading>,
    /// A key asked for what stands next.
    wish: bool,
    wrong: Option<Function>,
    /// The ohms of this part so far.
    ohms: Vec<Quantity<Ohms>>,
}

impl<'t> Tray<'t> {
    /// A tray of so many parts; none if it ends when it is ended.
    #[must_use]
    pub fn new(
        script: &'t Script,
        table: &'t dyn AccuracyTable,
        leads: Leads,
        parts: Option<u32>,
    ) -> Self {
        Tray {
            script,
            table,
            leads,
            parts,
            part: 1,
            step: 0,
            wait: Wait::On,
            settler: Settler::new(),
            still: None,
            wish: false,
            wrong: None,
            ohms: Vec::new(),
        }
    }

    /// Whether every part was measured.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.parts.is_some_and(|parts| self.part > parts)
    }

    /// The step that is asked for, and of which part.
    #[must_use]
    pub fn asked(&self) -> Option<(u32, &'t Step)> {
        if self.is_done() {
            return None;
        }
        Some((self.part, self.script.steps.get(self.step)?))
    }

    /// Takes in a reading.
    pub fn push(&mut self, reading: &Reading) -> Vec<Told> {
        let Some((_, step)) = self.asked() else {
            return Vec::new();
        };
        if let Wait::Off(before) = self.wait {
            // Whoever turned the meter to another function has no value to read on.
            let turned = reading.function != before.function;
            if !turned && !is_off(before, reading.shown) {
                return Vec::new();
            }
            self.wait = Wait::On;
            self.settler.reset();
            self.still = None;
            return vec![self.next()];
        }
        if reading.function != step.function {
            self.still = None;
            self.settler.reset();
            if self.wrong.replace(reading.function) == Some(reading.function) {
                return Vec::new();
            }
            return vec![Told::Function {
                wanted: step.function,
                got: reading.function,
            }];
        }
        self.wrong = None;
        let state = self.settler.push(reading);
        self.still = match state {
            State::Settled(settled) => Some(Reading {
                shown: settled.shown,
                ..*reading
            }),
            State::Unsettled { .. } | State::Broken { .. } => None,
        };
        match self.still {
            Some(still) if self.wish => self.take(still),
            Some(still) if step.off_below.is_some() && !is_off(step, still.shown) => {
                self.take(still)
            }
            _ => Vec::new(),
        }
    }

    /// Takes what stands still on the display, whatever it looks like: now, or as soon as it does.
    pub fn enter(&mut self) -> Vec<Told> {
        if self.asked().is_none() {
            return Vec::new();
        }
        match (self.wait, self.still) {
            (Wait::Off(_), _) => vec![Told::StillOn],
            (Wait::On, Some(still)) => self.take(still),
            (Wait::On, None) => {
                self.wish = true;
                vec![Told::NotStill]
            }
        }
    }

    /// Takes a value that was typed.
    pub fn keyed(&mut self, shown: Shown) -> Vec<Told> {
        let Some((_, step)) = self.asked() else {
            return Vec::new();
        };
        let mut told = self.take(Reading {
            function: step.function,
            shown,
            flags: Flags::NONE,
            meter: MeterId(0),
            at: Micros(0),
        });
        // Whoever types has taken the leads off, or has none.
        if self.wait != Wait::On {
            self.wait = Wait::On;
            told.push(self.next());
        }
        told
    }

    /// Goes on to the next part; what was not read of this one is not.
    pub fn skip(&mut self) -> Vec<Told> {
        if self.is_done() {
            return Vec::new();
        }
        self.step = self.script.steps.len();
        self.advance();
        if self.is_done() {
            return Vec::new();
        }
        vec![self.next()]
    }

    fn next(&self) -> Told {
        Told::Next {
            part: self.part,
            step: self.step,
        }
    }

    fn advance(&mut self) {
        self.step += 1;
        if self.step >= self.script.steps.len() {
            self.step = 0;
            self.part += 1;
            self.ohms.clear();
        }
        self.settler.reset();
        self.still = None;
        self.wish = false;
        self.wait = Wait::On;
    }

    fn take(&mut self, reading: Reading) -> Vec<Told> {
        let Some((part, step)) = self.asked() else {
            return Vec::new();
        };
        // Whoever puts a part on the bench answers for it: it is taken as dead where a function drives a
        // current through it, as the cautions say.
        let measured = measure(&reading, step.function, Circuit::Dead, self.table).ok();
        if let (Some(m), Function::Ohms) = (measured, step.function) {
            self.ohms.push(Quantity::from_measured(m));
        }
        let take = Take {
            part,
            step: self.step,
            shown: reading.shown,
            measured,
            outcome: self.judge(step, &reading, measured),
        };
        self.advance();
        let mut told = vec![Told::Taken(take)];
        if self.is_done() {
            return told;
        }
        if step.off_below.is_some() {
            self.wait = Wait::Off(step);
        } else {
            told.push(self.next());
        }
        told
    }

    fn judge(&self, step: &Step, reading: &Reading, measured: Option<Measured>) -> Outcome {
        let open = reading.shown == Shown::Overload && step.function == Function::Ohms;
        if open {
            return Outcome {
                decision: Some(Decision::Fail),
                low: None,
                high: None,
                by: format!("open: {} ({})", PATH.what, PATH.status.words()),
            };
        }
        if let Held::Shell(insulation, at) = &step.held {
            return self.shell(reading, measured, *insulation, *at);
        }
        let Some(m) = measured else {
            return not_judged("the display shows no value, or the profile states none for it");
        };
        match &step.held {
            Held::Section(known) => by(capacitor::section(of(m), known).map(|v| {
                // With no tolerance marked, less than half of the value has failed all the same.
                let gone = v.gone.filter(|g| g.decision == Decision::Fail);
                gone.unwrap_or(v.replace)
            })),
            Held::Secondary(load) => by(control::at_secondary(of(m), *load)),
            Held::Pole(amps, source) => {
                by(drop::across_pole(of(m), *amps, *source).map(|v| v.worn))
            }
            Held::Marked(limit) => from_verdict(&Verdict::of(m, *limit, &limit.bands())),
            Held::Sum => self.sum(),
            Held::Shell(..) => not_judged("no value"),
            Held::Nothing => Outcome {
                decision: None,
                low: None,
                high: None,
                by: "written down: no limit has a source".to_owned(),
            },
        }
    }

    /// To the frame: more than the tester can show is more than any limit.
    fn shell(
        &self,
        reading: &Reading,
        measured: Option<Measured>,
        material: insulation::Insulation,
        at: ohmtrail_core::units::Celsius,
    ) -> Outcome {
        match measured {
            Some(m) => by(insulation::open_motor(
                of(m),
                at,
                insulation::Winding::RandomWound,
                material,
            )),
            None => {
                let limit = insulation::RANDOM_WOUND.limit();
                from_verdict(&Verdict::read(
                    reading,
                    Function::Megohms,
                    Circuit::Dead,
                    self.table,
                    limit,
                    &limit.bands(),
                ))
            }
        }
    }

    fn sum(&self) -> Outcome {
        let [common_start, common_run, start_run] = self.ohms.as_slice() else {
            return not_judged("a pair before it is open: the sum of three pairs cannot be taken");
        };
        let pairs = Pairs {
            common_start: *common_start,
            common_run: *common_run,
            start_run: *start_run,
        };
        let source = |s: Source| format!("{} ({})", s.what, s.status.words());
        match sum_rule(&pairs, &self.leads) {
            Err(why) => not_judged(why.words()),
            Ok(sum) => Outcome {
                decision: Some(match sum.outcome {
                    SumOutcome::Consistent => Decision::Pass,
                    // A wrong reading or lead as much as a wrong winding.
                    SumOutcome::Inconsistent => Decision::Check,
                    SumOutcome::NotJudged => Decision::NotJudged,
                }),
                low: None,
                high: None,
                by: format!("{}; {}", source(SUM), source(RESIDUAL)),
            },
        }
    }
}

/// Whether a display looks as if nothing were connected.
fn is_off(step: &Step, shown: Shown) -> bool {
    match shown {
        Shown::Blank => true,
        Shown::Overload => matches!(step.function, Function::Ohms | Function::Megohms),
        Shown::Value(decimal) => step
            .off_below
            .is_some_and(|least| decimal.value().abs() < least),
    }
}

fn of<Q: Unit>(m: Measured) -> Quantity<Q> {
    Quantity::from_measured(m)
}

fn not_judged(why: &str) -> Outcome {
    Outcome {
        decision: Some(Decision::NotJudged),
        low: None,
        high: None,
        by: why.to_owned(),
    }
}

fn by(verdict: Result<Verdict, RuleError>) -> Outcome {
    match verdict {
        Ok(verdict) => from_verdict(&verdict),
        Err(why) => not_judged(why.words()),
    }
}

fn from_verdict(v: &Verdict) -> Outcome {
    let source = v.limit.source;
    let mut by = format!("{} ({})", source.what, source.status.words());
    if let Some(why) = v.void {
        by = format!("{}; {by}", why.words());
    } else if v.class == Class::Absent {
        by = format!("next to nothing; {by}");
    }
    Outcome {
        decision: Some(v.decision),
        low: v.limit.lower,
        high: v.limit.upper,
        by,
    }
}
