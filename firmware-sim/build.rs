//! Puts the board's memory layout where the linker looks for it.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    let board = if env::var_os("CARGO_FEATURE_BOARD_TEMPLATE").is_some() {
        "template"
    } else {
        "qemu"
    };
    let layout = format!("memory-{board}.x");
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default());
    if let Err(e) = fs::copy(&layout, out.join("memory.x")) {
        println!("cargo::error={layout}: {e}");
    }
    println!("cargo::rustc-link-search={}", out.display());
    println!("cargo::rerun-if-changed={layout}");
}
