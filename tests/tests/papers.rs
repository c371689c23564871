//! Papers as a user makes them: from the trail of a visit, as text, HTML and PDF; a quote, and what is
//! decided on it. The PDF is read by pypdf, a library of others.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use ohmtrail_tests::cli::{Ran, ohmtrail, workspace};
use serde_json::Value;

const QUOTE: &str = r#"
currency = "USD"
valid-until = "2099-12-31"
tax-percent = "8.25"

[[option]]
name = "a"
title = "Replace the run capacitor by an invented one"
recommended = true
line = [
    { what = "run capacitor 45+5 uF, 440 V <invented>", kind = "part", price = "38.50", taxed = true },
    { what = "work on the roof", kind = "labour", quantity = "1.25", price = "95.00" },
]

[[option]]
name = "b"
title = "Replace capacitor and contactor"
line = [{ what = "both, and work", kind = "other", price = "412.00", taxed = true }]
"#;

fn run(folder: &Path, args: &[&str]) -> Ran {
    ohmtrail()
        .args(args)
        .current_dir(folder)
        .output()
        .expect("it starts")
        .into()
}

/// The trail of an invented visit, which has ended.
fn visit(folder: &Path) -> PathBuf {
    let ran = run(folder, &["demo", "--seed", "1", "--trail", "visit.trail"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    folder.join("visit.trail")
}

fn head(folder: &Path) -> String {
    let ran = run(folder, &["--json", "trail", "verify", "visit.trail"]);
    let said: Value = serde_json::from_str(&ran.out).expect("JSON");
    said["head"].as_str().expect("a hash").to_owned()
}

/// What pypdf says of a file.
fn read_pdf(path: &Path) -> Value {
    const SCRIPT: &str = r#"
import json, sys
from pypdf import PdfReader
r = PdfReader(sys.argv[1])
root = r.trailer["/Root"]
fonts = {}
def walk(tag):
    tag = tag.get_object()
    kinds.append(str(tag.get("/S")))
    alt.extend([str(tag["/Alt"])] if "/Alt" in tag else [])
    for kid in [tag["/K"]] if "/K" in tag and not isinstance(tag["/K"], list) else tag.get("/K", []):
        kid = kid.get_object()
        if hasattr(kid, "get") and "/S" in kid: walk(kid)
kinds, alt = [], []
tree = root["/StructTreeRoot"]
for kid in tree["/K"] if isinstance(tree["/K"], list) else [tree["/K"]]: walk(kid)
for page in r.pages:
    for name, font in page["/Resources"].get("/Font", {}).items():
        font = font.get_object()
        inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
        d = inner["/FontDescriptor"].get_object()
        fonts[str(font["/BaseFont"])] = any(k in d for k in ("/FontFile", "/FontFile2", "/FontFile3"))
box = r.pages[0].mediabox
print(json.dumps({
    "text": "\n".join(p.extract_text() for p in r.pages), "pages": len(r.pages), "fonts": fonts,
    "title": r.metadata.title, "author": r.metadata.author, "creator": r.metadata.creator,
    "lang": str(root.get("/Lang")), "marked": bool(root["/MarkInfo"]["/Marked"]),
    "ua": "pdfuaid" in root["/Metadata"].get_data().decode(), "kinds": kinds, "alt": alt,
    "mm": [float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4],
}))
"#;
    let python = std::env::var_os("OHMTRAIL_PYTHON")
        .expect("OHMTRAIL_PYTHON names a Python with pypdf: run `cargo xtask test`");
    let ran: Ran = Command::new(python)
        .args(["-c", SCRIPT])
        .arg(path)
        .output()
        .expect("Python starts")
        .into();
    assert_eq!(ran.code, 0, "{}", ran.err);
    serde_json::from_str(&ran.out).expect("JSON")
}

fn sound(pdf: &Value) {
    assert_eq!(pdf["lang"], "en");
    assert_eq!((&pdf["marked"], &pdf["ua"]), (&true.into(), &true.into()));
    assert_eq!(pdf["creator"], "Ohmtrail");
    let fonts = pdf["fonts"].as_object().expect("fonts");
    assert!(
        !fonts.is_empty() && fonts.values().all(|embedded| *embedded == true),
        "{fonts:?}"
    );
}

fn close(measured: &Value, expected: [f64; 2]) -> bool {
    let mm = measured.as_array().expect("a size");
    mm.iter()
        .zip(expected)
        .all(|(m, e)| (m.as_f64().expect("a number") - e).abs() < 0.1)
}

#[test]
fn a_quote_is_decided_on_the_paper_that_has_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    visit(folder);
    let before = head(folder);
    fs::write(folder.join("quote.toml"), QUOTE).expect("a quote");
    let decide = |paper: &str, option: &str| {
        let decide = [
            "quote",
            "decide",
            "visit.trail",
            "--paper",
            paper,
            "--option",
            option,
        ];
        let by = [
            "--by",
            "an invented owner",
            "--means",
            "signed on the paper",
        ];
        run(folder, &[&decide[..], &by[..]].concat())
    };
    let early = decide(&before, "a");
    assert_eq!(early.code, 3, "{}", early.out);
    assert!(
        early.err.contains("nothing was quoted yet"),
        "{}",
        early.err
    );

    let added = run(
        folder,
        &["quote", "add", "visit.trail", "--from", "quote.toml"],
    );
    assert_eq!(added.code, 0, "{}", added.err);
    // Worked by hand: 38.50 + 1.25 x 95.00 = 157.25; 8.25 % of 38.50 is 3.17625.
    assert!(
        added
            .out
            .contains("USD 160.43, of that tax 3.18, recommended"),
        "{}",
        added.out
    );
    // 412.00 and 8.25 % of it, 33.99.
    assert!(
        added.out.contains("USD 445.99, of that tax 33.99"),
        "{}",
        added.out
    );

    // The paper from before the quote is another one.
    let older = decide(&before, "a");
    assert_eq!(older.code, 3, "{}", older.out);
    assert!(older.err.contains("make it anew"), "{}", older.err);
    let other = decide(&"0".repeat(64), "a");
    assert!(other.err.contains("does not hold"), "{}", other.err);
    let paper = head(folder);
    let wrong = decide(&paper, "c");
    assert!(wrong.err.contains("it has a, b"), "{}", wrong.err);
    let text = run(folder, &["paper", "write-up", "visit.trail"]).out;
    for part in [
        "Option a: Replace the run capacitor",
        "| to pay |",
        "160.43",
        "Option approved:",
    ] {
        assert!(text.contains(part), "`{part}` is missing:\n{text}");
    }

    let done = decide(&paper, "a");
    assert_eq!(done.code, 0, "{}", done.err);
    let after = run(folder, &["paper", "write-up", "visit.trail"]).out;
    assert!(
        after
            .contains("option a of quote 1 was approved by an invented owner, signed on the paper"),
        "{after}"
    );
    assert!(
        !after.contains("Option approved:"),
        "no space for what was decided:\n{after}"
    );
    let verified = run(
        folder,
        &["trail", "verify", "visit.trail", "--head", &paper],
    );
    assert_eq!(verified.code, 0, "{}", verified.out);
    let shown = run(folder, &["trail", "show", "visit.trail"]);
    assert!(shown.out.contains("an invented owner"), "{}", shown.out);
}

/// The example of docs/paper.md is a quote, and comes to what is worked out by hand above.
#[test]
fn the_pages_example_is_a_quote() {
    let page = fs::read_to_string(workspace().join("docs/paper.md")).expect("the page");
    let (_, rest) = page.split_once("```toml\n").expect("an example");
    let (example, _) = rest.split_once("```").expect("its end");
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    visit(folder);
    fs::write(folder.join("quote.toml"), example).expect("a quote");
    let added = run(
        folder,
        &["quote", "add", "visit.trail", "--from", "quote.toml"],
    );
    assert_eq!(added.code, 0, "{}", added.err);
    assert!(
        added.out.contains("USD 160.43, of that tax 3.18"),
        "{}",
        added.out
    );
}

#[test]
fn what_is_no_quote_is_refused_with_its_place() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    let trail = visit(folder);
    let bytes = fs::read(&trail).expect("the trail");
    for (from, to, why) in [
        ("USD", "QQQ", "is no currency"),
        ("\"38.50\"", "\"38.505\"", "at most 2 after the point"),
        ("\"38.50\"", "38.50", "price"),
        ("2099-12-31", "31.12.2099", "is no day"),
        ("name = \"b\"", "name = \"a\"", "no other option has"),
        (
            "\"412.00\"",
            "\"180000000000000000\"",
            "more than can be counted",
        ),
    ] {
        fs::write(folder.join("quote.toml"), QUOTE.replace(from, to)).expect("a quote");
        let ran = run(
            folder,
            &["quote", "add", "visit.trail", "--from", "quote.toml"],
        );
        assert_eq!(ran.code, 3, "{to}: {}", ran.out);
        assert!(ran.err.contains(why), "{to}: {}", ran.err);
    }
    assert_eq!(
        fs::read(&trail).expect("the trail"),
        bytes,
        "nothing came into it"
    );
}

#[test]
fn the_write_up_as_pdf_is_tagged_and_whole() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    visit(folder);
    fs::write(folder.join("quote.toml"), QUOTE).expect("a quote");
    let added = run(
        folder,
        &["quote", "add", "visit.trail", "--from", "quote.toml"],
    );
    assert_eq!(added.code, 0, "{}", added.err);
    let made = |size: &str| {
        let form = ["--form", "pdf", "--size", size, "--output", "paper.pdf"];
        let ran = run(
            folder,
            &[&["paper", "write-up", "visit.trail"][..], &form[..]].concat(),
        );
        assert_eq!(ran.code, 0, "{}", ran.err);
        read_pdf(&folder.join("paper.pdf"))
    };
    let letter = made("letter");
    assert!(close(&letter["mm"], [215.9, 279.4]), "{}", letter["mm"]);
    let pdf = made("a4");
    assert!(close(&pdf["mm"], [210.0, 297.0]), "{}", pdf["mm"]);
    sound(&pdf);
    assert_eq!(pdf["title"], "Write-up of a visit");
    let text: String = pdf["text"]
        .as_str()
        .expect("text")
        .split_whitespace()
        .collect();
    for part in [
        "Made from a simulated unit",
        "Why it is believed",
        "Ruled out",
        "Still unproven",
        "run capacitor 45+5 uF, 440 V <invented>",
        "160.43",
        "Option approved:",
        &head(folder),
    ] {
        let flat: String = part.split_whitespace().collect();
        assert!(text.contains(&flat), "`{part}` is missing: {}", pdf["text"]);
    }
    let kinds = pdf["kinds"].as_array().expect("tags");
    for kind in [
        "/Title", "/H1", "/Table", "/TH", "/TD", "/L", "/LI", "/Figure", "/Caption",
    ] {
        assert!(kinds.iter().any(|k| k == kind), "no {kind} in {kinds:?}");
    }
    let alt = pdf["alt"].as_array().expect("words");
    assert!(
        alt.iter().any(|a| a
            .as_str()
            .is_some_and(|a| a.contains("between their limits"))),
        "{alt:?}"
    );
}

#[test]
fn the_tag_as_pdf_is_one_card() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    visit(folder);
    let ran = run(
        folder,
        &[
            "paper",
            "tag",
            "visit.trail",
            "--form",
            "pdf",
            "--output",
            "tag.pdf",
        ],
    );
    assert_eq!(ran.code, 0, "{}", ran.err);
    let pdf = read_pdf(&folder.join("tag.pdf"));
    sound(&pdf);
    assert_eq!(pdf["pages"], 1);
    assert!(close(&pdf["mm"], [74.0, 105.0]), "{}", pdf["mm"]);
    let text = pdf["text"].as_str().expect("text");
    for part in ["DO NOT ENERGISE", "SIMULATED", "Test before you touch"] {
        assert!(text.contains(part), "`{part}` is missing: {text}");
    }
    // Without a place to write it, a PDF is not poured over a terminal.
    let ran = run(folder, &["paper", "tag", "visit.trail", "--form", "pdf"]);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{}", ran.err);
}

#[test]
fn the_write_up_as_html_is_one_file_that_asks_for_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    visit(folder);
    fs::write(folder.join("quote.toml"), QUOTE).expect("a quote");
    run(
        folder,
        &["quote", "add", "visit.trail", "--from", "quote.toml"],
    );
    let ran = run(
        folder,
        &["paper", "write-up", "visit.trail", "--form", "html"],
    );
    assert_eq!(ran.code, 0, "{}", ran.err);
    let page = &ran.out;
    for part in [
        "<html lang=\"en\">",
        "<title>Write-up of a visit</title>",
        "<main>",
        "<h1>",
    ] {
        assert!(page.contains(part), "`{part}` is missing");
    }
    for part in ["<script", "http://", "https://", "<link", "<invented>"] {
        assert!(!page.contains(part), "`{part}` is there");
    }
    assert!(
        page.contains("&lt;invented&gt;"),
        "what was written is shown as it was written"
    );
    let tables = page.matches("<table>").count();
    assert!(tables >= 3 && page.matches("<caption>").count() == tables);
    assert!(page.matches("scope=\"col\"").count() > 3 * 6);
    assert!(page.contains("data:image/svg+xml;base64,"));
}
