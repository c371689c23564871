//! The classes a measured value can fall in, and a probability for each.

use serde::{Deserialize, Serialize};

/// Which class a value falls in. The first five are ordered along the value's axis for volts,
/// amps and farads; on an ohmmeter the order is short, low, within, high, open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[repr(u8)]
pub enum Class {
    /// Nothing there where something was expected.
    Absent = 0,
    /// There, and under the lower limit.
    Low = 1,
    /// Between the limits.
    Within = 2,
    /// Over the upper limit.
    High = 3,
    /// No path: an ohmmeter shows overload, or an open contact has the whole source across it.
    Open = 4,
    /// A path of next to no resistance where there should be some.
    Short = 5,
}

/// How many classes there are.
pub const CLASSES: usize = 6;

impl Class {
    /// Every class, in the order of [`Likely`].
    pub const ALL: [Class; CLASSES] = [
        Class::Absent,
        Class::Low,
        Class::Within,
        Class::High,
        Class::Open,
        Class::Short,
    ];

    /// The class in a word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Class::Absent => "absent",
            Class::Low => "low",
            Class::Within => "within",
            Class::High => "high",
            Class::Open => "open",
            Class::Short => "short",
        }
    }
}

/// A probability for each class; they sum to one.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Likely(pub [f32; CLASSES]);

impl Likely {
    /// All of the probability on one class.
    #[must_use]
    pub fn certain(class: Class) -> Self {
        let mut all = [0.0; CLASSES];
        if let Some(slot) = all.get_mut(class as usize) {
            *slot = 1.0;
        }
        Likely(all)
    }

    /// The probability of one class.
    #[must_use]
    pub fn of(&self, class: Class) -> f32 {
        self.0.get(class as usize).copied().unwrap_or(0.0)
    }

    /// The most probable class and its probability.
    #[must_use]
    pub fn best(&self) -> (Class, f32) {
        let mut best = (Class::Within, self.of(Class::Within));
        for class in Class::ALL {
            if self.of(class) > best.1 {
                best = (class, self.of(class));
            }
        }
        best
    }
}
