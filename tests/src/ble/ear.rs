//! What a Bluetooth service says on its bus, in its order, as lines of text.

use std::collections::{BTreeMap, HashMap};
use std::num::NonZeroU32;
use std::time::{Duration, Instant};

use futures_util::StreamExt;
use tokio::runtime::Runtime;
use zbus::connection::Builder;
use zbus::message::Type;
use zbus::zvariant::{DynamicType, OwnedObjectPath, OwnedValue, Value};
use zbus::{AuthMechanism, Connection, MatchRule, Message, MessageStream};

/// Nothing here takes longer, unless it does not come at all: an emulated machine is slow.
const PATIENCE: Duration = Duration::from_secs(60);
/// The service's name.
pub const BLUEZ: &str = "org.bluez";
/// The adapter's object.
pub const ADAPTER: &str = "/org/bluez/hci0";
const PROPERTIES: &str = "org.freedesktop.DBus.Properties";

/// All objects, their interfaces and those properties.
pub type Objects = BTreeMap<String, BTreeMap<String, BTreeMap<String, OwnedValue>>>;
/// As they come.
type Sent = HashMap<OwnedObjectPath, HashMap<String, HashMap<String, OwnedValue>>>;

/// A client that writes down what it hears.
pub struct Ear {
    runtime: Runtime,
    connection: Connection,
    stream: MessageStream,
    /// What objects are called here, by their paths.
    names: BTreeMap<String, String>,
    /// Calls that are not answered yet.
    asked: HashMap<NonZeroU32, String>,
    /// What was heard, and not read out yet.
    heard: Vec<String>,
}

impl Ear {
    /// Listens on a bus.
    ///
    /// # Panics
    /// If the bus is not there, as everywhere here if it does not do its part.
    #[must_use]
    pub fn new(bus: &str) -> Ear {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .expect("a runtime");
        let (connection, stream) = runtime.block_on(async {
            let mut builder = Builder::address(bus).expect("an address");
            if bus.starts_with("tcp:") {
                builder = builder.auth_mechanism(AuthMechanism::Anonymous);
            }
            let connection = builder.build().await.expect("the bus takes a connection");
            let stream = MessageStream::from(&connection);
            let proxy = zbus::fdo::DBusProxy::new(&connection).await.expect("a bus");
            let of = |sender: &'static str| {
                MatchRule::builder()
                    .msg_type(Type::Signal)
                    .sender(sender)
                    .expect("a name")
            };
            let owner = of("org.freedesktop.DBus").arg(0, BLUEZ).expect("a rule");
            for rule in [of(BLUEZ), owner] {
                proxy.add_match_rule(rule.build()).await.expect("taken");
            }
            (connection, stream)
        });
        Ear {
            runtime,
            connection,
            stream,
            names: BTreeMap::from([(ADAPTER.to_owned(), "adapter".to_owned())]),
            asked: HashMap::new(),
            heard: Vec::new(),
        }
    }

    /// Calls an object with this path so from now on. What is not called anything is not heard.
    pub fn name(&mut self, path: &str, name: &str) {
        self.names.insert(path.to_owned(), name.to_owned());
    }

    /// What the object with this path is called.
    #[must_use]
    pub fn called(&self, path: &str) -> Option<&str> {
        self.names.get(path).map(String::as_str)
    }

    /// Asks, and does not wait for the answer.
    ///
    /// # Panics
    /// If nobody can be asked.
    pub fn ask<B>(&mut self, path: &str, interface: &str, member: &str, body: &B)
    where
        B: serde::Serialize + DynamicType,
    {
        let message = Message::method_call(path, member)
            .and_then(|m| m.destination(BLUEZ))
            .and_then(|m| m.interface(interface))
            .and_then(|m| m.build(body))
            .expect("a call");
        let serial = message.primary_header().serial_num();
        self.asked.insert(serial, member.to_owned());
        let sent = self.runtime.block_on(self.connection.send(&message));
        sent.expect("sent");
    }

    /// Asks, and hears everything up to the answer.
    ///
    /// # Panics
    /// If none comes.
    pub fn call<B>(&mut self, path: &str, interface: &str, member: &str, body: &B)
    where
        B: serde::Serialize + DynamicType,
    {
        self.ask(path, interface, member, body);
        let answered = format!("{member} is ");
        self.until(&answered);
    }

    /// Hears everything up to a line that begins so or has this in it.
    ///
    /// # Panics
    /// If it does not come.
    pub fn until(&mut self, has: &str) {
        let until = Instant::now() + PATIENCE;
        let mut read = 0;
        loop {
            if self.heard[read..].iter().any(|line| line.contains(has)) {
                return;
            }
            read = self.heard.len();
            let left = until.saturating_duration_since(Instant::now());
            assert!(
                self.one(left),
                "waited in vain for '{has}'; heard: {:#?}",
                self.heard
            );
        }
    }

    /// Hears everything that still comes within this time.
    pub fn rest(&mut self, time: Duration) {
        let until = Instant::now() + time;
        while self.one(until.saturating_duration_since(Instant::now())) {}
    }

    /// Waits for a service with an adapter that is on.
    ///
    /// # Panics
    /// If there is none in time.
    pub fn until_ready(&mut self) {
        let until = Instant::now() + PATIENCE;
        let ready = |objects: &Objects| {
            let adapter = objects.get(ADAPTER)?.get("org.bluez.Adapter1")?;
            (**adapter.get("Powered")? == Value::Bool(true)).then_some(())
        };
        while ready(&self.objects()).is_none() {
            assert!(Instant::now() < until, "no adapter that is on");
            self.rest(Duration::from_millis(100));
        }
        self.heard.clear();
    }

    /// What was heard since it was asked for last.
    pub fn read_out(&mut self) -> Vec<String> {
        std::mem::take(&mut self.heard)
    }

    /// What the service knows; nothing where there is no service yet.
    ///
    /// # Panics
    /// If what it says cannot be read.
    #[must_use]
    pub fn objects(&self) -> Objects {
        let asked = self.connection.call_method(
            Some(BLUEZ),
            "/",
            Some("org.freedesktop.DBus.ObjectManager"),
            "GetManagedObjects",
            &(),
        );
        let Ok(answer) = self.runtime.block_on(asked) else {
            return Objects::new();
        };
        let sent: Sent = answer.body().deserialize().expect("objects");
        let ordered = sent.into_iter().map(|(path, interfaces)| {
            let interfaces = interfaces
                .into_iter()
                .map(|(name, properties)| (name, properties.into_iter().collect()));
            (path.as_str().to_owned(), interfaces.collect())
        });
        ordered.collect()
    }

    /// One message; whether there was one in time.
    fn one(&mut self, time: Duration) -> bool {
        let Ear {
            runtime, stream, ..
        } = self;
        let next = async { tokio::time::timeout(time, stream.next()).await };
        let Ok(message) = runtime.block_on(next) else {
            return false;
        };
        let message = message.expect("the bus goes on").expect("a message");
        let line = self.line(&message);
        self.heard.extend(line);
        true
    }

    /// What a message says, if it is one of those that count.
    fn line(&mut self, message: &Message) -> Option<String> {
        let header = message.header();
        let body = message.body();
        match message.message_type() {
            Type::MethodReturn => {
                let member = self.asked.remove(&header.reply_serial()?)?;
                let value = body.deserialize::<Vec<u8>>().map(|bytes| hex(&bytes));
                let with = value.map_or(String::new(), |value| format!(" with {value}"));
                Some(format!("{member} is answered{with}"))
            }
            Type::Error => {
                let member = self.asked.remove(&header.reply_serial()?)?;
                let name = header.error_name().map(ToString::to_string);
                let name = name.unwrap_or_default();
                // The bus's own errors name connections and objects in their words.
                let words = match name.starts_with(BLUEZ) {
                    true => body.deserialize::<String>().unwrap_or_default(),
                    false => "in words of its own".to_owned(),
                };
                Some(format!("{member} is refused: {name}, {words}"))
            }
            Type::Signal => self.signal(header.path()?.as_str(), header.member()?, message),
            Type::MethodCall => None,
        }
    }

    fn signal(&self, path: &str, member: &str, message: &Message) -> Option<String> {
        let body = message.body();
        match member {
            "PropertiesChanged" => {
                let name = self.names.get(path)?;
                let (interface, changed, gone): (
                    String,
                    BTreeMap<String, OwnedValue>,
                    Vec<String>,
                ) = body.deserialize().ok()?;
                // How strong a signal is changes all the time.
                if changed.len() == 1 && changed.contains_key("RSSI") {
                    return None;
                }
                let mut all: Vec<String> = changed
                    .iter()
                    .map(|(property, value)| format!("{property}={}", shown(value)))
                    .collect();
                all.extend(gone.iter().map(|property| format!("{property} is gone")));
                Some(format!("{name} {}: {}", short(&interface), all.join(", ")))
            }
            "InterfacesAdded" => {
                let (object, interfaces): (
                    OwnedObjectPath,
                    HashMap<String, HashMap<String, OwnedValue>>,
                ) = body.deserialize().ok()?;
                let Some(name) = self.names.get(object.as_str()) else {
                    let mut above = self.names.iter();
                    let (_, of) = above.find(|(path, name)| {
                        name.as_str() != "adapter" && object.as_str().starts_with(path.as_str())
                    })?;
                    let line = format!("attributes of {of} are added");
                    return (self.heard.last() != Some(&line)).then_some(line);
                };
                let ours = interfaces.keys().filter(|i| is_of_meters(i));
                let ours: Vec<&str> = ours.map(|i| short(i)).collect();
                Some(format!("{name} is added: {}", ours.join(", ")))
            }
            "InterfacesRemoved" => {
                let (object, _): (OwnedObjectPath, Vec<String>) = body.deserialize().ok()?;
                let name = self.names.get(object.as_str())?;
                Some(format!("{name} is removed"))
            }
            "NameOwnerChanged" => {
                let (_, _, new): (String, String, String) = body.deserialize().ok()?;
                let what = if new.is_empty() { "gone" } else { "there" };
                Some(format!("the service is {what}"))
            }
            _ => None,
        }
    }

    /// Sets a property.
    pub fn set(&mut self, path: &str, interface: &str, property: &str, value: Value<'_>) {
        self.call(path, PROPERTIES, "Set", &(interface, property, value));
    }
}

/// Whether a client of meters uses this interface.
#[must_use]
pub fn is_of_meters(interface: &str) -> bool {
    let last = interface.strip_prefix("org.bluez.").unwrap_or_default();
    matches!(
        last,
        "Adapter1" | "Device1" | "GattService1" | "GattCharacteristic1" | "GattDescriptor1"
    )
}

/// An interface's last word.
#[must_use]
pub fn short(interface: &str) -> &str {
    interface.rsplit('.').next().unwrap_or(interface)
}

/// A value, where it is the same on every machine; else its type.
#[must_use]
pub fn shown(value: &OwnedValue) -> String {
    match &**value {
        Value::Bool(flag) => flag.to_string(),
        Value::Array(array) if array.element_signature() == "y" => {
            let bytes = array.iter().filter_map(|byte| match byte {
                Value::U8(byte) => Some(*byte),
                _ => None,
            });
            hex(&bytes.collect::<Vec<u8>>())
        }
        other => other.value_signature().to_string(),
    }
}

fn hex(bytes: &[u8]) -> String {
    let digits: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    format!("[{digits}]")
}
