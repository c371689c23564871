//! What is answered from prepared lists and counts is what the plain rows say.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use ohmtrail_index::{Index, verify};
use ohmtrail_tests::shop::Shop;
use ohmtrail_tests::years::{FIRST_DAY_US, SHEET, Written, visit};
use ohmtrail_trail::event::Event;

/// Every visit with its words, the latest first.
fn words(shop: &Shop) -> Vec<(i64, Vec<String>)> {
    let store = rusqlite::Connection::open(shop.index()).expect("the file");
    let mut all = store
        .prepare("SELECT visit, words FROM words ORDER BY visit DESC")
        .expect("a statement");
    let rows = all.query_map([], |row| {
        let words: String = row.get(1)?;
        Ok((row.get(0)?, words.split(' ').map(str::to_owned).collect()))
    });
    rows.expect("rows").map(|row| row.expect("a row")).collect()
}

/// The plain way: every word of every visit is looked at.
fn plainly(all: &[(i64, Vec<String>)], asked: &[&str], limit: usize) -> Vec<i64> {
    let has = |words: &[String], begin: &str| words.iter().any(|word| word.starts_with(begin));
    let found = all
        .iter()
        .filter(|(_, words)| asked.iter().all(|begin| has(words, begin)));
    found.map(|(visit, _)| *visit).take(limit).collect()
}

fn fast(index: &mut Index, asked: &[&str], limit: u32) -> Vec<i64> {
    let found = index.search(&asked.join(" "), limit).expect("searched");
    found.iter().map(|v| v.visit).collect()
}

/// Every beginning of every word, of any length, alone and with another one; before and after trails
/// came, changed and went.
#[test]
fn a_search_finds_what_looking_at_every_word_finds() {
    let shop = Shop::of_a_few_units();
    for n in 0..5 {
        let mut noted = Written::new(&format!("noted-{n}"), SHEET, FIRST_DAY_US - n);
        // More words that begin alike than are searched one by one; letters of several bytes.
        let many: Vec<String> = (0..40 * n).map(|k| format!("crate{k:03}")).collect();
        let text = format!("{} Größe {}", many.join(" "), "żółw ".repeat(n as usize));
        noted.say(Event::Note { text });
        shop.put(&format!("noted-{n}.trail"), &noted);
    }
    let mut index = shop.rebuild(0);
    for round in 0..3 {
        let all = words(&shop);
        let every: BTreeSet<&str> = all
            .iter()
            .flat_map(|(_, words)| words.iter().map(String::as_str))
            .collect();
        let begins: BTreeSet<&str> = every
            .iter()
            .flat_map(|word| {
                let ends = word.char_indices().map(|(at, c)| at + c.len_utf8());
                ends.map(|end| &word[..end]).collect::<Vec<_>>()
            })
            .collect();
        assert!(begins.len() > 300, "{}", begins.len());
        for (n, begin) in begins.iter().enumerate() {
            let limit = [1, 7, 1000][n % 3];
            let plain = plainly(&all, &[begin], limit);
            assert_eq!(fast(&mut index, &[begin], limit as u32), plain, "{begin}");
            for other in begins.iter().skip(n % 17).step_by(29) {
                let asked = [*begin, other];
                let plain = plainly(&all, &asked, limit);
                assert_eq!(fast(&mut index, &asked, limit as u32), plain, "{asked:?}");
            }
        }
        for none in ["crated", "żółwi", "inventede", "zzz", "crate9"] {
            assert_eq!(
                fast(&mut index, &[none], 5),
                plainly(&all, &[none], 5),
                "{none}"
            );
        }
        shop.put("noted-1.trail", &visit(40 + round, 3));
        shop.put(&format!("new-{round}.trail"), &visit(50 + round, 2));
        fs::remove_file(shop.visits().join(format!("u1-0{round}.trail"))).expect("removed");
        index.update(&[]).expect("updated");
    }
    shop.proven_equal();
    // A word that would not be found is seen.
    drop(index);
    let store = rusqlite::Connection::open(shop.index()).expect("the file");
    let gone = "DELETE FROM terms WHERE term = 'invented'";
    assert_eq!(store.execute(gone, []).expect("deleted"), 1);
    drop(store);
    let said = verify(&shop.index()).expect_err("a word is missing");
    assert!(
        said.to_string().contains("\"invented\" is not among"),
        "{said}"
    );
}

/// How often each kind failed, and how, by counting the rows of the findings.
fn counted_plainly(shop: &Shop) -> BTreeMap<String, (i64, BTreeMap<String, i64>)> {
    let store = rusqlite::Connection::open(shop.index()).expect("the file");
    let mut all = BTreeMap::<String, (BTreeSet<i64>, BTreeMap<String, BTreeSet<i64>>)>::new();
    let mut rows = store
        .prepare("SELECT kind, mode, visit FROM findings WHERE simulated = 1 AND kind IS NOT NULL")
        .expect("a statement");
    let rows = rows.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)));
    for row in rows.expect("rows") {
        let (kind, mode, visit): (String, String, i64) = row.expect("a row");
        let (visits, modes) = all.entry(kind).or_default();
        visits.insert(visit);
        modes.entry(mode).or_default().insert(visit);
    }
    let count = |n: usize| i64::try_from(n).expect("few");
    let of = |modes: BTreeMap<String, BTreeSet<i64>>| {
        let modes = modes.into_iter();
        modes.map(|(mode, v)| (mode, count(v.len()))).collect()
    };
    all.into_iter()
        .map(|(kind, (visits, modes))| (kind, (count(visits.len()), of(modes))))
        .collect()
}

/// Of how many visits, by counting those to a unit with such a part that came to a conclusion.
fn visits_plainly(shop: &Shop, kind: &str) -> i64 {
    let store = rusqlite::Connection::open(shop.index()).expect("the file");
    store
        .query_row(
            "SELECT count(*) FROM visits v WHERE v.simulated = 1 AND v.outcome IS NOT NULL \
             AND v.outcome <> 'undecided' \
             AND EXISTS (SELECT 1 FROM parts p WHERE p.sheet = v.sheet AND p.kind = ?1)",
            [kind],
            |row| row.get(0),
        )
        .expect("a number")
}

/// The counts that are kept follow every trail that comes, grows, changes its finding and goes.
#[test]
fn kinds_are_counted_as_counting_every_finding_does() {
    let shop = Shop::of_a_few_units();
    let mut index = shop.rebuild(0);
    for round in 0..5 {
        let plain = counted_plainly(&shop);
        let kinds = index.statistics(None, true).expect("statistics");
        let kept: BTreeMap<String, (i64, BTreeMap<String, i64>)> = kinds
            .iter()
            .map(|k| {
                let modes = k.modes.iter().map(|(mode, share)| (mode.clone(), share.k));
                (k.kind.clone(), (k.failed.k, modes.collect()))
            })
            .collect();
        assert_eq!(kept, plain, "round {round}");
        for kind in kinds.iter().filter(|k| k.kind != "wire") {
            assert_eq!(
                kind.failed.n,
                visits_plainly(&shop, &kind.kind),
                "{}",
                kind.kind
            );
        }
        match round {
            // Two faults of one part in one visit are one visit of its kind.
            0 => {
                let mut both = Written::new("both", SHEET, FIRST_DAY_US);
                both.found(&["run-cap.herm-open", "run-cap.fan-open", "comp-start.open"]);
                shop.put("both.trail", &both);
            }
            // What was found becomes another fault, then nothing.
            1 | 2 => {
                let mut other = Written::new("both", SHEET, FIRST_DAY_US);
                other.found(if round == 1 {
                    &["contactor.coil-open"]
                } else {
                    &[]
                });
                shop.put("both.trail", &other);
            }
            _ => {
                for nth in 0..12 {
                    let path = shop.visits().join(format!("u{round}-{nth:02}.trail"));
                    fs::remove_file(path).expect("removed");
                }
            }
        }
        index.update(&[]).expect("updated");
        shop.proven_equal();
    }
}
