//! The service's files: what they name is there, and what a service must not have is shut. The
//! tools that know all of their syntax (systemd-analyze, udevadm) are not needed.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::net::UnixDatagram;
use std::process::{Command, Stdio};

use ohmtrail_tests::cli::{run, workspace};
use ohmtrail_tests::daemon::{Daemon, PATIENCE};

fn file(name: &str) -> String {
    let path = workspace().join("crates/daemon/packaging").join(name);
    fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The unit's settings by section: systemd.syntax(7), without what this file does not use.
fn unit() -> BTreeMap<(String, String), Vec<String>> {
    let text = file("ohmtrail.service");
    let mut section = String::new();
    let mut settings: BTreeMap<(String, String), Vec<String>> = BTreeMap::new();
    for line in text
        .lines()
        .filter(|l| !l.is_empty() && !l.starts_with('#'))
    {
        if let Some(name) = line.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
            section = name.to_owned();
            continue;
        }
        let (key, value) = line
            .split_once('=')
            .unwrap_or_else(|| panic!("no setting: {line}"));
        assert!(
            key.chars().all(|c| c.is_ascii_alphanumeric()),
            "no key: {line}"
        );
        let key = (section.clone(), key.to_owned());
        settings.entry(key).or_default().push(value.to_owned());
    }
    settings
}

#[test]
fn the_unit_starts_what_there_is_and_shuts_what_is_not_needed() {
    let unit = unit();
    let get = |key: &str| {
        let values = unit.get(&("Service".to_owned(), key.to_owned()));
        values.unwrap_or_else(|| panic!("no {key}")).join(" ")
    };
    let sections: std::collections::BTreeSet<&str> = unit.keys().map(|k| k.0.as_str()).collect();
    assert_eq!(
        sections.into_iter().collect::<Vec<_>>(),
        ["Install", "Service", "Unit"]
    );
    assert_eq!(get("Type"), "notify");
    for (key, value) in [
        ("DynamicUser", "yes"),
        ("NoNewPrivileges", "yes"),
        ("CapabilityBoundingSet", ""),
        ("ProtectSystem", "strict"),
        ("ProtectHome", "yes"),
        ("MemoryDenyWriteExecute", "yes"),
        ("DevicePolicy", "closed"),
        ("UMask", "0077"),
    ] {
        assert_eq!(get(key), value, "{key}");
    }
    // Its command line is one that the program takes, with systemd's specifier filled in.
    let exec = get("ExecStart").replace("%S", "/var/lib");
    let words: Vec<&str> = exec.split_whitespace().skip(1).collect();
    let (command, options) = words.split_first().expect("a command");
    assert_eq!(*command, "serve");
    let shown = run(["config", "show", "--json"].iter().chain(options));
    let json = shown.json();
    assert_eq!(json["values"]["data"]["value"], "/var/lib/ohmtrail");
    assert_eq!(get("StateDirectory"), "ohmtrail");
}

#[test]
fn the_rule_is_one_match_and_assignment_after_the_other() {
    let text = file("70-ohmtrail.rules");
    let rules: Vec<&str> = text.lines().filter(|l| !l.starts_with('#')).collect();
    assert_eq!(rules.len(), 2);
    for rule in rules {
        for part in rule.split(", ") {
            let (key, rest) = part.split_once(['=', '!', '+']).expect("an operator");
            let known = ["ACTION", "SUBSYSTEM", "KERNEL", "GROUP", "MODE", "TAG"];
            assert!(known.contains(&key) || key.starts_with("ENV{"), "{part}");
            let value = rest.trim_start_matches('=');
            assert!(value.starts_with('"') && value.ends_with('"'), "{part}");
        }
    }
}

#[test]
fn the_service_manager_is_told_of_ready_alive_and_stopping() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("notify");
    let manager = UnixDatagram::bind(&path).expect("bound");
    manager.set_read_timeout(Some(PATIENCE)).expect("set");
    let heard = || {
        let mut buffer = [0; 64];
        let count = manager.recv(&mut buffer).expect("a datagram");
        String::from_utf8_lossy(&buffer[..count]).into_owned()
    };
    let data = tempfile::tempdir().expect("a folder");
    let mut command = Daemon::command(&data, "");
    command
        .args(["--listen", "127.0.0.1:0"])
        .env("NOTIFY_SOCKET", &path)
        .env("WATCHDOG_USEC", "200000")
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let mut child = command.spawn().expect("it starts");
    // Alive may come before ready: both come, and alive again and again.
    let mut said = Vec::new();
    while said.iter().filter(|s| *s == "WATCHDOG=1").count() < 3
        || !said.contains(&"READY=1".to_owned())
    {
        said.push(heard());
        assert!(said.len() < 100, "{said:?}");
    }
    let id = child.id().to_string();
    assert!(
        Command::new("kill")
            .args(["-TERM", &id])
            .status()
            .expect("kill")
            .success()
    );
    while heard() != "STOPPING=1" {}
    assert!(child.wait().expect("it ends").success());
}
