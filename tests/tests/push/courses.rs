//! Trails that grew, that were changed, that are damaged.

use std::collections::BTreeSet;
use std::fs;

use ohmtrail_tests::cli::Ran;
use ohmtrail_tests::object_store::ObjectStore;
use ohmtrail_tests::postgres::Server;
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{Written, visit};
use ohmtrail_trail::event::Event;
use serde_json::json;

use crate::{done, fetch_from, proven, push_rows, push_to, trails, up_to};

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

/// A trail up to its nth entry that then went another way, for so many entries.
fn changed(whole: &Written, entries: usize, more: usize) -> Written {
    let mut changed = up_to(whole, entries);
    for _ in 0..more {
        changed.say(Event::Note {
            text: "something else".to_owned(),
        });
    }
    changed
}

/// A store that two courses of a trail were pushed to has both, and every push and fetch that can tell says so.
#[test]
fn two_courses_of_a_trail_are_named() {
    let whole = visit(3, 4);
    let n = whole.entries.len();
    let named = |ran: &Ran| {
        assert!(
            ran.code == 5 && ran.out.contains("two courses of this trail"),
            "{ran:?}"
        );
        ran.json()
    };
    // Of the other course: as long as the whole one, longer, shorter.
    for (other, is_shorter) in [
        (changed(&whole, n - 1, 1), false),
        (changed(&whole, 20, n), false),
        (changed(&whole, 20, 3), true),
    ] {
        let store = ObjectStore::start();
        let machines = [Shop::empty(), Shop::empty()];
        let push = |nth: usize| push_to(&machines[nth].visits(), store.at());
        machines[0].put("a.trail", &up_to(&whole, 20));
        assert_eq!(done(&push(0))["store"]["put"], 1);
        machines[0].put("a.trail", &whole);
        assert_eq!(done(&push(0))["store"]["put"], 1);
        machines[1].put("a.trail", &other);
        let ran = push(1);
        assert_eq!(ran.json()["store"]["put"], 1, "{ran:?}");
        let longest = if is_shorter {
            // What it does not lead up to has more records: only who has those can tell.
            let _ = named(&push(0));
            &whole
        } else {
            let _ = named(&ran);
            &other
        };
        // Both are there, and the longer one is brought.
        let fresh = Shop::empty();
        let ran = fetch_from(&fresh.visits(), store.at());
        assert_eq!(named(&ran)["brought"], 1);
        if other.entries.len() != n {
            let longest = BTreeSet::from([longest.bytes()]);
            assert_eq!(trails(&fresh.visits()), longest);
        }
        let _ = named(&fetch_from(&fresh.visits(), store.at()));
        for (name, path) in store.objects() {
            let is_whole = fs::read(path).expect("an object");
            let all = [&up_to(&whole, 20), &whole, &other].map(Written::bytes);
            assert!(all.contains(&is_whole), "{name}");
        }
    }
}
