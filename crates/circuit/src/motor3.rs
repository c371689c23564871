//! A three-phase induction motor, star-connected, by symmetrical components.
//!
//! Each sequence of the winding currents meets its own impedance. With
//! `Zf = (r2/s + j x2) || j xm` for the field that turns forwards and
//! `Zb = (r2/(2-s) + j x2) || j xm` for the one that turns backwards:
//!
//! ```text
//! Z1 = r1 + j x1 + Zf      positive sequence (U, V, W in that order)
//! Z2 = r1 + j x1 + Zb      negative sequence
//! Z0 = r1 + j x1           zero sequence: no air-gap field
//! ```
//!
//! So whatever the windings are tied to (three lines, two of them, two changed over), the same
//! three numbers say what they draw: a lost line, a reversal and an unbalance are not special
//! cases. The torque is that of the forward air-gap power less the backward one. Source: the
//! chapters on polyphase induction machines and on symmetrical components of the
//! electric-machinery textbooks (from memory); the tests below hold it against a textbook's worked
//! example. That the zero sequence meets the same leakage as the others is a simplification: with
//! the star point free no current of it flows.

use num_complex::Complex;

use crate::motor::MotorData;
use crate::network::Phasor;

/// The constants of one phase of a star-connected three-phase motor, reactances at
/// [`MotorData::REFERENCE_HERTZ`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThreePhaseData {
    /// A winding, ohms: half of what two leads read.
    pub stator_ohms: f64,
    /// Leakage reactance of a winding, ohms.
    pub stator_reactance: f64,
    /// Rotor, referred to the stator, ohms.
    pub rotor_ohms: f64,
    /// Rotor leakage reactance, likewise, ohms.
    pub rotor_reactance: f64,
    /// Magnetising reactance, ohms.
    pub magnetising_reactance: f64,
}

/// The operator that turns a phasor by a third of a turn.
fn third() -> Phasor {
    Complex::from_polar(1.0, std::f64::consts::TAU / 3.0)
}

impl ThreePhaseData {
    /// The forward and backward field impedances, ohms. Both are zero at direct current. `slip`
    /// is in (0, 2): 1 at standstill, over 1 when it turns against the sequence U, V, W.
    #[must_use]
    pub fn fields(&self, hertz: f64, slip: f64) -> (Phasor, Phasor) {
        let scale = hertz / MotorData::REFERENCE_HERTZ;
        let field = |slip: f64| {
            let rotor = Complex::new(self.rotor_ohms / slip, self.rotor_reactance * scale);
            let magnetising = Complex::new(0.0, self.magnetising_reactance * scale);
            rotor * magnetising / (rotor + magnetising)
        };
        (field(slip), field(2.0 - slip))
    }

    /// The impedances of the zero, positive and negative sequence, ohms.
    #[must_use]
    pub fn sequences(&self, hertz: f64, slip: f64) -> [Phasor; 3] {
        let scale = hertz / MotorData::REFERENCE_HERTZ;
        let own = Complex::new(self.stator_ohms, self.stator_reactance * scale);
        let (forward, backward) = self.fields(hertz, slip);
        [own, own + forward, own + backward]
    }

    /// The admittance matrix of the three windings, siemens.
    #[must_use]
    pub fn admittance(&self, hertz: f64, slip: f64) -> [[Phasor; 3]; 3] {
        let [zero, positive, negative] = self.sequences(hertz, slip).map(|z| z.inv());
        let a = third();
        // Positive sequence: V lags U by a third of a turn.
        let entry = |turn: Phasor| (zero + positive * turn.conj() + negative * turn) / 3.0;
        let (own, next, before) = (entry(Complex::new(1.0, 0.0)), entry(a), entry(a.conj()));
        [
            [own, before, next],
            [next, own, before],
            [before, next, own],
        ]
    }

    /// The torque in synchronous watts: forward less backward air-gap power. `currents` are those
    /// of the windings U, V and W, amperes. Below zero it drives against the sequence U, V, W.
    #[must_use]
    pub fn torque(&self, hertz: f64, slip: f64, [u, v, w]: [Phasor; 3]) -> f64 {
        let a = third();
        let positive = (u + a * v + a.conj() * w) / 3.0;
        let negative = (u + a.conj() * v + a * w) / 3.0;
        let (forward, backward) = self.fields(hertz, slip);
        3.0 * (positive.norm_sqr() * forward.re - negative.norm_sqr() * backward.re)
    }

    /// The torque on a balanced supply of so many volts line to line, synchronous watts.
    #[must_use]
    pub fn balanced_torque(&self, hertz: f64, slip: f64, line_volts: f64) -> f64 {
        let [_, positive, _] = self.sequences(hertz, slip);
        let current = Complex::from(line_volts / 3f64.sqrt()) / positive;
        let a = third();
        self.torque(hertz, slip, [current, current * a.conj(), current * a])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A textbook's 10 hp, 220 V, 60 Hz, six-pole motor (from memory, the figures as remembered).
    const TEN_HORSEPOWER: ThreePhaseData = ThreePhaseData {
        stator_ohms: 0.294,
        stator_reactance: 0.503,
        rotor_ohms: 0.144,
        rotor_reactance: 0.209,
        magnetising_reactance: 13.25,
    };

    #[track_caller]
    fn near(got: f64, want: f64, share: f64) {
        assert!((got / want - 1.0).abs() < share, "{got}, published {want}");
    }

    /// At a slip of 2 %: Zf = 5.41 + j3.11, 18.8 A at a power factor of 0.845, 5740 W across the
    /// air gap.
    #[test]
    fn the_textbook_ten_horsepower_motor_at_rated_slip() {
        let m = TEN_HORSEPOWER;
        let (zf, _) = m.fields(60.0, 0.02);
        near(zf.re, 5.41, 0.004);
        near(zf.im, 3.11, 0.004);
        let volts = Complex::from(220.0 / 3f64.sqrt());
        let current = volts / m.sequences(60.0, 0.02)[1];
        near(current.norm(), 18.8, 0.003);
        near(current.arg().cos(), 0.845, 0.002);
        near(m.balanced_torque(60.0, 0.02, 220.0), 5740.0, 0.005);
    }

    /// The same motor's largest torque is 175 N m at a slip of 0.192, and it starts with
    /// 77.3 N m (the synchronous speed is 125.7 radian per second).
    #[test]
    fn the_textbook_ten_horsepower_motor_at_breakdown_and_standstill() {
        let torque = |slip| TEN_HORSEPOWER.balanced_torque(60.0, slip, 220.0) / 125.7;
        near(torque(0.192), 175.0, 0.005);
        assert!(torque(0.18) < torque(0.192) && torque(0.205) < torque(0.192));
        near(torque(1.0), 77.3, 0.005);
    }

    /// The currents of the windings for these line-to-earth volts, star point free.
    fn currents(m: &ThreePhaseData, slip: f64, lines: [Phasor; 3]) -> [Phasor; 3] {
        let y = m.admittance(60.0, slip);
        let mean = (lines[0] + lines[1] + lines[2]) / 3.0;
        // The star point of equal windings takes the mean: no current of the zero sequence.
        let across = lines.map(|v| v - mean);
        std::array::from_fn(|i| (0..3).map(|j| y[i][j] * across[j]).sum())
    }

    fn lines(volts: [f64; 3]) -> [Phasor; 3] {
        let phase =
            |k: usize| Complex::from_polar(volts[k], -(k as f64) * std::f64::consts::TAU / 3.0);
        [phase(0), phase(1), phase(2)]
    }

    /// The matrix of the windings is the sequences' in disguise: balanced volts drive V / Z1 in
    /// each, in order; changed over, the same amperes, and the torque of a slip of 2 - s.
    #[test]
    fn balanced_and_reversed() {
        let m = TEN_HORSEPOWER;
        let i = currents(&m, 0.02, lines([127.0; 3]));
        let want = 127.0 / m.sequences(60.0, 0.02)[1];
        assert!((i[0] - want).norm() < 1e-9);
        assert!((i[1] - want * third().conj()).norm() < 1e-9);
        let [a, b, c] = lines([127.0; 3]);
        let stands = m.torque(60.0, 1.0, currents(&m, 1.0, [a, b, c]));
        let reversed = m.torque(60.0, 1.0, currents(&m, 1.0, [b, a, c]));
        assert!(stands > 0.0 && (stands + reversed).abs() < 1e-6 * stands);
        let back = m.torque(60.0, 1.98, currents(&m, 1.98, [b, a, c]));
        near(-back, m.torque(60.0, 0.02, i), 1e-9);
    }

    /// Two lines at standstill: no torque, and cos 30 degrees = 0.866 of the locked-rotor current
    /// (exact for any motor: both sequences meet the same impedance).
    #[test]
    fn single_phased_at_standstill() {
        let m = TEN_HORSEPOWER;
        let z = m.sequences(60.0, 1.0)[1];
        let locked = 127.0 / z.norm();
        let [a, b, _] = lines([127.0; 3]);
        let current = (a - b) / (2.0 * z);
        near(current.norm() / locked, 3f64.sqrt() / 2.0, 1e-9);
        let torque = m.torque(60.0, 1.0, [current, -current, Complex::default()]);
        assert!(torque.abs() < 1e-6 * m.balanced_torque(60.0, 1.0, 220.0));
    }

    /// Two lines while running: the sequences in series across the two lines (the textbooks'
    /// circuit). For the same load the current is about the square root of three times as much
    /// (handbooks of motor protection; the power is the same and flows through one pair of lines),
    /// and the idle winding generates its line's volts back: most of them with little load.
    #[test]
    fn single_phased_while_running() {
        let m = TEN_HORSEPOWER;
        let load = m.balanced_torque(60.0, 0.02, 220.0);
        let rated = 127.0 / m.sequences(60.0, 0.02)[1].norm();
        let [a, b, _] = lines([127.0; 3]);
        let at = |slip: f64| {
            let [_, z1, z2] = m.sequences(60.0, slip);
            let current = (a - b) / (z1 + z2);
            let torque = m.torque(60.0, slip, [current, -current, Complex::default()]);
            (current, torque)
        };
        let slip = (20..400)
            .map(|k| f64::from(k) * 1e-3)
            .find(|s| at(*s).1 >= load)
            .expect("it carries the load on two lines");
        let (current, _) = at(slip);
        let ratio = current.norm() / rated;
        assert!((1.6..2.1).contains(&ratio), "{ratio}");
        // What the idle lead reads to earth, as a share of the lost line's volts.
        let idle = |slip: f64| {
            let (current, _) = at(slip);
            let [_, z1, z2] = m.sequences(60.0, slip);
            let t = third();
            let (v1, v2) = (
                z1 * current * (1.0 - t) / 3.0,
                z2 * current * (1.0 - t.conj()) / 3.0,
            );
            let star = a - (v1 + v2);
            (star + t * v1 + t.conj() * v2).norm() / 127.0
        };
        assert!(idle(slip) > 0.6, "{}", idle(slip));
        assert!((0.8..1.0).contains(&idle(0.004)), "{}", idle(0.004));
    }

    /// NEMA MG-1: the currents at full load are unbalanced about 6 to 10 times as much as the
    /// volts (second hand).
    #[test]
    fn current_unbalance_is_six_to_ten_times_that_of_the_volts() {
        let unbalance = |v: [f64; 3]| {
            let mean = v.iter().sum::<f64>() / 3.0;
            v.iter().map(|x| (x - mean).abs()).fold(0.0, f64::max) / mean
        };
        let legs = lines([127.0, 127.0, 121.0]);
        let volts = [0, 1, 2].map(|k| (legs[k] - legs[(k + 1) % 3]).norm());
        let amps = currents(&TEN_HORSEPOWER, 0.02, legs).map(|i| i.norm());
        let ratio = unbalance(amps) / unbalance(volts);
        assert!((5.5..10.0).contains(&ratio), "{ratio}");
    }
}
