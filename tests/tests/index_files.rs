//! What happens to trails and their folders, and what the index makes of it.

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use ohmtrail_core::units::Micros;
use ohmtrail_index::{Error, Gathered, Index, rebuild, verify};
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{DAY_US, Written, unit, visit};
use ohmtrail_trail::Trail;
use ohmtrail_trail::event::Event;

#[test]
fn an_update_reads_what_changed_and_comes_to_what_a_rebuild_says() {
    let shop = Shop::of_a_few_units();
    let mut index = shop.rebuild(0);
    shop.proven_equal();
    let still = index.update(&[]).expect("updated");
    assert_eq!((still.trails, still.read), (72, 0));

    // A new trail, one that grows by the very writer, one that is gone.
    shop.put("new.trail", &visit(7, 0));
    let grown = shop.visits().join("u1-03.trail");
    let (mut trail, entries, _) = Trail::open(&grown).expect("opens");
    let mut more = entries.last().expect("an entry").clone();
    more.at.wall_us += DAY_US;
    more.at.steady = Micros(more.at.steady.0 + 1);
    more.event = Event::Note {
        text: "zebrawood lid".to_owned(),
    };
    trail.take(&more).expect("taken");
    // The writer's padding lies behind it, as while a visit is open.
    let update = index.update(&[]).expect("updated");
    assert_eq!((update.trails, update.read), (73, 2), "{update:?}");
    trail.close().expect("closed");
    let gone = shop.visits().join("u2-11.trail");
    fs::remove_file(&gone).expect("removed");
    let update = index.update(&[]).expect("updated");
    assert_eq!((update.trails, update.read), (72, 1), "{update:?}");
    assert_eq!(
        update.gone,
        [fs::canonicalize(shop.visits())
            .expect("it")
            .join("u2-11.trail")]
    );
    assert_eq!(update.problems, []);
    shop.proven_equal();

    let found = index.search("ZEBRA invented", 5).expect("searched");
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].unit, unit(1));
    assert!(
        found[0]
            .path
            .as_deref()
            .is_some_and(|p| p.ends_with("u1-03.trail"))
    );
    assert_eq!(
        index.history(&unit(2), true, 50).expect("history").len(),
        11
    );
    assert_eq!(index.units(true, 0, 50).expect("units").len(), 7);
    assert_eq!(index.size(true).expect("size"), (7, 72));
}

#[test]
fn damage_is_named_and_does_not_stop_the_rest() {
    let shop = Shop::of_a_few_units();
    let path = shop.visits().join("u0-05.trail");
    let mut bytes = fs::read(&path).expect("a trail");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    fs::write(&path, &bytes).expect("damaged");
    let first = shop.visits().join("u0-06.trail");
    let mut bytes = fs::read(&first).expect("a trail");
    bytes[40] ^= 0x10;
    fs::write(&first, &bytes).expect("damaged");
    fs::write(
        shop.visits().join("list.trail"),
        "milk, bread and so on, as long as a header",
    )
    .expect("no trail");
    let mut index = shop.rebuild(3);
    shop.proven_equal_with_problems(3);
    let problems = index.problems().expect("problems");
    let what = |name: &str| {
        let found = problems
            .iter()
            .find(|p| p.path.ends_with(name))
            .expect(name);
        found.what.clone()
    };
    assert!(what("u0-05.trail").contains("record"), "{problems:?}");
    assert!(
        what("u0-06.trail").contains("does not say what was visited"),
        "{problems:?}"
    );
    assert!(what("list.trail").contains("not a trail"), "{problems:?}");
    // The damaged one is there with what is whole of it; the one without its first record is not.
    assert_eq!(
        index.history(&unit(0), true, 50).expect("history").len(),
        11
    );
}

/// A trail that was rewritten behind the index's back is named, as is a second file of a visit that
/// does not go on from it.
#[test]
fn what_did_not_only_grow_is_named() {
    let shop = Shop::empty();
    let mut whole = visit(3, 4);
    let path = shop.put("a.trail", &whole);
    let mut index = shop.rebuild(0);
    // An older copy elsewhere is no problem, and adds nothing.
    let mut older = whole.clone();
    older.entries.truncate(20);
    shop.put("copy.trail", &older);
    let update = index.update(&[]).expect("updated");
    assert_eq!((update.read, update.problems.len()), (1, 0), "{update:?}");
    shop.proven_equal();
    // A copy that says something else is one.
    let last = older.entries.len() - 1;
    older.entries[last].event = Event::Note {
        text: "something else".to_owned(),
    };
    shop.put("copy.trail", &older);
    let update = index.update(&[]).expect("updated");
    assert_eq!(update.problems.len(), 1, "{update:?}");
    assert!(update.problems[0].path.ends_with("copy.trail"));
    fs::remove_file(shop.visits().join("copy.trail")).expect("removed");
    // The trail itself, with another note in its middle.
    whole.entries[10].event = Event::Note {
        text: "rewritten".to_owned(),
    };
    fs::write(&path, whole.bytes()).expect("rewritten");
    let update = index.update(&[]).expect("updated");
    assert_eq!(update.problems.len(), 1, "{update:?}");
    assert!(
        update.problems[0]
            .what
            .contains("changed since it was indexed")
    );
    assert_eq!(index.search("rewritten", 5).expect("searched").len(), 1);
    shop.proven_equal();
    // Where the longer copy is removed, the shorter one takes its place.
    older.entries.truncate(15);
    shop.put("z.trail", &older);
    index.update(&[]).expect("updated");
    fs::remove_file(&path).expect("removed");
    index.update(&[]).expect("updated");
    shop.proven_equal();
    assert_eq!(index.size(true).expect("size"), (1, 1));
}

/// What is said of this file, if anything is.
fn said(gathered: &Gathered, name: &str) -> Option<String> {
    let mut problems = gathered.problems.iter();
    let found = problems.find(|p| p.path.ends_with(name));
    found.map(|p| p.what.clone())
}

fn first(visit: &Written, entries: usize) -> Written {
    let mut part = visit.clone();
    part.entries.truncate(entries);
    part
}

/// The head of the file that counts for the only visit of a unit.
fn counts(index: &mut Index, unit: &str) -> PathBuf {
    let history = index.history(unit, true, 5).expect("history");
    assert_eq!(history.len(), 1);
    let path = history[0].path.as_deref().expect("a path");
    PathBuf::from(Path::new(path).file_name().expect("a name"))
}

/// Where the file that counted loses records, another file of the visit counts.
#[test]
fn a_file_that_shrank_gives_way_to_a_longer_one() {
    let shop = Shop::empty();
    let whole = visit(3, 4);
    shop.put("a.trail", &whole);
    shop.put("b.trail", &first(&whole, 30));
    shop.put("c.trail", &first(&whole, 25));
    let mut index = shop.rebuild(0);
    assert_eq!(counts(&mut index, &unit(3)), Path::new("a.trail"));
    shop.put("a.trail", &first(&whole, 20));
    let update = index.update(&[]).expect("updated");
    assert_eq!(counts(&mut index, &unit(3)), Path::new("b.trail"));
    assert_eq!(update.problems.len(), 1, "{update:?}");
    let what = said(&update, "a.trail").expect("it is named");
    assert!(what.contains("changed since it was indexed"), "{what}");
    shop.proven_equal();
    // Whatever counts and was rewritten, the others are held against it once more.
    let mut other = first(&whole, 30);
    other.entries[22].event = Event::Note {
        text: "rewritten".to_owned(),
    };
    shop.put("b.trail", &other);
    let update = index.update(&[]).expect("updated");
    assert_eq!(counts(&mut index, &unit(3)), Path::new("b.trail"));
    let what = said(&update, "c.trail").expect("it is named");
    assert!(what.contains("does not hold this one's head"), "{what}");
    shop.proven_equal_with_problems(1);
}

/// That a trail was rewritten is said with every update until the index is made anew, of its first
/// record too, and of one that could not be read in between.
#[test]
fn what_was_rewritten_stays_named() {
    let shop = Shop::empty();
    shop.put("a.trail", &visit(3, 4));
    shop.put("b.trail", &first(&visit(4, 4), 20));
    let mut index = shop.rebuild(0);
    let mut other = visit(3, 4);
    if let Event::Opened(opened) = &mut other.entries[0].event {
        opened.technician = "B. Invented".to_owned();
    }
    shop.put("a.trail", &other);
    let path = shop.visits().join("b.trail");
    fs::write(&path, "no trail for a while, and as long as a header").expect("written");
    let update = index.update(&[]).expect("updated");
    let what = said(&update, "a.trail").expect("it is named");
    assert!(what.contains("begins with another record"), "{what}");
    let what = said(&update, "b.trail").expect("it is named");
    assert!(what.contains("not a trail"), "{what}");
    assert_eq!(index.size(true).expect("size"), (1, 1));
    let found = index.search("technician", 5).expect("searched");
    assert_eq!(found.len(), 0);
    let technician = &index.history(&unit(3), true, 5).expect("history")[0].technician;
    assert_eq!(technician, "B. Invented");
    // It grows by the very writer.
    let (mut trail, entries, _) = Trail::open(shop.visits().join("a.trail")).expect("opens");
    let mut more = entries.last().expect("an entry").clone();
    more.at.wall_us += DAY_US;
    more.event = Event::Note {
        text: "later".to_owned(),
    };
    trail.take(&more).expect("taken");
    trail.close().expect("closed");
    shop.put("b.trail", &first(&visit(4, 4), 19));
    let update = index.update(&[]).expect("updated");
    let what = said(&update, "a.trail").expect("it is named");
    assert!(what.contains("begins with another record"), "{what}");
    let what = said(&update, "b.trail").expect("it is named");
    assert!(what.contains("is in it no more"), "{what}");
    assert_eq!(update.problems.len(), 2, "{update:?}");
    shop.proven_equal();
    drop(index);
    drop(shop.rebuild(0));
}

/// A change that leaves the length and the time of modification as they were is seen all the same.
#[test]
fn a_change_of_the_same_length_and_time_is_seen() {
    let shop = Shop::empty();
    let path = shop.put("a.trail", &visit(3, 4));
    let about = fs::metadata(&path).expect("it is there");
    let mut index = shop.rebuild(0);
    let mut other = visit(3, 4);
    let last = other.entries.len() - 1;
    other.entries[last].at.wall_us += 1;
    fs::write(&path, other.bytes()).expect("rewritten");
    let modified = about.modified().expect("a time");
    let file = File::options().append(true).open(&path).expect("opens");
    file.set_modified(modified).expect("set back");
    drop(file);
    let now = fs::metadata(&path).expect("it is there");
    assert_eq!(
        (now.len(), now.modified().ok()),
        (about.len(), Some(modified))
    );
    let update = index.update(&[]).expect("updated");
    assert_eq!((update.read, update.problems.len()), (1, 1), "{update:?}");
    shop.proven_equal();
}

/// A folder that is named to an update belongs to the index from then on, beside the others.
#[test]
fn a_folder_is_added_to_the_others() {
    let shop = Shop::empty();
    shop.put("a.trail", &visit(3, 4));
    let mut index = shop.rebuild(0);
    let other = shop.path().join("other");
    fs::create_dir(&other).expect("a folder");
    fs::write(other.join("b.trail"), visit(4, 4).bytes()).expect("a trail");
    let update = index.update(std::slice::from_ref(&other)).expect("updated");
    assert_eq!((update.trails, update.read), (2, 1), "{update:?}");
    assert!(update.gone.is_empty(), "{update:?}");
    assert_eq!(index.size(true).expect("size"), (2, 2));
    // Named once more, or a folder of it, it is no second one.
    index.update(&[other, shop.visits()]).expect("updated");
    assert_eq!(index.folders().expect("folders").len(), 2);
    shop.proven_equal();
    assert!(index.update(&[shop.path().join("nowhere")]).is_err());
    assert_eq!(index.folders().expect("folders").len(), 2);
}

/// A folder that cannot be looked through is named, what was indexed of it stays, and the rest goes on.
#[test]
fn a_folder_that_is_away_stops_nothing() {
    let shop = Shop::empty();
    shop.put("a.trail", &visit(3, 4));
    let away = shop.path().join("away");
    fs::create_dir_all(away.join("deeper")).expect("a folder");
    fs::write(away.join("deeper/b.trail"), visit(4, 4).bytes()).expect("a trail");
    let both = [shop.visits(), away.clone()];
    rebuild(&shop.index(), &both, None).expect("rebuilt");
    let mut index = shop.open();
    let elsewhere = shop.path().join("elsewhere");
    fs::rename(&away, &elsewhere).expect("away");
    shop.put("c.trail", &visit(5, 4));
    let update = index.update(&[]).expect("updated");
    assert_eq!((update.trails, update.read), (2, 1), "{update:?}");
    assert!(update.gone.is_empty(), "{update:?}");
    let what = said(&update, "away").expect("it is named");
    assert!(what.contains("cannot be looked through"), "{what}");
    assert_eq!(index.size(true).expect("size"), (3, 3));
    // It is back, without its trail: that one is gone.
    fs::rename(&elsewhere, &away).expect("back");
    fs::remove_file(away.join("deeper/b.trail")).expect("removed");
    let update = index.update(&[]).expect("updated");
    assert_eq!((update.gone.len(), update.problems.len()), (1, 0));
    assert_eq!(index.size(true).expect("size"), (2, 2));
    shop.proven_equal();
}

/// Whoever makes it anew, updates, proves and reads it at once: each gets a whole one, or is told to
/// wait.
#[test]
fn several_at_once_do_not_spoil_it() {
    let shop = Shop::of_a_few_units();
    drop(shop.rebuild(0));
    let (index, visits) = (shop.index(), [shop.visits()]);
    let held = |result: Result<(), Error>| match result {
        Ok(()) | Err(Error::Held { .. }) => {}
        Err(error) => panic!("{error}"),
    };
    thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                for _ in 0..3 {
                    held(rebuild(&index, &visits, None).map(drop));
                }
            });
        }
        scope.spawn(|| {
            for _ in 0..3 {
                held(verify(&index).map(|compared| {
                    assert!(compared.equal(), "{:#?}", compared.differences);
                }));
            }
        });
        scope.spawn(|| {
            for n in 0..3 {
                // The same trail once more, whole at every moment: it is read and taken in again.
                let beside = shop.path().join("beside");
                fs::write(&beside, visit(n, 0).bytes()).expect("a trail");
                let to = shop.visits().join(format!("u{n}-00.trail"));
                fs::rename(beside, to).expect("put in its place");
                let updated = Index::open(&index).and_then(|mut i| i.update(&[]));
                held(updated.map(drop));
            }
        });
        scope.spawn(|| {
            for _ in 0..20 {
                let asked = Index::open(&index).and_then(|mut i| i.history(&unit(1), true, 50));
                held(asked.map(|history| assert_eq!(history.len(), 12)));
                thread::sleep(Duration::from_millis(10));
            }
        });
    });
    shop.open().update(&[]).expect("updated");
    shop.proven_equal();
    // What another writer holds is not waited for without end.
    let lock = shop.path().join("shop.sqlite.writing");
    let file = File::options().write(true).open(lock).expect("the lock");
    file.lock().expect("held");
    assert!(matches!(verify(&index), Err(Error::Held { .. })));
}
