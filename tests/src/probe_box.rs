//! The probe box under QEMU: its firmware, its link on a pseudo-terminal, its front end and panel on
//! a socket, its flash in a folder; and a technician who does what its lights say.

use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use ohmtrail_circuit::bench::Bench;
use ohmtrail_circuit::meter::Ideal;
use ohmtrail_circuit::sheet::Question;
use ohmtrail_core::gates::{GatePlan, Pair};
use ohmtrail_core::reading::Function;
use ohmtrail_link::card::Step;
use ohmtrail_link::message::Light;

use crate::cli::workspace;

/// Nothing that the box does takes longer, unless it is stuck.
const STUCK: Duration = Duration::from_secs(60);
/// Samples that a value that stands still is given to settle: ten a second, and three seconds for
/// an overload.
const SETTLES: usize = 45;
/// Samples for a verdict to pass by: two seconds.
const PASSES_BY: usize = 25;

/// The firmware: the one that `OHMTRAIL_FIRMWARE` names, or built beside the running test.
///
/// # Panics
/// If it cannot be built.
#[must_use]
pub fn firmware() -> &'static Path {
    static FIRMWARE: OnceLock<PathBuf> = OnceLock::new();
    FIRMWARE.get_or_init(|| {
        if let Some(named) = std::env::var_os("OHMTRAIL_FIRMWARE") {
            return PathBuf::from(named);
        }
        let test = std::env::current_exe().expect("the running test has a path");
        let target = test.ancestors().nth(3).expect("a target folder");
        let target = target.join("firmware");
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let done = Command::new(cargo)
            .args(["build", "--quiet", "--release", "--locked"])
            .current_dir(workspace().join("firmware-sim"))
            .env("CARGO_TARGET_DIR", &target)
            .env_remove("CARGO_BUILD_TARGET")
            .status()
            .expect("cargo runs");
        assert!(done.success(), "the firmware is built");
        target.join("thumbv7em-none-eabihf/release/probe-box")
    })
}

fn qemu() -> Command {
    let named = std::env::var_os("OHMTRAIL_QEMU_ARM");
    Command::new(named.unwrap_or_else(|| "qemu-system-arm".into()))
}

/// The exponents of the front end's ranges, as the board has them.
fn ranges(function: Function) -> std::ops::RangeInclusive<i32> {
    match function {
        Function::Ohms => -2..=4,
        Function::Farads => -9..=-7,
        Function::Celsius => -1..=-1,
        _ => -2..=-1,
    }
}

/// The range and the converter's code of a value: four codes to a count, the first being 12.
fn sample(function: Function, ideal: Ideal) -> (usize, i64) {
    const FULL: f64 = 6000.0;
    let last = ranges(function).count() - 1;
    let Ideal::Value(value) = ideal else {
        return (last, 4 * 7000 + 12);
    };
    for (nth, exponent) in ranges(function).enumerate() {
        let counts = (value / 10f64.powi(exponent)).round();
        if counts.abs() <= FULL {
            return (nth, counts as i64 * 4 + 12);
        }
    }
    (last, 4 * 7000 + 12)
}

/// A box that runs.
#[derive(Debug)]
pub struct QemuBox {
    child: Child,
    pty: PathBuf,
    panel: UnixStream,
    held: Vec<u8>,
    /// Lines that were worked off.
    done: usize,
    /// What its front end is set to.
    pub function: Function,
    /// What its lights say, and the number.
    pub light: (Light, u16),
}

impl QemuBox {
    /// Starts a box whose flash is in this folder.
    ///
    /// # Panics
    /// If the emulator or the firmware cannot be had.
    #[must_use]
    pub fn start(folder: &Path) -> QemuBox {
        let socket = folder.join("panel");
        let _ = std::fs::remove_file(&socket);
        let mut child = qemu()
            .args(["-M", "mps2-an386", "-display", "none", "-monitor", "none"])
            .args(["-serial", "pty"])
            .args(["-serial", "unix:panel,server=on,wait=on"])
            .args(["-semihosting-config", "enable=on,target=native"])
            .arg("-kernel")
            .arg(firmware())
            .current_dir(folder)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("qemu-system-arm starts: install it, or run `cargo xtask test`");
        let mut lines = BufReader::new(child.stdout.take().expect("its output"));
        let mut line = String::new();
        lines
            .read_line(&mut line)
            .expect("it says where its port is");
        let pty = line
            .split_whitespace()
            .find(|w| w.starts_with("/dev/pts/"))
            .unwrap_or_else(|| panic!("no port in '{line}'"));
        let begun = Instant::now();
        let panel = loop {
            match UnixStream::connect(&socket) {
                Ok(panel) => break panel,
                Err(e) => assert!(begun.elapsed() < STUCK, "the panel: {e}"),
            }
            std::thread::sleep(Duration::from_millis(5));
        };
        panel.set_read_timeout(Some(STUCK)).expect("a time limit");
        let mut started = QemuBox {
            child,
            pty: PathBuf::from(pty),
            panel,
            held: Vec::new(),
            done: 0,
            function: Function::VoltsAc,
            light: (Light::Void, 0),
        };
        // The first light says that it runs.
        while started.light.0 == Light::Void {
            started.hear();
        }
        started
    }

    /// The port that its link is on.
    #[must_use]
    pub fn pty(&self) -> &Path {
        &self.pty
    }

    /// Cuts its power: the emulator is killed, whatever it does.
    ///
    /// # Panics
    /// If it cannot be killed.
    pub fn cut(mut self) {
        self.child.kill().expect("it is killed");
        let _ = self.child.wait();
    }

    fn hear(&mut self) {
        let mut bytes = [0; 512];
        let count = self.panel.read(&mut bytes).expect("the panel speaks");
        assert!(count > 0, "the box ended");
        self.held.extend(&bytes[..count]);
        while let Some(end) = self.held.iter().position(|b| *b == b'\n') {
            let line: Vec<u8> = self.held.drain(..=end).collect();
            let line = String::from_utf8_lossy(&line);
            let mut words = line.split_whitespace();
            let kind = words.next().expect("a line");
            let mut number = || words.next().and_then(|w| w.parse::<u16>().ok());
            match kind {
                "." => self.done += 1,
                "f" => {
                    let code = number().expect("a function");
                    self.function = Function::ALL
                        .into_iter()
                        .find(|f| *f as u16 == code)
                        .expect("a function's number");
                }
                "l" => {
                    let code = number().expect("a light");
                    let light = Light::ALL.into_iter().find(|l| *l as u16 == code);
                    self.light = (
                        light.expect("a light's number"),
                        number().expect("a number"),
                    );
                }
                other => panic!("the panel says '{other}'"),
            }
        }
    }

    /// Sends lines, and waits until each was worked off.
    fn tell(&mut self, lines: &str) {
        let wanted = self.done + lines.lines().count();
        self.panel.write_all(lines.as_bytes()).expect("the panel");
        while self.done < wanted {
            self.hear();
        }
    }

    /// Presses a button: 0 yes, 1 no, 2 skip, 3 stop, 4 next, 5 go.
    pub fn press(&mut self, button: u8) {
        self.tell(&format!("b {button}\n"));
    }

    /// Holds a value at the front end for so many samples.
    pub fn hold(&mut self, ideal: Ideal, samples: usize) {
        let (range, code) = sample(self.function, ideal);
        self.tell(&format!("s {range} {code}\n").repeat(samples));
    }

    /// Sends a value without waiting for it to be worked off: for a box that is about to die.
    pub fn hold_on(&mut self, ideal: Ideal, samples: usize) {
        let (range, code) = sample(self.function, ideal);
        let line = format!("s {range} {code}\n").repeat(samples);
        self.panel.write_all(line.as_bytes()).expect("the panel");
    }
}

impl Drop for QemuBox {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What a walk of the box came to: its last light and number, and how many steps it took.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Walked {
    /// The light.
    pub light: Light,
    /// The number: of the fault found.
    pub number: u16,
    /// Steps.
    pub steps: usize,
}

/// Does on the bench what the box's lights say, until the walk is over.
///
/// # Panics
/// If the box sounds its alarm or does not come to an end.
pub fn isolate(running: &mut QemuBox, bench: &mut Bench<'_>, plan: &GatePlan<'_>) -> Walked {
    let sheet = bench.sheet();
    let point = |pair: Pair| pair.map(|p| usize::from(p.0));
    for steps in 0..600 {
        let (light, number) = running.light;
        let step = match light {
            Light::Found | Light::NotFound => {
                return Walked {
                    light,
                    number,
                    steps,
                };
            }
            Light::Alarm | Light::Full => panic!("{light:?} after {steps} steps"),
            Light::Pass | Light::Fail | Light::Unsure | Light::Void | Light::Wait => {
                running.hold(Ideal::Value(0.0), PASSES_BY);
                continue;
            }
            Light::Step => Step::of(number).unwrap_or_else(|| panic!("no step {number}")),
        };
        let value = match step {
            Step::OpenBreaker | Step::LockDisconnect => {
                bench.open_breaker();
                None
            }
            Step::OpenSource(_) => {
                bench.open_other_sources();
                None
            }
            Step::Drain => {
                bench.discharge();
                None
            }
            Step::CloseBreaker => {
                bench.close_breaker();
                None
            }
            Step::Cool => {
                bench.wait_cool();
                None
            }
            Step::Lift(set) => {
                for end in &sheet.lifts[usize::from(set) - 1].ends {
                    bench.lift(*end);
                }
                None
            }
            Step::PutBack => {
                for end in sheet.lifts.iter().flat_map(|l| &l.ends) {
                    bench.put_back(*end);
                }
                None
            }
            Step::Rest => {
                running.hold(Ideal::Value(0.0), 200);
                continue;
            }
            Step::ProveMeter => Some(Ideal::Value(120.0)),
            Step::ReadLine => Some(
                bench
                    .measure(Function::VoltsAc, [sheet.dead.line[0], sheet.dead.line[1]])
                    .expect("the line can be read"),
            ),
            Step::DeadAc(n) | Step::DeadDc(n) => {
                let pair = plan
                    .pairs()
                    .nth(usize::from(n))
                    .expect("a pair of the plan");
                Some(
                    bench
                        .measure(running.function, point(pair))
                        .expect("volts can be read"),
                )
            }
            Step::Charge(n) => Some(
                bench
                    .measure(Function::VoltsDc, point(plan.capacitors[usize::from(n)]))
                    .expect("volts can be read"),
            ),
            Step::VoltsAt(n) | Step::VoltsToGround(n) => {
                let Question::Measure { points, .. } = sheet.checks[usize::from(n)].question else {
                    panic!("no volts before a look");
                };
                let points = match step {
                    Step::VoltsToGround(_) => [points[0], sheet.dead.ground],
                    _ => points,
                };
                let read = bench.measure(running.function, points);
                Some(read.expect("volts can be read"))
            }
            Step::VoltsAtEnd(set, nth) => {
                let end = sheet.lifts[usize::from(set) - 1].ends[usize::from(nth)];
                Some(
                    bench
                        .measure(running.function, [end, sheet.dead.ground])
                        .expect("volts can be read"),
                )
            }
            Step::Ask(n) => match &sheet.checks[usize::from(n)].question {
                Question::Look { part, look } => {
                    running.press(u8::from(!bench.look(*part, look)));
                    continue;
                }
                Question::Measure {
                    function, points, ..
                } => {
                    assert_eq!(running.function, *function, "the front end is set");
                    match bench.measure(*function, *points) {
                        Ok(ideal) => Some(ideal),
                        Err(error) => {
                            assert!(
                                !error.to_string().contains("damaged"),
                                "step {number}: {error}"
                            );
                            running.press(2);
                            continue;
                        }
                    }
                }
            },
            _ => None,
        };
        running.press(0);
        if let Some(ideal) = value {
            running.hold(ideal, SETTLES);
        }
    }
    panic!("no end: {:?}", running.light);
}
