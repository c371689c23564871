//! Stores that refuse, that fail, that list in pages, that show a certificate.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use ohmtrail_tests::object_store::{ObjectStore, over_tls, page, told};
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::visit;
use serde_json::json;

use crate::{VISITS, done, fetch_from, index, push_to, shop, text, trails};

/// What an empty store lists.
fn nothing() -> (u16, Vec<u8>) {
    (200, page(&[], None))
}

/// A key that may only read: one refusal ends the push, and it is no fault of any trail.
#[test]
fn a_refusal_of_everything_ends_a_push() {
    let shop = shop();
    let puts = Arc::new(AtomicU64::new(0));
    let counted = Arc::clone(&puts);
    let store = told(move |method, _| {
        if method == "GET" {
            return nothing();
        }
        counted.fetch_add(1, Ordering::SeqCst);
        (403, b"<Error><Code>AccessDenied</Code></Error>".to_vec())
    });
    let ran = push_to(&shop.visits(), store);
    assert!(
        ran.code == 7 && ran.err.contains("may not do this"),
        "{ran:?}"
    );
    // As many as were on the line at once.
    assert!(puts.load(Ordering::SeqCst) <= 8, "{puts:?}");
}

/// A line that fails and fails is given up, both ways, and it is said of how much.
#[test]
fn a_line_that_fails_is_given_up() {
    let (shop, other) = (shop(), Shop::empty());
    let store = told(|method, _| match method {
        "GET" => nothing(),
        _ => (503, Vec::new()),
    });
    let ran = push_to(&shop.visits(), store);
    assert!(
        ran.code == 5 && ran.out.contains("was given up: "),
        "{ran:?}"
    );
    let problems = ran.json()["problems"].as_array().map_or(0, Vec::len);
    assert!((17..=32).contains(&problems), "{problems}");
    // The names of a real store, and none of its objects.
    let real = ObjectStore::start();
    let _ = done(&push_to(&shop.visits(), real.at()));
    let objects: Vec<(String, usize)> = real.objects().into_iter().map(|o| (o.0, 1)).collect();
    let store = told(move |_, target| match target.contains("list-type") {
        true if target.contains("trails") => (200, page(&objects, None)),
        true => nothing(),
        false => (503, Vec::new()),
    });
    let ran = fetch_from(&other.visits(), store);
    assert!(
        ran.code == 5 && ran.out.contains("was given up: "),
        "{ran:?}"
    );
    let problems = ran.json()["problems"].as_array().map_or(0, Vec::len);
    assert!((17..=32).contains(&problems), "{problems}");
}

/// A listing goes on over its pages, and one that comes back to itself is not taken for a whole one.
#[test]
fn a_listing_is_read_to_its_end() {
    let shop = shop();
    let real = Arc::new(ObjectStore::start());
    let _ = done(&push_to(&shop.visits(), real.at()));
    let in_pages = |comes_back: bool| -> SocketAddr {
        let real = Arc::clone(&real);
        told(move |_, target| {
            let all = real.objects();
            if !target.contains("list-type") {
                let path = target.split('?').next().unwrap_or_default();
                let found = all.iter().find(|(key, _)| path.ends_with(key.as_str()));
                let found = found.and_then(|(_, path)| std::fs::read(path).ok());
                return found.map_or((404, Vec::new()), |bytes| (200, bytes));
            }
            if !target.contains("trails") {
                return nothing();
            }
            let from = target.split("continuation-token=").nth(1);
            let from = from.and_then(|rest| rest.split('&').next()?.parse().ok());
            let from: usize = from.unwrap_or(0);
            let size = |path| std::fs::metadata(path).map_or(0, |about| about.len() as usize);
            let these = all.iter().skip(from).take(50);
            let these: Vec<_> = these.map(|(key, path)| (key.clone(), size(path))).collect();
            let next = match comes_back && from > 50 {
                true => 50,
                false => from + 50,
            };
            let next = (next < all.len()).then(|| next.to_string());
            (200, page(&these, next.as_deref()))
        })
    };
    let other = Shop::empty();
    let fetched = done(&fetch_from(&other.visits(), in_pages(false)));
    assert_eq!(fetched["brought"], VISITS);
    assert_eq!(trails(&shop.visits()), trails(&other.visits()));
    let other = Shop::empty();
    let ran = fetch_from(&other.visits(), in_pages(true));
    assert!(
        ran.code == 7 && ran.err.contains("comes back to a page"),
        "{ran:?}"
    );
}

#[test]
fn a_store_is_held_to_its_certificate() {
    let (shop, store) = (Shop::empty(), ObjectStore::start());
    shop.put("a.trail", &visit(1, 2));
    let certificate = shop.path().join("store.crt");
    let port = over_tls(store.at(), &certificate).port();
    let push = |host: &str, ca: &[&str]| {
        let endpoint = format!("https://{host}:{port}");
        let visits = shop.visits();
        let to = ["--store", "s3://shop/t", "--endpoint", &endpoint, "--json"];
        index(&[&["push", text(&visits)], &to[..], ca].concat())
    };
    let ca = ["--ca", text(&certificate)];
    for (host, ca) in [("localhost", &[][..]), ("127.0.0.1", &ca)] {
        let ran = push(host, ca);
        assert!(ran.code == 7 && ran.err.contains("certificate"), "{ran:?}");
        assert!(store.objects().is_empty(), "{host}");
    }
    assert_eq!(done(&push("localhost", &ca))["store"]["put"], json!(1));
    assert_eq!(store.objects().len(), 1);
}
