//! A paper as one page of HTML: no script, no request to anywhere, headings and tables as a screen
//! reader needs them.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use ohmtrail_words::Tongue;
use sha2::{Digest, Sha256};

use crate::document::{Block, Document, Span, Table, Text};
use crate::photo::{Photos, shown};

/// What it looks like. It is within the page, so that a file by itself is whole.
const STYLE: &str = include_str!("paper.css");

/// The policy that such a page is served under: its one style by its hash (CSP Level 3, hash
/// sources), its pictures from within, nothing that runs, and no request to anywhere.
#[must_use]
pub fn content_security_policy() -> String {
    let style = STANDARD.encode(Sha256::digest(STYLE.as_bytes()));
    format!(
        "sandbox; default-src 'none'; style-src 'sha256-{style}'; img-src data:; \
         base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
}

impl Document {
    /// As HTML; `photos` gives a photograph's bytes, where it is there.
    #[must_use]
    pub fn html(&self, photos: Photos<'_>) -> String {
        let page = html! {
            (DOCTYPE)
            html lang=(self.tongue.tag()) {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="author" content=(self.author);
                    title { (self.title) }
                    style { (PreEscaped(STYLE)) }
                }
                body {
                    main {
                        h1 { (self.title) }
                        @for block in &self.blocks { (part(self.tongue, block, photos)) }
                    }
                    footer {
                        p { (self.tongue.say("paper-head-hash")) " " code { (self.head.join(" ")) } }
                    }
                }
            }
        };
        page.into_string()
    }
}

fn part(t: Tongue, block: &Block, photos: Photos<'_>) -> Markup {
    html! {
        @match block {
            Block::Heading(title) => h2 { (title) },
            Block::Part(title) => h3 { (title) },
            Block::Paragraph(words) => p { (text(words)) },
            Block::List(items) => ul { @for item in items { li { (text(item)) } } },
            Block::Table(shown) => (table(shown)),
            Block::Drawing { svg, words } => figure {
                img src=(data("image/svg+xml", svg.as_bytes())) alt=(words);
                figcaption { (words) }
            },
            Block::Photo { hash, caption } => @match photos(hash).and_then(|b| Some((shown(&b)?, b))) {
                Some((kind, bytes)) => figure {
                    img src=(data(kind, &bytes)) alt=(caption);
                    figcaption { (caption) }
                },
                None => p { (t.tell("paper-photo-missing", &[("caption", caption)])) },
            },
            Block::Blanks(labels) => @for label in labels { p.blank { (label) " " span {} } },
        }
    }
}

fn data(kind: &str, bytes: &[u8]) -> String {
    format!("data:{kind};base64,{}", STANDARD.encode(bytes))
}

fn text(words: &Text) -> Markup {
    html! { @for span in &words.0 { (run(span)) } }
}

fn run(span: &Span) -> Markup {
    html! {
        @match span {
            Span::Plain(text) => (text),
            Span::Strong(text) => strong { (text) },
            Span::Code(text) => code { (text) },
            Span::Other(tongue, span) => span lang=(tongue.tag()) { (run(span)) },
        }
    }
}

/// It can be scrolled by keys where it is wider than the screen.
fn table(shown: &Table) -> Markup {
    let side = |n: &usize| shown.numbers.contains(n).then_some("number");
    html! {
        div.wide tabindex="0" role="region" aria-label=(shown.caption) {
            table {
                caption { (shown.caption) }
                thead {
                    tr { @for (n, head) in shown.heads.iter().enumerate() { th scope="col" class=[side(&n)] { (head) } } }
                }
                tbody {
                    @for row in &shown.rows {
                        tr {
                            @for (n, cell) in row.iter().enumerate() {
                                @if n == 0 { th scope="row" class=[side(&n)] { (text(cell)) } }
                                @else { td class=[side(&n)] { (text(cell)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}
