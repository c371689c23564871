//! `ohmtrail bench` through the binary: the page of the book, exit codes, and tables that are wrong.

mod docs_blocks;

use std::fs;

use ohmtrail_tests::cli::{words_in as run, workspace};

/// A folder with the book's tables.
fn shop() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for table in ["repeat.csv", "drift.csv"] {
        let from = workspace().join("docs").join(table);
        fs::copy(from, folder.path().join(table)).expect("a table");
    }
    folder
}

#[test]
fn the_page_is_real() {
    let folder = shop();
    let examples = docs_blocks::consoles("shop-bench.md", folder.path());
    assert!(examples >= 2, "{examples}");
}

#[test]
fn exit_codes_say_how_it_came_out() {
    let folder = shop();
    let code = |arguments: &str| run(folder.path(), arguments).code;
    assert_eq!(code("bench repeat repeat.csv --tolerance 0.1"), 1);
    // Before the shift, which is invented into the table from its thirtieth line on.
    let table = fs::read_to_string(folder.path().join("drift.csv")).expect("a table");
    let quiet: Vec<&str> = table.lines().take(31).collect();
    fs::write(folder.path().join("quiet.csv"), quiet.join("\n")).expect("written");
    assert_eq!(
        code("bench drift quiet.csv --reference 35.20 --permitted 0.30"),
        0
    );
    assert_eq!(
        code("bench drift quiet.csv --reference 35.20 --permitted 0.04"),
        6
    );
    assert_eq!(
        code("bench drift quiet.csv --reference 34.20 --permitted 0.30"),
        1
    );
    assert_eq!(code("bench drift drift.csv --reference 35.20"), 1);
    let json = run(
        folder.path(),
        "bench drift drift.csv --reference 35.20 --json",
    )
    .json();
    let points = json["drift"]["points"].as_array().expect("a list").len();
    let since = json["drift"]["since"].as_u64().expect("a reading");
    assert_eq!(points, 44);
    assert!((25..=31).contains(&since), "{since}");
}

#[test]
fn a_table_that_is_wrong_says_what_where_and_what_to_do() {
    let folder = shop();
    let put = |text: &str| fs::write(folder.path().join("t.csv"), text).expect("written");
    for (text, command, says) in [
        (
            "part,person,value\na,x,1\na,x,2\nb,x,1\n",
            "repeat t.csv",
            "b was measured 1 time(s) by x, others 2",
        ),
        ("part,value\na,1\nb,2\n", "repeat t.csv", "at least twice"),
        ("part,value\na,1,5\n", "repeat t.csv", "line 2"),
        (
            "part,value\na,1.0 uF\n",
            "repeat t.csv",
            "line 2: \"1.0 uF\" is no number",
        ),
        (
            "when,worth\n",
            "drift t.csv --reference 1",
            "no column \"value\": it has when, worth",
        ),
        (
            "when,value\nmon,1\n",
            "drift t.csv --reference 1",
            "at least 10 are needed",
        ),
        ("", "repeat t.csv", "no column \"part\""),
    ] {
        put(text);
        let ran = run(folder.path(), &format!("bench {command}"));
        assert_eq!(ran.code, 3, "{text}: {}", ran.out);
        assert!(
            ran.err.contains("t.csv") && ran.err.contains(says),
            "{}",
            ran.err
        );
    }
    let ran = run(folder.path(), "bench repeat absent.csv");
    assert_eq!(ran.code, 3);
    assert!(ran.err.contains("absent.csv"), "{}", ran.err);
}
