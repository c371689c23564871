//! What is held probable of a unit before anything is measured on it: the options that say so,
//! for every command that compiles a sheet.

use std::path::PathBuf;

use ohmtrail_circuit::sheet::Sheet;
use ohmtrail_daemon::sheets::Beforehand as Files;

use crate::fail::Fail;

/// What is held probable beforehand.
#[derive(Debug, clap::Args)]
pub struct Beforehand {
    /// Replaces any part of the built-in priors (`ohmtrail sheet priors` writes those)
    #[arg(long, value_name = "FILE")]
    priors: Option<PathBuf>,
    /// Replaces any part of the built-in costs (`ohmtrail sheet costs` writes those)
    #[arg(long, value_name = "FILE")]
    costs: Option<PathBuf>,
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
        if let Some(path) = &self.costs {
            sheet.costs = sheet.costs.with_file(path).map_err(Fail::input)?;
        }
        Ok(())
    }

    /// The same for the daemon.
    pub fn files(&self) -> Files {
        Files {
            priors: self.priors.clone(),
            costs: self.costs.clone(),
        }
    }

    /// What a trail should say of it; none if nothing was told.
    pub fn note(&self) -> Option<String> {
        self.files().note()
    }
}
