//! Lines that are cut, and two machines at once.

use std::fs;
use std::sync::Arc;

use ohmtrail_tests::cut::Line;
use ohmtrail_tests::object_store::{BUCKET, ObjectStore, SECRET};
use ohmtrail_tests::postgres::{PASSWORD, Server};
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{unit, visit};
use serde_json::json;

use crate::{
    UNITS, VISITS, done, fetch_from, index, proven, push_rows, push_to, shop, text, trails,
};

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
