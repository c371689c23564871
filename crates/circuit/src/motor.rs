//! A single-phase induction motor with a main and an auxiliary winding, by the double
//! revolving-field theory.
//!
//! The pulsating field of each winding is two fields that turn against each other. With
//! `Zf = (r2/s + j x2) || j xm` for the forward and `Zb = (r2/(2-s) + j x2) || j xm` for the
//! backward one, and `a` the ratio of effective turns, auxiliary to main:
//!
//! ```text
//! Vm = (Zm + Zf/2 + Zb/2) Im - j a (Zf - Zb)/2 Ia
//! Va = j a (Zf - Zb)/2 Im + (Za + a^2 (Zf + Zb)/2) Ia
//! ```
//!
//! The torque is that of the forward air-gap power less the backward one. Source: the
//! revolving-field chapter of the electric-machinery textbooks (from memory); the test below
//! holds the main winding against a textbook's worked example.

use num_complex::Complex;

use crate::network::Phasor;

/// The constants of a two-winding motor, referred to the main winding, reactances at
/// [`MotorData::REFERENCE_HERTZ`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotorData {
    /// Main (run) winding, ohms.
    pub main_ohms: f64,
    /// Leakage reactance of the main winding, ohms.
    pub main_reactance: f64,
    /// Auxiliary (start) winding, ohms.
    pub aux_ohms: f64,
    /// Leakage reactance of the auxiliary winding, ohms.
    pub aux_reactance: f64,
    /// Effective turns, auxiliary to main.
    pub turns_ratio: f64,
    /// Rotor, ohms.
    pub rotor_ohms: f64,
    /// Rotor leakage reactance, ohms.
    pub rotor_reactance: f64,
    /// Magnetising reactance, ohms.
    pub magnetising_reactance: f64,
}

impl MotorData {
    /// The frequency at which the reactances are stated, hertz.
    pub const REFERENCE_HERTZ: f64 = 60.0;

    /// The forward and backward field impedances, ohms. Both are zero at direct current.
    #[must_use]
    pub fn fields(&self, hertz: f64, slip: f64) -> (Phasor, Phasor) {
        let scale = hertz / Self::REFERENCE_HERTZ;
        let field = |slip: f64| {
            let rotor = Complex::new(self.rotor_ohms / slip, self.rotor_reactance * scale);
            let magnetising = Complex::new(0.0, self.magnetising_reactance * scale);
            rotor * magnetising / (rotor + magnetising)
        };
        (field(slip), field(2.0 - slip))
    }

    /// The impedance matrix of main and auxiliary winding, ohms. `slip` is in (0, 2).
    #[must_use]
    pub fn impedance(&self, hertz: f64, slip: f64) -> [[Phasor; 2]; 2] {
        let scale = hertz / Self::REFERENCE_HERTZ;
        let (forward, backward) = self.fields(hertz, slip);
        let half_sum = (forward + backward) * 0.5;
        let turn = Complex::new(0.0, self.turns_ratio) * (forward - backward) * 0.5;
        [
            [
                Complex::new(self.main_ohms, self.main_reactance * scale) + half_sum,
                -turn,
            ],
            [
                turn,
                Complex::new(self.aux_ohms, self.aux_reactance * scale)
                    + half_sum * self.turns_ratio.powi(2),
            ],
        ]
    }

    /// The torque in synchronous watts: forward less backward air-gap power. `currents` are the
    /// main and auxiliary winding's, amperes.
    #[must_use]
    pub fn torque(&self, hertz: f64, slip: f64, [main, aux]: [Phasor; 2]) -> f64 {
        let (forward, backward) = self.fields(hertz, slip);
        let turned = Complex::new(0.0, self.turns_ratio) * aux;
        let i_forward = (main - turned) * 0.5;
        let i_backward = (main + turned) * 0.5;
        2.0 * (i_forward.norm_sqr() * forward.re - i_backward.norm_sqr() * backward.re)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A textbook's 1/4 hp, 110 V, 60 Hz, four-pole motor on its main winding at a slip of 0.05
    /// (from memory, the figures as remembered to three digits): Zf/2 = 15.9 + j20.1,
    /// Zb/2 = 0.99 + j1.06, 3.6 A at a power factor of 0.62, 206 W forward and 12.8 W backward
    /// air-gap power.
    #[test]
    fn the_textbook_quarter_horsepower_motor() {
        let m = MotorData {
            main_ohms: 2.02,
            main_reactance: 2.79,
            aux_ohms: 1e9,
            aux_reactance: 0.0,
            turns_ratio: 1.0,
            rotor_ohms: 4.12,
            rotor_reactance: 2.12,
            magnetising_reactance: 66.8,
        };
        let (zf, zb) = m.fields(60.0, 0.05);
        for (got, want) in [
            (zf.re / 2.0, 15.9),
            (zf.im / 2.0, 20.1),
            (zb.re / 2.0, 0.99),
            (zb.im / 2.0, 1.06),
        ] {
            assert!((got / want - 1.0).abs() < 0.01, "{got} {want}");
        }
        let current = 110.0 / m.impedance(60.0, 0.05)[0][0];
        assert!((current.norm() - 3.6).abs() < 0.02, "{current}");
        assert!((current.arg().cos() - 0.62).abs() < 0.005);
        let gap = m.torque(60.0, 0.05, [current, Complex::default()]);
        assert!((gap / (206.0 - 12.8) - 1.0).abs() < 0.01, "{gap}");
    }

    /// At standstill a motor with current in one winding only has no torque, by symmetry.
    #[test]
    fn one_winding_alone_does_not_start() {
        let m = MotorData {
            main_ohms: 0.87,
            main_reactance: 1.55,
            aux_ohms: 2.95,
            aux_reactance: 2.1,
            turns_ratio: 1.35,
            rotor_ohms: 1.05,
            rotor_reactance: 1.55,
            magnetising_reactance: 45.0,
        };
        let current = Complex::new(40.0, -50.0);
        assert!(m.torque(60.0, 1.0, [current, Complex::default()]).abs() < 1e-9);
        // A lead of the auxiliary current, as a capacitor gives it, turns it one way; a lag the other.
        let lead = m.torque(60.0, 1.0, [current, current * Complex::new(0.0, 0.1)]);
        let lag = m.torque(60.0, 1.0, [current, current * Complex::new(0.0, -0.1)]);
        assert!(lead > 0.0 && lag < 0.0 && (lead + lag).abs() < 1e-9);
    }
}
