//! Where files lie by themselves: the XDG Base Directory Specification, version 0.8.

use std::collections::HashMap;
use std::env;
use std::path::{Path, PathBuf};

/// The environment that says where files lie.
#[derive(Debug, Clone, Default)]
pub struct Places {
    variables: HashMap<&'static str, String>,
}

/// What this program's folders are called.
const OURS: &str = "ohmtrail";
const VARIABLES: [&str; 4] = [
    "HOME",
    "XDG_CONFIG_HOME",
    "XDG_CONFIG_DIRS",
    "XDG_DATA_HOME",
];

impl Places {
    /// As this process's environment says.
    #[must_use]
    pub fn of_this_process() -> Self {
        let variables = VARIABLES
            .iter()
            .filter_map(|name| Some((*name, env::var(name).ok()?)));
        Places {
            variables: variables.collect(),
        }
    }

    /// As these variables say.
    #[must_use]
    pub fn of(variables: &[(&'static str, &str)]) -> Self {
        let variables = variables
            .iter()
            .map(|(name, value)| (*name, (*value).to_owned()));
        Places {
            variables: variables.collect(),
        }
    }

    /// The first configuration file that is there: the user's, then the system's.
    #[must_use]
    pub fn config(&self) -> Option<PathBuf> {
        let system = self
            .variables
            .get("XDG_CONFIG_DIRS")
            .filter(|dirs| !dirs.is_empty());
        let system = system.map_or("/etc/xdg", String::as_str);
        let user = self.folder("XDG_CONFIG_HOME", ".config");
        user.into_iter()
            .chain(env::split_paths(system).filter(|dir| dir.is_absolute()))
            .map(|dir| dir.join(OURS).join("config.toml"))
            .find(|file| file.is_file())
    }

    /// The data folder.
    #[must_use]
    pub fn data(&self) -> Option<PathBuf> {
        Some(self.folder("XDG_DATA_HOME", ".local/share")?.join(OURS))
    }

    /// A path of a configuration file in this folder.
    #[must_use]
    pub fn expand(&self, path: &Path, folder: &Path) -> PathBuf {
        match (path.strip_prefix("~"), self.home()) {
            (Ok(rest), Some(home)) => home.join(rest),
            _ => folder.join(path),
        }
    }

    fn folder(&self, variable: &str, in_home: &str) -> Option<PathBuf> {
        // The specification asks that a relative path be ignored.
        let named = self.variables.get(variable).map(PathBuf::from);
        named
            .filter(|dir| dir.is_absolute())
            .or_else(|| Some(self.home()?.join(in_home)))
    }

    fn home(&self) -> Option<PathBuf> {
        let home = self.variables.get("HOME").map(PathBuf::from);
        home.filter(|dir| dir.is_absolute())
    }
}
