//! A thousand link drops and a thousand power cuts at random moments: every item that was kept
//! arrives once and in order, and no other does.
//!
//! The very ring and the very ends of the link, over a flash that dies within a write or an
//! erasure, and a line that loses, changes and doubles bytes. The host dies, too, and starts again
//! from what it has on disk.

mod flash;

use flash::Mortal;
use ohmtrail_box::keeper::Keeper;
use ohmtrail_box::ring::RingError;
use ohmtrail_core::reading::{Decimal, Flags, Function, Shown};
use ohmtrail_core::units::Micros;
use ohmtrail_link::host::{Event, HostEnd};
use ohmtrail_link::message::{Item, Light, Took, What};
use ohmtrail_link::station::Heard;

use crate::flash::Dice;

fn item(boot: u32, n: u32) -> Item {
    Item {
        boot,
        at: Micros(u64::from(n)),
        what: What::Took(Took {
            step: 1000,
            function: Function::Ohms,
            shown: Shown::Value(Decimal::new(n as i32, -1)),
            flags: Flags::NONE,
            spread: n,
            count: 11,
            light: Light::Pass,
            void: None,
        }),
    }
}

/// A line that may be down, and that harms what it carries.
struct Line {
    down_until: u64,
    harm: u64,
}

impl Line {
    fn carry(&self, bytes: &[u8], now: Micros, dice: &mut Dice) -> Vec<u8> {
        if now.0 < self.down_until {
            return Vec::new();
        }
        let mut out = Vec::with_capacity(bytes.len());
        for byte in bytes {
            if self.harm == 0 || dice.below(self.harm) != 0 {
                out.push(*byte);
                continue;
            }
            match dice.below(3) {
                0 => {}
                1 => out.push(byte ^ (1 << dice.below(8))),
                _ => out.extend([*byte, *byte]),
            }
        }
        out
    }
}

struct World {
    flash: Mortal,
    keeper: Keeper,
    host: HostEnd,
    /// What the host has on disk, in the order it came.
    disk: Vec<(u32, Item)>,
    /// What the box kept, by number, the first being 1.
    kept: Vec<Item>,
    line: Line,
    now: Micros,
    dice: Dice,
    made: u32,
    full: u32,
}

fn open(flash: &mut Mortal) -> Keeper {
    Keeper::open(flash, 1, [0, 0, 1], || 77).expect("a living flash opens")
}

impl World {
    fn new(seed: u64) -> Self {
        let mut flash = Mortal::new(seed);
        let mut host = HostEnd::new(1);
        host.collect(0);
        World {
            keeper: open(&mut flash),
            flash,
            host,
            disk: Vec::new(),
            kept: Vec::new(),
            line: Line {
                down_until: 0,
                harm: 400,
            },
            now: Micros(0),
            dice: Dice(seed),
            made: 0,
            full: 0,
        }
    }

    fn make(&mut self) {
        self.made += 1;
        let item = item(self.keeper.ring.boot(), self.made);
        match self.keeper.ring.push(&mut self.flash, &item) {
            Ok(number) => {
                self.kept.push(item);
                assert_eq!(number as usize, self.kept.len());
            }
            Err(RingError::Full) => self.full += 1,
            Err(_) => {
                assert!(self.flash.is_dead());
                self.restart(Some(item));
            }
        }
    }

    /// The power was cut, perhaps while this item was being written.
    fn restart(&mut self, writing: Option<Item>) {
        self.flash.revive();
        self.keeper = open(&mut self.flash);
        let newest = self.keeper.ring.newest() as usize;
        if newest == self.kept.len() + 1 {
            // The write was whole though nobody was told: it is kept, and it is this item.
            self.kept.push(writing.expect("nothing was being written"));
        }
        assert_eq!(newest, self.kept.len(), "an item is lost or invented");
        // What no host has stored is still there.
        let stored = self.disk.len() as u32;
        assert!(self.keeper.ring.oldest() <= stored + 1);
        for number in stored + 1..=newest as u32 {
            let item = self.keeper.ring.get(&mut self.flash, number);
            assert_eq!(item, Ok(Some(self.kept[number as usize - 1])));
        }
    }

    fn host_restarts(&mut self) {
        let session = self.dice.below(1 << 32) as u32;
        self.host = HostEnd::new(session);
        self.host.collect(self.disk.len() as u32);
    }

    fn step(&mut self) {
        self.now = Micros(self.now.0 + 20_000);
        let now = self.now;
        let mut down = Vec::new();
        let _ = self.host.tick(now);
        while let Some(bytes) = self.host.poll(now) {
            down.extend_from_slice(bytes);
        }
        let mut up = Vec::new();
        for byte in self.line.carry(&down, now, &mut self.dice) {
            if let Heard::Stored(number) = self.keeper.end.push(byte, now) {
                self.keeper
                    .ring
                    .stored(&mut self.flash, number)
                    .expect("it only reads");
            }
            up.extend_from_slice(self.keeper.end.reply());
        }
        let newest = self.keeper.ring.newest();
        if let Some(bytes) = self.keeper.end.poll(newest, Light::Wait, 0, now) {
            up.extend_from_slice(bytes);
        }
        while let Some(bytes) = self.keeper.due(&mut self.flash, now) {
            up.extend_from_slice(bytes);
        }
        for byte in self.line.carry(&up, now, &mut self.dice) {
            match self.host.push(byte, now) {
                Some(Event::Kept {
                    number,
                    missing,
                    item,
                }) => {
                    assert_eq!(missing, 0);
                    self.disk.push((number, item));
                    // Sometimes the host dies between its disk and its word.
                    if self.dice.below(50) == 0 {
                        self.host_restarts();
                        return;
                    }
                    self.host.stored(number);
                }
                Some(Event::Behind { .. }) => panic!("the box forgot what it had"),
                _ => {}
            }
        }
    }

    fn settle(&mut self) {
        self.line = Line {
            down_until: 0,
            harm: 0,
        };
        for _ in 0..20_000 {
            if self.disk.len() == self.kept.len() {
                break;
            }
            self.step();
        }
    }

    fn check(&self) {
        let numbers: Vec<u32> = self.disk.iter().map(|(number, _)| *number).collect();
        let wanted: Vec<u32> = (1..=self.kept.len() as u32).collect();
        assert_eq!(numbers, wanted, "once each and in order");
        let items: Vec<Item> = self.disk.iter().map(|(_, item)| *item).collect();
        assert_eq!(items, self.kept);
    }
}

/// One run; link drops, power cuts, items.
fn run(seed: u64, cuts: u32) -> (u32, u32, usize) {
    let mut world = World::new(seed);
    let (mut drops, mut cut) = (0, 0);
    while drops < cuts || cut < cuts {
        for _ in 0..world.dice.below(600) {
            if world.dice.below(16) == 0 {
                world.make();
            }
            world.step();
        }
        if cut < cuts {
            cut += 1;
            // Now, or some words into what is written next.
            let words = world.dice.below(60);
            world.flash.die_after(words);
            let before = world.flash.lives();
            while words > 0 && world.flash.lives() == before && !world.flash.is_dead() {
                let full = world.full;
                world.make();
                world.step();
                if world.full > full {
                    break;
                }
            }
            if world.flash.lives() == before {
                world.restart(None);
            }
        }
        if drops < cuts {
            drops += 1;
            world.line.down_until = world.now.0 + world.dice.below(6_000_000);
        }
        if world.dice.below(10) == 0 {
            world.host_restarts();
        }
    }
    world.settle();
    world.check();
    let wear = world.flash.wear();
    let (least, most) = (wear.iter().min(), wear.iter().max());
    assert!(
        most.copied().unwrap_or(0) <= least.copied().unwrap_or(0) * 3 / 2 + 3,
        "pages wear alike: {wear:?}"
    );
    (drops, cut, world.kept.len())
}

#[test]
fn a_thousand_drops_and_a_thousand_cuts_lose_and_double_nothing() {
    let (mut drops, mut cuts, mut items) = (0, 0, 0);
    for seed in 0..10 {
        let (d, c, i) = run(seed, 100);
        drops += d;
        cuts += c;
        items += i;
    }
    println!("{drops} link drops, {cuts} power cuts, {items} items: none lost, none doubled");
    assert!(drops >= 1000 && cuts >= 1000 && items > 5000, "{items}");
}

/// The power is cut within every single word that a run writes.
#[test]
fn every_word_of_a_run_may_be_the_last() {
    let mut words = 0;
    loop {
        let mut flash = Mortal::new(words);
        flash.die_after(words);
        let opened = Keeper::open(&mut flash, 1, [0, 0, 1], || 77);
        let mut kept = Vec::new();
        let mut writing = None;
        if let Ok(mut keeper) = opened {
            for n in 1..=90 {
                let item = item(1, n);
                writing = Some(item);
                // A host stores as it goes, so that pages are erased and used again.
                keeper
                    .ring
                    .stored(&mut flash, (n - 1).saturating_sub(20))
                    .ok();
                match keeper.ring.push(&mut flash, &item) {
                    Ok(_) => kept.push(item),
                    Err(_) => break,
                }
            }
        }
        let lived = !flash.is_dead();
        flash.revive();
        let mut keeper = open(&mut flash);
        let newest = keeper.ring.newest() as usize;
        if newest == kept.len() + 1 {
            kept.push(writing.expect("something was being written"));
        }
        assert_eq!(newest, kept.len(), "cut after {words} words");
        for number in keeper.ring.oldest()..=newest as u32 {
            let item = keeper.ring.get(&mut flash, number);
            assert_eq!(item, Ok(Some(kept[number as usize - 1])), "after {words}");
        }
        let held = newest as u32 + 1 - keeper.ring.oldest();
        assert!(held as usize >= kept.len().min(20), "after {words}");
        if lived {
            break;
        }
        words += 1;
    }
    println!("cut within each of {words} words");
    assert!(words > 1000, "{words}");
}

#[test]
fn a_full_ring_refuses_and_loses_nothing() {
    let mut flash = Mortal::new(1);
    let mut keeper = open(&mut flash);
    let mut n = 0;
    let room = keeper.ring.room();
    let refused = loop {
        n += 1;
        match keeper.ring.push(&mut flash, &item(1, n)) {
            Ok(_) => {}
            Err(error) => break error,
        }
    };
    assert_eq!(refused, RingError::Full);
    assert!(n > room, "it said there was room for {room}");
    for number in 1..n {
        assert_eq!(
            keeper.ring.get(&mut flash, number),
            Ok(Some(item(1, number)))
        );
    }
    keeper.ring.stored(&mut flash, n / 2).expect("it reads");
    assert_eq!(keeper.ring.push(&mut flash, &item(1, n)), Ok(n));
}
