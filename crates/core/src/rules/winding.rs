//! The windings of a single-phase hermetic compressor or PSC motor at its terminals common,
//! start and run: continuity, the sum rule, the open protector, and which terminal is which.
//!
//! Dead and discharged, leads lifted, at the wire ends and never at the pins of a compressor
//! under power. The sum rule proves continuity and readings that agree, not health: see
//! [`UNPROVEN`].

use serde::Serialize;

use super::{RuleError, computed, not_negative, verified};
use crate::accuracy::{Measured, Quantity};
use crate::leads::Leads;
use crate::math::{phi, root_sum_square};
use crate::source::{Source, Status};
use crate::units::Ohms;

/// The sum rule, and the order of the three pairs.
pub const SUM: Source =
    verified("compressor test manual: R(SR) = R(CS) + R(CR); S-R highest, C-R lowest");
/// How far the sum may be off.
pub const RESIDUAL: Source =
    computed("the residual is at most the combined expanded uncertainty of the three readings");
/// What patterns of open pairs mean.
pub const PATTERNS: Source =
    verified("compressor test manual: C-S and C-R open, S-R closed: protector in the common leg");
/// What an open winding looks like.
pub const TOPOLOGY: Source = Source::new(
    "three terminals, two windings, protector in the common leg",
    Status::Computed,
);

/// What the ohms of three pairs leave unproven, whatever they read.
pub const UNPROVEN: [&str; 3] = [
    "shorted turns: they lower two pairs alike and the sum still holds; compare with a known cold value, or amps",
    "a ground: measure each terminal to the shell with an insulation tester",
    "a seized rotor: it shows only in amps at the start",
];

/// The three pairs of one motor or compressor, as read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Pairs<T> {
    /// Common to start.
    pub common_start: T,
    /// Common to run.
    pub common_run: T,
    /// Start to run.
    pub start_run: T,
}

/// Whether the sum rule holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SumOutcome {
    /// Continuous, and the readings agree; [`UNPROVEN`] stays unproven.
    Consistent,
    /// Off by more than the uncertainty: a wrong reading, leads not zeroed, or a path between the
    /// windings. Measure again before anything else.
    Inconsistent,
    /// The leads were estimated from this very sum: no degree of freedom is left to judge it.
    NotJudged,
}

/// The sum rule, applied.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SumVerdict {
    /// `R(CS) + R(CR) - R(SR)`, less the leads.
    pub residual: Quantity<Ohms>,
    /// Whether it is nothing, within its expanded uncertainty.
    pub outcome: SumOutcome,
    /// How probable a residual at least this far off is, if the rule holds; one if not judged.
    pub p: f64,
}

/// `R(SR) = R(CS) + R(CR)` within the combined expanded uncertainty of three readings as they were
/// read, and of the leads that are still in them: each reading carries them once, so the sum does.
///
/// # Errors
/// [`RuleError`] on a resistance that is none.
pub fn sum_rule(pairs: &Pairs<Quantity<Ohms>>, leads: &Leads) -> Result<SumVerdict, RuleError> {
    let cs = not_negative(pairs.common_start)?;
    let cr = not_negative(pairs.common_run)?;
    let sr = not_negative(pairs.start_run)?;
    let residual = residual(cs, cr, sr, leads.remaining().measured());
    let m = residual.measured();
    if !m.is_sound() {
        return Err(RuleError::NotFinite);
    }
    if !leads.leave_the_sum_to_judge() {
        return Ok(SumVerdict {
            residual,
            outcome: SumOutcome::NotJudged,
            p: 1.0,
        });
    }
    let off = m.value.abs();
    // Sums of decimals carry a rounding of binary64 that no meter shows.
    let rounding = 1e-12 * (cs.value.abs() + cr.value.abs() + sr.value.abs());
    Ok(SumVerdict {
        residual,
        outcome: if off <= m.expanded() + rounding {
            SumOutcome::Consistent
        } else {
            SumOutcome::Inconsistent
        },
        p: if m.u > 0.0 {
            2.0 * phi(-off / m.u)
        } else if off <= rounding {
            1.0
        } else {
            0.0
        },
    })
}

fn residual(cs: Measured, cr: Measured, sr: Measured, leads: Measured) -> Quantity<Ohms> {
    Quantity {
        value: Ohms(cs.value + cr.value - sr.value - leads.value),
        u: root_sum_square([cs.u, cr.u, sr.u, leads.u]),
        assumed: cs.assumed || cr.assumed || sr.assumed || leads.assumed,
    }
}

/// One pair on an ohmmeter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Path {
    /// Overload: no path.
    Open,
    /// A path of this resistance.
    Closed(Quantity<Ohms>),
}

/// What the pattern of open and closed pairs means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pattern {
    /// All three pairs are closed: go on with [`sum_rule`].
    Closed,
    /// The common leg is open, both windings are whole, and the motor has not cooled: its
    /// protector has tripped. Wait, find the cause, and measure again; not a failed compressor.
    ProtectorTripped,
    /// The same after full cooling: the protector (or the common pin or lead) stays open.
    CommonStaysOpen,
    /// The start winding, its pin or its lead is open.
    StartOpen,
    /// The run winding, its pin or its lead is open.
    RunOpen,
    /// No pair has a path: two legs are open, or the connector is off. With a hot motor the
    /// protector may be one of them.
    AllOpen,
    /// One pair open and the other two closed cannot be: they are in series. Measure again.
    Contradiction,
}

impl Pattern {
    /// Where the meaning comes from.
    #[must_use]
    pub const fn source(self) -> Source {
        match self {
            Pattern::ProtectorTripped | Pattern::CommonStaysOpen => PATTERNS,
            _ => TOPOLOGY,
        }
    }
}

/// What the pattern of open and closed pairs means. `cooled`: the motor had time to cool fully
/// since it last ran or tried to (half an hour to several hours for a hermetic compressor).
#[must_use]
pub fn pattern(pairs: &Pairs<Path>, cooled: bool) -> Pattern {
    let open = |p: Path| p == Path::Open;
    match (
        open(pairs.common_start),
        open(pairs.common_run),
        open(pairs.start_run),
    ) {
        (false, false, false) => Pattern::Closed,
        (true, true, false) if cooled => Pattern::CommonStaysOpen,
        (true, true, false) => Pattern::ProtectorTripped,
        (true, false, true) => Pattern::StartOpen,
        (false, true, true) => Pattern::RunOpen,
        (true, true, true) => Pattern::AllOpen,
        (true, false, false) | (false, true, false) | (false, false, true) => {
            Pattern::Contradiction
        }
    }
}

/// One of three terminals that bear no name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub enum Terminal {
    /// The first.
    A,
    /// The second.
    B,
    /// The third.
    C,
}

/// Which terminal is which.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub struct Names {
    /// The common terminal.
    pub common: Terminal,
    /// The start terminal.
    pub start: Terminal,
    /// The run terminal.
    pub run: Terminal,
}

/// Which terminal is which, with the probability of each of the six ways.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Naming {
    /// The most probable way.
    pub names: Names,
    /// Its probability.
    pub p: f64,
    /// All six ways, and their probabilities, which sum to one.
    pub ways: [(Names, f64); 6],
    /// Two readings are too near each other to tell: the probability is under [`SURE`].
    pub ambiguous: bool,
    /// In no way does the sum rule hold within the expanded uncertainty.
    pub inconsistent: bool,
}

/// From this probability on, names are called found.
pub const SURE: f64 = 0.95;

/// Common, start and run from the readings between three unnamed terminals, each as read.
///
/// The start winding has more resistance than the run winding and S-R is the sum of both
/// ([`SUM`]). Each way is weighed by how well the sum rule holds in it, a normal density of its
/// residual, times the probability that C-S is over C-R.
///
/// # Errors
/// [`RuleError`] on a resistance that is none.
pub fn name_terminals(
    a_b: Quantity<Ohms>,
    b_c: Quantity<Ohms>,
    a_c: Quantity<Ohms>,
    leads: &Leads,
) -> Result<Naming, RuleError> {
    use Terminal::{A, B, C};
    let (ab, bc, ac) = (not_negative(a_b)?, not_negative(b_c)?, not_negative(a_c)?);
    let leads = if leads.leave_the_sum_to_judge() {
        leads.remaining()
    } else {
        Leads::Unknown.remaining()
    }
    .measured();
    let names = |common, start, run| Names { common, start, run };
    // (names, C-S, C-R, S-R)
    let ways = [
        (names(A, B, C), ab, ac, bc),
        (names(A, C, B), ac, ab, bc),
        (names(B, A, C), ab, bc, ac),
        (names(B, C, A), bc, ab, ac),
        (names(C, A, B), ac, bc, ab),
        (names(C, B, A), bc, ac, ab),
    ];
    // Readings without uncertainty still carry the rounding of their sums.
    let scale = ab.value.abs() + bc.value.abs() + ac.value.abs();
    let floor = (1e-12 * scale).max(f64::MIN_POSITIVE);
    if !scale.is_finite() {
        return Err(RuleError::NotFinite);
    }
    let off = |(_, cs, cr, sr): (Names, Measured, Measured, Measured)| {
        let r = residual(cs, cr, sr, leads).measured();
        r.value / r.u.max(floor)
    };
    let nearest = ways
        .into_iter()
        .map(|way| off(way).abs())
        .fold(f64::INFINITY, f64::min);
    let weights = ways.map(|way| {
        let (_, cs, cr, sr) = way;
        let z = off(way);
        // The density relative to the best way's, so that not all of them vanish.
        let fit = libm::exp(-0.5 * (z.abs() - nearest) * (z.abs() + nearest));
        // What the third reading and the sum add to C-S less C-R: with independent errors the
        // residual r shifts it by (u_CS^2 - u_CR^2) / u_r^2 * r. Leads cancel in a difference.
        let sum_u = root_sum_square([cs.u, cr.u, sr.u, leads.u]).max(floor);
        let pull = (cs.u - cr.u) / sum_u * ((cs.u + cr.u) / sum_u);
        let difference = cs.value - cr.value - pull * z * sum_u;
        let plain = root_sum_square([cs.u, cr.u]);
        let shared = pull * sum_u;
        let spread = libm::sqrt(((plain - shared) * (plain + shared)).max(0.0)).max(floor);
        let order = phi(difference / spread);
        fit * order
    });
    let total: f64 = weights.into_iter().sum();
    if !total.is_finite() || total <= 0.0 {
        return Err(RuleError::OutOfDomain);
    }
    let mut all = [(names(A, B, C), 0.0); 6];
    let mut best = (names(A, B, C), 0.0);
    for ((slot, (name, ..)), weight) in all.iter_mut().zip(ways).zip(weights) {
        let p = weight / total;
        *slot = (name, p);
        if p > best.1 {
            best = (name, p);
        }
    }
    Ok(Naming {
        names: best.0,
        p: best.1,
        ways: all,
        ambiguous: best.1 < SURE,
        inconsistent: nearest > 2.0,
    })
}
