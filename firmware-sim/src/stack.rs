//! How deep the stack has been: it is painted at the start, and the paint that is left is counted.

use core::ptr::{addr_of, read_volatile, write_volatile};

const PAINT: u32 = 0x5AFE_57AC;

unsafe extern "C" {
    // Places from the memory layout; their addresses are what counts.
    static _stack_start: u32;
    static _stack_end: u32;
}

/// Paints what lies under this function's own frame. To be called first of all.
#[inline(never)]
pub fn paint() {
    let mut at = addr_of!(_stack_end).cast_mut();
    let here = cortex_m::register::msp::read().wrapping_sub(64);
    while (at as u32) < here {
        // SAFETY: the stack's region, below everything that is in use.
        unsafe { write_volatile(at, PAINT) };
        at = at.wrapping_add(1);
    }
}

/// The top of the stack.
#[allow(dead_code, reason = "only the counting program asks")]
pub fn top() -> u32 {
    addr_of!(_stack_start) as u32
}

/// How deep the stack has been, and how deep it may be, in bytes.
pub fn deepest() -> [u32; 2] {
    let top = addr_of!(_stack_start) as u32;
    let mut at = addr_of!(_stack_end);
    let bottom = at as u32;
    // SAFETY: the stack's region, to its top.
    while (at as u32) < top && unsafe { read_volatile(at) } == PAINT {
        at = at.wrapping_add(1);
    }
    [top.wrapping_sub(at as u32), top.wrapping_sub(bottom)]
}
