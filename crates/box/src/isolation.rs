//! The isolation of a whole sheet, by the box alone: the core's belief and planner over the loaded
//! table's single faults, every ask behind its gate.
//!
//! Where it stops is where the core's [`Standing`] stops. It names a fault; it condemns nothing and
//! restores nothing: proof and repair are a visit's.

use heapless::Vec;
use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::gates::{
    Act, AskError, DeadAsk, Energise, Event, Gate, Gates, LiftAsk, LiveAsk, Pair, PowerOn, Seen,
};
use ohmtrail_core::isolate::ask::ANY_LIFTED;
use ohmtrail_core::isolate::{
    Active, AskRecord, Belief, Cooled, Evidence, Kind, Planner, PowerNeed, Prospect, Standing,
    State, Table,
};
use ohmtrail_core::reading::{Function, Reading};
use ohmtrail_core::units::{Micros, Volts};
use ohmtrail_core::verdict::Bands;
use ohmtrail_link::card::Step;
use ohmtrail_link::load::Plan;
use ohmtrail_link::message::{Light, LoadFault};

use crate::front::FrontEnd;
use crate::walk::{Want, Way, seen, towards, weigh};

/// The most hypotheses times samples of a table.
pub const WEIGHTS: usize = 576;
/// The most asks.
pub const ASKS: usize = 160;
/// The most hypotheses.
pub const HYPOTHESES: usize = 106;
/// The most rows of an ask.
pub const ROWS: usize = 44;
/// The most answers of one isolation.
pub const ANSWERS: usize = 32;
/// An answer taken more often than this is not made again.
const REPEATS: u8 = 2;
/// The most that may stand between any two points of a unit: a run capacitor's volts.
const HIGHEST: Volts = Volts(440.0);
/// From this probability on the lights say pass or fail.
const CLEAR: f32 = 0.95;

/// The memory that the core's isolation works in.
#[derive(Debug)]
pub struct Workspace {
    weights: [f32; WEIGHTS],
    prospects: [Prospect; ASKS],
    active: [Active; HYPOTHESES],
}

impl Workspace {
    /// Empty.
    #[must_use]
    pub const fn new() -> Self {
        Workspace {
            weights: [0.0; WEIGHTS],
            prospects: [Prospect::NONE; ASKS],
            active: [Active::NONE; HYPOTHESES],
        }
    }
}

impl Default for Workspace {
    fn default() -> Self {
        Workspace::new()
    }
}

/// Whether a table fits the box's memory.
///
/// # Errors
/// What does not.
pub fn fits(table: &Table<'_>) -> Result<(), LoadFault> {
    if table.weight_count() > WEIGHTS {
        return Err(LoadFault::Weights);
    }
    let room = usize::from(table.ask_count()) <= ASKS
        && usize::from(table.hypotheses) <= HYPOTHESES
        && table.most_rows() <= ROWS;
    if room { Ok(()) } else { Err(LoadFault::Room) }
}

/// An ask that was answered.
#[derive(Debug, Clone, Copy)]
struct Answered {
    ask: u16,
    /// How often it was taken, or tried to be.
    repeats: u8,
    evidence: Evidence,
}

/// How it ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ending {
    /// The faults of this hypothesis.
    Found {
        /// Its number.
        hypothesis: u16,
        /// Its probability.
        p: f32,
    },
    /// None is named; whether what was measured fits none of them.
    NotFound {
        /// It fits none.
        unnamed: bool,
    },
}

/// An isolation under way.
#[derive(Debug)]
pub struct Isolation<'p> {
    table: Table<'p>,
    plan: &'p Plan,
    gates: Gates<'p>,
    state: State,
    answers: Vec<Answered, ANSWERS>,
    closed: [u32; ASKS / 32],
    goal: Option<(u16, State)>,
    ending: Option<Ending>,
}

impl<'p> Isolation<'p> {
    /// Begins, the unit as it was found: under power, with a call.
    #[must_use]
    pub fn new(table: Table<'p>, plan: &'p Plan, gates: Gates<'p>) -> Self {
        Isolation {
            table,
            plan,
            gates,
            state: State {
                on: true,
                lifted: 0,
                cooled: false,
            },
            answers: Vec::new(),
            closed: [0; ASKS / 32],
            goal: None,
            ending: None,
        }
    }

    /// The gates.
    pub fn gates(&mut self) -> &mut Gates<'p> {
        &mut self.gates
    }

    /// How it ended, if it did.
    #[must_use]
    pub const fn ending(&self) -> Option<Ending> {
        self.ending
    }

    /// The faults of a hypothesis.
    #[must_use]
    pub fn faults(&self, hypothesis: u16) -> [u16; 2] {
        self.table.set(hypothesis)
    }

    /// What is wanted next.
    pub fn want(&mut self, work: &mut Workspace, front: &FrontEnd, now: Micros) -> Want {
        // Each turn of the loop closes an ask, ends, or wants something.
        for _ in 0..=ASKS {
            if self.ending.is_some() {
                return Want::Over;
            }
            let Some((ask, to)) = self.goal else {
                self.decide(work, front);
                continue;
            };
            match self.towards_ask(ask, to, front, now) {
                Way::Want(want) => return want,
                Way::Open | Way::Barred => self.close(ask),
            }
        }
        Want::Over
    }

    /// Where the isolation stands now: the next goal, or the end.
    fn decide(&mut self, work: &mut Workspace, front: &FrontEnd) {
        let stands = self.stands(work, front);
        match stands {
            Some(Standing::Ask(choice) | Standing::Again(choice)) if !self.answers.is_full() => {
                self.goal = Some((choice.ask, choice.state));
            }
            Some(Standing::Found { hypothesis, p, .. }) => {
                self.ending = Some(Ending::Found { hypothesis, p });
            }
            Some(Standing::Unnamed { .. }) => {
                self.ending = Some(Ending::NotFound { unnamed: true });
            }
            _ => self.ending = Some(Ending::NotFound { unnamed: false }),
        }
    }

    fn stands(&mut self, work: &mut Workspace, front: &FrontEnd) -> Option<Standing> {
        let table = self.table;
        let mut belief = Belief::<ROWS>::with_rows(&table, &mut work.weights).ok()?;
        for answer in &self.answers {
            // What the table cannot use tells nothing.
            let _ = belief.update(answer.ask, &answer.evidence);
        }
        let mut planner = Planner::new(&table, &mut work.prospects, &mut work.active).ok()?;
        // A take that cannot be made again need not be explained.
        let mut takes = Vec::<(u16, Evidence), ANSWERS>::new();
        for answer in self.answers.iter().filter(|a| a.repeats <= REPEATS) {
            // There is room for every answer.
            let _ = takes.push((answer.ask, answer.evidence));
        }
        let closed = &self.closed;
        let mut allowed = |ask: u16| {
            !is_closed(closed, ask)
                && table.ask(ask).is_some_and(|record| match record.kind {
                    Kind::Measure(function) => front.has(function),
                    Kind::Look => true,
                })
        };
        planner
            .standing(&belief, &takes, self.state, &mut allowed)
            .ok()
    }

    /// The next thing on the way to an ask, or the ask.
    fn towards_ask(&self, ask: u16, to: State, front: &FrontEnd, now: Micros) -> Way {
        let Some(record) = self.table.ask(ask) else {
            return Way::Barred;
        };
        let step = Step::Ask(ask);
        let Kind::Measure(function) = record.kind else {
            let needs_state = record.power == PowerNeed::On || record.cooled != Cooled::Any;
            let way = if needs_state {
                self.reach(to, front, now)
            } else {
                Way::Open
            };
            return match way {
                Way::Open if record.power == PowerNeed::Off => {
                    match towards(&self.gates, Gate::DischargedToTouch, front, now) {
                        Way::Open => Way::Want(Want::Look(step)),
                        other => other,
                    }
                }
                Way::Open => Way::Want(Want::Look(step)),
                other => other,
            };
        };
        match self.reach(to, front, now) {
            Way::Open => {}
            other => return other,
        }
        let points = points(&record);
        let may = if function.injects() {
            let gates = self
                .gates
                .proved_dead()
                .zip(self.gates.discharged_to_measure(now));
            let Some((dead, measure)) = gates else {
                return Way::Barred;
            };
            DeadAsk::new(function, dead, measure, points).map(|_| ())
        } else {
            LiveAsk::new(self.gates.plan(), function, points, HIGHEST, None).map(|_| ())
        };
        match may {
            Ok(()) => Way::Want(Want::Measure {
                step,
                function,
                points: Some(points),
            }),
            Err(AskError::VoltsFirst(first)) if first == points => {
                volts(Step::VoltsAt(ask), first, front)
            }
            Err(AskError::VoltsFirst(first)) => volts(Step::VoltsToGround(ask), first, front),
            Err(_) => Way::Barred,
        }
    }

    /// The next thing on the way to a state of the unit.
    fn reach(&self, to: State, front: &FrontEnd, now: Micros) -> Way {
        let warm = to.cooled && !self.state.cooled;
        if !to.on {
            return self.reach_dead(to.lifted, warm, front, now);
        }
        if warm {
            match self.reach_dead(self.state.lifted, true, front, now) {
                Way::Open => {}
                other => return other,
            }
        }
        if self.state.on {
            return Way::Open;
        }
        // Power is given with every wire end in its place.
        if self.state.lifted != 0 {
            match self.reach_dead(0, false, front, now) {
                Way::Open => {}
                other => return other,
            }
        }
        match towards(&self.gates, Gate::ReadyToEnergise, front, now) {
            Way::Open => {}
            other => return other,
        }
        let ready = self.gates.ready_to_energise(now);
        match ready.map(|ready| PowerOn::new(ready, Energise::Breaker)) {
            Some(Ok(_)) => Way::Want(Want::Do(Step::CloseBreaker)),
            _ => Way::Barred,
        }
    }

    /// Dead and discharged, cold if asked for, with this set lifted and nothing else.
    fn reach_dead(&self, lifted: u8, warm: bool, front: &FrontEnd, now: Micros) -> Way {
        match towards(&self.gates, Gate::DischargedToMeasure, front, now) {
            Way::Open => {}
            other => return other,
        }
        if warm {
            return Way::Want(Want::Do(Step::Cool));
        }
        if lifted == ANY_LIFTED || lifted == self.state.lifted {
            return Way::Open;
        }
        match towards(&self.gates, Gate::DischargedToTouch, front, now) {
            Way::Open => {}
            other => return other,
        }
        // One set at a time: what is lifted is put back first.
        let (set, step) = if self.state.lifted == 0 {
            (lifted, Step::Lift(lifted))
        } else {
            (self.state.lifted, Step::PutBack)
        };
        match self.may_lift(set, front, now) {
            Way::Open => Way::Want(Want::Do(step)),
            other => other,
        }
    }

    /// Whether open gates allow every end of this set to be touched, or the volts that come first.
    fn may_lift(&self, set: u8, front: &FrontEnd, now: Micros) -> Way {
        let gates = self
            .gates
            .proved_dead()
            .zip(self.gates.discharged_to_touch(now));
        let Some((dead, touch)) = gates.filter(|_| !self.ends(set).is_empty()) else {
            return Way::Barred;
        };
        for (nth, end) in (0..).zip(self.ends(set)) {
            match LiftAsk::new(dead, touch, *end) {
                Ok(_) => {}
                Err(AskError::VoltsFirst(points)) => {
                    return volts(Step::VoltsAtEnd(set, nth), points, front);
                }
                Err(_) => return Way::Barred,
            }
        }
        Way::Open
    }

    fn ends(&self, set: u8) -> &'p [ohmtrail_core::gates::PointId] {
        let nth = usize::from(set).checked_sub(1);
        nth.and_then(|n| self.plan.lifts.get(n))
            .map_or(&[], |ends| ends.as_slice())
    }

    /// A step that is no value was done.
    pub fn did(&mut self, step: Step, at: Micros) {
        if crate::walk::tell(&mut self.gates, step, at) {
            match step {
                Step::OpenBreaker | Step::LockDisconnect if self.state.on => {
                    self.state.on = false;
                    self.state.cooled = false;
                }
                Step::CloseBreaker => self.state.on = true,
                _ => {}
            }
            return;
        }
        match step {
            Step::Lift(set) => {
                for end in self.ends(set) {
                    let act = Act::Lift(*end);
                    self.gates.on(&Event::Act { act, at });
                    let act = Act::Insulate(*end);
                    self.gates.on(&Event::Act { act, at });
                }
                self.state.lifted = set;
            }
            Step::PutBack => {
                for end in self.ends(self.state.lifted) {
                    let act = Act::PutBack(*end);
                    self.gates.on(&Event::Act { act, at });
                }
                self.state.lifted = 0;
            }
            Step::Cool => self.state.cooled = !self.state.on,
            _ => {}
        }
    }

    /// A step cannot be done, or an ask not be answered.
    pub fn skip(&mut self, step: Step, at: Micros) {
        if step == Step::ReadLine {
            let act = Act::CannotReadLine;
            self.gates.on(&Event::Act { act, at });
            return;
        }
        // What cannot be reached is not asked again, nor is what lies behind it.
        if let Some((ask, _)) = self.goal {
            self.close(ask);
        }
    }

    /// A look was answered.
    pub fn looked(&mut self, yes: bool) {
        if let Some((ask, _)) = self.goal {
            self.answer(ask, Evidence::Looked(yes));
        }
    }

    /// The value of an ask settled: what the lights say to it.
    pub fn take(&mut self, front: &FrontEnd, reading: &Reading) -> Light {
        let Some((ask, _)) = self.goal else {
            return Light::Void;
        };
        let Some(record) = self.table.ask(ask) else {
            return Light::Void;
        };
        let told = self
            .gates
            .on(&Event::Take(seen(front, reading, Some(points(&record)))));
        if told.alarm.is_some() {
            return Light::Alarm;
        }
        if told.void {
            return Light::Void;
        }
        let Some(likely) = likely(front, &record, reading) else {
            return Light::Void;
        };
        self.answer(ask, Evidence::Measured(likely));
        let within = likely.of(Class::Within);
        if within >= CLEAR {
            Light::Pass
        } else if within <= 1.0 - CLEAR {
            Light::Fail
        } else {
            Light::Unsure
        }
    }

    /// Keeps an answer: one that agrees with the one before confirms it.
    fn answer(&mut self, ask: u16, evidence: Evidence) {
        self.close(ask);
        if let Some(before) = self.answers.iter_mut().find(|a| a.ask == ask) {
            before.evidence = match (before.evidence, evidence) {
                (Evidence::Measured(one) | Evidence::Confirmed(one), Evidence::Measured(other))
                    if one.best().0 == other.best().0 =>
                {
                    Evidence::Confirmed(other)
                }
                _ => evidence,
            };
            return;
        }
        // Full, it is not asked: `decide` looks first.
        let _ = self.answers.push(Answered {
            ask,
            repeats: 1,
            evidence,
        });
    }

    fn close(&mut self, ask: u16) {
        if self.goal.is_some_and(|(goal, _)| goal == ask) {
            self.goal = None;
        }
        if let Some(word) = self.closed.get_mut(usize::from(ask / 32)) {
            *word |= 1 << (ask % 32);
        }
        // An answer that is to be made again and cannot be is not asked for again.
        if let Some(answer) = self.answers.iter_mut().find(|a| a.ask == ask) {
            answer.repeats = answer.repeats.saturating_add(1);
        }
    }

    /// Whether a value at these points in this state is one that should be dead: for the alarm.
    pub fn watch(&mut self, seen: &Seen) -> bool {
        self.gates.on(&Event::Reading(*seen)).alarm.is_some()
    }
}

/// AC volts at points of work, before anything else is done there.
fn volts(step: Step, points: Pair, front: &FrontEnd) -> Way {
    if front.has(Function::VoltsAc) {
        Way::Want(Want::Measure {
            step,
            function: Function::VoltsAc,
            points: Some(points),
        })
    } else {
        Way::Barred
    }
}

fn is_closed(closed: &[u32], ask: u16) -> bool {
    closed
        .get(usize::from(ask / 32))
        .is_some_and(|word| word & (1 << (ask % 32)) != 0)
}

fn points(record: &AskRecord) -> [ohmtrail_core::gates::PointId; 2] {
    use ohmtrail_core::gates::PointId;
    [PointId(record.point_a), PointId(record.point_b)]
}

/// The probability of each class of an ask for a value; none if the value proves nothing.
fn likely(front: &FrontEnd, record: &AskRecord, reading: &Reading) -> Option<Likely> {
    let bands = Bands {
        bottom: record.bottom,
        top: record.top,
        edges: record.edges,
    };
    match weigh(front, &front.leads(), reading) {
        Ok(Some(m)) => Some(bands.judge(m.value, m.u)),
        Ok(None) => {
            let edges = record.edges.iter().filter(|e| e.is_finite());
            let highest = edges.fold(0.0_f64, |most, e| most.max(f64::from(*e)));
            crate::walk::reaches(front, reading.function, highest)
                .then(|| bands.judge(f64::INFINITY, 0.0))
        }
        Err(_) => None,
    }
}
