//! What happens to the adapter and to the meters, and the signals that tell of it.

use std::collections::{BTreeSet, HashMap};
use std::sync::{Mutex, MutexGuard, PoisonError};

use zbus::Connection;
use zbus::zvariant::{DynamicType, ObjectPath};

use crate::meter::{Meter, path_of};
use crate::state::Now;
use crate::tree::{
    ADAPTER, ADAPTER1, Attribute, CHARACTERISTIC1, DEVICE1, INTROSPECTION, OBJECTS, PROPERTIES,
    Properties, Property, SERVICE1, Sent, Tree, sent,
};

/// How things stand, and the way to tell of it.
#[derive(Debug)]
pub(crate) struct Shared {
    pub(crate) now: Mutex<Now>,
    pub(crate) connection: Connection,
}

impl Shared {
    pub(crate) fn now(&self) -> MutexGuard<'_, Now> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A signal; a bus that is gone has nobody to hear it.
    pub(crate) async fn signal<B>(&self, path: &str, interface: &str, member: &str, body: &B)
    where
        B: serde::Serialize + DynamicType,
    {
        let to = None::<&str>;
        let _ = self
            .connection
            .emit_signal(to, path, interface, member, body)
            .await;
    }

    pub(crate) async fn set(&self, path: &str, interface: &'static str, changed: Properties) {
        let body = (interface, sent(&changed), Vec::<&str>::new());
        if let Some(properties) = self.now().tree.change(path, interface) {
            properties.extend(changed);
        }
        self.signal(path, PROPERTIES, "PropertiesChanged", &body)
            .await;
    }

    pub(crate) async fn add(&self, path: &str, interface: &'static str, properties: Properties) {
        let object = ObjectPath::try_from(path.to_owned()).expect("a well formed path");
        let mut interfaces = HashMap::from([(interface, sent(&properties))]);
        // The real one tells of the standard interfaces, too.
        interfaces.insert(INTROSPECTION, Sent::new());
        interfaces.insert(PROPERTIES, Sent::new());
        self.now().tree.put(path, interface, properties);
        self.signal("/", OBJECTS, "InterfacesAdded", &(object, interfaces))
            .await;
    }

    pub(crate) async fn signal_value(&self, path: &str, interface: &'static str, value: &[u8]) {
        let value = Properties::from([("Value", Property::Bytes(value.to_vec()))]);
        self.set(path, interface, value).await;
    }

    /// A meter notifies: once for each client that is subscribed, and everyone hears each of them.
    pub(crate) async fn notify(&self, path: &str, value: &[u8]) {
        let times = {
            let now = self.now();
            let clients = now.subscribed.get(path).map_or(0, BTreeSet::len);
            if now.is_linked(path) { clients } else { 0 }
        };
        for _ in 0..times {
            self.signal_value(path, CHARACTERISTIC1, value).await;
        }
    }

    pub(crate) async fn notifying(&self, path: &str, on: bool) {
        let notifying = Properties::from([("Notifying", Property::Flag(on))]);
        self.set(path, CHARACTERISTIC1, notifying).await;
    }

    /// Every meter that can be heard is heard by who scans.
    pub(crate) async fn advertise(&self) {
        let heard: Vec<Meter> = {
            let now = self.now();
            if now.scanning.is_empty() {
                return;
            }
            let all = now.meters.iter();
            all.filter(|m| now.in_reach.contains(&m.address) && !now.linked.contains(&m.address))
                .cloned()
                .collect()
        };
        for meter in heard {
            let path = meter.path();
            if self.now().tree.has(&path) {
                let rssi = Properties::from([("RSSI", Property::Signed(-52))]);
                self.set(&path, DEVICE1, rssi).await;
            } else {
                self.add(&path, DEVICE1, Tree::device(&meter)).await;
            }
        }
    }

    pub(crate) async fn link(&self, address: &str) {
        self.now().linked.insert(address.to_owned());
        let connected = Properties::from([("Connected", Property::Flag(true))]);
        self.set(&path_of(address), DEVICE1, connected).await;
    }

    /// The services of a linked meter are known. Where they were known before, nothing is added.
    pub(crate) async fn resolve(&self, address: &str) {
        let attributes = {
            let mut now = self.now();
            if !now.linked.contains(address) {
                return;
            }
            if now.hold_services {
                now.held.insert(address.to_owned());
                return;
            }
            let meter = now.meters.iter().find(|m| m.address == address);
            meter.map(Tree::attributes).unwrap_or_default()
        };
        let path = path_of(address);
        let mut resolved = Properties::from([("ServicesResolved", Property::Flag(true))]);
        for attribute in attributes {
            if self.now().tree.has(&attribute.path) {
                continue;
            }
            // What services there are is told when it is known, with that.
            resolved.extend(self.uuids(&path, &attribute));
            let Attribute {
                path,
                interface,
                properties,
                value,
            } = attribute;
            self.now().values.insert(path.clone(), value);
            self.add(&path, interface, properties).await;
        }
        {
            let mut now = self.now();
            for path in now.tree.characteristics(&path) {
                if let Some(properties) = now.tree.change(&path, CHARACTERISTIC1) {
                    properties.insert("MTU", Property::Unsigned(247));
                }
            }
        }
        self.set(&path, DEVICE1, resolved).await;
    }

    /// The meter's services, where this is one of them.
    fn uuids(&self, meter: &str, attribute: &Attribute) -> Option<(&'static str, Property)> {
        let now = self.now();
        let uuids = now.tree.get(meter, DEVICE1)?.get("UUIDs")?;
        (attribute.interface == SERVICE1).then(|| ("UUIDs", uuids.clone()))
    }

    /// The link drops: one signal for all of it, and the objects stay. So do subscriptions.
    pub(crate) async fn unlink(&self, address: &str) {
        if self.carries_nothing(address) {
            self.down(address, &["Connected", "ServicesResolved"]).await;
        }
    }

    /// The link is being ended by a client: its services go first…
    pub(crate) async fn parting(&self, address: &str) {
        if self.carries_nothing(address) {
            self.down(address, &["ServicesResolved"]).await;
        }
    }

    /// …and then, when the client has its answer, the link.
    pub(crate) async fn parted(&self, address: &str) {
        self.down(address, &["Connected"]).await;
    }

    pub(crate) async fn unlink_all(&self) {
        let linked = self.now().linked.clone();
        for address in linked {
            self.unlink(&address).await;
        }
    }

    /// From now on nothing comes over this link; whether it was there.
    fn carries_nothing(&self, address: &str) -> bool {
        let mut now = self.now();
        now.held.remove(address);
        for path in now.tree.characteristics(&path_of(address)) {
            if let Some(properties) = now.tree.change(&path, CHARACTERISTIC1) {
                properties.remove("MTU");
            }
        }
        now.linked.remove(address)
    }

    /// Tells in one signal which of a meter's flags are down now, and were not.
    async fn down(&self, address: &str, flags: &[&'static str]) {
        let path = path_of(address);
        let down: Properties = {
            let now = self.now();
            let up = flags.iter().filter(|f| now.tree.flag(&path, DEVICE1, f));
            up.map(|f| (*f, Property::Flag(false))).collect()
        };
        if !down.is_empty() {
            self.set(&path, DEVICE1, down).await;
        }
    }

    /// The adapter was switched on or off, after the links are down.
    pub(crate) async fn switched(&self, on: bool) {
        let mut changed = Properties::from([("Powered", Property::Flag(on))]);
        if !on {
            self.now().scanning.clear();
            changed.insert("Discovering", Property::Flag(false));
        }
        self.set(ADAPTER, ADAPTER1, changed).await;
    }

    /// What a client held ends with it; its links stay.
    pub(crate) async fn client_gone(&self, client: &str) {
        let silent: Vec<String> = {
            let mut now = self.now();
            let all = now.subscribed.iter_mut();
            all.filter_map(|(path, clients)| {
                let was_last = clients.remove(client) && clients.is_empty();
                was_last.then(|| path.clone())
            })
            .collect()
        };
        for path in silent {
            self.notifying(&path, false).await;
        }
        let scanned = self.now().scanning.remove(client);
        if scanned {
            self.scan_ended().await;
        }
    }

    /// After the last scan: what was heard in it is not heard any more.
    pub(crate) async fn scan_ended(&self) {
        let silent: Vec<String> = {
            let mut now = self.now();
            if !now.scanning.is_empty() {
                return;
            }
            let paths: Vec<String> = now.meters.iter().map(Meter::path).collect();
            let had = |path: &String| {
                let device = now.tree.change(path, DEVICE1);
                device.is_some_and(|p| p.remove("RSSI").is_some())
            };
            paths.into_iter().filter(had).collect()
        };
        for path in silent {
            let body = (DEVICE1, Sent::new(), vec!["RSSI"]);
            self.signal(&path, PROPERTIES, "PropertiesChanged", &body)
                .await;
        }
        let over = Properties::from([("Discovering", Property::Flag(false))]);
        self.set(ADAPTER, ADAPTER1, over).await;
    }
}
