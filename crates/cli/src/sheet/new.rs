//! `ohmtrail sheet new FILE`: a sheet to begin with, every table explained.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use ohmtrail_circuit::sheet::BUILTIN;
use serde_json::json;

use super::load;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// A whole small unit.
const WHOLE: &str = include_str!("new-whole.toml");
/// A unit that is another one with something changed.
const DERIVED: &str = include_str!("new-derived.toml");

/// Where to, and based on what.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The file to make; it must not be there yet
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Begin with another sheet's parts, wires and checks: a built-in sheet, or a file beside the
    /// new one
    #[arg(long, value_name = "NAME")]
    based_on: Option<PathBuf>,
}

/// Makes the file.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let file = &args.file;
    let name = file
        .file_stem()
        .and_then(|s| s.to_str())
        .ok_or_else(|| Fail::usage(format!("{}: not the name of a file", file.display())))?;
    let text = match &args.based_on {
        None => WHOLE.replace("NAME", &quoted(name)),
        Some(base) => {
            let title = load(base)?.title;
            DERIVED
                .replace("NAME", &quoted(name))
                .replace("BASE", &quoted(&based_on(file, base)?))
                .replace("TITLE", &quoted(&title))
        }
    };
    let made = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(file)
        .and_then(|mut f| f.write_all(text.as_bytes()));
    made.map_err(|e| match e.kind() {
        std::io::ErrorKind::AlreadyExists => Fail::input(format!(
            "{}: is there already and is left as it is; give another name",
            file.display()
        )),
        _ => Fail::new(
            Exit::System,
            format!("{}: cannot be written: {e}", file.display()),
        ),
    })?;
    let shown = file.display();
    if out.json() {
        out.document(&json!({ "sheet": name, "file": shown.to_string() }))?;
        return Ok(Exit::Done);
    }
    for line in [
        match &args.based_on {
            None => format!("{shown}: made, a whole small sheet of an invented unit"),
            Some(base) => format!("{shown}: made, the same as {} so far", base.display()),
        },
        "Change it to your unit, by the diagram in its door and the wires themselves. Then"
            .to_owned(),
        "what a part can be:      ohmtrail sheet kinds".to_owned(),
        format!("what is wrong with it:   ohmtrail sheet check {shown}"),
        format!("what it looks like:      ohmtrail sheet draw {shown} --out {name}.svg"),
        format!("a simulated visit:       ohmtrail demo --sheet {shown} --fault FAULT"),
    ] {
        out.line(&line)?;
    }
    Ok(Exit::Done)
}

/// A text inside the quotes of TOML.
fn quoted(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"")
}

/// How the new file names its base.
fn based_on(file: &Path, base: &Path) -> Result<String, Fail> {
    if let Some((name, _)) = BUILTIN.iter().find(|(n, _)| Path::new(n) == base) {
        return Ok((*name).to_owned());
    }
    let folder = |path: &Path| {
        let parent = path.parent().unwrap_or(Path::new(""));
        let parent = if parent.as_os_str().is_empty() {
            Path::new(".")
        } else {
            parent
        };
        parent.canonicalize().ok()
    };
    let name = base.file_name().and_then(|n| n.to_str());
    match name {
        Some(name) if folder(base).is_some() && folder(base) == folder(file) => Ok(name.to_owned()),
        _ => Err(Fail::usage(format!(
            "--based-on {}: a sheet is based on a built-in one or on a file beside it; put both into one folder",
            base.display()
        ))),
    }
}
