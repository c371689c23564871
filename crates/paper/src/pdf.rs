//! Papers as PDF: tagged for screen readers (PDF/UA-1), fonts within, title, author and date set.
//!
//! What a paper says goes to the typesetter as data, never as its source: nothing that somebody wrote
//! into a trail can be taken for markup.

use std::collections::HashMap;
use std::sync::OnceLock;

use ohmtrail_words::Tongue;
use serde::Serialize;
use serde_json::{Value, json};
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

use crate::document::{Block, Document, Span, Text};
use crate::labels::Label;
use crate::photo::{Photos, shown};
use crate::tag::{Card, CardBlock};

/// The sheet of paper of a write-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Sheet {
    /// ISO 216 A4.
    #[default]
    A4,
    /// US letter, ANSI/ASME Y14.1 A.
    Letter,
}

impl Sheet {
    const fn name(self) -> &'static str {
        match self {
            Sheet::A4 => "a4",
            Sheet::Letter => "us-letter",
        }
    }
}

/// Why there is no PDF.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the PDF cannot be set: {0}; print the HTML instead, and report this")]
pub struct PdfError(String);

/// A paper as PDF; `photos` gives a photograph's bytes, where it is there.
///
/// # Errors
/// [`PdfError`].
pub fn pdf(document: &Document, sheet: Sheet, photos: Photos<'_>) -> Result<Vec<u8>, PdfError> {
    let mut files = HashMap::new();
    let mut blocks = Vec::new();
    for block in &document.blocks {
        blocks.push(part(document.tongue, block, photos, &mut files));
    }
    let data = json!({
        "title": document.title, "author": document.author, "sheet": sheet.name(),
        "lang": document.tongue.tag(), "trail": document.tongue.say("paper-trail"),
        "page": document.tongue.say("paper-page-of"),
        "day": document.day, "head": document.head.join(" "), "blocks": blocks,
    });
    set(include_str!("paper.typ"), &data, files).map(|(pdf, _)| pdf)
}

/// The tag as PDF: a card of 74 x 105 mm (ISO 216 A7), its type as large as fits it.
///
/// # Errors
/// [`PdfError`].
pub fn tag_pdf(card: &Card) -> Result<Vec<u8>, PdfError> {
    let mut least = None;
    let blocks: Vec<Value> = card.blocks.iter().map(card_part).collect();
    for size in [8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5, 5.0] {
        let data = json!({
            "size": size, "day": card.day, "author": card.by, "blocks": blocks,
            "lang": card.tongue.tag(), "title": card.tongue.say("paper-tag"),
        });
        let (pdf, pages) = set(include_str!("tag.typ"), &data, HashMap::new())?;
        if pages == 1 {
            return Ok(pdf);
        }
        least = Some(pdf);
    }
    // More than one card can hold goes on to a second: nothing is left out.
    least.ok_or_else(|| PdfError("no size".to_owned()))
}

/// Labels for the parts of a tray as PDF, three across; `day` is year, month and day.
///
/// # Errors
/// [`PdfError`].
pub fn labels_pdf(
    title: &str,
    labels: &[Label],
    sheet: Sheet,
    day: Option<(i32, u8, u8)>,
) -> Result<Vec<u8>, PdfError> {
    let data = json!({ "title": title, "sheet": sheet.name(), "day": day, "labels": labels });
    set(include_str!("labels.typ"), &data, HashMap::new()).map(|(pdf, _)| pdf)
}

/// A block as the typesetter's data; what it shows besides goes to the files.
fn part(t: Tongue, block: &Block, photos: Photos<'_>, files: &mut HashMap<String, Bytes>) -> Value {
    let mut file = |end: &str, bytes: Vec<u8>| {
        let name = format!("picture-{}.{end}", files.len());
        files.insert(name.clone(), Bytes::new(bytes));
        name
    };
    match block {
        Block::Heading(title) => json!({ "kind": "heading", "level": 1, "text": title }),
        Block::Part(title) => json!({ "kind": "heading", "level": 2, "text": title }),
        Block::Paragraph(text) => json!({ "kind": "paragraph", "spans": spans(text) }),
        Block::List(items) => {
            json!({ "kind": "list", "items": items.iter().map(spans).collect::<Vec<_>>() })
        }
        Block::Table(table) => json!({
            "kind": "table", "caption": table.caption, "heads": table.heads,
            "numbers": table.numbers,
            "rows": table.rows.iter().map(|row| row.iter().map(spans).collect()).collect::<Vec<Vec<_>>>(),
        }),
        Block::Drawing { svg, words } => json!({
            "kind": "picture", "file": file("svg", svg.clone().into_bytes()), "words": words,
            "width": 100,
        }),
        Block::Photo { hash, caption } => {
            let found = photos(hash).and_then(|bytes| {
                let end = shown(&bytes)?.rsplit('/').next()?;
                is_a_picture(&bytes, end).then_some((end, bytes))
            });
            match found {
                Some((end, bytes)) => json!({
                    "kind": "picture", "file": file(end, bytes), "words": caption, "width": 60,
                }),
                None => {
                    let words = Text::from(t.tell("paper-photo-missing", &[("caption", caption)]));
                    json!({ "kind": "paragraph", "spans": spans(&words) })
                }
            }
        }
        Block::Blanks(labels) => json!({ "kind": "blanks", "labels": labels }),
    }
}

/// Whether the typesetter can show it: a photograph that was cut off must not keep a paper from being
/// made.
fn is_a_picture(bytes: &[u8], end: &str) -> bool {
    const ALONE: &str = "#set document(title: \"p\")\n#image(json(\"/data.json\"), alt: \"p\")";
    let name = format!("alone.{end}");
    let files = HashMap::from([(name.clone(), Bytes::new(bytes.to_vec()))]);
    set(ALONE, &json!(format!("/{name}")), files).is_ok()
}

#[derive(Serialize)]
struct Run<'t> {
    kind: &'static str,
    text: &'t str,
    /// Its language, where it is not the paper's.
    #[serde(skip_serializing_if = "Option::is_none")]
    lang: Option<&'static str>,
}

fn spans(text: &Text) -> Vec<Run<'_>> {
    text.0.iter().map(|span| run(span, None)).collect()
}

fn run<'t>(span: &'t Span, lang: Option<&'static str>) -> Run<'t> {
    let (kind, text) = match span {
        Span::Plain(text) => ("plain", text),
        Span::Strong(text) => ("strong", text),
        Span::Code(text) => ("code", text),
        Span::Other(tongue, span) => return run(span, Some(tongue.tag())),
    };
    Run { kind, text, lang }
}

/// A part of a tag as the typesetter's data.
fn card_part(block: &CardBlock) -> Value {
    match block {
        CardBlock::Headline { text } => json!({ "kind": "headline", "text": text }),
        CardBlock::Rule => json!({ "kind": "rule" }),
        CardBlock::Line { text } => json!({ "kind": "line", "spans": spans(text) }),
        CardBlock::Items { items } => {
            json!({ "kind": "items", "items": items.iter().map(spans).collect::<Vec<_>>() })
        }
        CardBlock::Field { name, value } => {
            json!({ "kind": "field", "name": name, "spans": spans(value) })
        }
        CardBlock::Digits { text } => json!({ "kind": "digits", "text": text }),
    }
}

/// Sets a template with its data; the PDF, and how many pages it has.
fn set(
    template: &str,
    data: &Value,
    files: HashMap<String, Bytes>,
) -> Result<(Vec<u8>, usize), PdfError> {
    let main = id("main.typ")?;
    let mut all = HashMap::from([(id("data.json")?, Bytes::from_string(data.to_string()))]);
    for (name, bytes) in files {
        all.insert(id(&name)?, bytes);
    }
    let desk = Desk {
        source: Source::new(main, template.to_owned()),
        files: all,
    };
    let document: PagedDocument = typst::compile(&desk).output.map_err(|e| words(&e))?;
    let options = PdfOptions {
        creator: Smart::Custom(Some("Ohmtrail".to_owned())),
        standards: PdfStandards::new(&[PdfStandard::Ua_1])
            .map_err(|e| PdfError(e.message().to_string()))?,
        ..PdfOptions::default()
    };
    let pdf = typst_pdf::pdf(&document, &options).map_err(|e| words(&e));
    // A paper is set once: what the typesetter keeps for the next is given back.
    typst::comemo::evict(0);
    Ok((pdf?, document.pages().len()))
}

fn words(errors: &[SourceDiagnostic]) -> PdfError {
    let all: Vec<&str> = errors.iter().map(|e| e.message.as_str()).collect();
    PdfError(all.join("; "))
}

/// The name of a file in the typesetter's world, which has no disk.
fn id(name: &str) -> Result<FileId, PdfError> {
    let path = VirtualPath::new(name).map_err(|_| PdfError(format!("no name: {name}")))?;
    Ok(RootedPath::new(VirtualRoot::Project, path).intern())
}

/// The typesetter's world: a template, its data and pictures, the fonts that come with it; no disk, no
/// network, no clock.
struct Desk {
    source: Source,
    files: HashMap<FileId, Bytes>,
}

struct Shelf {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
}

fn shelf() -> &'static Shelf {
    static SHELF: OnceLock<Shelf> = OnceLock::new();
    SHELF.get_or_init(|| {
        let fonts: Vec<Font> = typst_assets::fonts()
            .flat_map(|bytes| Font::iter(Bytes::new(bytes)))
            .collect();
        Shelf {
            library: LazyHash::new(Library::default()),
            book: LazyHash::new(FontBook::from_fonts(&fonts)),
            fonts,
        }
    })
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &shelf().library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &shelf().book
    }

    fn main(&self) -> FileId {
        self.source.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.source.id() {
            Ok(self.source.clone())
        } else {
            Err(FileError::NotSource)
        }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        shelf().fonts.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}
