//! Blocks of a page that are written from the code: between `<!-- begin NAME -->` and
//! `<!-- end NAME -->`.
//!
//! With `OHMTRAIL_BLESS` set, the page is rewritten with the blocks of now: look at the difference
//! before it is committed.
#![allow(dead_code, reason = "each test uses what it needs")]

use std::fs;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use ohmtrail_tests::cli::workspace;

/// Held while a page is read and rewritten: tests of one page run side by side.
static REWRITING: Mutex<()> = Mutex::new(());

/// The path of a page of the book.
fn path(page: &str) -> PathBuf {
    workspace().join("docs").join(page)
}

/// The text of a page of the book.
pub fn read(page: &str) -> String {
    let path = path(page);
    fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Where a block's lines stand in a page.
fn place(text: &str, name: &str) -> std::ops::Range<usize> {
    let (begin, end) = (
        format!("<!-- begin {name} -->\n"),
        format!("<!-- end {name} -->\n"),
    );
    let from = text.find(&begin).unwrap_or_else(|| panic!("no {begin}")) + begin.len();
    let length = text[from..]
        .find(&end)
        .unwrap_or_else(|| panic!("no {end}"));
    from..from + length
}

/// What stands in a block.
pub fn block(page: &str, name: &str) -> String {
    let text = read(page);
    text[place(&text, name)].to_owned()
}

/// Holds the blocks of a page against what they should say, or rewrites them.
pub fn in_step(page: &str, blocks: &[(&str, String)]) {
    let _held = REWRITING.lock().unwrap_or_else(PoisonError::into_inner);
    let mut text = read(page);
    if std::env::var_os("OHMTRAIL_BLESS").is_some() {
        for (name, now) in blocks {
            let at = place(&text, name);
            text.replace_range(at, now);
        }
        fs::write(path(page), text).expect("the page is rewritten");
        return;
    }
    for (name, now) in blocks {
        let at = place(&text, name);
        let line = text[..at.start].lines().count() + 1;
        let on_page: Vec<&str> = text[at].lines().collect();
        let now: Vec<&str> = now.lines().collect();
        for (n, (page_says, code_says)) in on_page.iter().zip(&now).enumerate() {
            assert_eq!(page_says, code_says, "docs/{page}:{}", line + n);
        }
        assert_eq!(on_page.len(), now.len(), "lines of `{name}` in docs/{page}");
    }
}
