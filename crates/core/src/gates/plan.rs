//! What the gates must know of a unit: where voltage comes in and where charge may stay.

/// A point that a probe can reach: a number that the sheet assigns.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
pub struct PointId(pub u16);

/// Two points that the probes are held on; their order says nothing to a gate.
pub type Pair = [PointId; 2];

/// Whether two pairs are the same points.
pub(super) fn same(a: Pair, b: Pair) -> bool {
    let [a0, a1] = a;
    let [b0, b1] = b;
    (a0 == b0 && a1 == b1) || (a0 == b1 && a1 == b0)
}

/// A source of the unit besides its breaker: the indoor unit's feed, heaters, control.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OtherSource<'a> {
    /// Its poles at the unit.
    pub poles: &'a [PointId],
}

/// A breaker or fuse, and what hangs on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Protector<'a> {
    /// The points to check to ground before it is restored, at most [`MAX_HANGING`].
    pub hanging: &'a [PointId],
}

/// The points of one unit, or of one loose part, as its sheet gives them. A loose part has no
/// line, no load and no other source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GatePlan<'a> {
    /// The poles on the line side of what the unit switches itself off with.
    pub line: &'a [PointId],
    /// The poles on its load side: an open contactor makes them dead by itself, so they prove
    /// nothing about the line.
    pub load: &'a [PointId],
    /// Which of them lie on one side of one switch: a number for each pole of `load`, in its order.
    /// Poles are read against the others of their own side, and each to ground. Left empty, all are
    /// one side.
    pub load_sides: &'a [u8],
    /// Equipment ground.
    pub ground: PointId,
    /// Every other source that the sheet names, at most [`MAX_SOURCES`].
    pub sources: &'a [OtherSource<'a>],
    /// The terminal pairs of every capacitor section, at most [`MAX_CAPACITORS`]. For a dual
    /// capacitor all three: common to each section, and section to section.
    pub capacitors: &'a [Pair],
    /// The points that get voltage from nowhere but the poles above, so that they are dead when
    /// these are. An ask outside of these, the poles and ground is out of scope.
    pub covers: &'a [PointId],
    /// Points that no probe is ever held on: a hermetic compressor's own terminals. Windings are
    /// read at the wire ends.
    pub keep_off: &'a [PointId],
    /// Breakers and fuses, at most [`MAX_PROTECTORS`], numbered by their place.
    pub protectors: &'a [Protector<'a>],
}

/// The most pairs that one test for absence of voltage can name.
pub const MAX_PAIRS: usize = 128;
/// The most other sources in a plan.
pub const MAX_SOURCES: usize = 16;
/// The most capacitor terminal pairs in a plan.
pub const MAX_CAPACITORS: usize = 16;
/// The most breakers and fuses in a plan.
pub const MAX_PROTECTORS: usize = 8;
/// The most points that hang on one of them.
pub const MAX_HANGING: usize = 32;

/// Why a plan cannot be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlanError {
    /// `load_sides` is neither empty nor as long as `load`.
    Sides,
    /// A line without a load, or a load without a line: the absence of voltage must be shown on
    /// both sides. Name both sets, or neither for a loose part.
    OneSided,
    /// More pairs to test than [`MAX_PAIRS`].
    TooManyPairs,
    /// More other sources than [`MAX_SOURCES`].
    TooManySources,
    /// More capacitor pairs than [`MAX_CAPACITORS`].
    TooManyCapacitors,
    /// More breakers and fuses than [`MAX_PROTECTORS`], or more points on one than
    /// [`MAX_HANGING`].
    TooManyProtectors,
    /// A source without poles, or a pair with one point twice.
    Degenerate,
}

impl<'a> GatePlan<'a> {
    /// Whether this is a part without any supply, on a bench.
    #[must_use]
    pub const fn is_loose(&self) -> bool {
        self.line.is_empty() && self.load.is_empty() && self.sources.is_empty()
    }

    /// Checks that the plan can be carried out.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn check(&self) -> Result<(), PlanError> {
        if !self.is_loose() && (self.line.is_empty() || self.load.is_empty()) {
            return Err(PlanError::OneSided);
        }
        if !self.load_sides.is_empty() && self.load_sides.len() != self.load.len() {
            return Err(PlanError::Sides);
        }
        if self.sources.len() > MAX_SOURCES {
            return Err(PlanError::TooManySources);
        }
        if self.capacitors.len() > MAX_CAPACITORS {
            return Err(PlanError::TooManyCapacitors);
        }
        if self.protectors.len() > MAX_PROTECTORS
            || self
                .protectors
                .iter()
                .any(|p| p.hanging.len() > MAX_HANGING)
        {
            return Err(PlanError::TooManyProtectors);
        }
        if self.sources.iter().any(|s| s.poles.is_empty())
            || self.capacitors.iter().any(|[a, b]| a == b)
        {
            return Err(PlanError::Degenerate);
        }
        if self.pairs().take(MAX_PAIRS.saturating_add(1)).count() > MAX_PAIRS {
            return Err(PlanError::TooManyPairs);
        }
        Ok(())
    }

    /// Every pair that must read dead: pole to pole and pole to ground, on the line side, each side
    /// of the load and at every other source, in that order. Between two poles of different sides
    /// stands the difference of what both have to ground.
    pub fn pairs(&self) -> impl Iterator<Item = Pair> + 'a {
        let ground = self.ground;
        let all: &[u8] = &[];
        [(self.line, all), (self.load, self.load_sides)]
            .into_iter()
            .chain(self.sources.iter().map(move |s| (s.poles, all)))
            .flat_map(move |(poles, sides)| {
                let side = move |i: usize| sides.get(i).copied().unwrap_or_default();
                poles.iter().enumerate().flat_map(move |(i, &a)| {
                    poles
                        .iter()
                        .enumerate()
                        .skip(i.saturating_add(1))
                        .filter(move |(k, _)| side(*k) == side(i))
                        .map(move |(_, &b)| [a, b])
                        .chain(core::iter::once([a, ground]))
                })
            })
            .filter(|[a, b]| a != b)
    }

    /// The pairs that show whether the line is live: pole to pole, or to ground if it has one
    /// pole only.
    pub(super) fn line_pair(&self) -> Option<Pair> {
        let &first = self.line.first()?;
        let second = self.line.get(1).copied().unwrap_or(self.ground);
        Some([first, second])
    }

    /// Whether both points are on the line side (or one of them is, and the other is ground).
    pub(super) fn is_line(&self, pair: Pair) -> bool {
        pair.iter().any(|p| self.line.contains(p))
            && pair
                .iter()
                .all(|p| self.line.contains(p) || *p == self.ground)
    }

    /// Whether a proof of these poles says anything about this point.
    #[must_use]
    pub fn in_scope(&self, point: PointId) -> bool {
        self.is_read(point)
            || self.covers.contains(&point)
            || self.capacitors.iter().any(|pair| pair.contains(&point))
    }

    /// Whether the test for absence of voltage itself reads this point: a pole of any source, or
    /// ground.
    pub(super) fn is_read(&self, point: PointId) -> bool {
        point == self.ground
            || self.is_breakers_own(point)
            || self.sources.iter().any(|s| s.poles.contains(&point))
    }

    /// Whether this point is fed by the breaker alone: a pole of the line or the load side.
    pub(super) fn is_breakers_own(&self, point: PointId) -> bool {
        self.line.contains(&point) || self.load.contains(&point)
    }
}
