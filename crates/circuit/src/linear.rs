//! Sparse elimination for nodal equations whose pattern never changes.
//!
//! A unit's network keeps its pattern in every state and under every fault: only the values of
//! its elements change. So the elimination order and every fill-in are found once ([`Pattern`]),
//! and each solve is a straight run over flat arrays.
//!
//! Rows are kept as off-diagonal entries and the row's *sum* (the admittance to earth), not as a
//! diagonal. A contact of some milliohm beside an insulation of many gigohm would leave
//! the difference of two large numbers on the diagonal; the sum is carried without
//! that subtraction (Grassmann, Taksar and Heyman's form of elimination), so a floating conductor
//! is solved as exactly as a loaded one.

use std::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};

/// The number type of a network: real for direct current, complex for alternating.
pub trait Scalar:
    Copy
    + Default
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Neg<Output = Self>
    + AddAssign
    + SubAssign
{
    /// Its reciprocal.
    #[must_use]
    fn reciprocal(self) -> Self;
}
impl Scalar for f64 {
    fn reciprocal(self) -> Self {
        self.recip()
    }
}
impl Scalar for num_complex::Complex<f64> {
    fn reciprocal(self) -> Self {
        self.inv()
    }
}

/// The elimination of one node: where its entries are, and where the fill goes.
#[derive(Debug, Clone)]
struct Step {
    node: usize,
    /// The nodes still to be eliminated that this one touches.
    neighbours: Vec<usize>,
    /// Position of entry (neighbour, node) for each neighbour.
    below: Vec<usize>,
    /// Position of entry (node, neighbour) for each neighbour.
    right: Vec<usize>,
    /// Position of entry (neighbour i, neighbour j), row by row; unused on the diagonal.
    fill: Vec<usize>,
}

/// An elimination order for a fixed pattern of `nodes` unknowns.
#[derive(Debug, Clone)]
pub struct Pattern {
    nodes: usize,
    steps: Vec<Step>,
    /// Position of every off-diagonal entry: row by row, `NONE` where there is none.
    index: Vec<u32>,
    entries: usize,
    /// The step at which each node is eliminated.
    step_of: Vec<usize>,
    /// The step of the first neighbour that is eliminated after each step's node.
    parent: Vec<Option<usize>>,
}

/// No entry.
const NONE: u32 = u32::MAX;

/// The coefficients of a network over a [`Pattern`].
#[derive(Debug, Clone)]
pub struct Matrix<T> {
    off: Vec<T>,
    sum: Vec<T>,
}

/// An eliminated [`Matrix`], ready for right-hand sides.
#[derive(Debug, Clone)]
pub struct Factors<T> {
    off: Vec<T>,
    /// The reciprocals of the pivots: a division costs several multiplications.
    pivot: Vec<T>,
}

impl Pattern {
    /// Orders the elimination (least degree first) for nodes `0..nodes` joined by `edges`.
    #[must_use]
    pub fn new(nodes: usize, edges: &[(usize, usize)]) -> Self {
        let mut adjacent: Vec<Vec<usize>> = vec![Vec::new(); nodes];
        for &(a, b) in edges {
            if a != b {
                insert(&mut adjacent[a], b);
                insert(&mut adjacent[b], a);
            }
        }
        let mut index = vec![NONE; nodes * nodes];
        let mut entries = 0;
        let mut position = |row: usize, column: usize| {
            let slot = &mut index[row * nodes + column];
            if *slot == NONE {
                *slot = entries as u32;
                entries += 1;
            }
            *slot as usize
        };
        for (row, columns) in adjacent.iter().enumerate() {
            for &column in columns {
                position(row, column);
            }
        }
        let mut left: Vec<usize> = (0..nodes).collect();
        let mut steps = Vec::with_capacity(nodes);
        while let Some(at) = (0..left.len()).min_by_key(|&i| adjacent[left[i]].len()) {
            let node = left.swap_remove(at);
            let neighbours = std::mem::take(&mut adjacent[node]);
            for &i in &neighbours {
                adjacent[i].retain(|&n| n != node);
            }
            let below = neighbours.iter().map(|&i| position(i, node)).collect();
            let right = neighbours.iter().map(|&j| position(node, j)).collect();
            let mut fill = Vec::with_capacity(neighbours.len().pow(2));
            for &i in &neighbours {
                for &j in &neighbours {
                    if i == j {
                        fill.push(usize::MAX);
                    } else {
                        insert(&mut adjacent[i], j);
                        fill.push(position(i, j));
                    }
                }
            }
            steps.push(Step {
                node,
                neighbours,
                below,
                right,
                fill,
            });
        }
        let mut step_of = vec![0; nodes];
        for (number, step) in steps.iter().enumerate() {
            step_of[step.node] = number;
        }
        let parent = steps
            .iter()
            .map(|step| step.neighbours.iter().map(|&n| step_of[n]).min())
            .collect();
        Pattern {
            nodes,
            steps,
            index,
            entries,
            step_of,
            parent,
        }
    }

    /// How many nodes there are.
    #[must_use]
    pub fn nodes(&self) -> usize {
        self.nodes
    }

    /// An all-zero matrix of this pattern.
    #[must_use]
    pub fn matrix<T: Scalar>(&self) -> Matrix<T> {
        Matrix {
            off: vec![T::default(); self.entries],
            sum: vec![T::default(); self.nodes],
        }
    }

    /// Adds the admittance `y` by which the voltage from `c` to `d` draws a current from `a` to
    /// `b`; `None` is earth. A two-terminal element has (c, d) = (a, b).
    ///
    /// # Panics
    /// If the pattern was made without an edge between two of the nodes.
    pub fn stamp<T: Scalar>(
        &self,
        matrix: &mut Matrix<T>,
        (a, b): (Option<usize>, Option<usize>),
        (c, d): (Option<usize>, Option<usize>),
        y: T,
    ) {
        for (row, sign) in [(a, y), (b, -y)] {
            let Some(row) = row else { continue };
            // The row's sum changes only if the controlling pair has one end on earth.
            match (c, d) {
                (Some(_), None) => matrix.sum[row] += sign,
                (None, Some(_)) => matrix.sum[row] -= sign,
                _ => {}
            }
            for (column, value) in [(c, sign), (d, -sign)] {
                if let Some(column) = column
                    && column != row
                {
                    matrix.off[self.at(row, column)] += value;
                }
            }
        }
    }

    fn at(&self, row: usize, column: usize) -> usize {
        let entry = self.index[row * self.nodes + column];
        assert!(entry != NONE, "the pattern has no entry ({row}, {column})");
        entry as usize
    }

    /// Eliminates.
    #[must_use]
    pub fn factor<T: Scalar>(&self, matrix: Matrix<T>) -> Factors<T> {
        let Matrix { mut off, mut sum } = matrix;
        let mut pivot = vec![T::default(); self.nodes];
        for step in &self.steps {
            let mut diagonal = sum[step.node];
            for &right in &step.right {
                diagonal -= off[right];
            }
            let reciprocal = diagonal.reciprocal();
            pivot[step.node] = reciprocal;
            let width = step.neighbours.len();
            for (i, &below) in step.below.iter().enumerate() {
                let l = off[below] * reciprocal;
                off[below] = l;
                let own = sum[step.node];
                sum[step.neighbours[i]] -= l * own;
                for (j, &right) in step.right.iter().enumerate() {
                    if i != j {
                        let fill = step.fill[i * width + j];
                        let u = off[right];
                        off[fill] -= l * u;
                    }
                }
            }
        }
        Factors { off, pivot }
    }

    /// The impedance seen between two nodes: the voltage that a unit current from `b` to `a` makes.
    ///
    /// Only the nodes that are eliminated after `a` or `b` and hang together with them (their
    /// ancestors in the elimination tree) carry anything of it.
    pub fn between<T: Scalar>(
        &self,
        factors: &Factors<T>,
        [a, b]: [Option<usize>; 2],
        one: T,
    ) -> T {
        let mut path = Vec::with_capacity(64);
        let mut next = [a, b].map(|node| node.map(|n| self.step_of[n]));
        // Both chains of ancestors, merged in the order of elimination.
        while let Some(step) = next.iter().flatten().copied().min() {
            path.push(step);
            for chain in &mut next {
                if *chain == Some(step) {
                    *chain = self.parent[step];
                }
            }
        }
        let mut x = vec![T::default(); self.nodes];
        if let Some(a) = a {
            x[a] += one;
        }
        if let Some(b) = b {
            x[b] -= one;
        }
        for &number in &path {
            let step = &self.steps[number];
            let value = x[step.node];
            for (&i, &below) in step.neighbours.iter().zip(&step.below) {
                x[i] -= factors.off[below] * value;
            }
        }
        for &number in path.iter().rev() {
            let step = &self.steps[number];
            let mut value = x[step.node];
            for (&j, &right) in step.neighbours.iter().zip(&step.right) {
                value -= factors.off[right] * x[j];
            }
            x[step.node] = value * factors.pivot[step.node];
        }
        a.map_or_else(T::default, |a| x[a]) - b.map_or_else(T::default, |b| x[b])
    }

    /// Solves for one right-hand side (currents into the nodes), in place.
    pub fn solve<T: Scalar>(&self, factors: &Factors<T>, x: &mut [T]) {
        for step in &self.steps {
            let value = x[step.node];
            for (&i, &below) in step.neighbours.iter().zip(&step.below) {
                x[i] -= factors.off[below] * value;
            }
        }
        for step in self.steps.iter().rev() {
            let mut value = x[step.node];
            for (&j, &right) in step.neighbours.iter().zip(&step.right) {
                value -= factors.off[right] * x[j];
            }
            x[step.node] = value * factors.pivot[step.node];
        }
    }
}

fn insert(sorted: &mut Vec<usize>, value: usize) {
    if let Err(at) = sorted.binary_search(&value) {
        sorted.insert(at, value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A Wheatstone bridge worked by hand (Kirchhoff): 100 V over 10+20 ohm and 30+40 ohm with
    /// 50 ohm across the middle. Node equations
    /// v1 (1/10+1/20+1/50) - v2/50 = 100/10, v2 (1/30+1/40+1/50) - v1/50 = 100/30
    /// give v1 = 2040/31 = 65.8065, v2 = 1840/31 = 59.3548.
    #[test]
    fn a_bridge_solved_by_hand() {
        let pattern = Pattern::new(3, &[(0, 1), (0, 2), (1, 2)]);
        let mut m = pattern.matrix::<f64>();
        let two = |m: &mut Matrix<f64>, a, b, y| pattern.stamp(m, (a, b), (a, b), y);
        let source = 1e9;
        two(&mut m, Some(0), None, source);
        two(&mut m, Some(0), Some(1), 1.0 / 10.0);
        two(&mut m, Some(1), None, 1.0 / 20.0);
        two(&mut m, Some(0), Some(2), 1.0 / 30.0);
        two(&mut m, Some(2), None, 1.0 / 40.0);
        two(&mut m, Some(1), Some(2), 1.0 / 50.0);
        let f = pattern.factor(m);
        let mut x = vec![100.0 * source, 0.0, 0.0];
        pattern.solve(&f, &mut x);
        let det = (0.17) * (1.0 / 30.0 + 1.0 / 40.0 + 0.02) - 0.02 * 0.02;
        let v1 = (10.0 * (1.0 / 30.0 + 1.0 / 40.0 + 0.02) + 0.02 * 100.0 / 30.0) / det;
        assert!((x[1] - v1).abs() < 1e-6, "{x:?} {v1}");
        assert!((x[1] - 65.8065).abs() < 1e-3, "{x:?}");
        assert!((x[2] - 59.3548).abs() < 1e-3, "{x:?}");
        // The impedance between the middles, both ways: through a full solve, and by its path.
        let mut unit = vec![0.0, 1.0, -1.0];
        pattern.solve(&f, &mut unit);
        let path = pattern.between(&f, [Some(1), Some(2)], 1.0);
        assert!((path - (unit[1] - unit[2])).abs() < 1e-12);
        // 50 ohm beside 10 || 20 and 30 || 40 in series.
        let by_hand: f64 = 1.0 / (1.0 / 50.0 + 1.0 / (200.0 / 30.0 + 1200.0 / 70.0));
        assert!((path - by_hand).abs() < 1e-6, "{path} {by_hand}");
    }

    /// Two conductors tied by a milliohm and floating on 10 gigohm each: the pair floats at the
    /// mean of what the two leaks lead to, to full precision.
    #[test]
    fn a_floating_pair_keeps_its_digits() {
        let pattern = Pattern::new(3, &[(0, 1), (1, 2)]);
        let mut m = pattern.matrix::<f64>();
        let two = |m: &mut Matrix<f64>, a, b, y| pattern.stamp(m, (a, b), (a, b), y);
        two(&mut m, Some(0), None, 1e3); // 7 V behind a milliohm
        two(&mut m, Some(0), Some(1), 1e-10);
        two(&mut m, Some(1), Some(2), 1e3);
        two(&mut m, Some(2), None, 3e-10);
        let f = pattern.factor(m);
        let mut x = vec![7e3, 0.0, 0.0];
        pattern.solve(&f, &mut x);
        assert!((x[1] / (7.0 / 4.0) - 1.0).abs() < 1e-11, "{x:?}");
    }
}
