//! An emulated machine with the real Bluetooth service, and the virtual controller and meter that it
//! reaches over its serial line. `cargo xtask test ble-vm` makes what it starts with.

use std::ffi::OsString;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpListener;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use tempfile::TempDir;

use super::Hands;
use super::ear::Ear;
use crate::cli::workspace;

/// Nothing that is waited for takes longer, on a machine that does much else.
const PATIENCE: Duration = Duration::from_secs(120);

/// The kernel does not look whether its timer ticks in time: on a machine that does much else that
/// fails, and stops it. A defect of its own ends it, and is not lived with.
const BOOT: &str = "console=ttyS0 quiet panic=-1 oops=panic tsc=reliable no_timer_check";
/// What the kernel says then.
const PANIC: &str = "Kernel panic";
/// How often a machine is started anew whose kernel failed by a defect of its own.
const MACHINES: usize = 4;

/// A program that is typed to, and its lines.
struct Typed {
    child: Child,
    stdin: ChildStdin,
    lines: Receiver<String>,
    /// Everything that it said.
    said: Vec<String>,
}

impl Typed {
    fn start(command: &mut Command) -> Typed {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap_or_else(|e| panic!("{command:?} does not start: {e}"));
        let (to, lines) = channel();
        let out = child.stdout.take().expect("a pipe");
        let err = child.stderr.take().expect("a pipe");
        let pipes: [Box<dyn Read + Send>; 2] = [Box::new(out), Box::new(err)];
        for pipe in pipes {
            let to = to.clone();
            std::thread::spawn(move || {
                for line in BufReader::new(pipe).split(b'\n').map_while(Result::ok) {
                    let text = String::from_utf8_lossy(&line).trim_end().to_owned();
                    if to.send(text).is_err() {
                        return;
                    }
                }
            });
        }
        Typed {
            stdin: child.stdin.take().expect("a pipe"),
            child,
            lines,
            said: Vec::new(),
        }
    }

    fn say(&mut self, line: &str) {
        writeln!(self.stdin, "{line}").unwrap_or_else(|e| panic!("{line}: {e}: {:#?}", self.said));
    }

    /// Waits for a line that has this in it.
    fn until(&mut self, has: &str) {
        let until = Instant::now() + PATIENCE;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            match self.lines.recv_timeout(left) {
                Ok(line) => {
                    let is = line.contains(has);
                    self.said.push(line);
                    if is {
                        return;
                    }
                }
                Err(why @ (RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected)) => {
                    panic!("waited in vain for '{has}' ({why}): {:#?}", self.said)
                }
            }
        }
    }
}

impl Drop for Typed {
    fn drop(&mut self) {
        // It may have ended.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The emulated machine and its meter. Dropping it ends both.
pub struct Machine {
    console: Typed,
    meter: Typed,
    port: u16,
    _folder: TempDir,
}

/// Runs a test in a machine. A defect of its kernel (6.1 at times loses count of a link's channels
/// when the link drops, and stops) says nothing of what is tested: then it is run in a new one.
/// Where the test fails otherwise, the machine's own log is shown beside it.
///
/// # Panics
/// If the test does, or one kernel after the other fails.
pub fn in_a_machine(test: impl Fn(&mut Machine)) {
    for _ in 0..MACHINES {
        let began = Instant::now();
        let mut machine = Machine::start();
        let took = began.elapsed().as_secs_f64();
        println!("shown: an emulated machine with the real service is up after {took:.1} s");
        let run = AssertUnwindSafe(|| test(&mut machine));
        let Err(why) = catch_unwind(run) else {
            return;
        };
        match machine.kernel_failure() {
            Some(words) => println!("the emulated machine's kernel failed: {words}: once more"),
            None => {
                println!("the machine's log:\n{}", machine.log());
                resume_unwind(why);
            }
        }
    }
    panic!("{MACHINES} machines were started, and the kernel of each failed");
}

impl Machine {
    /// Starts it; its Bluetooth service has an adapter that is on when this returns.
    ///
    /// # Panics
    /// If it does not, or `cargo xtask test ble-vm` has not made it.
    #[must_use]
    pub fn start() -> Machine {
        let folder = tempfile::tempdir().expect("a folder");
        let socket = folder.path().join("controller");
        let script = workspace().join("tests/ble-vm/meter.py");
        let mut python = Command::new(made("PYTHON"));
        let mut meter = Typed::start(python.arg(script).arg(&socket));
        meter.until("ready");
        let port = free_port();
        let mut console = Typed::start(&mut emulator(&socket, port));
        console.until("@ up");
        let machine = Machine {
            console,
            meter,
            port,
            _folder: folder,
        };
        Ear::new(&machine.bus()).until_ready();
        machine
    }

    /// Types a word on its console, and waits for the answer.
    fn type_in(&mut self, word: &str, answer: &str) {
        self.console.say(word);
        self.console.until(&format!("@ {answer}"));
    }

    /// Tells the meter what to do.
    fn tell(&mut self, command: &str) {
        self.meter.say(command);
        self.meter.until("done");
    }

    /// Stops the service as the system would.
    pub fn stop(&mut self) {
        self.type_in("stop", "stopped");
    }

    /// Waits until the meter has no link any more.
    ///
    /// # Panics
    /// If it keeps it.
    pub fn until_unlinked(&mut self) {
        let is_word = |line: &&String| line.contains("linked");
        loop {
            self.meter.said.extend(self.meter.lines.try_iter());
            let last = self.meter.said.iter().rev().find(is_word);
            if last.is_none_or(|line| line.contains("unlinked")) {
                return;
            }
            self.meter.until("unlinked");
        }
    }

    /// What its kernel said when it stopped, if it did.
    fn kernel_failure(&mut self) -> Option<String> {
        self.console.said.extend(self.console.lines.try_iter());
        let mut said = self.console.said.iter();
        said.find(|line| line.contains(PANIC)).cloned()
    }

    /// What the service and the kernel logged.
    fn log(&mut self) -> String {
        let from = self.console.said.len();
        if let Ok(None) = self.console.child.try_wait() {
            self.type_in("log", "log");
            self.console.said[from..].join("\n")
        } else {
            self.console.said.join("\n")
        }
    }
}

impl Hands for Machine {
    fn bus(&self) -> String {
        format!("tcp:host=127.0.0.1,port={}", self.port)
    }

    fn send(&mut self, tenths: &[i32]) {
        self.tell(&format!("send {}", words(tenths)));
    }

    fn stream(&mut self, tenths: &[i32]) {
        self.tell(&format!("stream {}", words(tenths)));
    }

    fn drop_link(&mut self) {
        self.tell("drop");
    }

    fn reach(&mut self, near: bool) {
        self.tell(if near { "reach on" } else { "reach off" });
    }

    fn kill(&mut self) {
        self.type_in("kill", "killed");
    }

    fn start(&mut self) {
        self.type_in("start", "started");
    }
}

fn words(tenths: &[i32]) -> String {
    let words: Vec<String> = tenths.iter().map(ToString::to_string).collect();
    words.join(" ")
}

/// The emulator, by itself: no hardware of this machine is used, and none of its rights.
fn emulator(socket: &Path, port: u16) -> Command {
    // It ends with this program, however that ends.
    let mut command = Command::new("setpriv");
    command
        .args(["--pdeathsig", "KILL", "qemu-system-x86_64"])
        .args(["-accel", "tcg,thread=multi", "-cpu", "max", "-m", "256"])
        .args(["-display", "none", "-monitor", "none", "-no-reboot"])
        .arg("-kernel")
        .arg(made("KERNEL"))
        .arg("-initrd")
        .arg(made("DISK"))
        .args(["-append", BOOT])
        .args(["-serial", "stdio", "-serial", "chardev:controller"])
        .arg("-chardev")
        .arg(format!("socket,id=controller,path={}", socket.display()))
        .arg("-nic")
        .arg(format!(
            "user,model=virtio-net-pci,restrict=on,hostfwd=tcp:127.0.0.1:{port}-:5556"
        ));
    command
}

/// What `cargo xtask test ble-vm` made.
fn made(what: &str) -> OsString {
    let name = format!("OHMTRAIL_BLE_VM_{what}");
    std::env::var_os(&name)
        .unwrap_or_else(|| panic!("{name} is not set: run cargo xtask test ble-vm"))
}

/// A port of this machine's that is free now.
fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    listener.local_addr().expect("its number").port()
}
