//! What a client of meters can observe of a Bluetooth service: one list of facts, taken in the same
//! way from the real service and from the stand-in.
//!
//! A fact is a line. What a client calls begins with `>`, and what it hears then follows, in the order in
//! which it came. The facts of the real service are kept in `tests/ble-vm/facts.txt`; the stand-in is
//! held against them in every test run, and the real service in `cargo xtask test ble-vm`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::time::Duration;

use zbus::zvariant::Value;

use super::ear::{ADAPTER, Ear, is_of_meters, short, shown};
use super::{ADDRESS, Hands, SERVICE, TEMPERATURE, VOLTS};
use crate::cli::workspace;

const ADAPTER1: &str = "org.bluez.Adapter1";
const DEVICE1: &str = "org.bluez.Device1";
const CHARACTERISTIC1: &str = "org.bluez.GattCharacteristic1";
const DESCRIPTOR1: &str = "org.bluez.GattDescriptor1";

/// No options of a read.
fn none() -> std::collections::HashMap<&'static str, Value<'static>> {
    std::collections::HashMap::new()
}

/// Takes all facts. After each step everything is heard that still comes within `rest`.
///
/// # Panics
/// If the service does not do what every Bluetooth service does: scan, connect, notify.
#[must_use]
pub fn facts(hands: &mut dyn Hands, rest: Duration) -> Vec<String> {
    let mut ear = Ear::new(&hands.bus());
    let device = format!("{ADAPTER}/dev_{}", ADDRESS.replace(':', "_"));
    ear.name(&device, "meter");
    let mut taking = Taking {
        ear,
        hands,
        rest,
        device,
        volts: String::new(),
        format: String::new(),
        lines: Vec::new(),
    };
    taking.first();
    taking.scan();
    taking.link();
    taking.read();
    taking.subscribe();
    taking.lose();
    taking.again();
    taking.part();
    taking.leave();
    taking.switch_off();
    taking.restart();
    taking.lines
}

/// The facts of the real service, as they were seen last.
#[must_use]
pub fn file() -> PathBuf {
    workspace().join("tests/ble-vm/facts.txt")
}

/// Where two lists of facts differ, step by step; nothing if they do not.
#[must_use]
pub fn drift(one: (&str, &[String]), other: (&str, &[String])) -> String {
    let (here, there) = (steps(one.1), steps(other.1));
    let titles: BTreeSet<&String> = here.keys().chain(there.keys()).collect();
    let mut all = String::new();
    for title in titles {
        let (a, b) = (here.get(title), there.get(title));
        if a == b {
            continue;
        }
        all.push_str(&format!("{title}\n"));
        for ((name, _), mine, others) in [(one, a, b), (other, b, a)] {
            let Some(mine) = mine else {
                all.push_str(&format!("    {name} has no such step\n"));
                continue;
            };
            let only: Vec<_> = match others {
                // Of lists that differ in their order only, both are shown.
                Some(others) if !is_order(mine, others) => {
                    mine.iter().filter(|line| !others.contains(line)).collect()
                }
                _ => mine.iter().collect(),
            };
            all.extend(only.iter().map(|line| format!("    {name}: {line}\n")));
        }
    }
    all
}

fn is_order(one: &[String], other: &[String]) -> bool {
    let sorted = |lines: &[String]| -> Vec<String> {
        let mut lines = lines.to_vec();
        lines.sort();
        lines.dedup();
        lines
    };
    sorted(one) == sorted(other)
}

/// The lines of each step, by its number and title.
fn steps(lines: &[String]) -> BTreeMap<String, Vec<String>> {
    let mut all: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let (mut chapter, mut step, mut number) = (String::new(), String::new(), 0);
    for line in lines.iter().filter(|line| !line.is_empty()) {
        if line.starts_with('#') {
            chapter.clone_from(line);
            step.clear();
            number = 0;
        } else if line.starts_with('>') {
            number += 1;
            step = format!("{number} {line}");
        }
        let here = all.entry(format!("{chapter} {step}")).or_default();
        if !line.starts_with(['#', '>']) {
            here.push(line.clone());
        }
    }
    all
}

/// Facts on their way.
struct Taking<'h> {
    ear: Ear,
    hands: &'h mut dyn Hands,
    rest: Duration,
    /// The meter's object.
    device: String,
    /// That of its volts, once it is known.
    volts: String,
    /// That of their Presentation Format descriptor.
    format: String,
    lines: Vec<String>,
}

impl Taking<'_> {
    /// What there is before anything is asked for.
    fn first(&mut self) {
        self.ear.until_ready();
        self.chapter("What there is");
        self.objects();
    }

    fn chapter(&mut self, title: &str) {
        self.lines.push(String::new());
        self.lines.push(format!("# {title}"));
    }

    /// What is done, what was heard of it, and what still comes.
    fn step(&mut self, what: &str) {
        self.ear.rest(self.rest);
        self.lines.push(format!("> {what}"));
        self.lines.extend(self.ear.read_out());
    }

    /// What another client does: how it is answered, and what we hear.
    fn others(&mut self, other: &mut Ear, what: &str, act: impl FnOnce(&mut Ear)) {
        other.read_out();
        act(other);
        let answer = other.read_out().pop();
        self.step(&format!("another client's {what}"));
        self.lines
            .extend(answer.map(|a| format!("{a}, to the other client")));
    }

    fn look(&mut self) {
        self.lines.push("> looked at".into());
        self.objects();
    }

    fn adapter(&mut self, member: &str) {
        self.ear.call(ADAPTER, ADAPTER1, member, &());
    }

    fn meter(&mut self, member: &str) {
        let device = self.device.clone();
        self.ear.call(&device, DEVICE1, member, &());
    }

    fn volts(&mut self, member: &str) {
        let volts = self.volts.clone();
        if member == "ReadValue" {
            self.ear.call(&volts, CHARACTERISTIC1, member, &none());
        } else {
            self.ear.call(&volts, CHARACTERISTIC1, member, &());
        }
    }

    /// All objects of those that are named, with their properties.
    fn objects(&mut self) {
        let mut lines = Vec::new();
        for (path, interfaces) in self.ear.objects() {
            let Some(name) = self.ear.called(&path) else {
                continue;
            };
            for (interface, properties) in interfaces.iter().filter(|(i, _)| is_of_meters(i)) {
                for (property, value) in properties {
                    let short = short(interface);
                    lines.push(format!("{name} {short}.{property}: {}", shown(value)));
                }
            }
        }
        // The order of objects is that of their paths, which are the service's own.
        lines.sort();
        self.lines.extend(lines);
    }

    /// Gives the meter's attributes names, by what they are.
    fn name_attributes(&mut self) {
        let mut objects: Vec<_> = self.ear.objects().into_iter().collect();
        objects.sort_by(|a, b| a.0.cmp(&b.0));
        for (path, interfaces) in objects {
            if !path.starts_with(&self.device) {
                continue;
            }
            let uuid = |interface: &str| -> Option<String> {
                let value = interfaces.get(interface)?.get("UUID")?;
                String::try_from(value.clone()).ok()
            };
            let above = path.rsplit_once('/').map_or("", |(above, _)| above);
            let within = self.ear.called(above);
            let name = if uuid("org.bluez.GattService1").as_deref() == Some(SERVICE) {
                "service".to_owned()
            } else if let Some(uuid) = uuid(CHARACTERISTIC1) {
                match uuid.as_str() {
                    VOLTS => "volts".to_owned(),
                    TEMPERATURE => "temperature".to_owned(),
                    _ => continue,
                }
            } else if let (Some(uuid), Some(within)) = (uuid(DESCRIPTOR1), within) {
                format!("{within}/{}", uuid.get(4..8).unwrap_or_default())
            } else {
                continue;
            };
            self.ear.name(&path, &name);
            match name.as_str() {
                "volts" => self.volts = path,
                "volts/2904" => self.format = path,
                _ => {}
            }
        }
    }

    fn scan(&mut self) {
        self.chapter(
            "A scan: it is the client's that began it, and nothing is near when it is over",
        );
        let mut other = Ear::new(&self.hands.bus());
        other.name(&self.device, "meter");
        let le = std::collections::HashMap::from([("Transport", Value::from("le"))]);
        self.ear
            .call(ADAPTER, ADAPTER1, "SetDiscoveryFilter", &(le,));
        self.step("SetDiscoveryFilter");
        self.adapter("StopDiscovery");
        self.step("StopDiscovery, which was not begun");
        self.adapter("StartDiscovery");
        self.ear.until("meter is added");
        self.step("StartDiscovery");
        self.adapter("StartDiscovery");
        self.step("StartDiscovery once more");
        self.others(&mut other, "StopDiscovery", |other| {
            other.call(ADAPTER, ADAPTER1, "StopDiscovery", &());
        });
        self.others(&mut other, "StartDiscovery", |other| {
            other.call(ADAPTER, ADAPTER1, "StartDiscovery", &());
        });
        self.look();
        self.others(&mut other, "StopDiscovery", |other| {
            other.call(ADAPTER, ADAPTER1, "StopDiscovery", &());
        });
        self.adapter("StopDiscovery");
        self.step("StopDiscovery");
    }

    fn link(&mut self) {
        self.chapter("A link: it is answered before the services are known");
        self.meter("Connect");
        self.ear.until("ServicesResolved=true");
        self.step("Connect");
        self.name_attributes();
        self.look();
        self.meter("Connect");
        self.step("Connect once more");
    }

    fn read(&mut self) {
        self.chapter("A read: it is told of as if it were a notification");
        for nth in ["ReadValue of the volts", "the same once more"] {
            self.volts("ReadValue");
            self.step(nth);
        }
        let format = self.format.clone();
        self.ear.call(&format, DESCRIPTOR1, "ReadValue", &none());
        self.step("ReadValue of the volts' format");
    }

    fn subscribe(&mut self) {
        self.chapter("Notifications");
        self.hands.send(&[1]);
        self.step("the meter sends before anyone listens");
        self.volts("StopNotify");
        self.step("StopNotify, which was not begun");
        self.volts("StartNotify");
        self.step("StartNotify");
        self.volts("StartNotify");
        self.step("StartNotify once more");
        self.hands.send(&[2]);
        self.ear.until("Value=[02");
        self.step("the meter sends");
        self.hands.send(&[2]);
        self.ear.until("Value=[02");
        self.step("the meter sends the same once more");
        self.hands.send(&[3, 4, 5]);
        self.ear.until("Value=[05");
        self.step("the meter sends three values at once");
        self.volts("StopNotify");
        self.step("StopNotify");
        self.hands.send(&[6]);
        self.step("the meter sends");
        self.volts("StartNotify");
        self.step("StartNotify");
    }

    fn lose(&mut self) {
        self.chapter("A link that drops: one signal, and the objects stay");
        self.hands.drop_link();
        self.ear.until("Connected=false");
        self.step("the link drops");
        self.look();
        self.volts("ReadValue");
        self.step("ReadValue of the volts");
        self.volts("StartNotify");
        self.step("StartNotify");
    }

    fn again(&mut self) {
        self.chapter("A link that is made again");
        self.meter("Connect");
        self.ear.until("ServicesResolved=true");
        self.step("Connect");
        self.hands.send(&[7]);
        self.step("the meter sends");
        self.volts("StartNotify");
        self.step("StartNotify");
        self.hands.send(&[8]);
        self.ear.until("Value=[08");
        self.step("the meter sends");
    }

    fn part(&mut self) {
        self.chapter("A goodbye: values still come until it is answered");
        let device = self.device.clone();
        self.ear.ask(&device, DEVICE1, "Disconnect", &());
        self.hands.send(&[9]);
        self.ear.until("Disconnect is ");
        self.ear.until("Connected=false");
        self.step("Disconnect, and the meter sends");
        self.meter("Disconnect");
        self.step("Disconnect once more");
    }

    fn leave(&mut self) {
        self.chapter(
            "A client that goes: its subscription goes with it, the link that it made stays",
        );
        let mut other = Ear::new(&self.hands.bus());
        other.name(&self.device, "meter");
        let device = self.device.clone();
        let volts = self.volts.clone();
        let listen = |other: &mut Ear| other.call(&volts, CHARACTERISTIC1, "StartNotify", &());
        self.others(&mut other, "StartNotify", listen);
        self.others(&mut other, "Connect", |other| {
            other.call(&device, DEVICE1, "Connect", &());
            other.until("ServicesResolved=true");
        });
        self.others(&mut other, "StartNotify", listen);
        self.hands.send(&[10]);
        self.ear.until("Value=[0a");
        self.step("the meter sends while two listen");
        self.volts("StopNotify");
        self.step("StopNotify");
        self.hands.send(&[11]);
        self.ear.until("Value=[0b");
        self.step("the meter sends while the other listens");
        drop(other);
        self.step("the other client goes");
        self.hands.send(&[12]);
        self.step("the meter sends");
    }

    fn switch_off(&mut self) {
        self.chapter("An adapter that is switched off");
        self.ear
            .set(ADAPTER, ADAPTER1, "Powered", Value::Bool(false));
        self.ear.until("Powered=false");
        self.step("Powered is set to false");
        self.adapter("StartDiscovery");
        self.step("StartDiscovery");
        self.meter("Connect");
        self.step("Connect");
        self.ear
            .set(ADAPTER, ADAPTER1, "Powered", Value::Bool(true));
        self.ear.until("Powered=true");
        self.step("Powered is set to true");
    }

    fn restart(&mut self) {
        self.chapter("A service that is killed in mid-session, and started again");
        self.adapter("StartDiscovery");
        self.ear.rest(self.rest);
        self.adapter("StopDiscovery");
        self.ear.rest(self.rest);
        self.meter("Connect");
        self.ear.until("ServicesResolved=true");
        self.volts("StartNotify");
        self.ear.rest(self.rest);
        self.ear.read_out();
        self.hands.kill();
        self.ear.until("the service is gone");
        self.step("the service is killed");
        self.volts("ReadValue");
        self.step("ReadValue of the volts");
        self.hands.start();
        self.ear.until("adapter is added");
        self.ear.until("meter is added");
        // When the adapter is switched on, and when the kernel ends the link that it still had, is the
        // system's own.
        self.ear.rest(self.rest);
        let heard = self.ear.read_out();
        self.lines.push("> it is started".into());
        let own = |line: &String| !line.contains("1: ");
        self.lines.extend(heard.into_iter().filter(own));
        self.volts("ReadValue");
        self.step("ReadValue of the volts");
    }
}
