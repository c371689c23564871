//! The probe box's firmware.
#![no_std]
#![no_main]

mod board;

use cortex_m_rt::entry;
use embedded_io::{Read as _, ReadReady as _, Write as _};
use ohmtrail_link::hello::Identity;
use ohmtrail_link::message::Light;
use ohmtrail_link::station::StationEnd;

#[entry]
fn main() -> ! {
    let mut board = board::Board::take();
    let mut end = StationEnd::new(Identity {
        id: 1,
        ring: 1,
        firmware: [0, 1, 0],
    });
    loop {
        let now = board.now();
        let mut byte = [0];
        while board.link.read_ready().unwrap_or(false) {
            if board.link.read(&mut byte).is_err() {
                break;
            }
            let [b] = byte;
            let _ = end.push(b, now);
            let _ = board.link.write_all(end.reply());
        }
        if let Some(bytes) = end.poll(0, Light::Wait, 0, now) {
            let _ = board.link.write_all(bytes);
        }
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        cortex_m::asm::bkpt();
    }
}
