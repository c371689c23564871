//! The sheets that visits are made with: the built-in ones and those in the data folder, each
//! compiled once.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use ohmtrail_circuit::costs::CostsError;
use ohmtrail_circuit::sheet::{BUILTIN, Sheet, SheetError, read_builtin, read_file};
use ohmtrail_visit::{BookError, SheetBundle};

/// Why a sheet cannot be had.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SheetsError {
    /// There is none of that name.
    #[error("there is no sheet \"{name}\"; there are {}", known.join(", "))]
    Unknown {
        /// The name.
        name: String,
        /// The names there are.
        known: Vec<String>,
    },
    /// It is not sound.
    #[error(transparent)]
    Sheet(#[from] SheetError),
    /// The file of costs is not sound.
    #[error(transparent)]
    Costs(#[from] CostsError),
    /// It cannot be visited with.
    #[error(transparent)]
    Book(#[from] BookError),
    /// A visit was made with another version of it.
    #[error(
        "the sheet \"{0}\" has changed since the visit was opened: put the one of that day back"
    )]
    Changed(String),
}

/// What every sheet is told before it is compiled.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Beforehand {
    /// The file that replaces any part of what is held probable.
    pub priors: Option<PathBuf>,
    /// The file that replaces any part of what it costs to be wrong.
    pub costs: Option<PathBuf>,
}

impl Beforehand {
    /// What a trail should say of it; none if nothing is replaced.
    #[must_use]
    pub fn note(&self) -> Option<String> {
        let told = [("priors", &self.priors), ("costs", &self.costs)];
        let notes: Vec<String> = told
            .iter()
            .filter_map(|(what, path)| Some(format!("{what}: {}", path.as_ref()?.display())))
            .collect();
        (!notes.is_empty()).then(|| notes.join("; "))
    }
}

/// The sheets.
#[derive(Debug)]
pub struct Sheets {
    folder: PathBuf,
    beforehand: Beforehand,
    compiled: Mutex<HashMap<[u8; 32], Arc<SheetBundle>>>,
}

impl Sheets {
    /// The built-in sheets, and the `.toml` files of this folder, if there is one.
    #[must_use]
    pub fn new(folder: &Path, beforehand: Beforehand) -> Self {
        Sheets {
            folder: folder.to_path_buf(),
            beforehand,
            compiled: Mutex::default(),
        }
    }

    /// What a new trail says of what is held probable.
    #[must_use]
    pub fn note(&self) -> Option<String> {
        self.beforehand.note()
    }

    /// Every name, the built-in ones first.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        let mut own: Vec<String> = std::fs::read_dir(&self.folder)
            .into_iter()
            .flatten()
            .filter_map(|entry| {
                let path = entry.ok()?.path();
                let is_sheet = path.extension().is_some_and(|e| e == "toml");
                let name = path.file_stem()?.to_str()?;
                (is_sheet && is_name(name)).then(|| name.to_owned())
            })
            .collect();
        own.sort();
        let builtin = BUILTIN.iter().map(|(name, _)| (*name).to_owned());
        builtin.chain(own).collect()
    }

    /// Reads a sheet.
    ///
    /// # Errors
    /// [`SheetsError`].
    pub fn read(&self, name: &str) -> Result<Sheet, SheetsError> {
        if let Some(read) = read_builtin(name) {
            return Ok(read?);
        }
        let path = self.folder.join(format!("{name}.toml"));
        if is_name(name) && path.is_file() {
            return Ok(read_file(&path)?);
        }
        Err(SheetsError::Unknown {
            name: name.to_owned(),
            known: self.names(),
        })
    }

    /// A sheet, ready for visits. The first time it is compiled, which takes up to half a second.
    ///
    /// # Errors
    /// [`SheetsError`].
    pub fn bundle(&self, name: &str) -> Result<Arc<SheetBundle>, SheetsError> {
        let mut sheet = self.read(name)?;
        let mut compiled = self.compiled.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(bundle) = compiled.get(&sheet.hash) {
            return Ok(Arc::clone(bundle));
        }
        if let Some(path) = &self.beforehand.priors {
            let priors = sheet.priors.with_file(path)?;
            sheet.set_priors(priors);
        }
        if let Some(path) = &self.beforehand.costs {
            sheet.costs = sheet.costs.with_file(path)?;
        }
        let hash = sheet.hash;
        let bundle = Arc::new(SheetBundle::new(sheet)?);
        compiled.insert(hash, Arc::clone(&bundle));
        Ok(bundle)
    }

    /// The sheet that a trail was made with.
    ///
    /// # Errors
    /// [`SheetsError::Changed`] if it is another one now.
    pub fn of_trail(&self, name: &str, hash: [u8; 32]) -> Result<Arc<SheetBundle>, SheetsError> {
        let bundle = self.bundle(name)?;
        if bundle.sheet.hash == hash {
            Ok(bundle)
        } else {
            Err(SheetsError::Changed(name.to_owned()))
        }
    }
}

/// Whether this can be the name of a file in a folder, and of nothing else.
#[must_use]
pub fn is_name(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    (1..=80).contains(&name.len()) && name.chars().all(plain) && !name.starts_with('.')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_never_a_way_out_of_the_folder() {
        for good in ["rooftop-3ph", "a", "unit.2"] {
            assert!(is_name(good), "{good}");
        }
        for bad in [
            "", ".", "..", "../x", "a/b", "a\\b", "a b", ".hidden", "a\0", "é",
        ] {
            assert!(!is_name(bad), "{bad:?}");
        }
        assert!(!is_name(&"a".repeat(81)));
    }
}
