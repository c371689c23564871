//! Statistics for each kind of part: in how many visits it was found to have failed, and how, with the
//! interval of such a share.

use std::collections::BTreeMap;

use statrs::distribution::{ContinuousCDF, Normal};

use crate::error::Error;
use crate::index::Index;
use crate::trend::LEVEL;

/// A share of a count, with Wilson's score interval at [`LEVEL`] (E. B. Wilson, *Probable inference, the
/// law of succession, and statistical inference*, Journal of the American Statistical Association 22,
/// 1927), without continuity correction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// How many.
    pub k: i64,
    /// Of how many.
    pub n: i64,
    /// The interval's begin.
    pub from: f64,
    /// Its end.
    pub to: f64,
}

impl Share {
    /// `k` of `n`. Of none, the interval is everything.
    #[must_use]
    pub fn of(k: i64, n: i64) -> Share {
        if n <= 0 {
            return Share {
                k,
                n,
                from: 0.0,
                to: 1.0,
            };
        }
        let z = Normal::standard().inverse_cdf(0.5 + LEVEL / 2.0);
        let (k_f, n_f) = (k as f64, n as f64);
        let p = k_f / n_f;
        let middle = p + z * z / (2.0 * n_f);
        let half = z * (p * (1.0 - p) / n_f + z * z / (4.0 * n_f * n_f)).sqrt();
        let whole = 1.0 + z * z / n_f;
        Share {
            k,
            n,
            // At the ends the formula gives 0 and 1 but for rounding.
            from: if k == 0 { 0.0 } else { (middle - half) / whole },
            to: if k == n { 1.0 } else { (middle + half) / whole },
        }
    }
}

/// What the visits say of a kind of part.
#[derive(Debug, Clone, PartialEq)]
pub struct KindOfPart {
    /// The kind.
    pub kind: String,
    /// In how many visits it was found to have failed, of the visits to units with such a part that came
    /// to a conclusion.
    pub failed: Share,
    /// How it failed, the most frequent first: of those findings.
    pub modes: Vec<(String, Share)>,
}

impl Index {
    /// The kinds of parts that were found to have failed, the most frequent first; or one kind.
    ///
    /// # Errors
    /// What the store says.
    pub fn statistics(
        &mut self,
        kind: Option<&str>,
        simulated: bool,
    ) -> Result<Vec<KindOfPart>, Error> {
        let sql = "SELECT what, name, mode, n FROM counts WHERE simulated = $1";
        let counts = self.store.rows(sql, &[simulated.into()])?;
        let of = |what: &'static str| counts.iter().filter(move |row| row[0].text() == what);
        // Visits that came to a conclusion, by sheet; then by the kinds that a sheet has.
        let visits: BTreeMap<&str, i64> = of("sheet")
            .map(|row| (row[1].text(), row[3].int().unwrap_or(0)))
            .collect();
        let sheets = self
            .store
            .rows("SELECT DISTINCT sheet, kind FROM parts", &[])?;
        let mut of_kind: BTreeMap<String, i64> = BTreeMap::new();
        for row in &sheets {
            let here = visits.get(row[0].text()).copied().unwrap_or(0);
            *of_kind.entry(row[1].text().to_owned()).or_default() += here;
        }
        of_kind.insert(crate::sheets::WIRE.to_owned(), visits.values().sum());
        let mut all: Vec<KindOfPart> = of("kind")
            .filter(|row| kind.is_none_or(|kind| kind == row[1].text()))
            .map(|row| {
                let (kind, failed) = (row[1].text(), row[3].int().unwrap_or(0));
                let visits = of_kind.get(kind).copied().unwrap_or(0);
                let mut modes: Vec<(String, Share)> = of("mode")
                    .filter(|m| m[1].text() == kind)
                    .map(|m| {
                        let share = Share::of(m[3].int().unwrap_or(0), failed);
                        (m[2].text().to_owned(), share)
                    })
                    .collect();
                modes.sort_by(|a, b| b.1.k.cmp(&a.1.k).then_with(|| a.0.cmp(&b.0)));
                KindOfPart {
                    kind: kind.to_owned(),
                    failed: Share::of(failed, visits),
                    modes,
                }
            })
            .collect();
        all.sort_by(|a, b| {
            b.failed
                .k
                .cmp(&a.failed.k)
                .then_with(|| a.kind.cmp(&b.kind))
        });
        Ok(all)
    }
}
