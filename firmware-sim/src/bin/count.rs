//! The core alone under QEMU: what a verdict, an answer and the next ask cost, in instructions as
//! the emulator counts them, and how deep the stack goes. Run with `-icount shift=6`: an
//! instruction takes 64 ns of the emulated time then, and a tick of the timer is 40 ns.
//!
//! It reads a compiled table from `table` in the emulator's folder, and isolates with it, each ask
//! answered by its most probable class.
#![no_std]
#![no_main]

#[path = "../board/qemu/disk.rs"]
#[allow(dead_code, reason = "it reads one file, and writes none")]
mod disk;
#[path = "../stack.rs"]
mod stack;

use core::hint::black_box;
use core::ptr::{addr_of_mut, read_volatile, write_volatile};
use core::slice;

use cortex_m_rt::entry;
use cortex_m_semihosting::debug::{EXIT_FAILURE, EXIT_SUCCESS, exit};
use cortex_m_semihosting::hio;
use ohmtrail_box::isolation::{ASKS, HYPOTHESES, ROWS, WEIGHTS};
use ohmtrail_core::accuracy::{Accuracy, Circuit, Spec, measure};
use ohmtrail_core::class::{Class, Likely};
use ohmtrail_core::isolate::{
    Active, Belief, Evidence, Kind, Planner, Prospect, Standing, State, Table,
};
use ohmtrail_core::reading::{Decimal, Flags, Function, MeterId, Reading, Shown};
use ohmtrail_core::settle::Settler;
use ohmtrail_core::source::{Source, Status};
use ohmtrail_core::units::Micros;
use ohmtrail_core::verdict::{Bands, Limit, Verdict};

const TABLE: *mut u8 = 0x2020_0000 as *mut u8;
const MOST: usize = 128 * 1024;
const VALUE: *mut u32 = 0x4000_0004 as *mut u32;

static mut WEIGHTS_ROOM: [f32; WEIGHTS] = [0.0; WEIGHTS];
static mut PROSPECTS: [Prospect; ASKS] = [Prospect::NONE; ASKS];
static mut ACTIVE: [Active; HYPOTHESES] = [Active::NONE; HYPOTHESES];
static mut SETTLER: Settler = Settler::new();

fn ticks() -> u32 {
    // SAFETY: a register of the board's first timer.
    unsafe { read_volatile(VALUE) }
}

/// Instructions that `work` takes, less those of the counting itself.
fn count<T>(empty: u32, work: impl FnOnce() -> T) -> (T, u32) {
    let begun = ticks();
    let done = work();
    let passed = begun.wrapping_sub(ticks());
    // 40 ns a tick, 64 ns an instruction.
    (done, (passed.saturating_mul(40) / 64).saturating_sub(empty))
}

fn say(name: &str, number: u32) {
    let Ok(mut out) = hio::hstdout() else { return };
    let mut digits = [b' '; 10];
    let mut rest = number;
    for slot in digits.iter_mut().rev() {
        *slot = b'0'.wrapping_add((rest % 10) as u8);
        rest /= 10;
        if rest == 0 {
            break;
        }
    }
    for part in [name.as_bytes(), b" ", &digits, b"\n"] {
        let _ = out.write_all(part);
    }
}

/// A thousand turns of two instructions: what the count is checked by.
#[inline(never)]
fn two_thousand() {
    // SAFETY: a loop over a register, and nothing else.
    unsafe {
        core::arch::asm!(
            "2: subs {n}, {n}, #1",
            "bne 2b",
            n = inout(reg) 1000_u32 => _,
        );
    }
}

#[entry]
fn main() -> ! {
    stack::paint();
    // SAFETY: the timer's control and reload registers.
    unsafe {
        write_volatile(0x4000_0008 as *mut u32, u32::MAX);
        write_volatile(VALUE, u32::MAX);
        write_volatile(0x4000_0000 as *mut u32, 1);
    }
    exit(if isolate().is_some() {
        EXIT_SUCCESS
    } else {
        EXIT_FAILURE
    });
    loop {
        cortex_m::asm::wfi();
    }
}

fn isolate() -> Option<()> {
    let ((), empty) = count(0, || ());
    let ((), loops) = count(empty, two_thousand);
    say("two-thousand", loops);
    verdict(empty);
    // SAFETY: memory of the board that the linker knows nothing of, used here alone.
    let room = unsafe { slice::from_raw_parts_mut(TABLE, MOST) };
    let length = disk::read_all(b"table\0", room)?;
    let table = Table::parse(room.get(..length)?).ok()?;
    // SAFETY: `isolate` is run once, and nothing else names these.
    let (weights, prospects, active) = unsafe {
        (
            &mut *addr_of_mut!(WEIGHTS_ROOM),
            &mut *addr_of_mut!(PROSPECTS),
            &mut *addr_of_mut!(ACTIVE),
        )
    };
    let mut belief = Belief::<ROWS>::with_rows(&table, weights).ok()?;
    let mut planner = Planner::new(&table, prospects, active).ok()?;
    let mut answered = [0_u32; ASKS / 32];
    let now = State {
        on: true,
        lifted: 0,
        cooled: false,
    };
    let mut takes = heapless::Vec::<(u16, Evidence), 12>::new();
    let (mut most_standing, mut most_update) = (0, 0);
    for _ in 0..12 {
        let mut allowed = |ask: u16| {
            let word = answered.get(usize::from(ask / 32)).copied().unwrap_or(0);
            word & (1 << (ask % 32)) == 0
        };
        // As the box asks: with what was taken, and the look whether it is found.
        let (stands, standing) = count(empty, || {
            planner.standing(&belief, &takes, now, &mut allowed)
        });
        most_standing = most_standing.max(standing);
        let (Standing::Ask(choice) | Standing::Again(choice)) = stands.ok()? else {
            break;
        };
        let record = table.ask(choice.ask)?;
        let evidence = match record.kind {
            Kind::Look => Evidence::Looked(false),
            Kind::Measure(_) => Evidence::Measured(Likely::certain(Class::Within)),
        };
        let (done, update) = count(empty, || belief.update(choice.ask, &evidence));
        done.ok()?;
        most_update = most_update.max(update);
        let _ = takes.push((choice.ask, evidence));
        if let Some(word) = answered.get_mut(usize::from(choice.ask / 32)) {
            *word |= 1 << (choice.ask % 32);
        }
    }
    say("standing", most_standing);
    say("update", most_update);
    say("asks", u32::from(table.ask_count()));
    say("hypotheses", u32::from(table.hypotheses));
    say("table", length as u32);
    // What the core's calls took below this function's own frame.
    let [deepest, most] = stack::deepest();
    let frame = stack::top().wrapping_sub(cortex_m::register::msp::read());
    say("stack", deepest.saturating_sub(frame));
    say("stack-with-main", deepest);
    say("stack-room", most);
    Some(())
}

/// One display value that settles, and the verdict on it.
fn verdict(empty: u32) {
    const OHMS: [Spec; 1] = [Spec {
        function: Function::Ohms,
        accuracy: Accuracy::up_to(0.8, 2.0, 60e6),
    }];
    const PLATE: Source = Source::new("counted", Status::Plate);
    let reading = |at| Reading {
        function: Function::Ohms,
        shown: Shown::Value(Decimal::new(black_box(291), -2)),
        flags: Flags::NONE,
        meter: MeterId(0),
        at: Micros(at),
    };
    // SAFETY: `verdict` is run once, and nothing else names it.
    let settler = unsafe { &mut *addr_of_mut!(SETTLER) };
    let mut most = 0;
    for n in 0..20 {
        let (_, settles) = count(empty, || {
            black_box(settler.push(&reading(n * 100_000)));
        });
        most = most.max(settles);
    }
    say("settle", most);
    let limit = Limit::new(Some(2.8), Some(3.1), PLATE);
    let bands = Bands::about(limit.lower, limit.upper);
    let (_, judged) = count(empty, || {
        let measured = measure(
            &reading(0),
            Function::Ohms,
            Circuit::Dead,
            black_box(OHMS.as_slice()),
        );
        black_box(measured.map(|m| Verdict::of(m, limit, &bands)).is_ok())
    });
    say("verdict", judged);
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    exit(EXIT_FAILURE);
    loop {
        cortex_m::asm::bkpt();
    }
}
