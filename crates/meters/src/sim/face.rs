//! A simulated meter's display over time. After the probes are put somewhere, the display goes
//! through what a real one does: nothing touched yet, contact bounce, a flicker of overload while
//! the range changes, and then the value with its last digit unsteady. The sequence after each
//! move depends on the seed and the number of the move alone, not on when frames are asked for.

use ohmtrail_core::reading::{Flags, Function, Shown};

use super::display::DisplayModel;
use super::noise::Noise;
use crate::showing::Showing;

/// What the display goes through when the probes move, in frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moves {
    /// The probes touch nothing.
    pub lifted: u32,
    /// The contact bounces: touched, not touched, or something between.
    pub bounce: u32,
    /// Overload while the range changes; skipped if it does not.
    pub ranging: u32,
}

impl Default for Moves {
    /// Two frames lifted, three of bounce, one of ranging.
    fn default() -> Self {
        Moves {
            lifted: 2,
            bounce: 3,
            ranging: 1,
        }
    }
}

impl Moves {
    /// The value is there from the first frame.
    pub const NONE: Moves = Moves {
        lifted: 0,
        bounce: 0,
        ranging: 0,
    };
}

/// The display of one meter.
#[derive(Debug, Clone)]
pub struct Face {
    display: DisplayModel,
    seed: u64,
    moves: Moves,
    function: Function,
    value: f64,
    flags: Flags,
    /// How often the probes were moved, and how many frames ago they were last.
    moved: u64,
    frames: u32,
    ranging: u32,
    noise: Noise,
}

impl Face {
    /// A display with the probes in the air, on this function.
    #[must_use]
    pub fn new(display: DisplayModel, function: Function, moves: Moves, seed: u64) -> Self {
        Face {
            display,
            seed,
            moves,
            function,
            value: untouched(function),
            flags: Flags::AUTO_RANGE,
            moved: 0,
            frames: u32::MAX,
            ranging: 0,
            noise: Noise::of(seed, 0),
        }
    }

    /// Sets the function and moves the probes to where this true value is (base unit; infinity for
    /// an open circuit on ohms).
    pub fn touch(&mut self, function: Function, value: f64) {
        let before = self.display.range(self.function, self.value);
        let changes = function != self.function || before != self.display.range(function, value);
        self.ranging = if changes { self.moves.ranging } else { 0 };
        self.function = function;
        self.value = value;
        self.moved += 1;
        self.frames = 0;
        self.noise = Noise::of(self.seed, 0x1000 + self.moved);
    }

    /// Changes the true value under resting probes.
    pub fn change(&mut self, value: f64) {
        self.value = value;
    }

    /// Sets the annunciators.
    pub fn set_flags(&mut self, flags: Flags) {
        self.flags = flags;
    }

    /// The function it is set to.
    #[must_use]
    pub fn function(&self) -> Function {
        self.function
    }

    /// The display it has.
    #[must_use]
    pub fn display(&self) -> &DisplayModel {
        &self.display
    }

    /// What the next frame shows.
    pub fn next_frame(&mut self) -> Showing {
        let frame = self.frames;
        self.frames = self.frames.saturating_add(1);
        let bounce_from = self.moves.lifted;
        let ranging_from = bounce_from.saturating_add(self.moves.bounce);
        let steady_from = ranging_from.saturating_add(self.ranging);
        let untouched = untouched(self.function);
        let shown = if frame < bounce_from {
            self.show(untouched)
        } else if frame < ranging_from {
            match self.noise.unit() {
                p if p < 0.4 => self.show(untouched),
                p if p < 0.7 && self.value.is_finite() => {
                    let part = self.noise.unit();
                    self.show(self.value * part)
                }
                _ => self.show(self.value),
            }
        } else if frame < steady_from {
            Shown::Overload
        } else {
            self.show(self.value)
        };
        Showing {
            function: self.function,
            shown,
            flags: self.flags,
        }
    }

    fn show(&mut self, value: f64) -> Shown {
        self.display.show(self.function, value, &mut self.noise)
    }
}

/// The true value with the probes in the air.
fn untouched(function: Function) -> f64 {
    if function.injects() && function != Function::Farads {
        f64::INFINITY
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::Profile;

    fn face(seed: u64) -> Face {
        let profile = Profile::simulated("lcd14").unwrap();
        let display = DisplayModel::new(&profile, seed);
        Face::new(display, Function::VoltsAc, Moves::default(), seed)
    }

    #[test]
    fn probes_in_the_air_show_overload_on_ohms_and_next_to_nothing_on_volts() {
        let mut face = face(3);
        let Shown::Value(volts) = face.next_frame().shown else {
            panic!("no value")
        };
        assert!(volts.value() < 0.01);
        face.touch(Function::Ohms, f64::INFINITY);
        for _ in 0..10 {
            assert_eq!(face.next_frame().shown, Shown::Overload);
        }
    }

    #[test]
    fn a_move_bounces_flickers_and_settles_the_same_way_for_the_same_seed() {
        let run = |seed: u64, idle: usize| {
            let mut face = face(seed);
            for _ in 0..idle {
                face.next_frame();
            }
            face.touch(Function::VoltsAc, 238.4);
            (0..12).map(|_| face.next_frame().shown).collect::<Vec<_>>()
        };
        // However many frames passed before the move.
        assert_eq!(run(5, 0), run(5, 17));
        assert_ne!(run(5, 0), run(6, 0));
        let shown = run(5, 0);
        assert_eq!(shown[5], Shown::Overload, "ranging: {shown:?}");
        for steady in &shown[6..] {
            let Shown::Value(d) = steady else {
                panic!("{shown:?}")
            };
            assert!((d.value() - 238.4).abs() < 0.01 * 238.4 + 0.4, "{shown:?}");
            assert_eq!(d.exponent, -1);
        }
        let lifted = &shown[..2];
        assert!(
            lifted
                .iter()
                .all(|s| s.decimal().is_some_and(|d| d.value() < 0.01))
        );
    }

    #[test]
    fn the_range_does_not_flicker_if_it_stays() {
        let mut face = face(5);
        face.touch(Function::VoltsAc, 238.4);
        for _ in 0..10 {
            face.next_frame();
        }
        face.touch(Function::VoltsAc, 237.0);
        let overloads = (0..20)
            .filter(|_| face.next_frame().shown == Shown::Overload)
            .count();
        assert_eq!(overloads, 0);
    }
}
