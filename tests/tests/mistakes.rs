//! One mistaken take in a visit: the meter on a wrong point, or on a wrong function, noticed or not, at
//! any step. It must not derail the visit.
//!
//! Sampled over every built-in sheet and every fault: the unit, the fault, the step and the mistake are
//! drawn. An honest visit of the same unit comes first, so that what is counted is what the mistake
//! did, and so that it falls on a take that the visit makes.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use ohmtrail_circuit::sheet::{BUILTIN, Sheet, read_builtin};
use ohmtrail_meters::sim::noise::Noise;
use ohmtrail_tests::fault_bench::stats::Rate;
use ohmtrail_tests::technician::profile;
use ohmtrail_tests::visiting::{Ended, Mistake, visit};
use ohmtrail_visit::{Book, SheetBundle};

/// Visits of each sheet. `OHMTRAIL_MISTAKES` names another number.
const VISITS: usize = 24;

/// The number of the first visit: those before it were drawn to measure the shares below.
const FIRST: usize = 100_000;

/// At most this share of visits with one mistaken take names a part in which nothing is wrong: in 372
/// that were drawn before it was 0.8 % (95 % interval 0.3 to 2.3 %).
const CONDEMNED: f64 = 0.025;

/// At least this share ends with the right fault, or with one that no check tells from it: 99.2 % of
/// those (97.7 to 99.7 %).
const RIGHT: f64 = 0.97;

/// What a visit came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Came {
    /// The fault, or one that no check tells from it.
    Right,
    /// Nothing named: undecided, or none of these.
    Open,
    /// Another fault of the broken part, or one more than it has.
    Place,
    /// A part in which nothing is wrong.
    Condemned,
}

fn came(sheet: &Sheet, fault: usize, follows: &[String], ended: &Ended) -> Came {
    let truth = &sheet.faults[fault].name;
    let finding = &ended.finding;
    if finding.faults.is_empty() {
        return Came::Open;
    }
    let is = |set: &Vec<String>| {
        let rest = set.iter().filter(|n| *n != truth);
        set.contains(truth) && rest.clone().all(|n| follows.contains(n))
    };
    if is(&finding.faults) || finding.alike.iter().any(is) {
        return Came::Right;
    }
    let owner = |fault: usize| {
        let owner = sheet.faults[fault].owner;
        let wire = owner.checked_sub(sheet.parts.len());
        wire.and_then(|w| sheet.wires[w].lead_of).unwrap_or(owner)
    };
    let broken = |name: &String| {
        let named = sheet.fault(name).map(owner);
        follows.contains(name) || named == Some(owner(fault))
    };
    if finding.faults.iter().all(broken) {
        Came::Place
    } else {
        Came::Condemned
    }
}

/// One visit without and one with a mistake; none where no mistake could be made.
fn one(book: &Book<'_>, number: usize) -> Option<(Came, Came, String)> {
    let profiles = [0, 1].map(profile);
    let sheet = book.sheet;
    let mut noise = Noise::of(number as u64, 0x0057_a9e5);
    let below = |noise: &mut Noise, n: usize| ((noise.unit() * n as f64) as usize).min(n - 1);
    let fault = below(&mut noise, sheet.faults.len());
    let seed = noise.bits();
    let honest = visit(book, &profiles, seed, &[fault], None);
    if honest.takes == 0 {
        return None;
    }
    let mistake = Mistake {
        take: below(&mut noise, honest.takes),
        noise,
    };
    let mistaken = visit(book, &profiles, seed, &[fault], Some(mistake));
    let slip = mistaken.slip.clone()?;
    let unit = ohmtrail_circuit::operate::Unit::new(
        &book.circuit,
        ohmtrail_circuit::unit::Drawn::draw(sheet, seed),
        &[fault],
    );
    let follows = unit.consequences();
    let [before, after] = [&honest, &mistaken].map(|e| came(sheet, fault, &follows, e));
    let words = format!(
        "{} {number}: {}, {slip}: {before:?} {:?}, with the mistake {after:?} {:?} ({})",
        sheet.name,
        sheet.faults[fault].name,
        honest.finding.faults,
        mistaken.finding.faults,
        mistaken.lead
    );
    Some((before, after, words))
}

/// The most of `n` that come with probability `p` each, but for one in a thousand such samples
/// (binomial distribution, summed by its recurrence).
fn most(n: u64, p: f64) -> u64 {
    let mut term = (n as f64 * (1.0 - p).ln()).exp();
    let mut sum = term;
    let mut k = 0;
    while sum < 0.999 && k < n {
        term *= (n - k) as f64 / (k + 1) as f64 * p / (1.0 - p);
        sum += term;
        k += 1;
    }
    k
}

#[test]
fn one_mistaken_take_does_not_derail_a_visit() {
    let visits = std::env::var("OHMTRAIL_MISTAKES");
    let visits = visits.map_or(VISITS, |n| n.parse().expect("a number"));
    let bundles: Vec<SheetBundle> = BUILTIN
        .iter()
        .map(|(name, _)| {
            let sheet = read_builtin(name).expect("built in").expect("it reads");
            SheetBundle::new(sheet).expect("it compiles")
        })
        .collect();
    let next = AtomicUsize::new(0);
    let all = Mutex::new(Vec::new());
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                let books: Vec<Book<'_>> = bundles
                    .iter()
                    .map(|b| Book::new(b).expect("it opens"))
                    .collect();
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= visits * books.len() {
                        break;
                    }
                    let ran = one(&books[number % books.len()], FIRST + number);
                    all.lock().expect("not poisoned").extend(ran);
                }
            });
        }
    });
    let all = all.into_inner().expect("not poisoned");
    let count = |of: Came, mistaken: bool| {
        let came = all.iter().map(|(b, a, _)| if mistaken { *a } else { *b });
        Rate {
            hits: came.filter(|c| *c == of).count() as u64,
            of: all.len() as u64,
        }
    };
    for mistaken in [false, true] {
        let rates = [Came::Right, Came::Open, Came::Place, Came::Condemned];
        let words: Vec<String> = rates
            .iter()
            .map(|of| format!("{of:?} {}", count(*of, mistaken)))
            .collect();
        eprintln!("mistaken {mistaken}: {}", words.join("; "));
    }
    for (_, after, words) in &all {
        if *after != Came::Right {
            eprintln!("{words}");
        }
    }
    // Enough mistakes were made to say something, of those that were drawn.
    assert!(
        all.len() * 2 > visits * bundles.len(),
        "{} mistakes",
        all.len()
    );
    // Were the shares as stated, a sample would be worse than this once in a thousand.
    let n = all.len() as u64;
    let condemned = count(Came::Condemned, true).hits;
    assert!(
        condemned <= most(n, CONDEMNED),
        "{condemned} of {n} condemned"
    );
    let wrong = n - count(Came::Right, true).hits;
    assert!(wrong <= most(n, 1.0 - RIGHT), "{wrong} of {n} not right");
}

/// The quantile against scipy's: binom.ppf(0.999, n, p), computed with scipy 1.17.1.
#[test]
fn the_most_of_a_binomial_is_its_quantile() {
    assert_eq!(most(264, 0.025), 16);
    assert_eq!(most(264, 0.10), 43);
    assert_eq!(most(1, 0.5), 1);
}
