//! Photographs go with their trails.

use std::fs;
use std::path::PathBuf;

use ohmtrail_tests::object_store::ObjectStore;
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::visit;
use ohmtrail_trail::event::Event;
use ohmtrail_trail::photos;
use serde_json::json;

use crate::{done, fetch_from, push_to};

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

/// Whatever its bytes begin with: its hash says whether it is whole, and its file's end what it is called.
#[test]
fn a_photograph_is_told_by_its_hash() {
    let (store, shop, other) = (ObjectStore::start(), Shop::empty(), Shop::empty());
    let mut visit = visit(1, 1);
    let folder = shop.visits().join("a.photos");
    let photographs = [
        &b"\x89PNG\r\n\x1a\n invented"[..],
        b"invented, and nothing known",
    ];
    for photograph in photographs {
        let hash = photos::store(&folder, photograph, "image/jpeg").expect("stored");
        visit.say(Event::Photo {
            hash: hash.0,
            media_type: "image/jpeg".to_owned(),
            size: photograph.len() as u64,
            caption: "invented".to_owned(),
        });
    }
    shop.put("a.trail", &visit);
    for put in [2, 0] {
        let pushed = done(&push_to(&shop.visits(), store.at()));
        assert_eq!(pushed["store"]["photographs"], put);
    }
    let fetched = done(&fetch_from(&other.visits(), store.at()));
    assert_eq!(fetched["photographs"], 2);
    // One of two objects of one hash is rotten.
    let objects = store.objects();
    let photographs = objects.iter().filter(|o| o.0.contains("photos/"));
    for (_, path) in photographs {
        fs::copy(path, path.with_extension("png")).expect("copied");
        fs::write(path, "rotten").expect("written");
    }
    let other = Shop::empty();
    let fetched = done(&fetch_from(&other.visits(), store.at()));
    assert_eq!(fetched["photographs"], 2);
}
