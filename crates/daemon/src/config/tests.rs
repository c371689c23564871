//! The configuration: what is read, what is refused and with which words.

use std::path::{Path, PathBuf};

use super::keys::{Key, Kind};
use super::*;

fn places() -> Places {
    Places::of(&[("HOME", "/home/ana")])
}

fn read_with(text: &str, flags: &Flags) -> Result<Loaded, ConfigError> {
    Loaded::read(Path::new("/etc/truck/config.toml"), text, flags, &places())
}

fn read(text: &str) -> Result<Loaded, ConfigError> {
    read_with(text, &Flags::default())
}

fn problems(text: &str) -> Vec<String> {
    match read(text) {
        Err(ConfigError::Wrong(Problems(problems))) => {
            problems.iter().map(ToString::to_string).collect()
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn an_empty_file_is_the_defaults() {
    let config = read("").expect("read").config;
    assert_eq!(config.data, Path::new("/home/ana/.local/share/ohmtrail"));
    assert_eq!(
        config.listen.addresses,
        ["127.0.0.1:8740".parse().expect("one")]
    );
    assert!(config.listen.is_loopback() && !config.listen.needs_session());
    assert_eq!(config.code_lasts, Duration::from_secs(300));
    assert_eq!(config.limits.body, 1 << 20);
    assert_eq!(config.log.level, "info");
    assert!(config.meters.is_empty());
}

/// Another value than the default, of every key.
fn other(key: &Key) -> String {
    match (key.name, key.kind) {
        ("addresses", _) => r#"["0.0.0.0:1", "[::1]:2"]"#.into(),
        ("origins", _) => r#"["https://truck.example"]"#.into(),
        ("spec", _) => r#""keyed""#.into(),
        (_, Kind::Text | Kind::Path) => format!("\"{}\"", key.name),
        (_, Kind::OneOf(words)) => format!("\"{}\"", words.last().expect("a word")),
        (_, Kind::Count { min, .. }) => min.to_string(),
        (_, Kind::Switch) => "true".into(),
        (_, Kind::Texts) => panic!("{} has no other value here", key.name),
    }
}

fn written(value: impl Fn(&Key) -> Option<String>) -> String {
    let mut text = String::new();
    for (table, _) in keys::TABLES {
        match table {
            "" => {}
            METER_TABLE => text.push_str("[[meter]]\n"),
            table => text.push_str(&format!("[{table}]\n")),
        }
        for key in keys::of(table) {
            if let Some(value) = value(key) {
                text.push_str(&format!("{} = {value}\n", key.name));
            }
        }
    }
    text
}

const METER_TABLE: &str = keys::METER;

#[test]
fn every_key_is_read_and_changes_something() {
    let defaults = written(|key| key.default.map(str::to_owned).or_else(|| Some(other(key))));
    let before = format!("{:?}", read(&defaults).expect("read").config);
    for key in keys::KEYS {
        let text = written(|k| {
            let is_it = (k.table, k.name) == (key.table, key.name);
            let default = k.default.map(str::to_owned).or_else(|| Some(other(k)));
            match (is_it, key.default) {
                (true, None) => Some(format!("\"{}-2\"", other(k).trim_matches('"'))),
                (true, Some(_)) => Some(other(k)),
                (false, _) => default,
            }
        });
        if key.name == "spec" {
            continue; // A second spec that is one: below.
        }
        let after = format!("{:?}", read(&text).unwrap_or_else(|e| panic!("{e}")).config);
        assert_ne!(before, after, "{} changes nothing", full_name(key));
    }
    let meters = "[[meter]]\nname = \"a\"\nspec = \"tcp:truck.example:5025,frame=scpi\"\n";
    let config = read(meters).expect("read").config;
    assert!(format!("{:?}", config.meters[0].spec).contains("truck.example"));
}

#[test]
fn what_is_shown_reads_back_as_the_same() {
    let text = written(|key| Some(other(key)));
    let loaded = read(&text).expect("read");
    let shown = to_toml(&loaded);
    let again = read(&shown).unwrap_or_else(|e| panic!("{e} in {shown}"));
    assert_eq!(
        format!("{:?}", again.config),
        format!("{:?}", loaded.config)
    );
    assert!(shown.contains("code-seconds = 30  # line 7"), "{shown}");
    let json = to_json(&loaded);
    assert_eq!(json["values"]["pairing.attempts"]["value"], 1);
    assert_eq!(json["meters"][0]["spec"], "keyed");
}

#[test]
fn flags_go_before_the_file_and_the_file_before_defaults() {
    let text = "data = \"visits\"\n[listen]\naddresses = [\"0.0.0.0:1\"]\n";
    let loaded = read(text).expect("read");
    assert_eq!(
        loaded.config.data,
        Path::new("/etc/truck/visits"),
        "from the file's folder"
    );
    assert!(loaded.config.listen.needs_session());
    let flags = Flags {
        data: Some(PathBuf::from("here")),
        listen: vec!["127.0.0.1:0".parse().expect("one")],
    };
    let loaded = read_with(text, &flags).expect("read");
    assert_eq!(loaded.config.data, Path::new("here"));
    assert!(!loaded.config.listen.needs_session());
    let shown = to_toml(&loaded);
    assert!(
        shown.contains("addresses = [\"127.0.0.1:0\"]  # command line"),
        "{shown}"
    );
    let home = read("data = \"~/visits\"").expect("read").config.data;
    assert_eq!(home, Path::new("/home/ana/visits"));
}

#[test]
fn a_name_for_the_daemon_makes_sessions_needed() {
    let text = "[listen]\norigins = [\"http://truck.example:8740\"]\n";
    assert!(read(text).expect("read").config.listen.needs_session());
    let text = "[listen]\npair-always = true\n";
    assert!(read(text).expect("read").config.listen.needs_session());
}

#[test]
fn everything_wrong_is_said_at_once_with_line_key_and_remedy() {
    let text = "\
dat = \"x\"
burst = 3

[listen]
addresses = [\"127.0.0.1\"]
origin = []
pair-always = \"yes\"

[limit]
burst = 3

[limits]
burst = 0
body-bytes = 1.5

[log]
level = \"inf\"

[[meter]]
name = \"a b\"

[[meter]]
name = \"clamp\"
spec = \"serial:/dev/ttyUSB0,frame=lcd41\"

[[meter]]
name = \"clamp\"
spec = \"keyed\"
";
    let wanted = [
        "/etc/truck/config.toml:1: dat: there is no such key or table; did you mean \"data\"? known here are ",
        "/etc/truck/config.toml:2: burst: there is no such key or table; it belongs in the table `[limits]`",
        "/etc/truck/config.toml:5: listen.addresses: `127.0.0.1` is no address with a port",
        "/etc/truck/config.toml:6: listen.origin: there is no such key; did you mean \"origins\"? known here are ",
        "/etc/truck/config.toml:7: listen.pair-always: this is a string; give true or false",
        "/etc/truck/config.toml:9: limit: there is no such key or table; did you mean \"limits\"? ",
        "/etc/truck/config.toml:13: limits.burst: 0 is out of range; give a whole number of requests, 1 to 100000",
        "/etc/truck/config.toml:14: limits.body-bytes: this is a float; give a whole number of bytes, 1024 to ",
        "/etc/truck/config.toml:17: log.level: `inf` is not known; did you mean \"info\"? it is one of error, ",
        "/etc/truck/config.toml:19: meter.spec: this meter lacks it; add `spec = \"…\"`",
        "/etc/truck/config.toml:20: meter.name: `a b` is no name: use 1 to 40 letters",
        "/etc/truck/config.toml:24: meter.spec: ",
        "/etc/truck/config.toml:27: meter.name: `clamp` is also the meter's of line 22; give each its own name",
    ];
    let problems = problems(text);
    assert_eq!(problems.len(), wanted.len(), "{problems:#?}");
    for (problem, wanted) in problems.iter().zip(wanted) {
        assert!(problem.starts_with(wanted), "{problem}\nis not\n{wanted}");
    }
}

#[test]
fn every_break_of_the_syntax_is_named() {
    let problems = problems("data = \n[listen\nx = 1\n[log]\nlevel = \"a\nb\"\n");
    assert!(problems.len() >= 3, "{problems:#?}");
    assert!(
        problems.iter().all(|p| p.contains("not TOML: ")),
        "{problems:#?}"
    );
    assert!(problems[0].starts_with("/etc/truck/config.toml:1: "));
}

#[test]
fn tables_in_the_wrong_shape_are_refused() {
    assert!(problems("listen = 1\n")[0].contains("write it as a table, `[listen]`"));
    assert!(problems("meter = 1\n")[0].contains("write one `[[meter]]` for each meter"));
    assert!(problems("[meter]\nname = \"a\"\n")[0].contains("write one `[[meter]]`"));
    assert!(problems("meter = [1]\n")[0].contains("write one `[[meter]]`"));
}

#[test]
fn files_lie_where_the_specification_says() {
    let dir = tempfile::tempdir().expect("a folder");
    let at = |name: &str| dir.path().join(name).display().to_string();
    let home = at("home");
    let (system_1, system_2) = (at("system-1"), at("system-2"));
    let dirs = format!("relative:{system_1}:{system_2}");
    let places = Places::of(&[("HOME", &home), ("XDG_CONFIG_DIRS", &dirs)]);
    assert_eq!(places.config(), None);
    let put = |folder: &str| {
        let folder = Path::new(folder).join("ohmtrail");
        std::fs::create_dir_all(&folder).expect("made");
        std::fs::write(folder.join("config.toml"), "").expect("written");
        Some(folder.join("config.toml"))
    };
    let second = put(&system_2);
    assert_eq!(places.config(), second);
    let first = put(&system_1);
    assert_eq!(places.config(), first);
    let user = put(&format!("{home}/.config"));
    assert_eq!(places.config(), user);
    let named = at("named");
    let own = put(&named);
    let places = Places::of(&[
        ("HOME", &home),
        ("XDG_CONFIG_HOME", &named),
        ("XDG_DATA_HOME", "relative"),
    ]);
    assert_eq!(places.config(), own);
    assert_eq!(
        places.data(),
        Some(Path::new(&home).join(".local/share/ohmtrail")),
        "relative is ignored"
    );
    assert_eq!(Places::default().data(), None);
    assert!(matches!(
        Loaded::read(
            Path::new("c.toml"),
            "",
            &Flags::default(),
            &Places::default()
        ),
        Err(ConfigError::NoHome)
    ));
}
