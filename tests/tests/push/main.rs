//! `ohmtrail index push` and `fetch`: trails and rows to real servers, over lines that are cut, by two
//! machines at once, and back.

mod courses;
mod cuts;
mod growing;
mod photographs;
mod questions;
mod refusals;
mod rights;
mod stores;

use std::collections::BTreeSet;
use std::fs;
use std::net::SocketAddr;
use std::path::Path;
use std::process::Stdio;

use ohmtrail_tests::cli::{Ran, ohmtrail};
use ohmtrail_tests::object_store::{KEY, SECRET};
use ohmtrail_tests::postgres::PASSWORD;
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{Written, visit};
use serde_json::Value;

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

/// A visit up to its nth entry.
fn up_to(whole: &Written, entries: usize) -> Written {
    let mut part = whole.clone();
    part.entries.truncate(entries);
    part
}
