//! `ohmtrail paper`: the tag and the write-up, made from a trail.

use std::fs;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use ohmtrail_paper::{Sheet, pdf, tag, tag_pdf, write_up};
use ohmtrail_trail::{Hash, photos};
use ohmtrail_visit::{Book, Record};
use ohmtrail_words::Tongue;
use serde_json::json;

use crate::ended::Which;
use crate::exit::Exit;
use crate::fail::Fail;
use crate::out::Out;

/// Which paper, of which trail.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Which paper
    #[arg(value_enum)]
    paper: Paper,
    #[command(flatten)]
    which: Which,
    /// In which form
    #[arg(long, value_enum, default_value = "text")]
    form: Form,
    /// The sheet of paper of a write-up's PDF
    #[arg(long, value_enum, default_value = "a4")]
    size: Size,
    /// In which language
    #[arg(long, value_enum, default_value = "en")]
    language: Language,
    /// Where to; without it, standard output. A PDF needs it
    #[arg(long, short, value_name = "PATH")]
    output: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Paper {
    /// The card that hangs in the unit
    Tag,
    /// What was reported, measured and found, for approval
    WriteUp,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// Plain text
    Text,
    /// One page of HTML; a write-up only
    Html,
    /// PDF; the tag as a card of 74 x 105 mm
    Pdf,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Size {
    /// ISO A4
    A4,
    /// US letter
    Letter,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Language {
    /// English
    En,
    /// Spanish
    Es,
}

impl From<Language> for Tongue {
    fn from(language: Language) -> Self {
        match language {
            Language::En => Tongue::English,
            Language::Es => Tongue::Spanish,
        }
    }
}

/// Writes it. A damaged trail is not made into a paper.
pub fn run(args: &Args, out: &mut Out) -> Result<Exit, Fail> {
    let ended = args.which.read()?;
    let book = Book::new(&ended.bundle).map_err(Fail::input)?;
    let record = Record::of(&book, &ended.entries);
    let trail = &args.which.trail;
    let folder = trail.with_extension("photos");
    let found = |hash: &[u8; 32]| photos::load(&folder, &Hash(*hash)).ok();
    let system = |e: ohmtrail_paper::PdfError| Fail::new(Exit::System, e);
    let tongue = args.language.into();
    let card = || tag(&book, &record, &ended.head, tongue);
    let name = trail.display().to_string();
    let page = || write_up(&book, &record, &ended.head, &name, tongue);
    let bytes = match (args.paper, args.form) {
        (Paper::Tag, Form::Text) => card().text().into_bytes(),
        (Paper::WriteUp, Form::Text) => page().markdown().into_bytes(),
        (Paper::Tag, Form::Html) => {
            return Err(Fail::usage("a tag is no page: ask for --form text or pdf"));
        }
        (Paper::WriteUp, Form::Html) => page().html(&found).into_bytes(),
        (Paper::Tag, Form::Pdf) => tag_pdf(&card()).map_err(system)?,
        (Paper::WriteUp, Form::Pdf) => {
            let size = match args.size {
                Size::A4 => Sheet::A4,
                Size::Letter => Sheet::Letter,
            };
            pdf(&page(), size, &found).map_err(system)?
        }
    };
    let head = ended.head.to_string();
    match (&args.output, String::from_utf8(bytes)) {
        (Some(path), text) => {
            let bytes =
                text.map_or_else(std::string::FromUtf8Error::into_bytes, String::into_bytes);
            keep(path, &bytes)?;
            if out.json() {
                out.document(&json!({ "path": path, "head": head }))?;
            } else {
                out.line(&format!("{}: {} bytes", path.display(), bytes.len()))?;
            }
        }
        (None, Ok(text)) if args.form != Form::Pdf => {
            if out.json() {
                out.document(&json!({ "text": text, "head": head }))?;
            } else {
                out.line(text.trim_end())?;
            }
        }
        (None, _) => {
            return Err(Fail::usage(
                "say where the PDF is to be written: --output PATH",
            ));
        }
    }
    Ok(Exit::Done)
}

fn keep(path: &Path, bytes: &[u8]) -> Result<(), Fail> {
    fs::write(path, bytes).map_err(|e| Fail::new(Exit::System, format!("{}: {e}", path.display())))
}
