//! What a fetch does to the files of a folder.

use std::fs;
use std::os::unix::fs::{MetadataExt, symlink};

use ohmtrail_tests::object_store::ObjectStore;
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{Written, visit};
use ohmtrail_trail::Trail;
use serde_json::json;

use crate::{VISITS, done, fetch_from, push_to, shop, trails, up_to};

/// A store that has a whole visit.
fn store_of(whole: &Written) -> ObjectStore {
    let (store, shop) = (ObjectStore::start(), Shop::empty());
    shop.put("a.trail", whole);
    let _ = done(&push_to(&shop.visits(), store.at()));
    store
}

/// A trail is made longer where it lies: the file is the same one, and what it leads to is, too.
#[test]
fn a_trail_grows_in_its_own_file() {
    let whole = visit(3, 4);
    let store = store_of(&whole);
    let part = up_to(&whole, 20);
    let missing = &whole.bytes()[part.bytes().len()..];
    // Padding, and what a fetch that was cut left behind.
    for behind in [&[][..], &[0; 5000], &missing[..100]] {
        let here = Shop::empty();
        let path = here.path().join("elsewhere");
        fs::write(&path, [&part.bytes(), behind].concat()).expect("a trail");
        let link = here.visits().join("a.trail");
        symlink(&path, &link).expect("a link");
        let before = fs::metadata(&path).expect("the file").ino();
        assert_eq!(done(&fetch_from(&here.visits(), store.at()))["grown"], 1);
        assert!(link.is_symlink());
        assert_eq!(fs::metadata(&path).expect("the file").ino(), before);
        let now = fs::read(&path).expect("the trail");
        let (now, padding) = now.split_at(whole.bytes().len());
        assert_eq!(now, whole.bytes());
        assert!(padding.iter().all(|byte| *byte == 0));
    }
}

#[test]
fn what_somebody_has_in_hand_is_left() {
    let whole = visit(3, 4);
    let store = store_of(&whole);
    let part = up_to(&whole, 20);
    let here = Shop::empty();
    let path = here.put("a.trail", &part);
    {
        let _held = Trail::open(&path).expect("the trail");
        let ran = fetch_from(&here.visits(), store.at());
        assert!(
            ran.code == 5 && ran.out.contains("another program"),
            "{ran:?}"
        );
    }
    assert_eq!(fs::read(&path).expect("the trail"), part.bytes());
    // A torn end is somebody's, too, and is nowhere else.
    let torn = [&part.bytes()[..], b"what of a record was written"].concat();
    fs::write(&path, &torn).expect("a trail");
    let ran = fetch_from(&here.visits(), store.at());
    assert!(
        ran.code == 5 && ran.out.contains("move this file away"),
        "{ran:?}"
    );
    assert_eq!(fs::read(&path).expect("the trail"), torn);
}

#[test]
fn a_new_trail_disturbs_no_other_file() {
    let whole = visit(3, 4);
    let store = store_of(&whole);
    let name = store.objects()[0]
        .0
        .split('/')
        .nth(2)
        .expect("a name")
        .to_owned();
    let here = Shop::empty();
    let beside = here.visits().join(format!("{name}.part"));
    fs::write(&beside, "something else").expect("written");
    assert_eq!(done(&fetch_from(&here.visits(), store.at()))["brought"], 1);
    assert_eq!(fs::read(&beside).expect("it"), b"something else");
    // Who may read it is as of any other file.
    let mode = |path| fs::metadata(path).expect("a file").mode();
    assert_eq!(
        mode(here.visits().join(format!("{name}.trail"))),
        mode(beside)
    );
    assert_eq!(fs::read_dir(here.visits()).expect("the folder").count(), 2);
}

#[test]
fn two_fetches_into_one_folder() {
    let (all, store, here) = (shop(), ObjectStore::start(), Shop::empty());
    let _ = done(&push_to(&all.visits(), store.at()));
    let folder = here.visits();
    let both = std::thread::scope(|scope| {
        let one = || done(&fetch_from(&folder, store.at()));
        let both = [scope.spawn(one), scope.spawn(one)];
        both.map(|one| one.join().expect("ran"))
    });
    let brought = both.iter().filter_map(|one| one["brought"].as_u64());
    assert_eq!(json!(brought.sum::<u64>()), json!(VISITS), "{both:?}");
    assert_eq!(trails(&all.visits()), trails(&folder));
}
