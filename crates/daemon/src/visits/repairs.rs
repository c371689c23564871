//! A repair: a visit that puts right what an earlier one found, begun from that visit's trail.

use std::path::Path;
use std::sync::Arc;

use ohmtrail_trail::photos::{self, PhotoError};
use ohmtrail_trail::{Error, Hash, verify};
use ohmtrail_visit::{NoRepair, repair};

use super::{Away, New, OpenError, Seen, Visit, Visits};
use crate::trouble;

/// Who repairs, and what.
#[derive(Debug, Clone, Default)]
pub struct Repairer {
    /// The work order; that of the visit before where it is empty.
    pub work_order: String,
    /// Who does it.
    pub technician: String,
    /// The parts to fit; those of the finding where there are none.
    pub parts: Vec<String>,
}

/// Why a repair was not begun.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RepairError {
    /// The visit before has nothing to repair.
    #[error(transparent)]
    Nothing(#[from] NoRepair),
    /// Its trail is damaged: what it says of wires and parts cannot be relied on.
    #[error("the trail of that visit is damaged: nothing is fitted or put back by it")]
    Damaged,
    /// Its trail cannot be read.
    #[error(transparent)]
    Trail(#[from] Error),
    /// The new visit was refused.
    #[error(transparent)]
    Open(#[from] OpenError),
}

impl From<Away> for RepairError {
    fn from(away: Away) -> Self {
        RepairError::Open(away.into())
    }
}

/// What a repair of this visit is opened with.
///
/// # Errors
/// [`NoRepair`].
pub(crate) fn of(seen: &Seen<'_>, repairer: Repairer) -> Result<New, NoRepair> {
    let record = seen.record;
    let repair = repair(seen.book, record, seen.head.0, &repairer.parts)?;
    let opened = record.opened.as_ref();
    let opened = opened.ok_or(NoRepair::GoesOn)?;
    Ok(New {
        work_order: if repairer.work_order.is_empty() {
            opened.work_order.clone()
        } else {
            repairer.work_order
        },
        technician: repairer.technician,
        unit: opened.unit.clone(),
        sheet: opened.sheet.clone(),
        previous: Some(seen.head.0),
        simulated: opened.simulated,
        complaint: None,
        repair: Some(repair),
    })
}

impl Visits {
    /// Begins the repair of what this visit found. It is in its trail, on disk, when this returns, and the
    /// photographs of the wires lie beside it.
    ///
    /// # Errors
    /// [`RepairError`]; nothing was begun then.
    pub async fn repair(
        &self,
        earlier: &Arc<Visit>,
        repairer: Repairer,
    ) -> Result<Arc<Visit>, RepairError> {
        let new = earlier.look(self.context(), move |seen| of(seen, repairer));
        let new = new.await??;
        let path = earlier.path.clone();
        let checked = tokio::task::spawn_blocking(move || verify(&path)).await;
        let report = checked.map_err(|e| Away::Broken(trouble::other(&e)))??;
        if !report.is_sound() {
            return Err(RepairError::Damaged);
        }
        let wires = new.repair.iter().flat_map(|r| &r.wires);
        let shown: Vec<Hash> = wires.filter_map(|w| w.photo.map(Hash)).collect();
        let visit = self.open(new).await?;
        let (from, to) = (earlier.photos(), visit.photos());
        let id = visit.id.clone();
        let copied = tokio::task::spawn_blocking(move || {
            for hash in shown {
                // The wire map names it; the photograph itself may have been taken away.
                if let Err(error) = copy(&from, &to, &hash) {
                    tracing::warn!(visit = id, %error, "a photograph of a wire is not at hand");
                }
            }
        });
        copied.await.map_err(|e| Away::Broken(trouble::other(&e)))?;
        Ok(visit)
    }
}

fn copy(from: &Path, to: &Path, hash: &Hash) -> Result<(), PhotoError> {
    let bytes = photos::load(from, hash)?;
    let kind = photos::media_type(&bytes).unwrap_or("application/octet-stream");
    photos::store(to, &bytes, kind).map(drop)
}
