//! A paper before it is set: what it says, in blocks. Each form (text, HTML, PDF) is made from it.

use ohmtrail_words::{Tongue, runs, unmarked};

/// A run of text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Span {
    /// As it is.
    Plain(String),
    /// What must be seen.
    Strong(String),
    /// A name or digits, letter by letter.
    Code(String),
    /// In another language than the paper.
    Other(Tongue, Box<Span>),
}

impl Span {
    /// Its words alone.
    #[must_use]
    pub fn words(&self) -> &str {
        match self {
            Span::Plain(text) | Span::Strong(text) | Span::Code(text) => text,
            Span::Other(_, span) => span.words(),
        }
    }
}

/// Runs of text, one behind another.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Text(pub Vec<Span>);

impl Text {
    /// With more behind it; what is marked in it as of another language stands by itself.
    #[must_use]
    pub fn plain(self, text: impl Into<String>) -> Self {
        self.spans(&text.into(), Span::Plain)
    }

    /// With something that must be seen behind it; marked as above.
    #[must_use]
    pub fn strong(self, text: impl Into<String>) -> Self {
        self.spans(&text.into(), Span::Strong)
    }

    fn spans(mut self, text: &str, of: fn(String) -> Span) -> Self {
        self.0.extend(runs(text).map(|run| {
            let span = of(run.words.to_owned());
            match run.other {
                Some(other) => Span::Other(other, Box::new(span)),
                None => span,
            }
        }));
        self
    }

    /// Its words alone.
    #[must_use]
    pub fn words(&self) -> String {
        self.0.iter().map(Span::words).collect()
    }

    /// With a name behind it.
    #[must_use]
    pub fn code(mut self, text: impl Into<String>) -> Self {
        self.0.push(Span::Code(text.into()));
        self
    }
}

impl<T: Into<String>> From<T> for Text {
    fn from(text: T) -> Self {
        Text::default().plain(text)
    }
}

/// A table. The first column names each row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// What it shows, in words.
    pub caption: String,
    /// The columns.
    pub heads: Vec<String>,
    /// Columns of numbers, which stand to the right.
    pub numbers: &'static [usize],
    /// The rows, each as long as the heads.
    pub rows: Vec<Vec<Text>>,
}

/// A part of a paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Block {
    /// The heading of what follows.
    Heading(String),
    /// The heading of a part of that.
    Part(String),
    /// A paragraph.
    Paragraph(Text),
    /// A list.
    List(Vec<Text>),
    /// A table.
    Table(Table),
    /// A drawing, as SVG, and what it shows in words.
    Drawing {
        /// The SVG.
        svg: String,
        /// What it shows.
        words: String,
    },
    /// A photograph, by its content hash.
    Photo {
        /// The hash.
        hash: [u8; 32],
        /// What it shows.
        caption: String,
    },
    /// Places to be filled in by hand.
    Blanks(Vec<String>),
}

/// A paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Document {
    /// The language that it is in.
    pub tongue: Tongue,
    /// Its title.
    pub title: String,
    /// Who made what it reports.
    pub author: String,
    /// The head hash of the trail that it was made from, in groups.
    pub head: Vec<String>,
    /// The day that it is of, year, month and day, where there is one.
    pub day: Option<(i32, u8, u8)>,
    /// What it says.
    pub blocks: Vec<Block>,
}

impl Document {
    /// Begins a paper.
    pub(crate) fn new(tongue: Tongue, title: &str) -> Self {
        Document {
            tongue,
            title: tongue.say(title),
            author: String::new(),
            head: Vec::new(),
            day: None,
            blocks: Vec::new(),
        }
    }

    /// A heading, by its message.
    pub(crate) fn section(&mut self, id: &str) {
        self.section_of(id, &[]);
    }

    /// A heading, by its message and what that names.
    pub(crate) fn section_of(&mut self, id: &str, named: &[(&str, &str)]) {
        let title = self.tongue.tell(id, named);
        self.blocks.push(Block::Heading(unmarked(&title)));
    }

    /// An item, by its message and what that names.
    pub(crate) fn told(&mut self, id: &str, named: &[(&str, &str)]) {
        self.item(self.tongue.tell(id, named));
    }

    pub(crate) fn line(&mut self, text: impl Into<Text>) {
        self.blocks.push(Block::Paragraph(text.into()));
    }

    /// One more item of the list that stands last, or the first of one.
    pub(crate) fn item(&mut self, text: impl Into<Text>) {
        match self.blocks.last_mut() {
            Some(Block::List(items)) => items.push(text.into()),
            _ => self.blocks.push(Block::List(vec![text.into()])),
        }
    }
}
