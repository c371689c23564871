//! What of a sheet a probe box has room for.

use ohmtrail_box::view::view;
use ohmtrail_circuit::compile::{Options, compile};
use ohmtrail_circuit::sheet::Sheet;
use ohmtrail_core::gates::{GatePlan, PointId};
use ohmtrail_link::frame::crc32;
use ohmtrail_link::load::{Head, MOST, Plan, VERSION};
use ohmtrail_link::message::LoadFault;
use ohmtrail_visit::{Book, SheetBundle};

use super::card;

/// A sheet's single faults as a box holds them.
pub struct Fit {
    /// The whole load.
    pub bytes: Vec<u8>,
    /// Bytes of its table.
    pub table: usize,
    /// Sets of faults in it.
    pub hypotheses: usize,
    /// Sampled units for each.
    pub samples: usize,
    /// The card's lines.
    pub card: Vec<card::Line>,
}

/// A load of nothing but the sheet.
///
/// # Errors
/// Why it does not fit, in words.
pub fn single_faults(sheet: &Sheet) -> Result<Fit, String> {
    let head = Head {
        version: VERSION,
        tests: heapless::Vec::new(),
        plan: None,
    };
    fit(sheet, head)
}

/// The load with the most samples that fit, its tests as in `head`.
///
/// # Errors
/// Why none fits, in words.
pub fn fit(sheet: &Sheet, mut head: Head) -> Result<Fit, String> {
    let mut why = LoadFault::Room;
    for samples in (1..=8).rev() {
        let options = Options {
            samples,
            singles_only: true,
        };
        let compiled = compile(sheet, options).map_err(|e| e.to_string())?;
        let (table, hypotheses) = (compiled.bytes.clone(), compiled.sets.len());
        let bundle = SheetBundle::with(sheet.clone(), compiled).map_err(|e| e.to_string())?;
        let book = Book::new(&bundle).map_err(|e| e.to_string())?;
        head.plan = Some(
            plan(&book.plan(), sheet)
                .ok_or("its safety plan has more points than a box has room for")?,
        );
        let bytes = encode(&head, &table)?;
        let fault = if u32::try_from(bytes.len()).is_ok_and(|length| length <= MOST) {
            view(&head, &table, &bytes, crc32(&bytes)).err()
        } else {
            Some(LoadFault::Weights)
        };
        match fault {
            None => {
                return Ok(Fit {
                    bytes,
                    table: table.len(),
                    hypotheses,
                    samples,
                    card: card::sheet(&book.plan(), sheet),
                });
            }
            // Fewer samples help against nothing else.
            Some(fault) if fault != LoadFault::Weights => return Err(fault.words().to_owned()),
            Some(fault) => why = fault,
        }
    }
    Err(why.words().to_owned())
}

/// A load's bytes.
///
/// # Errors
/// It has more in its head than a load has room for.
pub fn encode(head: &Head, table: &[u8]) -> Result<Vec<u8>, String> {
    let mut room = vec![0; 16 * 1024];
    let used = postcard::to_slice(head, &mut room)
        .map_err(|e| format!("the load cannot be encoded: {e}"))?;
    let mut bytes = used.to_vec();
    bytes.extend_from_slice(table);
    Ok(bytes)
}

/// The plan as a box holds it; none if it does not fit.
fn plan(plan: &GatePlan<'_>, sheet: &Sheet) -> Option<Plan> {
    let id = |point: &usize| u16::try_from(*point).ok().map(PointId);
    let mut lifts = heapless::Vec::new();
    for lift in &sheet.lifts {
        let ends: Vec<PointId> = lift.ends.iter().map(id).collect::<Option<_>>()?;
        lifts.push(heapless::Vec::from_slice(&ends).ok()?).ok()?;
    }
    let mut sources = heapless::Vec::new();
    for source in plan.sources {
        sources
            .push(heapless::Vec::from_slice(source.poles).ok()?)
            .ok()?;
    }
    Some(Plan {
        line: heapless::Vec::from_slice(plan.line).ok()?,
        load: heapless::Vec::from_slice(plan.load).ok()?,
        load_sides: heapless::Vec::from_slice(plan.load_sides).ok()?,
        ground: plan.ground.0,
        sources,
        capacitors: heapless::Vec::from_slice(plan.capacitors).ok()?,
        covers: heapless::Vec::from_slice(plan.covers).ok()?,
        keep_off: heapless::Vec::from_slice(plan.keep_off).ok()?,
        lifts,
    })
}
