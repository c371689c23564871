//! What is refused, and what is said of it.

use std::fs;
use std::path::Path;

use ohmtrail_tests::cli::{Ran, ohmtrail};
use ohmtrail_tests::object_store::{KEY, ObjectStore, SECRET};
use ohmtrail_tests::postgres::{PASSWORD, Server};
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::visit;

use crate::text;

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
    let certificate = server.certificate();
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
        // The certificate is of another name.
        (
            &["--database", &required, "--ca", text(&certificate)],
            7,
            "certificate",
        ),
        (
            &["--database", "postgres://a:a-wrong-s3cret@b@c/d"],
            2,
            "write @ as %40",
        ),
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
