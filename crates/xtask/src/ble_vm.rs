//! The Bluetooth tests against the real service: an emulated machine with the distribution's kernel
//! and its Bluetooth service, made of packages, and the test that starts it.
//!
//! The machine needs no disk and no rights on this one: its kernel is unpacked from the
//! distribution's package and not installed, and everything else is in the memory disk that it
//! starts with.

use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::{Failure, Place, fetch, run, step, words};

/// The emulator, and the package that it is in.
const QEMU: &str = "qemu-system-x86_64";
/// The Bluetooth service; it is on nobody's PATH.
const SERVICE: &str = "/usr/libexec/bluetooth/bluetoothd";
/// Its settings, as the distribution has them: without the file some defaults are others.
const SETTINGS: &str = "/etc/bluetooth/main.conf";
/// The package that depends on the distribution's current kernel.
const KERNEL: &str = "linux-image-amd64";
/// What of the kernel's modules the machine could need: the second serial line's controller, what
/// the service's key agreement asks the kernel for, the network.
const MODULES: [&str; 10] = [
    "arch/x86/crypto",
    "crypto",
    "drivers/bluetooth",
    "drivers/net/net_failover.ko",
    "drivers/net/virtio_net.ko",
    "drivers/virtio",
    "lib/crc16.ko",
    "net/bluetooth",
    "net/core/failover.ko",
    "net/rfkill",
];
/// What the machine starts by way of its one shell.
const APPLETS: [&str; 12] = [
    "sh", "mount", "stty", "modprobe", "ip", "sleep", "kill", "cat", "dmesg", "tail", "poweroff",
    "ls",
];

/// Makes the machine and runs the test in it.
pub fn test(place: &Place) -> Result<(), Failure> {
    let folder = place.target.join("ble-vm");
    let sources = place.root.join("tests/ble-vm");
    fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let mut made = None;
    step("what only the emulated machine needs", || {
        fetch::have(&[
            (QEMU, "qemu-system-x86"),
            (SERVICE, "bluez"),
            ("btattach", "bluez"),
            ("/bin/busybox", "busybox-static"),
            ("cpio", "cpio"),
            ("/sbin/depmod", "kmod"),
            fetch::DBUS,
        ])?;
        let pins = sources.join("requirements.txt");
        let python = fetch::environment(&pins, &folder.join("venv"))?;
        made = Some((python, Kernel::unpacked(&folder)?));
        Ok(())
    })?;
    let (python, kernel) = made.ok_or("no machine")?;
    let disk = folder.join("memory-disk.cpio");
    step("the machine's memory disk", || {
        memory_disk(&folder, &sources, &kernel, &disk)
    })?;
    // Its own words come last: what was shown, and how long it took.
    eprintln!("== the binary and the stand-in against the real Bluetooth service");
    let args = ["test", "--release", "-p", "ohmtrail-tests", "--test"];
    let tail = ["ble_vm", "--", "--ignored", "--nocapture"];
    let mut cargo = place.cargo(&args);
    cargo
        .args(tail)
        .env("OHMTRAIL_BLE_VM_KERNEL", &kernel.image)
        .env("OHMTRAIL_BLE_VM_DISK", &disk)
        .env("OHMTRAIL_BLE_VM_PYTHON", python);
    run(&mut cargo)
}

/// The distribution's kernel, unpacked.
struct Kernel {
    version: String,
    image: PathBuf,
    /// The folder with `lib/modules`.
    root: PathBuf,
}

impl Kernel {
    /// Downloads and unpacks it, unless that was done before.
    fn unpacked(folder: &Path) -> Result<Kernel, Failure> {
        let package = depended_on(KERNEL)?;
        let version = package
            .strip_prefix("linux-image-")
            .ok_or_else(|| format!("{KERNEL} depends on {package}: that is no kernel"))?
            .to_owned();
        let root = folder.join(&package);
        let kernel = Kernel {
            image: root.join(format!("boot/vmlinuz-{version}")),
            version,
            root,
        };
        if kernel.root.is_dir() {
            return Ok(kernel);
        }
        run(Command::new("apt-get")
            .args(["--quiet", "--quiet", "download", &package])
            .current_dir(folder))?;
        let archive = only(folder, |name| {
            name.starts_with(&package) && name.ends_with(".deb")
        })?;
        let half = folder.join("kernel.half");
        kernel.unpack(&archive, &half)?;
        let lose = |e| format!("{}: {e}", archive.display());
        fs::remove_file(&archive).map_err(lose)?;
        fs::rename(&half, &kernel.root).map_err(|e| format!("{}: {e}", half.display()))?;
        Ok(kernel)
    }

    /// The kernel and the modules that could be needed: a tenth of the package.
    fn unpack(&self, archive: &Path, to: &Path) -> Result<(), Failure> {
        empty(to)?;
        let modules = format!("./lib/modules/{}", self.version);
        let mut members = vec![
            format!("./boot/vmlinuz-{}", self.version),
            format!("{modules}/modules.builtin"),
            format!("{modules}/modules.builtin.modinfo"),
            format!("{modules}/modules.order"),
        ];
        members.extend(MODULES.map(|part| format!("{modules}/kernel/{part}")));
        let mut whole = Command::new("dpkg-deb")
            .arg("--fsys-tarfile")
            .arg(archive)
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|e| format!("dpkg-deb does not start: {e}"))?;
        let stream = whole.stdout.take().ok_or("dpkg-deb says nothing")?;
        run(Command::new("tar")
            .arg("--extract")
            .arg("--directory")
            .arg(to)
            .args(members)
            .stdin(stream))?;
        let status = whole.wait().map_err(|e| format!("dpkg-deb: {e}"))?;
        if !status.success() {
            return Err(format!("dpkg-deb {}: {status}", archive.display()));
        }
        run(Command::new("/sbin/depmod")
            .arg("--basedir")
            .arg(to)
            .arg(&self.version))
    }
}

/// The first package that this one depends on.
fn depended_on(package: &str) -> Result<String, Failure> {
    let mut ask = Command::new("apt-cache");
    ask.args(["depends", package]);
    let said = ask
        .output()
        .map_err(|e| format!("apt-cache does not start: {e}"))?;
    String::from_utf8_lossy(&said.stdout)
        .lines()
        .find_map(|line| line.trim().strip_prefix("Depends: "))
        .map(str::to_owned)
        .ok_or_else(|| format!("{} names no kernel; run apt-get update", words(&ask)))
}

/// Everything that the machine has, as the archive that its kernel unpacks.
fn memory_disk(folder: &Path, sources: &Path, kernel: &Kernel, disk: &Path) -> Result<(), Failure> {
    let root = folder.join("root");
    empty(&root)?;
    let at = |name: &str| root.join(name);
    for name in [
        "bin",
        "dev",
        "etc",
        "lib",
        "proc",
        "run",
        "sys",
        "var/lib/bluetooth",
    ] {
        fs::create_dir_all(at(name)).map_err(|e| format!("{name}: {e}"))?;
    }
    copy(Path::new("/bin/busybox"), &at("bin/busybox"))?;
    for applet in APPLETS {
        let link = at("bin").join(applet);
        symlink("busybox", &link).map_err(|e| format!("{}: {e}", link.display()))?;
    }
    for program in [SERVICE, "btattach", "dbus-daemon"] {
        let path = fetch::on_path(program).ok_or_else(|| format!("no {program}"))?;
        with_libraries(&path, &root)?;
    }
    copy(&sources.join("init"), &at("init"))?;
    let runs = fs::Permissions::from_mode(0o755);
    fs::set_permissions(at("init"), runs).map_err(|e| format!("init: {e}"))?;
    copy(&sources.join("bus.conf"), &at("etc/bus.conf"))?;
    copy(
        Path::new(SETTINGS),
        &root.join(SETTINGS.trim_start_matches('/')),
    )?;
    write(&at("etc/passwd"), "root:x:0:0::/:/bin/sh\n")?;
    write(&at("etc/group"), "root:x:0:\n")?;
    write(&at("etc/nsswitch.conf"), "passwd: files\ngroup: files\n")?;
    run(Command::new("cp")
        .arg("--recursive")
        .arg(kernel.root.join("lib/modules"))
        .arg(at("lib")))?;
    // The names with find, the archive with cpio: as initramfs are made everywhere.
    let file = fs::File::create(disk).map_err(|e| format!("{}: {e}", disk.display()))?;
    let mut find = Command::new("find")
        .arg(".")
        .current_dir(&root)
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|e| format!("find does not start: {e}"))?;
    let names = find.stdout.take().ok_or("find says nothing")?;
    let owner = ["--owner", "0:0"];
    run(Command::new("cpio")
        .args(["--create", "--quiet", "--format", "newc"])
        .args(owner)
        .current_dir(&root)
        .stdin(names)
        .stdout(file))?;
    find.wait().map_err(|e| format!("find: {e}"))?;
    Ok(())
}

/// Puts a program where it is on this machine, and the libraries that it is linked to.
fn with_libraries(program: &Path, root: &Path) -> Result<(), Failure> {
    let mut ask = Command::new("ldd");
    ask.arg(program);
    let said = ask
        .output()
        .map_err(|e| format!("ldd does not start: {e}"))?;
    let said = String::from_utf8_lossy(&said.stdout);
    if let Some(line) = said.lines().find(|line| line.contains("not found")) {
        return Err(format!("{}: {}", program.display(), line.trim()));
    }
    let libraries = said
        .split_whitespace()
        .filter(|word| word.starts_with('/'))
        .map(Path::new);
    for file in libraries.chain([program]) {
        let inside = file.strip_prefix("/").unwrap_or(file);
        copy(file, &root.join(inside))?;
    }
    Ok(())
}

/// The one file of a folder whose name is so.
fn only(folder: &Path, is: impl Fn(&str) -> bool) -> Result<PathBuf, Failure> {
    let say = |e| format!("{}: {e}", folder.display());
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).map_err(say)? {
        let entry = entry.map_err(say)?;
        if entry.file_name().to_str().is_some_and(&is) {
            found.push(entry.path());
        }
    }
    match found.as_slice() {
        [one] => Ok(one.clone()),
        _ => Err(format!(
            "{}: one package was to be there, and there are {}; delete what is too much",
            folder.display(),
            found.len()
        )),
    }
}

/// An empty folder, whatever was there.
fn empty(folder: &Path) -> Result<(), Failure> {
    let say = |e| format!("{}: {e}", folder.display());
    if folder.exists() {
        fs::remove_dir_all(folder).map_err(say)?;
    }
    fs::create_dir_all(folder).map_err(say)
}

/// Copies a file, and makes the folders above it.
fn copy(from: &Path, to: &Path) -> Result<(), Failure> {
    let above = to.parent().unwrap_or(to);
    fs::create_dir_all(above).map_err(|e| format!("{}: {e}", above.display()))?;
    fs::copy(from, to).map_err(|e| format!("{} to {}: {e}", from.display(), to.display()))?;
    Ok(())
}

fn write(file: &Path, text: &str) -> Result<(), Failure> {
    fs::write(file, text).map_err(|e| format!("{}: {e}", file.display()))
}
