//! The meters that were added over the API, so that they are there again after a start: a file
//! `meters.json` of the data folder. Those of the configuration are not in it.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use ohmtrail_meters::spec::{Spec, SpecError};
use serde::{Deserialize, Serialize};

use super::{AddError, Meters, hold_paths};
use crate::auth::files::replace;

/// A meter as it was named.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Named {
    /// Its name.
    pub name: String,
    /// What it is for.
    pub role: String,
    /// Where it is and what reads it, as it was sent.
    pub spec: String,
}

impl Named {
    /// The meter, with its paths where they may be.
    ///
    /// # Errors
    /// [`AddError`].
    pub fn spec(&self, data: &Path) -> Result<Spec, AddError> {
        let parsed: Result<Spec, SpecError> = self.spec.parse();
        let mut spec = parsed?;
        hold_paths(&mut spec, data)?;
        Ok(spec)
    }
}

/// Why the file cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum KeptError {
    /// It is not what this daemon writes.
    #[error(
        "{}: {why}; it lists the meters that were added over the API: correct it, or move it away \
         and add them again",
        path.display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// The system refuses.
    #[error("{}: {source}", path.display())]
    System {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// The file.
#[derive(Debug)]
pub struct Kept {
    file: PathBuf,
    all: Mutex<Vec<Named>>,
}

impl Kept {
    /// What is kept in the data folder; nothing if there is no such file.
    ///
    /// # Errors
    /// [`KeptError`].
    pub fn open(data: &Path) -> Result<Self, KeptError> {
        let file = data.join("meters.json");
        let all = match std::fs::read(&file) {
            Ok(bytes) => serde_json::from_slice(&bytes).map_err(|e| KeptError::Damaged {
                path: file.clone(),
                why: e.to_string(),
            })?,
            Err(e) if e.kind() == io::ErrorKind::NotFound => Vec::new(),
            Err(source) => return Err(KeptError::System { path: file, source }),
        };
        Ok(Kept {
            file,
            all: Mutex::new(all),
        })
    }

    /// Adds every one of them to the meters. One that cannot be read now is named in the log, and
    /// stays in the file.
    pub fn restore(&self, meters: &Meters, data: &Path) {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        for named in all.iter() {
            let added = named
                .spec(data)
                .and_then(|spec| meters.add(Some(named.name.clone()), named.role.clone(), spec));
            if let Err(error) = added {
                tracing::warn!(meter = named.name, %error, "a meter that was added before is left out");
            }
        }
    }

    /// Keeps one more, in place of one of the same name. It is on disk when this returns.
    ///
    /// # Errors
    /// [`KeptError::System`]; then nothing has changed.
    pub fn keep(&self, named: Named) -> Result<(), KeptError> {
        self.change(|all| {
            all.retain(|n| n.name != named.name);
            all.push(named);
        })
    }

    /// Keeps the one of that name no longer, if it is there.
    ///
    /// # Errors
    /// [`KeptError::System`]; then nothing has changed.
    pub fn forget(&self, name: &str) -> Result<(), KeptError> {
        self.change(|all| all.retain(|n| n.name != name))
    }

    fn change(&self, change: impl FnOnce(&mut Vec<Named>)) -> Result<(), KeptError> {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        let mut new = all.clone();
        change(&mut new);
        if new == *all {
            return Ok(());
        }
        let failed = |source| KeptError::System {
            path: self.file.clone(),
            source,
        };
        let mut text = serde_json::to_vec_pretty(&new).map_err(|e| failed(e.into()))?;
        text.push(b'\n');
        replace(&self.file, &text).map_err(failed)?;
        *all = new;
        Ok(())
    }
}
