//! `ohmtrail index push` and `fetch`: trails and rows to real servers, over lines that are cut, by two
//! machines at once, and back.

use std::collections::BTreeSet;
use std::fs;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::Arc;

use ohmtrail_index::EXPORTED;
use ohmtrail_tests::cli::{Ran, ohmtrail, sheet};
use ohmtrail_tests::cut::Line;
use ohmtrail_tests::object_store::{BUCKET, KEY, ObjectStore, SECRET};
use ohmtrail_tests::postgres::{PASSWORD, Server};
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{Written, unit, visit};
use ohmtrail_trail::event::Event;
use ohmtrail_trail::photos;
use serde_json::{Value, json};

/// Visits of a shop: 18 units, 216 visits.
const UNITS: u32 = 18;
const VISITS: u64 = 216;

fn shop() -> Shop {
    let shop = Shop::empty();
    for number in 0..UNITS {
        for nth in 0..12 {
            shop.put(&format!("u{number:02}-{nth:02}.trail"), &visit(number, nth));
        }
    }
    shop
}

fn text(path: &Path) -> &str {
    path.to_str().expect("text")
}

/// Runs `ohmtrail index` with the access key and the password in its environment.
fn index(args: &[&str]) -> Ran {
    let done = ohmtrail()
        .arg("index")
        .args(args)
        .env("AWS_ACCESS_KEY_ID", KEY)
        .env("AWS_SECRET_ACCESS_KEY", SECRET)
        .env("PGPASSWORD", PASSWORD)
        .stdin(Stdio::null())
        .output();
    done.expect("the binary starts").into()
}

/// Pushes a folder to a store at that address.
fn push_to(folder: &Path, at: SocketAddr) -> Ran {
    let endpoint = format!("http://{at}");
    let to = ["--store", "s3://shop/t", "--endpoint", &endpoint];
    index(&[&["push", text(folder), "--json"], &to[..]].concat())
}

fn fetch_from(folder: &Path, at: SocketAddr) -> Ran {
    let endpoint = format!("http://{at}");
    let from = ["--store", "s3://shop/t", "--endpoint", &endpoint];
    index(&[&["fetch", text(folder), "--json"], &from[..]].concat())
}

fn push_rows(folder: &Path, url: &str) -> Ran {
    index(&["push", text(folder), "--database", url, "--json"])
}

fn proven(folder: &Path, url: &str) {
    let ran = index(&["verify", text(folder), "--database", url, "--json"]);
    assert_eq!(ran.json()["equal"], true, "{ran:?}");
    assert!(ran.json()["rows"].as_u64() > Some(0), "{ran:?}");
}

fn done(ran: &Ran) -> Value {
    assert_eq!(ran.code, 0, "{ran:?}");
    ran.json()
}

/// Where a trail lies is another place for each.
fn without_places(mut answer: Value) -> Value {
    for visit in answer["visits"].as_array_mut().into_iter().flatten() {
        visit["trail"].take();
    }
    answer
}

/// The trails of a folder, by their contents.
fn trails(folder: &Path) -> BTreeSet<Vec<u8>> {
    let entries = fs::read_dir(folder).expect("the folder").flatten();
    let paths = entries.map(|entry| entry.path());
    let paths = paths.filter(|path| path.extension().is_some_and(|end| end == "trail"));
    paths.map(|path| fs::read(path).expect("a trail")).collect()
}

/// Every question has the same answer, wherever the rows are; and PostgreSQL's own client counts as many.
#[test]
fn every_question_has_the_same_answer_in_a_database() {
    let (shop, server) = (shop(), Server::shared());
    drop(shop.rebuild(0));
    let database = server.database();
    let url = server.url(&database);
    let ran = index(&["units", "--database", &url]);
    assert!(ran.code == 3 && ran.err.contains("index push"), "{ran:?}");
    let pushed = done(&push_rows(&shop.visits(), &url))["database"].clone();
    assert_eq!(
        (&pushed["new"], &pushed["there"]),
        (&json!(VISITS), &json!(0))
    );
    proven(&shop.visits(), &url);
    for sql in [
        "SELECT count(*) FROM ohmtrail.visits",
        "SELECT sum(visits) FROM ohmtrail.units",
        "SELECT count(DISTINCT trail) FROM ohmtrail.visits",
    ] {
        assert_eq!(server.ask(&database, sql), VISITS.to_string(), "{sql}");
    }
    let name = unit(5);
    let mut questions: Vec<Vec<&str>> = vec![
        vec!["units"],
        vec!["units", "--simulated"],
        vec!["units", "--simulated", "--limit", "5", "--skip", "7"],
        vec!["history", &name, "--simulated"],
        vec!["history", &name, "--simulated", "--limit", "3"],
        vec!["history", "nobody's"],
        vec!["door", &name, "--simulated"],
        vec!["door", &name],
        vec!["door", "invented-0", "--simulated"],
        vec!["trend", &name, "--simulated"],
        vec!["trend", &name, "--simulated", "--part", "run-cap"],
        vec!["kinds", "--simulated"],
        vec!["kinds", "contactor-2p", "--simulated"],
        vec!["kinds"],
        vec!["search", "invented"],
        vec!["search", "00005", "heat"],
        vec!["search", "contactor", "trips"],
        vec!["search", "c", "0"],
        vec!["search", "zebrawood"],
        vec!["search", "it's", "'", "\\"],
        vec!["search", "&|!:*"],
    ];
    let units: Vec<String> = (0..UNITS).map(unit).collect();
    for name in &units {
        for what in ["history", "door", "trend"] {
            questions.push(vec![what, name, "--simulated"]);
        }
    }
    let path = shop.index();
    for question in &questions {
        let file = index(&[&question[..], &["--index", text(&path), "--json"]].concat());
        let there = index(&[&question[..], &["--database", &url, "--json"]].concat());
        assert_eq!(file.code, there.code, "{question:?} {there:?}");
        if file.code == 0 {
            let both = [&file, &there].map(|ran| without_places(ran.json()));
            assert_eq!(both[0], both[1], "{question:?}");
        } else {
            assert_eq!(file.err, there.err, "{question:?}");
        }
    }
    for table in EXPORTED {
        let file = index(&["export", table.name, "--index", text(&path)]);
        let there = index(&["export", table.name, "--database", &url]);
        assert_eq!(
            (file.code, &file.out),
            (there.code, &there.out),
            "{}",
            table.name
        );
    }
    // Made anew it is the same, and what the shop made on its tables stays.
    server.psql(
        &database,
        "CREATE VIEW lately AS SELECT unit FROM ohmtrail.visits",
    );
    let ran = index(&[
        "rebuild",
        text(&shop.visits()),
        "--database",
        &url,
        "--json",
    ]);
    assert_eq!(done(&ran)["trails"], VISITS, "{ran:?}");
    proven(&shop.visits(), &url);
    let counted = server.ask(&database, "SELECT count(*) FROM lately");
    assert_eq!(counted, VISITS.to_string());
    // A row that somebody changed is found.
    server.psql(&database, "UPDATE ohmtrail.takes SET value = 1 WHERE visit = (SELECT min(visit) FROM ohmtrail.takes) AND take = 1");
    let ran = index(&["verify", text(&shop.visits()), "--database", &url, "--json"]);
    assert_eq!((ran.code, &ran.json()["differ"]), (5, &json!(1)), "{ran:?}");
    // An index of another version is left alone, and made anew when that is asked for.
    server.psql(
        &database,
        "UPDATE ohmtrail.told SET value = '99' WHERE what = 'version'; DROP VIEW lately",
    );
    for what in [["units", "--json"], ["push", text(&shop.visits())]] {
        let ran = index(&[&what[..], &["--database", &url]].concat());
        assert!(ran.code == 3 && ran.err.contains("version 99"), "{ran:?}");
    }
    let ran = index(&["rebuild", text(&shop.visits()), "--database", &url]);
    assert_eq!(ran.code, 0, "{ran:?}");
    proven(&shop.visits(), &url);
}

/// A push to a store that is cut leaves whole objects alone, and goes on when it is made again.
#[test]
fn a_cut_push_to_a_store_goes_on() {
    let shop = shop();
    let whole: u64 = trails(&shop.visits()).iter().map(|t| t.len() as u64).sum();
    let store = ObjectStore::start();
    let mut had = 0;
    for part in 1..=3_u64 {
        let line = Line::to(store.at(), whole * part / 8);
        let ran = push_to(&shop.visits(), line.at());
        assert!(line.is_cut(), "{ran:?}");
        assert!(matches!(ran.code, 5 | 7), "{ran:?}");
        assert!(!ran.out.contains(SECRET) && !ran.err.contains(SECRET));
        let objects = store.objects();
        let objects: Vec<_> = objects.iter().filter(|o| o.0.ends_with(".trail")).collect();
        assert!(objects.len() > had, "{part}: {} and {had}", objects.len());
        had = objects.len();
        let local = trails(&shop.visits());
        for (name, path) in objects {
            // Read by its plain file in the store's folder.
            assert!(
                local.contains(&fs::read(path).expect("an object")),
                "{name}"
            );
        }
    }
    assert!((had as u64) < VISITS);
    let pushed = done(&push_to(&shop.visits(), store.at()))["store"].clone();
    assert_eq!(pushed["put"], VISITS - had as u64);
    assert_eq!(pushed["there"], had);
    let pushed = done(&push_to(&shop.visits(), store.at()))["store"].clone();
    assert_eq!(
        (&pushed["put"], &pushed["there"]),
        (&json!(0), &json!(VISITS))
    );
    // Another machine gets them, and a second time nothing.
    let other = Shop::empty();
    let fetched = done(&fetch_from(&other.visits(), store.at()));
    assert_eq!(fetched["brought"], VISITS);
    assert_eq!(trails(&shop.visits()), trails(&other.visits()));
    let fetched = done(&fetch_from(&other.visits(), store.at()));
    assert_eq!(
        (&fetched["brought"], &fetched["there"]),
        (&json!(0), &json!(VISITS))
    );
}

/// The same of a database: a visit's rows are there together or not at all.
#[test]
fn a_cut_push_to_a_database_goes_on() {
    let (shop, server) = (shop(), Server::shared());
    let database = server.database();
    // How much goes over the line, measured on another one.
    let url = server.url(&server.database());
    let line = Line::to(server.at(), u64::MAX);
    let over = url.replace(&server.at().to_string(), &line.at().to_string());
    done(&push_rows(&shop.visits(), &over));
    let whole = line.carried(u64::MAX);
    for part in [1, 3, 5, 7] {
        let line = Line::to(server.at(), whole * part / 9);
        let ran = push_rows(&shop.visits(), &server.url_over(line.at(), &database));
        assert!(line.is_cut(), "{ran:?}");
        assert_eq!(ran.code, 7, "{ran:?}");
        assert!(!ran.out.contains(PASSWORD) && !ran.err.contains(PASSWORD));
        let there =
            "SELECT count(*) FROM pg_tables WHERE schemaname = 'ohmtrail' AND tablename = 'visits'";
        if server.ask(&database, there) == "1" {
            // Each visit of this shop has five takes or more, and one row of words.
            let torn = "SELECT count(*) FROM ohmtrail.visits v WHERE \
                (SELECT count(*) FROM ohmtrail.takes t WHERE t.visit = v.visit) < 5 \
                OR NOT EXISTS (SELECT 1 FROM ohmtrail.words w WHERE w.visit = v.visit)";
            assert_eq!(server.ask(&database, torn), "0");
        }
    }
    let url = server.url(&database);
    done(&push_rows(&shop.visits(), &url));
    proven(&shop.visits(), &url);
    let pushed = done(&push_rows(&shop.visits(), &url))["database"].clone();
    assert_eq!(
        (&pushed["new"], &pushed["there"]),
        (&json!(0), &json!(VISITS))
    );
}

/// Two machines push at the same time, with visits that both have.
#[test]
fn two_machines_at_once() {
    let (all, server, store) = (shop(), Server::shared(), Arc::new(ObjectStore::start()));
    let url = server.url(&server.database());
    let machines = [Shop::empty(), Shop::empty()];
    for number in 0..UNITS {
        for nth in 0..12 {
            for (n, machine) in (0..).zip(&machines) {
                if nth % 3 == n || nth % 3 == 2 {
                    machine.put(
                        &format!("m-{number:02}-{nth:02}.trail"),
                        &visit(number, nth),
                    );
                }
            }
        }
    }
    let endpoint = format!("http://{}", store.at());
    std::thread::scope(|scope| {
        let both = machines.each_ref().map(|machine| {
            let (url, endpoint) = (&url, &endpoint);
            scope.spawn(move || {
                let visits = machine.visits();
                let to = ["--store", "s3://shop/t", "--endpoint", endpoint];
                let args = ["push", text(&visits), "--database", url, "--json"];
                index(&[&args[..], &to].concat())
            })
        });
        for ran in both.map(|one| one.join().expect("ran")) {
            done(&ran);
        }
    });
    proven(&all.visits(), &url);
    let other = Shop::empty();
    assert_eq!(
        done(&fetch_from(&other.visits(), store.at()))["brought"],
        VISITS
    );
    proven(&other.visits(), &url);
    // A question says where the store has a trail.
    let ran = index(&[
        "history",
        &unit(3),
        "--simulated",
        "--database",
        &url,
        "--json",
    ]);
    let trail = ran.json()["visits"][0]["trail"].as_str().map(str::to_owned);
    let name = trail.expect("an address");
    let name = name
        .strip_prefix(&format!("s3://{BUCKET}/"))
        .expect("of the store");
    assert!(
        store.objects().iter().any(|(object, _)| object == name),
        "{name}"
    );
}

/// A visit up to its nth entry.
fn up_to(whole: &Written, entries: usize) -> Written {
    let mut part = whole.clone();
    part.entries.truncate(entries);
    part
}

#[test]
fn trails_grow_and_what_was_changed_is_refused() {
    let (server, store) = (Server::shared(), ObjectStore::start());
    let database = server.database();
    let url = server.url(&database);
    let (shop, other) = (Shop::empty(), Shop::empty());
    let whole = visit(3, 4);
    let path = shop.put("a.trail", &up_to(&whole, 20));
    let push = || {
        let first = push_to(&shop.visits(), store.at());
        (first, push_rows(&shop.visits(), &url))
    };
    let (to_store, to_database) = push();
    assert_eq!(done(&to_store)["store"]["put"], 1);
    assert_eq!(done(&to_database)["database"]["new"], 1);
    assert_eq!(done(&fetch_from(&other.visits(), store.at()))["brought"], 1);
    // It grew: here, there, and on the other machine.
    shop.put("a.trail", &whole);
    let (to_store, to_database) = push();
    assert_eq!(done(&to_store)["store"]["put"], 1);
    assert_eq!(done(&to_database)["database"]["grown"], 1);
    proven(&shop.visits(), &url);
    let fetched = done(&fetch_from(&other.visits(), store.at()));
    assert_eq!(
        (&fetched["grown"], &fetched["brought"]),
        (&json!(1), &json!(0))
    );
    assert_eq!(trails(&shop.visits()), trails(&other.visits()));
    // An earlier state that was pushed before is no problem, one that never was is named.
    shop.put("a.trail", &up_to(&whole, 20));
    let (to_store, to_database) = push();
    assert_eq!(done(&to_store)["store"]["there"], 1);
    assert_eq!(done(&to_database)["database"]["there"], 1);
    shop.put("a.trail", &up_to(&whole, 25));
    let ran = push_rows(&shop.visits(), &url);
    assert!(
        ran.code == 5 && ran.out.contains("was never pushed"),
        "{ran:?}"
    );
    // One that was changed has another course: nothing there is written over.
    for entries in [up_to(&whole, 19), up_to(&whole, whole.entries.len() - 1)] {
        let mut changed = entries;
        changed.say(Event::Note {
            text: "something else".to_owned(),
        });
        if changed.entries.len() < whole.entries.len() {
            changed
                .entries
                .extend(whole.entries[changed.entries.len()..].iter().cloned());
            changed.close();
        }
        shop.put("a.trail", &changed);
        let ran = push_rows(&shop.visits(), &url);
        assert_eq!(ran.code, 5, "{ran:?}");
        assert!(ran.out.contains("changed since it was pushed"), "{ran:?}");
    }
    proven(&other.visits(), &url);
    // A trail here that went another way is left, too.
    let here = fs::read(&path).expect("the trail");
    let ran = fetch_from(&shop.visits(), store.at());
    assert_eq!(ran.code, 5, "{ran:?}");
    assert!(ran.out.contains("neither leads up to the other"), "{ran:?}");
    assert_eq!(fs::read(&path).expect("the trail"), here);
}

/// A trail that is damaged here keeps no whole one out, and what rots in the store is found by a fetch.
#[test]
fn damage_is_named_and_gone_round() {
    let (server, store) = (Server::shared(), ObjectStore::start());
    let url = server.url(&server.database());
    let (shop, sound) = (Shop::empty(), Shop::empty());
    let whole = visit(2, 6);
    let path = shop.put("a.trail", &whole);
    sound.put("b.trail", &whole);
    let mut bytes = fs::read(&path).expect("a trail");
    // A byte of the file's header: every record is whole, and the head is the same.
    bytes[9] ^= 0x01;
    fs::write(&path, &bytes).expect("damaged");
    for ran in [
        push_to(&shop.visits(), store.at()),
        push_rows(&shop.visits(), &url),
    ] {
        assert!(ran.code == 5 && ran.out.contains("file header"), "{ran:?}");
    }
    // It is brought as it is while there is nothing better.
    let other = Shop::empty();
    let ran = fetch_from(&other.visits(), store.at());
    assert!(
        ran.code == 5 && ran.out.contains("no sound state"),
        "{ran:?}"
    );
    assert_eq!(trails(&other.visits()).len(), 1);
    assert_eq!(
        done(&push_to(&sound.visits(), store.at()))["store"]["put"],
        1
    );
    assert_eq!(
        done(&push_rows(&sound.visits(), &url))["database"]["grown"],
        1
    );
    proven(&sound.visits(), &url);
    let other = Shop::empty();
    assert_eq!(done(&fetch_from(&other.visits(), store.at()))["brought"], 1);
    assert_eq!(trails(&other.visits()), trails(&sound.visits()));
    // The longest state rots in the store: the one before it is brought, and it is said.
    let store = ObjectStore::start();
    for entries in [20, 30, whole.entries.len()] {
        sound.put("b.trail", &up_to(&whole, entries));
        assert_eq!(
            done(&push_to(&sound.visits(), store.at()))["store"]["put"],
            1
        );
    }
    let objects = store.objects();
    let (_, longest) = objects
        .iter()
        .rfind(|o| o.0.ends_with(".trail"))
        .expect("one");
    let mut bytes = fs::read(longest).expect("an object");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x20;
    fs::write(longest, &bytes).expect("rotten");
    let other = Shop::empty();
    let ran = fetch_from(&other.visits(), store.at());
    assert!(
        ran.code == 5 && ran.out.contains("rotten in the store"),
        "{ran:?}"
    );
    assert_eq!(ran.json()["brought"], 1);
    let state = up_to(&whole, 30).bytes();
    assert_eq!(trails(&other.visits()), BTreeSet::from([state]));
    // One that is cut has another size, and is put again.
    fs::write(longest, &bytes[..middle]).expect("cut");
    assert_eq!(
        done(&push_to(&sound.visits(), store.at()))["store"]["put"],
        1
    );
    assert_eq!(done(&fetch_from(&other.visits(), store.at()))["grown"], 1);
    assert_eq!(trails(&other.visits()), BTreeSet::from([whole.bytes()]));
}

/// Photographs go with their trails, both ways.
#[test]
fn photographs_go_with_their_trails() {
    let store = ObjectStore::start();
    let shop = Shop::empty();
    // The signature of ISO/IEC 10918-5, and anything.
    let photograph = [b"\xFF\xD8\xFF\xE0 JFIF invented".as_slice(), &[7; 4000]].concat();
    let mut visit = visit(1, 1);
    let path = shop.visits().join("a.trail");
    let folder = path.with_extension("photos");
    let hash = photos::store(&folder, &photograph, "image/jpeg").expect("stored");
    visit.say(Event::Photo {
        hash: hash.0,
        media_type: "image/jpeg".to_owned(),
        size: photograph.len() as u64,
        caption: "invented".to_owned(),
    });
    shop.put("a.trail", &visit);
    let pushed = done(&push_to(&shop.visits(), store.at()))["store"].clone();
    assert_eq!(
        (&pushed["put"], &pushed["photographs"]),
        (&json!(1), &json!(1))
    );
    let pushed = done(&push_to(&shop.visits(), store.at()))["store"].clone();
    assert_eq!(
        (&pushed["put"], &pushed["photographs"]),
        (&json!(0), &json!(0))
    );
    let objects = store.objects();
    let (_, object) = objects
        .iter()
        .find(|o| o.0.contains("photos/"))
        .expect("one");
    assert_eq!(fs::read(object).expect("an object"), photograph);
    let other = Shop::empty();
    let fetched = done(&fetch_from(&other.visits(), store.at()));
    assert_eq!(
        (&fetched["brought"], &fetched["photographs"]),
        (&json!(1), &json!(1))
    );
    let beside = fs::read_dir(other.visits()).expect("the folder").flatten();
    let beside: Vec<PathBuf> = beside.map(|entry| entry.path()).collect();
    let folder = beside
        .iter()
        .find(|path| path.is_dir())
        .expect("photographs");
    assert_eq!(
        photos::load(folder, &hash).expect("the photograph"),
        photograph
    );
    // One that is lost here is named, and its trail is pushed all the same.
    let lost = Shop::empty();
    lost.put("a.trail", &visit);
    let elsewhere = ObjectStore::start();
    let ran = push_to(&lost.visits(), elsewhere.at());
    assert!(
        ran.code == 5 && ran.out.contains("no photograph"),
        "{ran:?}"
    );
    assert_eq!(ran.json()["store"]["put"], 1);
    // Rotten in the store, it is not brought.
    fs::write(
        object,
        [&photograph[..100], b"?", &photograph[101..]].concat(),
    )
    .expect("rotten");
    let other = Shop::empty();
    let ran = fetch_from(&other.visits(), store.at());
    assert!(
        ran.code == 5 && ran.out.contains("is rotten in the store"),
        "{ran:?}"
    );
    assert_eq!(ran.json()["brought"], 1);
}

/// A machine without the shop's sheet pushes first; one that has it fills in what it knows.
#[test]
fn the_second_machine_knows_the_sheet() {
    let server = Server::shared();
    let database = server.database();
    let url = server.url(&database);
    let shop = Shop::empty();
    let sheets = shop.path().join("sheets");
    fs::create_dir(&sheets).expect("a folder");
    let own = fs::read_to_string(sheet("cellar-dryer.toml")).expect("a sheet");
    fs::write(sheets.join("own.toml"), &own).expect("written");
    let name = own.lines().find_map(|line| line.strip_prefix("name = "));
    let name = name.expect("its name").trim_matches('"').to_owned();
    let mut written = Written::new("invented-of-its-own", &name, 1_600_000_000_000_000);
    written.say(Event::Note {
        text: "invented".to_owned(),
    });
    shop.put("own.trail", &written);
    assert_eq!(done(&push_rows(&shop.visits(), &url))["database"]["new"], 1);
    let known = "SELECT coalesce(sheet_same, -1) FROM ohmtrail.visits";
    assert_eq!(server.ask(&database, known), "-1");
    let visits = shop.visits();
    let args = [
        "push",
        text(&visits),
        "--sheets",
        text(&sheets),
        "--database",
        &url,
        "--json",
    ];
    assert_eq!(done(&index(&args))["database"]["known_better"], 1);
    assert_ne!(server.ask(&database, known), "-1");
    // Who does not know it takes nothing away.
    assert_eq!(
        done(&push_rows(&shop.visits(), &url))["database"]["there"],
        1
    );
    assert_ne!(server.ask(&database, known), "-1");
    let parts = format!("SELECT count(*) > 0 FROM ohmtrail.parts WHERE sheet = '{name}'");
    assert_eq!(server.ask(&database, &parts), "t");
}

#[test]
fn every_refusal_says_what_to_do() {
    let (server, store, shop) = (Server::shared(), ObjectStore::start(), Shop::empty());
    shop.put("a.trail", &visit(1, 2));
    let visits = shop.visits();
    let endpoint = format!("http://{}", store.at());
    let tls_to_plain = format!("https://{}", store.at());
    let run = |args: &[&str], secret: &str, password: &str| -> Ran {
        let done = ohmtrail()
            .args(["index", "push", text(&visits)])
            .args(args)
            .env("AWS_ACCESS_KEY_ID", KEY)
            .env("AWS_SECRET_ACCESS_KEY", secret)
            .env("PGPASSWORD", password)
            .output();
        done.expect("the binary starts").into()
    };
    let wrong = "a-wrong-s3cret";
    let at = |place, endpoint| ["--store", place, "--endpoint", endpoint];
    let database = server.database();
    let url = server.url(&database);
    let required = format!("{url}?sslmode=require");
    let named = required.replace("127.0.0.1", "localhost");
    for (args, code, said) in [
        (
            &at("s3://shop/a", &endpoint)[..],
            7,
            "the secret does not fit the access key",
        ),
        (&at("s3://shop/a", "http://store.example"), 2, "use https"),
        (&at("s3://shop/a", &tls_to_plain), 7, "https://127.0.0.1"),
        (&at("shop/a", &endpoint), 2, "s3://BUCKET/PREFIX"),
        (&["--database", &url], 7, "password authentication failed"),
        (
            &["--database", "mysql://a:a-wrong-s3cret@b/c"],
            2,
            "postgres://USER@HOST",
        ),
        (&["--database", &required], 7, "certificate"),
        (&[], 2, "push where to?"),
    ] {
        let ran = run(args, wrong, wrong);
        assert_eq!(ran.code, code, "{args:?} {ran:?}");
        assert!(ran.err.contains(said), "{args:?} {ran:?}");
        assert!(
            !ran.err.contains(wrong) && !ran.err.contains("X-Amz"),
            "{ran:?}"
        );
    }
    let ran = run(&at("s3://nowhere/a", &endpoint), SECRET, PASSWORD);
    assert!(
        ran.code == 7 && ran.err.contains("no bucket \"nowhere\""),
        "{ran:?}"
    );
    let certificate = server.certificate();
    let ca = ["--database", &named, "--ca", text(&certificate)];
    let ran = run(&ca, SECRET, PASSWORD);
    assert_eq!(ran.code, 0, "{ran:?}");
    // A file with the access key that others may read is not used.
    let keys = shop.path().join("keys");
    fs::write(
        &keys,
        format!("AWS_ACCESS_KEY_ID={KEY}\nAWS_SECRET_ACCESS_KEY={SECRET}\n"),
    )
    .expect("keys");
    let with = [
        &at("s3://shop/a", &endpoint)[..],
        &["--credentials", text(&keys)],
    ]
    .concat();
    set_mode(&keys, 0o644);
    let ran = run(&with, wrong, wrong);
    assert!(ran.code == 2 && ran.err.contains("chmod 600"), "{ran:?}");
    set_mode(&keys, 0o600);
    let ran = run(&with, wrong, wrong);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(!store.objects().is_empty());
}

fn set_mode(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("set");
}
