//! A paper as Markdown that reads as plain text.

use std::fmt::Write as _;

use crate::document::{Block, Document, Span, Text};

impl Document {
    /// As Markdown (CommonMark, with tables).
    #[must_use]
    pub fn markdown(&self) -> String {
        let mut out = format!("# {}\n", self.title);
        for block in &self.blocks {
            out.push('\n');
            match block {
                Block::Heading(title) => line(&mut out, &format!("## {title}")),
                Block::Part(title) => line(&mut out, &format!("### {title}")),
                Block::Paragraph(text) => line(&mut out, &words(text)),
                Block::List(items) => {
                    for item in items {
                        line(&mut out, &format!("- {}", words(item)));
                    }
                }
                Block::Table(table) => {
                    row(&mut out, table.heads.iter().cloned());
                    let rule = (0..table.heads.len()).map(|n| {
                        let side = if table.numbers.contains(&n) {
                            "---:"
                        } else {
                            "---"
                        };
                        side.to_owned()
                    });
                    line(
                        &mut out,
                        &format!("|{}|", rule.collect::<Vec<_>>().join("|")),
                    );
                    for cells in &table.rows {
                        row(&mut out, cells.iter().map(|c| cell(&words(c))));
                    }
                }
                Block::Drawing { words, .. } => line(&mut out, &format!("({words})")),
                Block::Photo { hash, caption } => {
                    let hex: String = hash.iter().map(|b| format!("{b:02x}")).collect();
                    let words = self.tongue.tell("paper-photo", &[("caption", caption)]);
                    line(&mut out, &format!("- {words} (`{hex}`)"));
                }
                Block::Blanks(labels) => {
                    for label in labels {
                        line(
                            &mut out,
                            &format!("{label} ______________________________\n"),
                        );
                    }
                }
            }
        }
        out
    }
}

fn line(out: &mut String, text: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{text}");
}

fn row(out: &mut String, cells: impl Iterator<Item = String>) {
    let cells: Vec<String> = cells.collect();
    line(out, &format!("| {} |", cells.join(" | ")));
}

/// A cell's words cannot end it.
fn cell(text: &str) -> String {
    text.replace('|', "\\|").replace('\n', " ")
}

fn words(text: &Text) -> String {
    text.0.iter().map(run).collect()
}

fn run(span: &Span) -> String {
    match span {
        Span::Plain(text) => text.clone(),
        Span::Strong(text) => format!("**{text}**"),
        Span::Code(text) => format!("`{text}`"),
        Span::Other(_, span) => run(span),
    }
}
