//! Resistance of the test leads: 0.2 ohm of lead is not winding.
//!
//! The leads are zeroed by the meter's relative mode, or measured with the probes held together
//! and subtracted, or estimated from three readings at three terminals ([`THREE_TERMINALS`]), or
//! not known ([`UNKNOWN_LEADS`]).

use serde::Serialize;

use crate::accuracy::{Quantity, Void};
use crate::math::root_sum_square;
use crate::source::{Source, Status};
use crate::units::Ohms;

/// With leads of `r` each reading at three terminals is `r` too high, and the sum rule leaves
/// `R(C-S) + R(C-R) - R(S-R) = r`.
pub const THREE_TERMINALS: Source = Source::new(
    "three-terminal sum: each reading is r too high, so R(CS) + R(CR) - R(SR) = r",
    Status::Computed,
);

/// Leads that were neither zeroed nor measured: from nothing to half an ohm.
pub const UNKNOWN_LEADS: Source = Source::new(
    "leads neither zeroed nor measured: taken as 0 to 0.5 ohm",
    Status::CommonPractice,
);

/// The most that unknown leads are taken to have, and the most that is believed to be leads when
/// it comes out of a sum.
pub const MOST_LEADS: Ohms = Ohms(0.5);

/// What is known of the leads.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Leads {
    /// Zeroed by the meter's relative mode, at this display step. What was stored was rounded to
    /// the step too.
    Zeroed {
        /// One count of the display when it was zeroed.
        step: Ohms,
    },
    /// Read with the probes held together, to be subtracted.
    Shorted(Quantity<Ohms>),
    /// Estimated from the sum of three readings: the fields of
    /// [`SumEstimate`] have those three corrected, with the right uncertainties; from any other
    /// reading it is subtracted.
    FromSum(Quantity<Ohms>),
    /// Neither: [`UNKNOWN_LEADS`].
    Unknown,
}

impl Leads {
    /// The resistance that is still in a reading, and its uncertainty.
    #[must_use]
    pub fn remaining(&self) -> Quantity<Ohms> {
        match self {
            Leads::Zeroed { step } => Quantity::new(Ohms(0.0), step.get().abs() / SQRT_12),
            Leads::Shorted(r) | Leads::FromSum(r) => *r,
            // Rectangular over the whole range (JCGM 100:2008, 4.3.7): its middle, and the half
            // width over sqrt 3.
            Leads::Unknown => Quantity::new(
                Ohms(MOST_LEADS.get() / 2.0),
                MOST_LEADS.get() / 2.0 / SQRT_3,
            ),
        }
    }

    /// Whether the sum of the three readings can still be judged: not when the leads were
    /// estimated from it, as no degree of freedom is left.
    #[must_use]
    pub const fn leave_the_sum_to_judge(&self) -> bool {
        !matches!(self, Leads::FromSum(_))
    }

    /// The reading without the leads.
    ///
    /// # Errors
    /// [`Void::NotFinite`] for a number that is none; [`Void::Negative`] if less than nothing is
    /// left, by more than the expanded uncertainty: the leads were not what they are said to be.
    pub fn take_off(&self, reading: Quantity<Ohms>) -> Result<Quantity<Ohms>, Void> {
        let leads = self.remaining();
        let left = Quantity {
            value: Ohms(reading.value.get() - leads.value.get()),
            u: root_sum_square([reading.u, leads.u]),
            assumed: reading.assumed || leads.assumed,
        };
        check(left)
    }
}

/// Refuses what is not a resistance.
fn check(r: Quantity<Ohms>) -> Result<Quantity<Ohms>, Void> {
    let m = r.measured();
    if !m.is_sound() {
        return Err(Void::NotFinite);
    }
    if m.value < -m.expanded() {
        return Err(Void::Negative);
    }
    Ok(r)
}

/// The leads as three readings at three terminals give them, and the three without them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SumEstimate {
    /// The leads.
    pub leads: Quantity<Ohms>,
    /// Common to start without leads: `R(SR) - R(CR)`.
    pub common_start: Quantity<Ohms>,
    /// Common to run without leads: `R(SR) - R(CS)`.
    pub common_run: Quantity<Ohms>,
    /// Start to run without leads: `2 R(SR) - R(CS) - R(CR)`. It is the sum of the other two by
    /// construction, so the sum rule says nothing about these three.
    pub start_run: Quantity<Ohms>,
}

/// Why three readings give no lead resistance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
pub enum SumError {
    /// A reading is void.
    Void(Void),
    /// The sum leaves less than nothing, or more than leads have ([`MOST_LEADS`]), by more than
    /// the expanded uncertainty: these are not three readings of one part with one pair of leads.
    NotLeads,
}

/// The lead resistance that three un-zeroed readings at three terminals carry
/// ([`THREE_TERMINALS`]), with uncertainties of independent readings carried through.
///
/// # Errors
/// [`SumError`].
pub fn estimate_from_sum(
    common_start: Quantity<Ohms>,
    common_run: Quantity<Ohms>,
    start_run: Quantity<Ohms>,
) -> Result<SumEstimate, SumError> {
    for r in [common_start, common_run, start_run] {
        check(r).map_err(SumError::Void)?;
    }
    let (cs, cr, sr) = (
        common_start.value.get(),
        common_run.value.get(),
        start_run.value.get(),
    );
    let (u_cs, u_cr, u_sr) = (common_start.u, common_run.u, start_run.u);
    let assumed = common_start.assumed || common_run.assumed || start_run.assumed;
    let of = |value, u| Quantity {
        value: Ohms(value),
        u,
        assumed,
    };
    let leads = of(cs + cr - sr, root_sum_square([u_cs, u_cr, u_sr]));
    let expanded = leads.measured().expanded();
    if !leads.measured().is_sound() {
        return Err(SumError::Void(Void::NotFinite));
    }
    if leads.value.get() < -expanded || leads.value.get() > MOST_LEADS.get() + expanded {
        return Err(SumError::NotLeads);
    }
    Ok(SumEstimate {
        leads,
        common_start: of(sr - cr, root_sum_square([u_sr, u_cr])),
        common_run: of(sr - cs, root_sum_square([u_sr, u_cs])),
        start_run: of(
            2.0 * sr - cs - cr,
            root_sum_square([2.0 * u_sr, u_cs, u_cr]),
        ),
    })
}

const SQRT_3: f64 = 1.732_050_807_568_877_2;
const SQRT_12: f64 = 3.464_101_615_137_754_4;

#[cfg(test)]
mod tests {
    use super::*;

    fn ohms(value: f64) -> Quantity<Ohms> {
        Quantity::new(Ohms(value), 0.03)
    }

    /// Algebra: windings of 2.2 and 0.7 ohm read through leads of 0.2 ohm.
    #[test]
    fn the_sum_gives_the_leads_back() {
        let e = estimate_from_sum(ohms(2.4), ohms(0.9), ohms(3.1)).expect("three good readings");
        for (got, want) in [
            (e.leads, 0.2),
            (e.common_start, 2.2),
            (e.common_run, 0.7),
            (e.start_run, 2.9),
        ] {
            assert!((got.value.get() - want).abs() < 1e-12, "{got:?}");
        }
        assert!((e.leads.u - 0.03 * 3f64.sqrt()).abs() < 1e-12);
        assert!((e.common_run.u - 0.03 * 2f64.sqrt()).abs() < 1e-12);
        assert!((e.start_run.u - 0.03 * 6f64.sqrt()).abs() < 1e-12);
        assert!(!Leads::FromSum(e.leads).leave_the_sum_to_judge());
    }

    #[test]
    fn what_cannot_be_leads_is_refused() {
        let sum = |cs, cr, sr| estimate_from_sum(ohms(cs), ohms(cr), ohms(sr));
        assert_eq!(sum(2.2, 0.7, 4.0), Err(SumError::NotLeads));
        assert_eq!(sum(2.2, 2.2, 2.2), Err(SumError::NotLeads));
        assert_eq!(
            sum(f64::NAN, 0.7, 2.9),
            Err(SumError::Void(Void::NotFinite))
        );
        assert_eq!(sum(-1.0, 0.7, 2.9), Err(SumError::Void(Void::Negative)));
    }

    #[test]
    fn leads_are_taken_off_with_their_uncertainty() {
        let shorted = Leads::Shorted(ohms(0.2));
        let left = shorted.take_off(ohms(0.9)).expect("more than the leads");
        assert!((left.value.get() - 0.7).abs() < 1e-12);
        assert!((left.u - 0.03 * 2f64.sqrt()).abs() < 1e-12);
        assert_eq!(shorted.take_off(ohms(0.05)), Err(Void::Negative));
        let zeroed = Leads::Zeroed { step: Ohms(0.1) };
        let left = zeroed.take_off(ohms(0.7)).expect("zeroed");
        assert_eq!(left.value, Ohms(0.7));
        assert!(left.u > 0.03);
        let unknown = Leads::Unknown.take_off(ohms(0.7)).expect("unknown");
        assert!((unknown.value.get() - 0.45).abs() < 1e-12 && unknown.u > 0.14);
    }
}
