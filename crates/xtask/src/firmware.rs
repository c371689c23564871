//! The probe box's firmware: built for its target, shown to hold no panic, and measured under QEMU.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use object::{Object, ObjectSection, ObjectSymbol};

use crate::{Failure, Place, fetch, run, stack};

/// The target, a Cortex-M4 or M7 with its floating-point unit.
pub const TARGET: &str = "thumbv7em-none-eabihf";
const FOLDER: &str = "firmware-sim";
/// What the distribution's toolchain links with.
const LINKER: &str = "ld.lld";
/// Set to `distribution`, it has the distribution's toolchain build the firmware.
const TOOLS: &str = "OHMTRAIL_FIRMWARE_TOOLS";

/// How the firmware can be built on this machine.
enum Tools {
    /// The project's own toolchain, with the target added.
    Rustup,
    /// The distribution's toolchain, which builds the core library itself.
    Distribution { cargo: PathBuf, rustc: PathBuf },
}

/// A linked image.
pub struct Image {
    /// The file.
    pub path: PathBuf,
    /// Bytes of flash: code and constants.
    pub flash: u64,
    /// Bytes of RAM that are given out for good; the stack is beside them.
    pub ram: u64,
    /// Bytes that the stack has.
    pub stack: u64,
    /// Symbols that only a panic needs.
    pub panics: BTreeSet<String>,
}

impl Image {
    fn read(path: PathBuf) -> Result<Image, Failure> {
        let say = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
        let bytes = fs::read(&path).map_err(|e| say(&e))?;
        let file = object::File::parse(&*bytes).map_err(|e| say(&e))?;
        let size = |names: &[&str]| -> u64 {
            let sections = names.iter().filter_map(|n| file.section_by_name(n));
            sections.map(|s| s.size()).sum()
        };
        let address = |name: &str| {
            let mut symbols = file.symbols();
            symbols.find(|s| s.name() == Ok(name)).map(|s| s.address())
        };
        let room = address("_stack_start").zip(address("_stack_end"));
        let room = room.and_then(|(start, end)| start.checked_sub(end));
        let names = file.symbols().filter_map(|s| s.name().ok());
        let panics = names
            .filter(|n| n.contains("panic") || n.contains("rust_begin_unwind"))
            .map(str::to_owned)
            .collect();
        Ok(Image {
            flash: size(&[".vector_table", ".text", ".rodata", ".data"]),
            ram: size(&[".data", ".bss", ".uninit"]),
            stack: room.ok_or_else(|| say(&"it does not say where its stack is"))?,
            panics,
            path,
        })
    }
}

/// Builds the firmware with these features beside its default ones, and reads the image.
pub fn build(place: &Place, program: &str, features: &[&str]) -> Result<Image, Failure> {
    let target = place.target.join("firmware");
    let mut cargo = match tools(place)? {
        Tools::Rustup => place.cargo(&["build"]),
        Tools::Distribution { cargo, rustc } => {
            let mut command = Command::new(cargo);
            // The distribution's compiler builds the core library with what only nightly may use
            // otherwise.
            command
                .args(["build", "-Z", "build-std=core"])
                .env("RUSTC_BOOTSTRAP", "1")
                .env("RUSTC", rustc)
                // It comes without a linker of its own.
                .env("CARGO_TARGET_THUMBV7EM_NONE_EABIHF_LINKER", LINKER);
            command
        }
    };
    cargo
        .args(["--quiet", "--release", "--locked", "--bin", program])
        .current_dir(place.root.join(FOLDER))
        .env("CARGO_TARGET_DIR", &target)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_BUILD_TARGET");
    if !features.is_empty() {
        cargo.args(["--features", &features.join(",")]);
    }
    run(&mut cargo)?;
    Image::read(target.join(TARGET).join("release").join(program))
}

/// Finds what builds for the target; installs what is missing.
fn tools(place: &Place) -> Result<Tools, Failure> {
    if std::env::var_os(TOOLS).is_none_or(|named| named != "distribution") {
        if has_target(place) {
            return Ok(Tools::Rustup);
        }
        let added = Command::new("rustup")
            .args(["target", "add", TARGET])
            .current_dir(&place.root)
            .status();
        if added.is_ok_and(|status| status.success()) && has_target(place) {
            return Ok(Tools::Rustup);
        }
        eprintln!("rustup cannot add {TARGET}: the distribution's toolchain builds it");
    }
    let (cargo, rustc) = (
        Path::new("/usr/bin/cargo").to_owned(),
        Path::new("/usr/bin/rustc").to_owned(),
    );
    if !cargo.is_file() || !rustc.is_file() || fetch::on_path(LINKER).is_none() {
        fetch::install(&["rustc-web", "cargo-web", "rust-web-src", "lld"])?;
    }
    Ok(Tools::Distribution { cargo, rustc })
}

/// Whether the project's own toolchain has the target's core library.
fn has_target(place: &Place) -> bool {
    let mut rustc = Command::new(std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into()));
    rustc
        .args(["--print", "target-libdir", "--target", TARGET])
        .current_dir(&place.root)
        .stderr(Stdio::null());
    let Ok(out) = rustc.output() else {
        return false;
    };
    let folder = PathBuf::from(String::from_utf8_lossy(&out.stdout).trim());
    out.status.success()
        && fs::read_dir(folder).is_ok_and(|mut files| {
            files.any(|f| f.is_ok_and(|f| f.file_name().to_string_lossy().starts_with("libcore")))
        })
}

/// Builds it, and shows that the linked image holds no panic, for it has no symbol of one and a build
/// with a panic put in has; and that its stack cannot outgrow its room.
pub fn check(place: &Place, tools: &fetch::Tools) -> Result<Image, Failure> {
    let control = build(place, "probe-box", &["control"])?;
    if control.panics.is_empty() {
        return Err("the check finds no panic in firmware where one was put in".into());
    }
    let image = build(place, "probe-box", &[])?;
    println!(
        "firmware: {} bytes of flash, {} bytes of RAM besides the stack, {} panics",
        image.flash,
        image.ram,
        image.panics.len()
    );
    if !image.panics.is_empty() {
        let names: Vec<&str> = image.panics.iter().map(String::as_str).collect();
        return Err(format!(
            "the firmware's image holds:\n  {}",
            names.join("\n  ")
        ));
    }
    let deepest = stack::deepest(tools.objdump(), &image.path, "Reset")?;
    println!(
        "firmware: a stack of at most {} bytes, of {}",
        deepest.bytes, image.stack
    );
    if deepest.bytes > image.stack {
        let path = deepest.path.iter();
        let path: Vec<String> = path.map(|(name, own)| format!("{own:>6} {name}")).collect();
        return Err(format!(
            "the firmware's stack has {} bytes, and may need {}:\n{}",
            image.stack,
            deepest.bytes,
            path.join("\n")
        ));
    }
    Ok(image)
}

/// Builds the template board's firmware: it is to compile.
pub fn template(place: &Place) -> Result<(), Failure> {
    let mut cargo = place.cargo(&["check", "--quiet", "--release", "--locked"]);
    cargo
        .args(["--no-default-features", "--features", "board-template"])
        .current_dir(place.root.join(FOLDER))
        .env("CARGO_TARGET_DIR", place.target.join("firmware"))
        .env_remove("RUSTFLAGS");
    if matches!(tools(place)?, Tools::Distribution { .. }) {
        // The toolchain that has the target is not the project's: the build above stands for it.
        return Ok(());
    }
    run(&mut cargo)
}

/// The sheet that is measured with: its single faults, as a box holds them.
const SHEET: &str = "split-cooling-1ph";
/// What the numbers are held to (the project's own goals).
const FLASH: u64 = 64 * 1024;
const RAM: u64 = 8 * 1024;
const TABLE: u64 = 128 * 1024;

/// Prints what the box is held to, beside what it takes.
pub fn bench(place: &Place) -> Result<(), Failure> {
    let tools = fetch::tools(place)?;
    let box_image = check(place, &tools)?;
    let deepest = stack::deepest(tools.objdump(), &box_image.path, "Reset")?;
    let core = build(place, "count", &[])?;
    let folder = place.target.join("firmware/count");
    fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let table = folder.join("table");
    // As `box load` does: as many samples as the box has room for.
    let mut fits = None;
    for samples in (1..=8_u8).rev() {
        let compile = ["sheet", "compile", SHEET, "--singles-only", "--samples"];
        run(place
            .cargo(&["run", "--quiet", "--release", "-p", "ohmtrail-cli", "--"])
            .args(compile)
            .arg(samples.to_string())
            .arg("--output")
            .arg(&table))?;
        if let Ok(counts) = counted(&tools, &core.path, &folder) {
            fits = Some((samples, counts));
            break;
        }
    }
    let (samples, counts) = fits.ok_or("the counting program ends early with every table")?;
    let of = |name: &str| {
        let found = counts.iter().find(|(n, _)| n == name);
        found
            .map(|(_, n)| *n)
            .ok_or_else(|| format!("the emulator did not say '{name}'"))
    };
    let loops = of("two-thousand")?;
    if !(2000..2020).contains(&loops) {
        return Err(format!(
            "a loop of 2000 instructions was counted as {loops}"
        ));
    }
    println!("\nthe probe box, sheet {SHEET}, single faults, {samples} samples each:");
    let rows = [
        ("core with isolation, flash, bytes", core.flash, Some(FLASH)),
        ("core with isolation, RAM given out, bytes", core.ram, None),
        (
            "core with isolation, stack below its caller, bytes",
            of("stack")?,
            None,
        ),
        (
            "core with isolation, RAM and stack, bytes",
            core.ram + of("stack")?,
            Some(RAM),
        ),
        ("table of single faults, bytes", of("table")?, Some(TABLE)),
        (
            "panic symbols in the linked image",
            box_image.panics.len() as u64,
            Some(0),
        ),
        ("whole firmware, flash, bytes", box_image.flash, None),
        (
            "whole firmware, RAM besides the stack, bytes",
            box_image.ram,
            None,
        ),
        (
            "whole firmware, stack at most, by its calls, bytes",
            deepest.bytes,
            Some(box_image.stack),
        ),
        (
            "a reading settled, instructions at most",
            of("settle")?,
            None,
        ),
        ("a verdict, instructions", of("verdict")?, None),
        (
            "an answer taken into account, instructions at most",
            of("update")?,
            None,
        ),
        (
            "where it stands and the next ask, instructions at most",
            of("standing")?,
            None,
        ),
    ];
    let mut missed = Vec::new();
    for (what, number, goal) in rows {
        match goal {
            Some(goal) => println!("{what:<52} {number:>9}  of {goal}"),
            None => println!("{what:<52} {number:>9}"),
        }
        if goal.is_some_and(|goal| number > goal) {
            missed.push(what);
        }
    }
    println!("(instructions by -icount: a loop of 2000 was counted as {loops})");
    // The link and the ring, cut a thousand times, and the tests that say how often.
    let test = ["test", "--release", "-p", "ohmtrail-box", "--test", "cuts"];
    run(place.cargo(&test).args(["--", "--nocapture"]))?;
    if missed.is_empty() {
        Ok(())
    } else {
        Err(format!("over its goal: {}", missed.join("; ")))
    }
}

/// Runs the counting program under the emulator; what it said.
fn counted(
    tools: &fetch::Tools,
    image: &Path,
    folder: &Path,
) -> Result<Vec<(String, u64)>, Failure> {
    let out = Command::new(tools.qemu())
        .args(["-M", "mps2-an386", "-display", "none", "-monitor", "none"])
        .args(["-serial", "null", "-icount", "shift=6"])
        .args(["-semihosting-config", "enable=on,target=native"])
        .arg("-kernel")
        .arg(image)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .map_err(|e| format!("qemu-system-arm does not start: {e}"))?;
    if !out.status.success() {
        return Err(format!("the counting program ended with {}", out.status));
    }
    let text = String::from_utf8_lossy(&out.stdout);
    Ok(text
        .lines()
        .filter_map(|line| {
            let (name, number) = line.split_once(' ')?;
            Some((name.to_owned(), number.trim().parse().ok()?))
        })
        .collect())
}
