//! The cooling that the readings speak of: a normal distribution of ambient and rise for each time
//! constant, and the probability of each time constant.

use super::{MOST_SAMPLES, Normal, ONE_BODY, Reference, START, Sample, TAU};
use crate::accuracy::Measured;
use crate::math::phi;
use crate::rules::RuleError;
use crate::units::Micros;

/// How many time constants are tried, evenly on the logarithm over `SPAN` standard deviations of
/// its prior to either side: steps of 1.7 %.
pub const NODES: usize = 161;
const SPAN: f64 = 4.0;

const SQRT_12: f64 = 3.464_101_615_137_754_4;

/// One time constant.
#[derive(Debug, Clone, Copy, Default)]
struct Node {
    /// Seconds.
    tau: f64,
    /// Its probability.
    weight: f64,
    /// Ambient, °C, and rise over it at the origin, K.
    mean: [f64; 2],
    /// Their variances, and between them the covariance.
    ambient: f64,
    both: f64,
    rise: f64,
}

impl Node {
    /// Mean and variance of `ambient * a + rise * exp(-t / tau)`.
    fn at(&self, a: f64, t: f64) -> (f64, f64) {
        let e = libm::exp(-t / self.tau);
        let [ambient, rise] = self.mean;
        let variance = a * a * self.ambient + 2.0 * a * e * self.both + e * e * self.rise;
        (a * ambient + e * rise, variance.max(0.0))
    }
}

/// The cooling.
#[derive(Debug)]
pub(super) struct Fit {
    nodes: [Node; NODES],
    origin: Micros,
    /// The sum of squared normalised residuals at the time constant that fits best.
    pub misfit: f64,
    /// How many readings there are in it.
    pub used: usize,
}

/// The four unknowns that enter linearly: ambient, rise, the reference's error as a share, and the
/// offset in ohms that all readings share.
#[derive(Clone, Copy)]
struct State {
    mean: [f64; 4],
    covariance: [[f64; 4]; 4],
    /// Twice the negative logarithm of the likelihood, without its constant.
    deviance: f64,
    misfit: f64,
}

fn dot(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

impl State {
    /// The unknowns of these standard deviations, independent of each other.
    fn new(mean: [f64; 4], [a, d, s, o]: [f64; 4]) -> Self {
        State {
            mean,
            covariance: [
                [a * a, 0.0, 0.0, 0.0],
                [0.0, d * d, 0.0, 0.0],
                [0.0, 0.0, s * s, 0.0],
                [0.0, 0.0, 0.0, o * o],
            ],
            deviance: 0.0,
            misfit: 0.0,
        }
    }

    /// Takes in `value = h . unknowns + noise`: the update of a normal distribution by one linear
    /// observation (the measurement step of a Kalman filter).
    fn observe(&mut self, value: f64, h: &[f64; 4], noise: f64) {
        let through = self.covariance.map(|row| dot(&row, h));
        let variance = dot(&through, h) + noise;
        let off = value - dot(&self.mean, h);
        self.deviance += libm::log(variance) + off * off / variance;
        self.misfit += off * off / variance;
        let gain = through.map(|x| x / variance);
        for (mean, g) in self.mean.iter_mut().zip(gain) {
            *mean += g * off;
        }
        for (row, g) in self.covariance.iter_mut().zip(gain) {
            for (cell, x) in row.iter_mut().zip(through) {
                *cell -= g * x;
            }
        }
    }
}

/// Seconds from `from` to `to`, negative if it is the earlier one.
pub(super) fn seconds(from: Micros, to: Micros) -> f64 {
    (to.since(from) as f64 - from.since(to) as f64) / 1e6
}

impl Fit {
    /// The cooling since `off`, by these readings.
    pub(super) fn new(
        reference: &Reference,
        ambient: Measured,
        samples: &[Sample],
        off: Micros,
    ) -> Result<Self, RuleError> {
        let slope = reference.kelvins_per_ohm()?;
        let samples = || samples.iter().rev().take(MOST_SAMPLES);
        let first = samples().map(|s| s.at).min();
        let origin = first.map_or(off, |at| at.min(off));
        let start = Normal::of(&START);
        let share = reference_share(reference);
        let offset = samples().map(Sample::shared).fold(0.0, f64::max);
        let law = ONE_BODY.upper.unwrap_or(0.0);
        let mut fit = Fit {
            nodes: [Node::default(); NODES],
            origin,
            misfit: f64::INFINITY,
            used: 0,
        };
        let (mut least, mut used) = (f64::INFINITY, 0);
        for (k, node) in fit.nodes.iter_mut().enumerate() {
            let z = SPAN * (2.0 * k as f64 / (NODES - 1) as f64 - 1.0);
            node.tau = tau_at(z);
            let mut state = State::new(
                [ambient.value, start.mean - ambient.value, 0.0, 0.0],
                [ambient.u, start.sd, share, offset],
            );
            used = 0;
            for sample in samples() {
                // Kelvins over the temperature at which the winding would have no resistance.
                let absolute = sample.ohms.value.get() * slope;
                let e = libm::exp(-seconds(origin, sample.at) / node.tau);
                let step = slope * sample.step.get() / SQRT_12;
                state.observe(
                    absolute - reference.metal.k(),
                    &[1.0, e, absolute, slope],
                    law * law + step * step,
                );
                used += 1;
            }
            let [m_a, m_d, ..] = state.mean;
            let [[aa, ad, ..], [_, dd, ..], ..] = state.covariance;
            node.mean = [m_a, m_d];
            node.ambient = aa;
            node.both = ad;
            node.rise = dd;
            // For now the deviance; a probability below.
            node.weight = state.deviance + z * z;
            least = least.min(node.weight);
            fit.misfit = fit.misfit.min(state.misfit);
        }
        fit.used = used;
        let mut total = 0.0;
        for node in &mut fit.nodes {
            node.weight = libm::exp(0.5 * (least - node.weight));
            total += node.weight;
        }
        if !(total.is_finite() && total > 0.0) {
            return Err(RuleError::NotFinite);
        }
        for node in &mut fit.nodes {
            node.weight /= total;
        }
        Ok(fit)
    }

    /// Mean and standard deviation of a mixture of each time constant's normal distribution.
    fn mixture(&self, of: impl Fn(&Node) -> (f64, f64)) -> Normal {
        let (mut mean, mut square) = (0.0, 0.0);
        for node in &self.nodes {
            mean += node.weight * of(node).0;
        }
        for node in &self.nodes {
            let (m, variance) = of(node);
            square += node.weight * (variance + (m - mean) * (m - mean));
        }
        Normal {
            mean,
            sd: libm::sqrt(square),
        }
    }

    /// The winding's temperature at a moment, °C.
    pub(super) fn winding(&self, at: Micros) -> Normal {
        let t = seconds(self.origin, at);
        self.mixture(|node| node.at(1.0, t))
    }

    /// How much the winding is over ambient at a moment, K.
    pub(super) fn over_ambient(&self, at: Micros) -> Normal {
        let t = seconds(self.origin, at);
        self.mixture(|node| node.at(0.0, t))
    }

    /// The time constant, seconds.
    pub(super) fn tau(&self) -> Normal {
        self.mixture(|node| (node.tau, 0.0))
    }

    /// The probability that the winding is over the reset temperature at a moment, so many seconds
    /// after `from`: that a good protector which has opened is open still. While the winding
    /// cools, this is a fraction that falls, so that the chance of being open at a later moment
    /// for one that is open at an earlier is their ratio.
    pub(super) fn over_reset(&self, from: Micros, later: f64, reset: Normal) -> f64 {
        let t = seconds(self.origin, from) + later;
        self.nodes
            .iter()
            .map(|node| {
                let (mean, variance) = node.at(1.0, t);
                let spread = libm::sqrt(variance + reset.sd * reset.sd).max(1e-6);
                node.weight * phi((mean - reset.mean) / spread)
            })
            .sum()
    }
}

/// The time constant so many standard deviations from the middle of its prior, seconds.
fn tau_at(z: f64) -> f64 {
    let (low, high) = (TAU.lower.unwrap_or(1.0), TAU.upper.unwrap_or(1.0));
    let law = Normal::nine_tenths(libm::log(low), libm::log(high));
    60.0 * libm::exp(law.mean + z * law.sd)
}

/// The reference's error as a share of the temperature over the one without resistance.
fn reference_share(reference: &Reference) -> f64 {
    let (ohms, at) = (reference.ohms.measured(), reference.at.measured());
    libm::hypot(ohms.u / ohms.value, at.u / (reference.metal.k() + at.value))
}
