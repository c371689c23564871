//! What only the tests need, on a bare Debian 12: ngspice, a message bus, a Python with scipy, an
//! emulator of the probe box and what lists its instructions, a browser with what drives it, and a database
//! server.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::{Failure, Place, run};

/// The programs that tests compare with.
pub struct Tools {
    python: PathBuf,
    ngspice: PathBuf,
    qemu: PathBuf,
    objdump: PathBuf,
    chromium: PathBuf,
    /// The probe box's firmware, where it was built.
    pub firmware: Option<PathBuf>,
}

impl Tools {
    /// The emulator of the probe box.
    pub fn qemu(&self) -> &Path {
        &self.qemu
    }

    /// What lists the firmware's instructions.
    pub fn objdump(&self) -> &Path {
        &self.objdump
    }

    /// Names them in a command's environment.
    pub fn name_in<'c>(&self, command: &'c mut Command) -> &'c mut Command {
        command
            .env("OHMTRAIL_PYTHON", &self.python)
            .env("OHMTRAIL_NGSPICE", &self.ngspice)
            .env("OHMTRAIL_QEMU_ARM", &self.qemu)
            .env("OHMTRAIL_CHROMIUM", &self.chromium)
            .envs(self.firmware.iter().map(|path| ("OHMTRAIL_FIRMWARE", path)))
    }
}

/// The emulator, and the package that it is in.
const QEMU: &str = "qemu-system-arm";
/// What lists the firmware's instructions, and its package.
const OBJDUMP: (&str, &str) = ("arm-none-eabi-objdump", "binutils-arm-none-eabi");

/// The message bus, and the package that it is in.
pub const DBUS: (&str, &str) = ("dbus-daemon", "dbus");

/// Finds the tools; installs what is missing.
pub fn tools(place: &Place) -> Result<Tools, Failure> {
    have(&[
        ("ngspice", "ngspice"),
        (QEMU, QEMU),
        OBJDUMP,
        DBUS,
        ("chromium", "chromium"),
        ("node", "nodejs"),
        ("npm", "npm"),
    ])?;
    // Its programs are on nobody's PATH but for the client.
    have(&[("psql", "postgresql"), ("setpriv", "util-linux")])?;
    if !Path::new("/usr/lib/postgresql").is_dir() {
        install(&["postgresql"])?;
    }
    let ngspice = on_path("ngspice").ok_or("ngspice is installed and not on the PATH")?;
    let chromium = on_path("chromium").ok_or("chromium is installed and not on the PATH")?;
    browser_libraries(place)?;
    let qemu = on_path(QEMU).ok_or("qemu-system-arm is installed and not on the PATH")?;
    let objdump = on_path(OBJDUMP.0).ok_or("objdump is installed and not on the PATH")?;
    Ok(Tools {
        python: environment(
            &place.root.join("tests/requirements.txt"),
            &place.target.join("venv"),
        )?,
        ngspice,
        qemu,
        objdump,
        chromium,
        firmware: None,
    })
}

/// Installs the packages of those programs that are not there: programs by their names, or by their
/// whole paths where they are on nobody's PATH.
pub fn have(programs: &[(&str, &'static str)]) -> Result<(), Failure> {
    let missing: Vec<&str> = programs
        .iter()
        .filter(|(program, _)| on_path(program).is_none())
        .map(|(_, package)| *package)
        .collect();
    if missing.is_empty() {
        Ok(())
    } else {
        install(&missing)
    }
}

/// Installs packages of the distribution.
pub fn install(packages: &[&str]) -> Result<(), Failure> {
    let command = format!(
        "apt-get update && apt-get install --yes --no-install-recommends {}",
        packages.join(" ")
    );
    if on_path("apt-get").is_none() {
        return Err(format!("install {} first", packages.join(", ")));
    }
    if !is_root() {
        return Err(format!("as root, run: {command}"));
    }
    let quiet = ["--quiet", "--quiet"];
    run(Command::new("apt-get").args(quiet).arg("update"))?;
    run(Command::new("apt-get")
        .args(quiet)
        .args(["install", "--yes", "--no-install-recommends"])
        .args(packages)
        .env("DEBIAN_FRONTEND", "noninteractive")
        .stdout(Stdio::null()))
}

fn is_root() -> bool {
    let id = Command::new("id").arg("-u").output();
    id.is_ok_and(|out| out.stdout.trim_ascii() == b"0")
}

/// The Python of a virtual environment with the pinned libraries; made anew when the pins change.
pub fn environment(pins: &Path, venv: &Path) -> Result<PathBuf, Failure> {
    have(&[("python3", "python3")])?;
    if !works("python3", &["-c", "import venv, ensurepip"]) {
        install(&["python3-venv"])?;
    }
    let wanted = fs::read(pins).map_err(|e| format!("{}: {e}", pins.display()))?;
    let python = venv.join("bin/python");
    let stamp = venv.join("requirements.txt");
    if fs::read(&stamp).is_ok_and(|had| had == wanted) && python.exists() {
        return Ok(python);
    }
    let make = ["-m", "venv", "--clear"];
    run(Command::new("python3").args(make).arg(venv))?;
    let pip = [
        "-m",
        "pip",
        "--quiet",
        "--disable-pip-version-check",
        "install",
        "-r",
    ];
    run(Command::new(&python).args(pip).arg(pins))?;
    fs::write(&stamp, wanted).map_err(|e| format!("{}: {e}", stamp.display()))?;
    Ok(python)
}

/// What drives the browser, at the versions of the lock file; installed anew when that changes.
fn browser_libraries(place: &Place) -> Result<(), Failure> {
    let folder = place.root.join("tests/browser");
    let lock = folder.join("package-lock.json");
    let wanted = fs::read(&lock).map_err(|e| format!("{}: {e}", lock.display()))?;
    let stamp = folder.join("node_modules/installed-lock.json");
    if fs::read(&stamp).is_ok_and(|had| had == wanted) {
        return Ok(());
    }
    let quiet = [
        "ci",
        "--ignore-scripts",
        "--no-audit",
        "--no-fund",
        "--silent",
    ];
    run(Command::new("npm").args(quiet).current_dir(&folder))?;
    fs::write(&stamp, wanted).map_err(|e| format!("{}: {e}", stamp.display()))
}

/// Where a program is; a whole path is looked at as it is.
pub fn on_path(program: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path)
        .map(|dir| dir.join(program))
        .find(|file| Path::is_file(file))
}

fn works(program: &str, args: &[&str]) -> bool {
    let mut command = Command::new(program);
    command
        .args(args)
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command.status().is_ok_and(|status| status.success())
}
