//! What a user of the database may do, and what the database takes.

use std::collections::BTreeSet;
use std::fs;
use std::net::TcpListener;

use ohmtrail_tests::object_store::{BUCKET, ObjectStore};
use ohmtrail_tests::postgres::{PASSWORD, Server, USER};
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{unit, visit};
use serde_json::json;

use crate::{VISITS, done, index, proven, push_rows, shop, text};

/// The rights of who asks and of who writes, as docs/shop-index.md names them.
#[test]
fn rights_are_as_the_book_has_them() {
    let book = include_str!("../../../docs/shop-index.md");
    let grants = |user: &str| -> String {
        let all = book.lines().filter(|line| line.starts_with("GRANT "));
        let of = all.filter(|line| line.contains(&format!(" TO {user};")));
        of.collect()
    };
    let (shop, server) = (shop(), Server::shared());
    let database = server.database();
    let url = server.url(&database);
    let as_user = |user: &str| url.replace(&format!("{USER}@"), &format!("{user}@"));
    for user in ["asker", "pusher"] {
        let sql = format!("CREATE ROLE {user} LOGIN PASSWORD '{PASSWORD}'");
        server.psql("postgres", &sql);
    }
    // Who may make nothing is told so, and once for all trails.
    let ran = push_rows(&shop.visits(), &as_user("pusher"));
    assert!(
        ran.code == 7 && ran.err.contains("permission denied"),
        "{ran:?}"
    );
    let few = Shop::empty();
    few.put("a.trail", &visit(1, 1));
    let _ = done(&push_rows(&few.visits(), &url));
    let units = || index(&["units", "--database", &as_user("asker")]);
    let ran = units();
    let denied = "permission denied for schema ohmtrail; docs/shop-index.md";
    assert!(ran.code == 7 && ran.err.contains(denied), "{ran:?}");
    assert!(!grants("asker").is_empty() && !grants("pusher").is_empty());
    server.psql(&database, &grants("asker"));
    assert_eq!(units().code, 0, "{:?}", units());
    // It may not write: that is the user's fault and no trail's.
    let ran = push_rows(&shop.visits(), &as_user("asker"));
    assert!(
        ran.code == 7 && ran.err.contains("permission denied"),
        "{ran:?}"
    );
    server.psql(&database, &grants("pusher"));
    let pushed = done(&push_rows(&shop.visits(), &as_user("pusher")))["database"].clone();
    assert_eq!(pushed["new"], json!(VISITS - 1));
    proven(&shop.visits(), &as_user("asker"));
    let visits = shop.visits();
    let ran = index(&["rebuild", text(&visits), "--database", &as_user("pusher")]);
    assert_eq!(ran.code, 0, "{ran:?}");
    proven(&shop.visits(), &url);
}

/// What the database does not take of one visit keeps no other out.
#[test]
fn a_visit_that_is_not_taken_keeps_no_other_out() {
    let (shop, server) = (shop(), Server::shared());
    let database = server.database();
    let url = server.url(&database);
    let first = Shop::empty();
    first.put("a.trail", &visit(1, 1));
    let _ = done(&push_rows(&first.visits(), &url));
    let sql = format!(
        "ALTER TABLE ohmtrail.visits ADD CONSTRAINT invented CHECK (unit <> '{}'); \
         CREATE TABLE ohmtrail.of_the_shop (n int)",
        unit(7)
    );
    server.psql(&database, &sql);
    let ran = push_rows(&shop.visits(), &url);
    assert!(
        ran.code == 5 && ran.out.contains("not put in the database"),
        "{ran:?}"
    );
    assert_eq!(ran.json()["problems"].as_array().map(Vec::len), Some(12));
    assert_eq!(ran.json()["database"]["new"], json!(VISITS - 1 - 12));
    // Tables of another version go; the shop's own stays.
    let sql = "UPDATE ohmtrail.told SET value = '1' WHERE what = 'version'";
    server.psql(&database, sql);
    let visits = shop.visits();
    let ran = index(&["rebuild", text(&visits), "--database", &url]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert_eq!(
        server.ask(&database, "SELECT count(*) FROM ohmtrail.of_the_shop"),
        "0"
    );
    proven(&shop.visits(), &url);
}

/// The addresses that the database has are those of objects that are there, of damaged copies, too.
#[test]
fn addresses_are_of_objects_that_are_there() {
    let (server, store, shop) = (Server::shared(), ObjectStore::start(), Shop::empty());
    let database = server.database();
    let url = server.url(&database);
    shop.put("a.trail", &visit(1, 1));
    let path = shop.put("b.trail", &visit(1, 2));
    let mut bytes = fs::read(&path).expect("a trail");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x20;
    fs::write(&path, &bytes).expect("damaged");
    let endpoint = format!("http://{}", store.at());
    let visits = shop.visits();
    let to = ["--store", "s3://shop/t", "--endpoint", &endpoint];
    let args = ["push", text(&visits), "--database", &url, "--json"];
    let ran = index(&[&args[..], &to].concat());
    assert_eq!(ran.code, 5, "{ran:?}");
    let listed = server.ask(&database, "SELECT path FROM ohmtrail.files");
    let listed: BTreeSet<String> = listed.lines().map(str::to_owned).collect();
    let objects = store.objects().into_iter();
    let objects = objects.map(|(name, _)| format!("s3://{BUCKET}/{name}"));
    assert_eq!(listed, objects.collect());
    assert_eq!(listed.len(), 2);
    // What is damaged is said by both, and once.
    assert_eq!(
        ran.json()["problems"].as_array().map(Vec::len),
        Some(1),
        "{ran:?}"
    );
}

/// A server that is reached and says nothing is not waited for without end.
#[test]
fn a_silent_database_is_given_up() {
    let silent = TcpListener::bind("127.0.0.1:0").expect("a port");
    let at = silent.local_addr().expect("an address");
    let url = format!("postgres://{USER}@{at}/shop?connect_timeout=1");
    let ran = index(&["units", "--database", &url]);
    assert!(
        ran.code == 7 && ran.err.contains("within 1 seconds"),
        "{ran:?}"
    );
}
