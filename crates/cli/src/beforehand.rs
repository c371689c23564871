//! What is held probable of a unit before anything is measured on it: the options that say so,
//! for every command that compiles a sheet.

use std::path::PathBuf;

use ohmtrail_circuit::sheet::Sheet;

use crate::fail::Fail;

/// What is held probable beforehand.
#[derive(Debug, clap::Args)]
pub struct Beforehand {
    /// Replaces any part of the built-in priors (`ohmtrail sheet priors` writes those)
    #[arg(long, value_name = "FILE")]
    priors: Option<PathBuf>,
}

impl Beforehand {
    /// Tells a sheet.
    ///
    /// # Errors
    /// Everything that is wrong with a file.
    pub fn tell(&self, sheet: &mut Sheet) -> Result<(), Fail> {
        if let Some(path) = &self.priors {
            let priors = sheet.priors.with_file(path).map_err(Fail::input)?;
            sheet.set_priors(priors);
        }
        Ok(())
    }

    /// What a trail should say of it; none if nothing was told.
    pub fn note(&self) -> Option<String> {
        let path = self.priors.as_ref()?;
        Some(format!("priors: {}", path.display()))
    }
}
