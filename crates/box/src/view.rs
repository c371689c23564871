//! A load, checked against what the box has room for; and the check of the core's arithmetic.

use ohmtrail_core::accuracy::{Accuracy, Measured, standard_uncertainty};
use ohmtrail_core::isolate::Table;
use ohmtrail_core::reading::Decimal;
use ohmtrail_core::source::{Source, Status};
use ohmtrail_core::verdict::{Decision, Limit};
use ohmtrail_link::frame::crc32;
use ohmtrail_link::load::Head;
use ohmtrail_link::message::{LoadFault, Loaded};

use crate::isolation::fits;

/// What a load holds, checked.
#[derive(Debug)]
pub struct View<'p> {
    /// What comes before the table.
    pub head: &'p Head,
    /// The table.
    pub table: Option<Table<'p>>,
    /// What it is.
    pub loaded: Loaded,
    /// All of its bytes.
    bytes: &'p [u8],
}

impl View<'_> {
    /// Whether its bytes still have the check that it was loaded with.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        crc32(self.bytes) == self.loaded.crc
    }
}

/// Checks a load's table against the box's memory, and its head. `bytes` is the whole load, `crc` the
/// check that it was loaded with.
///
/// # Errors
/// [`LoadFault`].
pub fn view<'p>(
    head: &'p Head,
    table: &'p [u8],
    bytes: &'p [u8],
    crc: u32,
) -> Result<View<'p>, LoadFault> {
    if head.tests.iter().any(|test| !test.is_sound()) {
        return Err(LoadFault::Test);
    }
    let table = if table.is_empty() {
        None
    } else {
        let table = Table::parse(table).map_err(|_| LoadFault::Table)?;
        fits(&table)?;
        let plan = head.plan.as_ref().ok_or(LoadFault::Plan)?;
        let sources = plan.sources();
        plan.gates(&sources).map_err(|_| LoadFault::Plan)?;
        Some(table)
    };
    let sheet = table
        .as_ref()
        .and_then(|t| t.sheet_hash.first_chunk().copied());
    Ok(View {
        head,
        loaded: Loaded {
            crc,
            bytes: u32::try_from(bytes.len()).map_err(|_| LoadFault::Malformed)?,
            tests: u8::try_from(head.tests.len()).unwrap_or(u8::MAX),
            sheet,
        },
        table,
        bytes,
    })
}

/// The core judges a value whose verdict was worked by hand: 99 ohm, u = 0.2 ohm, against 100 ± 2
/// ohm lies five u inside, and 97.7 within one guard band of the limit.
#[must_use]
pub fn arithmetic() -> bool {
    const KNOWN: Source = Source::new("worked by hand", Status::Computed);
    let limit = Limit::new(Some(98.0), Some(102.0), KNOWN);
    let decide = |ohms| limit.decide(Measured::new(ohms, 0.2));
    // 1 % of 100.0 is 1.0, rectangular; the step of 0.1 adds next to nothing: 0.578.
    let u = standard_uncertainty(Decimal::new(1000, -1), &Accuracy::new(1.0, 0.0));
    decide(99.0) == Decision::Pass
        && decide(97.7) == Decision::ConditionalFail
        && decide(90.0) == Decision::Fail
        && (u - 0.578).abs() < 0.001
}

#[cfg(test)]
mod tests {
    use ohmtrail_link::frame::crc32;
    use ohmtrail_link::load::{Head, VERSION};

    use super::view;

    #[test]
    fn a_load_that_decays_in_its_memory_is_seen() {
        let head = Head {
            version: VERSION,
            tests: heapless::Vec::new(),
            plan: None,
        };
        let mut bytes = [1, 0, 0, 7];
        let crc = crc32(&bytes);
        let whole = |bytes: &[u8]| view(&head, &[], bytes, crc).map(|v| v.is_whole());
        assert_eq!(whole(&bytes), Ok(true));
        for bit in 0..32 {
            bytes[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(whole(&bytes), Ok(false), "bit {bit}");
            bytes[bit / 8] ^= 1 << (bit % 8);
        }
    }
}
