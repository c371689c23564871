//! The service's objects, their interfaces and properties.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use zbus::zvariant::{ObjectPath, Value};

use crate::meter::{Meter, path_of, whole};

/// The adapter's object.
pub(crate) const ADAPTER: &str = "/org/bluez/hci0";
pub(crate) const ADAPTER1: &str = "org.bluez.Adapter1";
pub(crate) const DEVICE1: &str = "org.bluez.Device1";
pub(crate) const SERVICE1: &str = "org.bluez.GattService1";
pub(crate) const CHARACTERISTIC1: &str = "org.bluez.GattCharacteristic1";
pub(crate) const DESCRIPTOR1: &str = "org.bluez.GattDescriptor1";
pub(crate) const PROPERTIES: &str = "org.freedesktop.DBus.Properties";
pub(crate) const OBJECTS: &str = "org.freedesktop.DBus.ObjectManager";
pub(crate) const INTROSPECTION: &str = "org.freedesktop.DBus.Introspectable";

/// A property's value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Property {
    /// A string.
    Text(String),
    /// Several.
    Texts(Vec<String>),
    /// A boolean.
    Flag(bool),
    /// A byte array.
    Bytes(Vec<u8>),
    /// A signed number of 16 bits.
    Signed(i16),
    /// An unsigned number of 16 bits.
    Unsigned(u16),
    /// An unsigned number of 32 bits.
    Long(u32),
    /// An object.
    Object(String),
    /// Several.
    Objects(Vec<String>),
}

impl Property {
    pub(crate) fn value(&self) -> Value<'static> {
        let object = |path: &String| {
            ObjectPath::try_from(path.clone()).expect("an object's path is well formed")
        };
        match self {
            Property::Text(text) => Value::from(text.clone()),
            Property::Texts(texts) => Value::from(texts.clone()),
            Property::Flag(flag) => Value::from(*flag),
            Property::Bytes(bytes) => Value::from(bytes.clone()),
            Property::Signed(number) => Value::from(*number),
            Property::Unsigned(number) => Value::from(*number),
            Property::Long(number) => Value::from(*number),
            Property::Object(path) => Value::from(object(path)),
            Property::Objects(paths) => Value::from(paths.iter().map(object).collect::<Vec<_>>()),
        }
    }

    /// Its type, as D-Bus writes it.
    #[must_use]
    pub const fn signature(&self) -> &'static str {
        match self {
            Property::Text(_) => "s",
            Property::Texts(_) => "as",
            Property::Flag(_) => "b",
            Property::Bytes(_) => "ay",
            Property::Signed(_) => "n",
            Property::Unsigned(_) => "q",
            Property::Long(_) => "u",
            Property::Object(_) => "o",
            Property::Objects(_) => "ao",
        }
    }
}

fn text(text: &str) -> Property {
    Property::Text(text.to_owned())
}

/// An interface's properties.
pub type Properties = BTreeMap<&'static str, Property>;
/// An object's interfaces.
pub type Interfaces = BTreeMap<&'static str, Properties>;
/// Properties on their way.
pub(crate) type Sent = HashMap<&'static str, Value<'static>>;

pub(crate) fn sent(properties: &Properties) -> Sent {
    properties.iter().map(|(k, p)| (*k, p.value())).collect()
}

/// Something in a meter's attribute table.
pub(crate) struct Attribute {
    /// Its object.
    pub(crate) path: String,
    /// That object's interface.
    pub(crate) interface: &'static str,
    /// And its properties.
    pub(crate) properties: Properties,
    /// What a read gives.
    pub(crate) value: Vec<u8>,
}

impl Attribute {
    fn new(path: &str, interface: &'static str, properties: Properties, value: &[u8]) -> Attribute {
        Attribute {
            path: path.to_owned(),
            interface,
            properties,
            value: value.to_vec(),
        }
    }
}

/// All objects.
#[derive(Debug, Clone, Default)]
pub struct Tree(BTreeMap<String, Interfaces>);

impl Tree {
    /// With an adapter, on or off.
    pub(crate) fn with_adapter(powered: bool) -> Tree {
        let mut tree = Tree::default();
        let adapter = Properties::from([
            ("Address", text("00:00:5E:00:53:01")),
            ("AddressType", text("public")),
            ("Name", text("truck")),
            ("Alias", text("truck")),
            ("Class", Property::Long(0)),
            ("Modalias", text("usb:v1D6Bp0246d0542")),
            ("Powered", Property::Flag(powered)),
            ("Discoverable", Property::Flag(false)),
            ("DiscoverableTimeout", Property::Long(180)),
            ("Pairable", Property::Flag(false)),
            ("PairableTimeout", Property::Long(0)),
            ("Discovering", Property::Flag(false)),
            ("UUIDs", Property::Texts(Vec::new())),
            ("Roles", Property::Texts(vec!["central".to_owned()])),
        ]);
        tree.put(ADAPTER, ADAPTER1, adapter);
        tree
    }

    pub(crate) fn put(&mut self, path: &str, interface: &'static str, properties: Properties) {
        self.0
            .insert(path.to_owned(), Interfaces::from([(interface, properties)]));
    }

    pub(crate) fn has(&self, path: &str) -> bool {
        self.0.contains_key(path)
    }

    /// An object's properties.
    #[must_use]
    pub fn get(&self, path: &str, interface: &str) -> Option<&Properties> {
        self.0.get(path)?.get(interface)
    }

    pub(crate) fn change(&mut self, path: &str, interface: &str) -> Option<&mut Properties> {
        self.0.get_mut(path)?.get_mut(interface)
    }

    pub(crate) fn flag(&self, path: &str, interface: &str, name: &str) -> bool {
        let property = self.get(path, interface).and_then(|p| p.get(name));
        matches!(property, Some(Property::Flag(true)))
    }

    /// The characteristic of a meter with this UUID: the first, where there are several.
    pub(crate) fn characteristic(&self, address: &str, uuid: &str) -> Option<String> {
        let within = format!("{}/", path_of(address));
        let is = |i: &Interfaces| {
            i.get(CHARACTERISTIC1)
                .is_some_and(|p| p.get("UUID") == Some(&text(uuid)))
        };
        let mut all = self.0.iter().filter(|(path, _)| path.starts_with(&within));
        all.find(|(_, i)| is(i)).map(|(path, _)| path.clone())
    }

    /// The objects of a meter's characteristics.
    pub(crate) fn characteristics(&self, meter: &str) -> Vec<String> {
        let within = format!("{meter}/");
        let is = |(path, i): &(&String, &Interfaces)| {
            path.starts_with(&within) && i.contains_key(CHARACTERISTIC1)
        };
        self.0.iter().filter(is).map(|(p, _)| p.clone()).collect()
    }

    /// Every object with its interfaces.
    pub fn objects(&self) -> impl Iterator<Item = (&str, &Interfaces)> {
        self.0.iter().map(|(path, i)| (path.as_str(), i))
    }

    /// An object as introspection shows it; none if there is no such object nor one below it.
    pub(crate) fn introspect(&self, path: &str) -> Option<String> {
        let below = format!("{}/", path.trim_end_matches('/'));
        let children: BTreeSet<&str> = self
            .0
            .keys()
            .filter_map(|p| p.strip_prefix(&below))
            .filter_map(|rest| rest.split('/').next())
            .collect();
        if !self.has(path) && children.is_empty() {
            return None;
        }
        let own = self.0.get(path).into_iter().flat_map(|i| i.keys().copied());
        let interfaces: String = [INTROSPECTION, PROPERTIES]
            .into_iter()
            .chain(own)
            .map(|name| format!("<interface name=\"{name}\"></interface>"))
            .collect();
        let children: String = children
            .iter()
            .map(|name| format!("<node name=\"{name}\"/>"))
            .collect();
        Some(format!("<node>{interfaces}{children}</node>"))
    }

    /// A meter as it is first seen.
    pub(crate) fn device(meter: &Meter) -> Properties {
        let services = meter.services.iter().map(|s| s.uuid.clone()).collect();
        Properties::from([
            ("Address", text(&meter.address)),
            ("AddressType", text("random")),
            ("Name", text(&meter.name)),
            ("Alias", text(&meter.name)),
            ("Paired", Property::Flag(false)),
            ("Bonded", Property::Flag(false)),
            ("Trusted", Property::Flag(false)),
            ("Blocked", Property::Flag(false)),
            ("LegacyPairing", Property::Flag(false)),
            ("RSSI", Property::Signed(-52)),
            ("Connected", Property::Flag(false)),
            ("ServicesResolved", Property::Flag(false)),
            ("UUIDs", Property::Texts(services)),
            ("Adapter", Property::Object(ADAPTER.to_owned())),
        ])
    }

    /// A meter as it is remembered: it is not heard.
    pub(crate) fn remembered(meter: &Meter) -> Properties {
        let mut device = Tree::device(meter);
        device.remove("RSSI");
        device
    }

    /// A meter's services, characteristics and descriptors, in their order, at the handles that
    /// they would have in its attribute table. No value is known before it was read or notified.
    pub(crate) fn attributes(meter: &Meter) -> Vec<Attribute> {
        let mut all = Vec::new();
        let mut handle = 0x0010;
        for service in &meter.services {
            let at = format!("{}/service{handle:04x}", meter.path());
            let properties = Properties::from([
                ("UUID", text(&service.uuid)),
                ("Device", Property::Object(meter.path())),
                ("Primary", Property::Flag(true)),
                ("Includes", Property::Objects(Vec::new())),
            ]);
            all.push(Attribute::new(&at, SERVICE1, properties, &[]));
            for characteristic in &service.characteristics {
                handle += 1;
                let of = format!("{at}/char{handle:04x}");
                let flags = characteristic.flags.iter().map(|f| (*f).to_owned());
                let mut properties = Properties::from([
                    ("UUID", text(&characteristic.uuid)),
                    ("Service", Property::Object(at.clone())),
                    ("Value", Property::Bytes(Vec::new())),
                    ("Flags", Property::Texts(flags.collect())),
                ]);
                handle += 1;
                if characteristic.flags.contains(&"notify") {
                    properties.insert("Notifying", Property::Flag(false));
                    properties.insert("NotifyAcquired", Property::Flag(false));
                }
                let value = &characteristic.value;
                all.push(Attribute::new(&of, CHARACTERISTIC1, properties, value));
                for (number, value) in &characteristic.descriptors {
                    handle += 1;
                    let properties = Properties::from([
                        ("UUID", Property::Text(whole(*number))),
                        ("Characteristic", Property::Object(of.clone())),
                        ("Value", Property::Bytes(Vec::new())),
                    ]);
                    let at = format!("{of}/desc{handle:04x}");
                    all.push(Attribute::new(&at, DESCRIPTOR1, properties, value));
                }
            }
            handle += 1;
        }
        all
    }
}
