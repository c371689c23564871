//! Finds a sheet and the sheets it is based on.

use std::cell::RefCell;
use std::ops::Range;
use std::path::{Path, PathBuf};

use super::error::{Problem, SheetError};
use super::read::Reader;
use super::toml::{Keys, Text};
use super::{BUILTIN, Sheet};
use crate::priors::Priors;

/// Reads a built-in sheet; `None` if there is none of that name.
#[must_use]
pub fn read_builtin(name: &str) -> Option<Result<Sheet, SheetError>> {
    let (_, text) = BUILTIN.iter().find(|(n, _)| *n == name)?;
    Some(read_text(name, text))
}

/// Reads a sheet from a file.
///
/// # Errors
/// Every problem of the file, or that it cannot be read.
pub fn read_file(path: &Path) -> Result<Sheet, SheetError> {
    let shown = path.display().to_string();
    let load = || Ok::<_, std::io::Error>((std::fs::read_to_string(path)?, path.canonicalize()?));
    let (text, itself) = load().map_err(|e| SheetError {
        problems: vec![Problem {
            file: shown.clone(),
            line: 1,
            what: e.to_string(),
            remedy: "check the path".to_owned(),
        }],
    })?;
    read_layers(Layer {
        name: shown,
        text,
        file: Some(itself),
    })
}

/// Reads a sheet from its text; `name` is what problems call it. It can be based on built-in
/// sheets only.
///
/// # Errors
/// Every problem of the text.
pub fn read_text(name: &str, text: &str) -> Result<Sheet, SheetError> {
    read_layers(Layer {
        name: name.to_owned(),
        text: text.to_owned(),
        file: None,
    })
}

/// One sheet's text.
struct Layer {
    /// What problems call it.
    name: String,
    text: String,
    /// Where it lies, links followed; none for a text that is in no file.
    file: Option<PathBuf>,
}

impl Layer {
    /// What this layer is based on, and where it says so.
    fn base(&self, problems: &RefCell<Vec<Problem>>) -> Option<(String, Range<usize>)> {
        let text = self.lines(problems);
        let table = text.parse()?;
        let keys = Keys::new(&text, table.span(), table.get_ref());
        keys.string("based-on").map(|(b, s)| (b.to_owned(), s))
    }

    fn lines<'t>(&'t self, problems: &'t RefCell<Vec<Problem>>) -> Text<'t> {
        Text {
            name: &self.name,
            text: &self.text,
            problems,
            removed: Vec::new(),
        }
    }

    /// The sheet of that name: built in, or a file beside this one.
    fn load(&self, base: &str) -> Result<Layer, String> {
        if let Some((name, text)) = BUILTIN.iter().find(|(n, _)| *n == base) {
            return Ok(Layer {
                name: (*name).to_owned(),
                text: (*text).to_owned(),
                file: None,
            });
        }
        let Some(folder) = self.file.as_deref().and_then(Path::parent) else {
            return Err("there is no built-in sheet of that name".to_owned());
        };
        let path = folder.join(base);
        let load =
            || Ok::<_, std::io::Error>((std::fs::read_to_string(&path)?, path.canonicalize()?));
        let (text, file) = load().map_err(|e| e.to_string())?;
        Ok(Layer {
            name: Path::new(&self.name)
                .with_file_name(base)
                .display()
                .to_string(),
            text,
            file: Some(file),
        })
    }

    fn is(&self, other: &Layer) -> bool {
        match (&self.file, &other.file) {
            (None, None) => self.name == other.name,
            (a, b) => a == b,
        }
    }
}

/// Reads a sheet with those it is based on, the base first.
fn read_layers(sheet: Layer) -> Result<Sheet, SheetError> {
    let priors = Priors::builtin()?;
    let problems = RefCell::new(Vec::new());
    let mut layers = vec![sheet];
    while let Some((base, span)) = layers[0].base(&problems) {
        let text = layers[0].lines(&problems);
        match layers[0].load(&base) {
            Ok(layer) if layers.iter().any(|l| l.is(&layer)) => {
                text.problem(
                    span,
                    format!("`based-on = \"{base}\"` leads back to a sheet that is based on this one: a loop of definitions"),
                    "base it on another sheet, or on none",
                );
                break;
            }
            Ok(layer) => layers.insert(0, layer),
            Err(why) => {
                text.problem(
                    span,
                    format!("the sheet \"{base}\" cannot be read: {why}"),
                    "name a built-in sheet, or a file beside this one",
                );
                break;
            }
        }
    }
    let mut texts: Vec<Text<'_>> = layers.iter().map(|l| l.lines(&problems)).collect();
    let tables: Vec<_> = texts.iter().filter_map(Text::parse).collect();
    let mut hasher = blake3::Hasher::new();
    for layer in &layers {
        hasher.update(&(layer.text.len() as u64).to_le_bytes());
        hasher.update(layer.text.as_bytes());
    }
    // Not in one expression: the borrow would last through the reading, which adds problems.
    let sound = problems.borrow().is_empty();
    let sheet = sound.then(|| {
        // The last layer first: each is told what those after it remove.
        let mut removed: Vec<String> = Vec::new();
        for (text, table) in texts.iter_mut().zip(&tables).rev() {
            text.removed.clone_from(&removed);
            let own = Keys::new(text, 0..0, table.get_ref()).strings("remove");
            removed.extend(own.into_iter().map(|(name, _)| name.to_owned()));
        }
        let tops: Vec<Keys<'_, '_>> = texts
            .iter()
            .zip(&tables)
            .map(|(text, table)| Keys::new(text, 0..0, table.get_ref()))
            .collect();
        Reader::default().sheet(&tops, *hasher.finalize().as_bytes(), priors)
    });
    let mut problems = problems.take();
    match sheet {
        Some(sheet) if problems.is_empty() => Ok(sheet),
        _ => {
            // By file, the sheet itself first, then by line.
            let layer = |p: &Problem| layers.iter().rev().position(|l| l.name == p.file);
            problems.sort_by_key(|p| (layer(p), p.line));
            problems.dedup();
            Err(SheetError { problems })
        }
    }
}
