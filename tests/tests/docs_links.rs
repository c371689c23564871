//! Every link of the README, DEVELOPERS.md and the book leads to a file, and to a heading of it;
//! and the code map names every crate.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use ohmtrail_tests::cli::workspace;

fn pages() -> Vec<PathBuf> {
    let root = workspace();
    let mut pages = vec![root.join("README.md"), root.join("DEVELOPERS.md")];
    for entry in fs::read_dir(root.join("docs")).expect("docs") {
        let path = entry.expect("an entry").path();
        if path.extension().is_some_and(|e| e == "md") {
            pages.push(path);
        }
    }
    pages
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The text outside fenced blocks.
fn prose(text: &str) -> String {
    let mut fenced = false;
    text.lines()
        .filter(|line| {
            let fence = line.starts_with("```");
            fenced ^= fence;
            !fenced && !fence
        })
        .fold(String::new(), |all, line| all + line + "\n")
}

/// Where the links of a page lead.
fn links(text: &str) -> Vec<String> {
    prose(text)
        .split("](")
        .skip(1)
        .filter_map(|rest| rest.split_once(')').map(|(to, _)| to.to_owned()))
        .collect()
}

/// The anchors of a page's headings: lower case, no punctuation, dashes for blanks.
fn anchors(text: &str) -> BTreeSet<String> {
    prose(text)
        .lines()
        .filter(|line| line.starts_with('#'))
        .map(|line| {
            line.trim_start_matches('#')
                .trim()
                .to_lowercase()
                .chars()
                .filter_map(|c| match c {
                    ' ' => Some('-'),
                    c if c.is_alphanumeric() || c == '-' || c == '_' => Some(c),
                    _ => None,
                })
                .collect()
        })
        .collect()
}

#[test]
fn every_link_leads_somewhere() {
    let mut count = 0;
    for page in pages() {
        for link in links(&read(&page)) {
            if link.starts_with("http") {
                continue;
            }
            count += 1;
            let (file, anchor) = link.split_once('#').unwrap_or((link.as_str(), ""));
            let target = if file.is_empty() {
                page.clone()
            } else {
                page.parent().expect("a folder").join(file)
            };
            assert!(target.exists(), "{}: {link}", page.display());
            assert!(
                anchor.is_empty() || anchors(&read(&target)).contains(anchor),
                "{}: no heading for {link}",
                page.display()
            );
        }
    }
    assert!(count > 20, "{count} links");
}

/// Every page of the book is in its index.
#[test]
fn the_index_names_every_page() {
    let index = read(&workspace().join("docs/README.md"));
    for page in pages().iter().skip(2) {
        let name = page.file_name().expect("a name").to_string_lossy();
        assert!(
            name == "README.md" || index.contains(&format!("]({name})")),
            "{name}"
        );
    }
}

/// Every crate has its place in the code map.
#[test]
fn the_code_map_names_every_crate() {
    let map = read(&workspace().join("DEVELOPERS.md"));
    for entry in fs::read_dir(workspace().join("crates")).expect("crates") {
        let entry = entry.expect("an entry");
        if entry.path().join("Cargo.toml").is_file() {
            let name = format!("crates/{}", entry.file_name().to_string_lossy());
            assert!(map.contains(&name), "{name}");
        }
    }
}
