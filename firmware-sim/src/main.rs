//! The probe box's firmware: a board, and the box on it.
#![no_std]
#![no_main]

mod board;
mod stack;

use core::ptr::addr_of_mut;

use cortex_m_rt::entry;
use ohmtrail_box::board::Board as _;
use ohmtrail_box::isolation::Workspace;
use ohmtrail_box::keeper::Keeper;
use ohmtrail_box::serve::serve;

const FIRMWARE: [u8; 3] = [0, 1, 0];

static mut WORK: Workspace = Workspace::new();

#[entry]
fn main() -> ! {
    stack::paint();
    // SAFETY: `main` is run once, and nothing else names it.
    let work = unsafe { &mut *addr_of_mut!(WORK) };
    if let Some(mut parts) = board::take() {
        let drawn = parts.drawn;
        let kept = Keeper::open(parts.board.flash(), parts.id, FIRMWARE, || drawn);
        if let Ok(mut keeper) = kept {
            #[cfg(feature = "control")]
            assert!(
                parts.id != u64::from(drawn),
                "a panic that the check must find"
            );
            serve(
                &mut keeper,
                &mut parts.board,
                &mut parts.store,
                work,
                |_| true,
            );
        }
    }
    // No flash, no box: what could not be kept would be lost.
    loop {
        cortex_m::asm::wfi();
    }
}

/// Never reached: the linked image is shown to hold no way here.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        cortex_m::asm::bkpt();
    }
}
