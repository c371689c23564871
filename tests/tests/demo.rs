//! The demo as its user runs it: the simulated meters' bytes through pseudo-terminals, a finding,
//! the tag, and a trail that verifies.

use ohmtrail_tests::cli::{ohmtrail, run};
use serde_json::Value;

/// Runs the demo and returns its lines.
fn demo(folder: &std::path::Path, more: &[&str]) -> (i32, Vec<Value>) {
    let trail = folder.join("demo.trail");
    let done = ohmtrail()
        .args(["demo", "--json", "--trail"])
        .arg(&trail)
        .args(more)
        .output()
        .expect("the demo runs");
    let text = String::from_utf8(done.stdout).expect("the demo writes text");
    let lines = text
        .lines()
        .map(|line| serde_json::from_str(line).expect("each line is JSON"))
        .collect();
    (done.status.code().unwrap_or(-1), lines)
}

fn finding(lines: &[Value]) -> &Value {
    lines
        .iter()
        .find_map(|line| line.get("finding"))
        .expect("the demo ends with a finding")
}

fn names(value: &Value) -> Vec<&str> {
    let list = value.as_array().expect("a list");
    list.iter().filter_map(Value::as_str).collect()
}

#[test]
fn the_everyday_case_names_both_sections_and_never_the_compressor() {
    let folder = tempfile::tempdir().expect("a folder");
    let (code, lines) = demo(folder.path(), &["--seed", "3"]);
    assert_eq!(code, 0);
    let finding = finding(&lines);
    assert_eq!(
        names(&finding["faults"]),
        ["run-cap.herm-open", "run-cap.fan-open"]
    );
    let follows = names(&finding["consequences"]).join("; ");
    assert!(
        follows.contains("compressor.overload-open-from-heat"),
        "{follows}"
    );
    assert!(
        follows.contains("fan-motor.overload-open-from-heat"),
        "{follows}"
    );
    let unproven = finding["unproven"].to_string();
    assert!(unproven.contains("when cool"), "{unproven}");
    // The gates were opened by measuring, in their order.
    let gates: Vec<&str> = lines
        .iter()
        .filter_map(|l| l.get("gate"))
        .filter(|g| g["open"] == true)
        .filter_map(|g| g["name"].as_str())
        .collect();
    assert_eq!(gates[0], "proved-dead");
    assert!(gates.contains(&"discharged-to-measure"));
    let tag = lines.last().expect("lines")["tag"].as_str().expect("a tag");
    assert!(
        tag.contains("SIMULATED") && tag.contains("capacitor"),
        "{tag}"
    );

    let trail = folder.path().join("demo.trail");
    let trail = trail.to_str().expect("a plain path");
    let verified = run(["trail", "verify", trail]);
    assert_eq!(verified.code, 0, "{}", verified.err);
    let write_up = run(["paper", "write-up", trail]);
    assert_eq!(write_up.code, 0, "{}", write_up.err);
    assert!(write_up.out.contains("run-cap"), "{}", write_up.out);
    // A trail that was tampered with is not made into a paper.
    let mut bytes = std::fs::read(trail).expect("the trail is there");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    std::fs::write(trail, bytes).expect("writable");
    assert_eq!(run(["paper", "tag", trail]).code, 5);
}

#[test]
fn a_fault_that_is_named_is_found() {
    for fault in ["contactor.coil-open", "reversing-valve.shorted"] {
        let folder = tempfile::tempdir().expect("a folder");
        let (code, lines) = demo(folder.path(), &["--fault", fault]);
        assert_eq!(code, 0, "{fault}");
        assert_eq!(names(&finding(&lines)["faults"]), [fault]);
    }
    let wrong = run(["demo", "--fault", "contactor.tired"]);
    assert_eq!(wrong.code, 3);
    assert!(wrong.err.contains("sheet faults"), "{}", wrong.err);
}

/// From the tag of the everyday visit to proven, in one run: two trails, linked.
#[test]
fn the_everyday_repair_is_proven() {
    let folder = tempfile::tempdir().expect("a folder");
    let (code, lines) = demo(folder.path(), &["--repair"]);
    let ends: Vec<&Value> = lines.iter().filter_map(|l| l.get("repair")).collect();
    assert_eq!(ends.len(), 1, "one repair");
    assert_eq!(ends[0]["proved"], "proven", "{:#}", ends[0]["why"]);
    assert_eq!(code, 0);
    let tags: Vec<&str> = lines.iter().filter_map(|l| l["tag"].as_str()).collect();
    assert!(tags[0].contains("DO NOT ENERGISE"), "{}", tags[0]);
    assert!(tags[1].contains("LEFT UNDER POWER"), "{}", tags[1]);
    assert!(tags[1].contains("PROVEN"), "{}", tags[1]);
    // The part was fitted by its stamp, and nothing of the first visit opened a gate of the second.
    let fitted = lines.iter().find_map(|l| l.get("fitted")).expect("a part");
    assert_eq!(
        (&fitted["part"], &fitted["matches"]),
        (&"run-cap".into(), &true.into())
    );
    let acts = |name: &str| lines.iter().filter(|l| l["ask"]["act"] == name).count();
    assert_eq!((acts("fit"), acts("close-breaker")), (1, 1));
    assert!(acts("check-wire") >= 4, "{}", acts("check-wire"));
    let dead = |l: &&Value| l["gate"]["name"] == "proved-dead" && l["gate"]["open"] == true;
    assert!(lines.iter().filter(dead).count() >= 2);

    let [first, second] = ["demo.trail", "demo.repair.trail"].map(|n| folder.path().join(n));
    let [first, second] = [&first, &second].map(|p| p.to_str().expect("a plain path"));
    for trail in [first, second] {
        let verified = run(["trail", "verify", trail]);
        assert_eq!(verified.code, 0, "{}", verified.err);
    }
    let show = run(["trail", "show", second, "--json"]);
    assert!(show.out.contains("repair-ended"), "{}", show.out);
    let paper = run(["paper", "write-up", second]);
    assert_eq!(paper.code, 0, "{}", paper.err);
    for words in [
        "Write-up of a repair",
        "Before and after",
        "Fitted",
        "Proven:",
        "option a",
    ] {
        assert!(paper.out.contains(words), "{words}: {}", paper.out);
    }
}

/// What the README shows of a run is what one says, line for line and in its order.
#[test]
fn the_readme_shows_what_a_run_says() {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../README.md");
    let readme = std::fs::read_to_string(root).expect("the README");
    let shown = readme
        .split_once("<!-- begin demo -->")
        .and_then(|(_, rest)| rest.split_once("<!-- end demo -->"))
        .and_then(|(shown, _)| shown.split_once("```text\n"))
        .and_then(|(_, shown)| shown.split_once("```"));
    let (shown, _) = shown.expect("an excerpt");
    let folder = tempfile::tempdir().expect("a folder");
    let trail = folder.path().join("demo.trail");
    let ran = ohmtrail().args(["demo", "--trail"]).arg(trail).output();
    let text = String::from_utf8(ran.expect("the demo runs").stdout).expect("text");
    let mut says = text.lines();
    let lines: Vec<&str> = shown.lines().filter(|l| l.trim() != "…").collect();
    assert!(lines.len() > 8, "{lines:?}");
    for line in lines {
        assert!(
            says.any(|said| said.trim_end() == line),
            "README.md: no run says this, at this place: {line}"
        );
    }
}
