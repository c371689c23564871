//! Which hypotheses no check tells apart: their predictions, averaged over their samples, are alike
//! at every check. Where two differ only in whether a fault needs heat to show, the checks on cold motors
//! are left out of account: what is repaired is the same, and not worth the wait.

use ohmtrail_core::class::CLASSES;
use ohmtrail_core::isolate::table::from_byte;

use crate::compile::Row;
use crate::sheet::FaultId;

/// Total variation under which two hypotheses' predictions of one check count as alike.
const ALIKE: f32 = 0.08;

/// A row as shares of one.
pub(crate) type Mean = [f32; CLASSES];

fn shares(row: &Row) -> Mean {
    let row = row.map(from_byte);
    let sum: f32 = row.iter().sum();
    row.map(|p| p / sum)
}

/// What each hypothesis predicts of each check, over its samples.
pub(crate) fn means(predicted: &[Vec<Row>], samples: usize) -> Vec<Vec<Mean>> {
    predicted
        .iter()
        .map(|rows| {
            let checks = rows.len() / samples;
            (0..checks)
                .map(|c| {
                    let mut mean = [0.0; CLASSES];
                    for s in 0..samples {
                        for (m, p) in mean.iter_mut().zip(shares(&rows[s * checks + c])) {
                            *m += p / samples as f32;
                        }
                    }
                    mean
                })
                .collect()
        })
        .collect()
}

/// Whether two hypotheses' predictions differ by less than [`ALIKE`] at every check that counts.
fn alike(a: &[Mean], b: &[Mean], counts: impl Fn(usize) -> bool) -> bool {
    a.iter().zip(b).enumerate().all(|(c, (x, y))| {
        let distance: f32 = x.iter().zip(y).map(|(p, q)| (p - q).abs()).sum();
        distance / 2.0 < ALIKE || !counts(c)
    })
}

/// The order of the named hypotheses in the table with their groups: the members of a group side
/// by side, *no fault* first. `repaired` is what is repaired under each hypothesis, and `cold` says
/// which checks are made on cold motors.
pub(crate) fn group(
    means: &[Vec<Mean>],
    repaired: &[Vec<FaultId>],
    cold: &[bool],
) -> Vec<(usize, usize)> {
    let same = |a: usize, b: usize| {
        let one_repair = repaired[a] == repaired[b];
        alike(&means[a], &means[b], |c| !(one_repair && cold[c]))
    };
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for h in 0..means.len() {
        match groups.iter_mut().find(|g| same(g[0], h)) {
            Some(group) => group.push(h),
            None => groups.push(vec![h]),
        }
    }
    groups
        .iter()
        .enumerate()
        .flat_map(|(g, members)| members.iter().map(move |&h| (h, g)))
        .collect()
}
