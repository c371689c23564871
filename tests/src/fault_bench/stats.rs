//! Rates with their intervals, and how far a probability can be believed.

/// The quantile of the standard normal distribution for a two-sided interval of 95 %.
const Z: f64 = 1.959_963_984_540_054;

/// So many of so many.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Rate {
    /// How many did.
    pub hits: u64,
    /// Of how many.
    pub of: u64,
}

impl Rate {
    /// Counts one more.
    pub fn count(&mut self, hit: bool) {
        self.hits += u64::from(hit);
        self.of += 1;
    }

    /// The share; NaN of none.
    #[must_use]
    pub fn share(self) -> f64 {
        self.hits as f64 / self.of as f64
    }

    /// Its 95 % interval by Wilson's score method (E. B. Wilson, "Probable inference, the law of
    /// succession, and statistical inference", 1927).
    #[must_use]
    pub fn interval(self) -> (f64, f64) {
        if self.of == 0 {
            return (0.0, 1.0);
        }
        let (n, p, z2) = (self.of as f64, self.share(), Z * Z);
        let centre = (p + z2 / (2.0 * n)) / (1.0 + z2 / n);
        let half = Z / (1.0 + z2 / n) * (p * (1.0 - p) / n + z2 / (4.0 * n * n)).sqrt();
        let low = if self.hits == 0 { 0.0 } else { centre - half };
        let high = if self.hits == self.of {
            1.0
        } else {
            centre + half
        };
        (low, high)
    }
}

impl std::fmt::Display for Rate {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.of == 0 {
            return f.pad("none");
        }
        let (low, high) = self.interval();
        let words = format!(
            "{}/{} {:.2} % [{:.2}, {:.2}]",
            self.hits,
            self.of,
            self.share() * 100.0,
            low * 100.0,
            high * 100.0
        );
        f.pad(&words)
    }
}

/// Stated probabilities and what came true.
#[derive(Debug, Clone, Default)]
pub struct Reliability {
    said: Vec<(f64, bool)>,
}

/// One bin of a reliability curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// The least and the most probability in it.
    pub range: (f64, f64),
    /// The mean of what was said.
    pub said: f64,
    /// What came true.
    pub came: Rate,
}

impl Reliability {
    /// Takes a statement in.
    pub fn say(&mut self, p: f64, came_true: bool) {
        self.said.push((p, came_true));
    }

    /// Takes others in.
    pub fn join(&mut self, other: &Reliability) {
        self.said.extend(&other.said);
    }

    /// How many statements there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.said.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.said.is_empty()
    }

    /// The curve: statements in rising order, in bins of at least `least`, at most ten.
    #[must_use]
    pub fn bins(&self, least: usize) -> Vec<Bin> {
        let mut sorted = self.said.clone();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        let count = (sorted.len() / least.max(1)).clamp(1, 10);
        let each = sorted.len().div_ceil(count).max(1);
        sorted.chunks(each).map(bin).collect()
    }

    /// What came true of all that was said with a probability in a range.
    #[must_use]
    pub fn around(&self, low: f64, high: f64) -> Bin {
        let inside: Vec<(f64, bool)> = self
            .said
            .iter()
            .copied()
            .filter(|(p, _)| (low..high).contains(p))
            .collect();
        bin(&inside)
    }

    /// The mean square of what was said less what came (G. W. Brier, "Verification of forecasts
    /// expressed in terms of probability", 1950, for one outcome).
    #[must_use]
    pub fn brier(&self) -> f64 {
        let squares = self
            .said
            .iter()
            .map(|(p, came)| (p - f64::from(u8::from(*came))).powi(2));
        squares.sum::<f64>() / self.said.len() as f64
    }
}

fn bin(said: &[(f64, bool)]) -> Bin {
    let mut came = Rate::default();
    said.iter().for_each(|(_, true_)| came.count(*true_));
    let p = || said.iter().map(|(p, _)| *p);
    Bin {
        range: (
            p().fold(f64::INFINITY, f64::min),
            p().fold(f64::NEG_INFINITY, f64::max),
        ),
        said: p().sum::<f64>() / said.len() as f64,
        came,
    }
}
