//! What happens to the adapter and to the meters, and the signals that tell of it.

use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use zbus::Connection;
use zbus::zvariant::{DynamicType, ObjectPath};

use crate::meter::{Meter, path_of};
use crate::state::Now;
use crate::tree::{
    ADAPTER, ADAPTER1, CHARACTERISTIC1, DEVICE1, INTROSPECTION, OBJECTS, PROPERTIES, Properties,
    Property, Sent, Tree, sent,
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

    pub(crate) async fn signal_value(&self, path: &str, value: &[u8]) {
        let value = Properties::from([("Value", Property::Bytes(value.to_vec()))]);
        self.set(path, CHARACTERISTIC1, value).await;
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
        for (path, interface, properties) in attributes {
            if !self.now().tree.has(&path) {
                self.add(&path, interface, properties).await;
            }
        }
        let resolved = Properties::from([("ServicesResolved", Property::Flag(true))]);
        self.set(&path_of(address), DEVICE1, resolved).await;
    }

    pub(crate) async fn unlink(&self, address: &str) {
        let path = path_of(address);
        {
            let mut now = self.now();
            if !now.linked.remove(address) {
                return;
            }
            let below = format!("{path}/");
            now.subscribed.retain(|p, _| !p.starts_with(&below));
            now.held.remove(address);
        }
        // One signal for both, and the objects stay.
        let down = Properties::from([
            ("ServicesResolved", Property::Flag(false)),
            ("Connected", Property::Flag(false)),
        ]);
        self.set(&path, DEVICE1, down).await;
    }

    /// What a client held ends with it; its links stay.
    pub(crate) async fn client_gone(&self, client: &str) {
        self.now().subscribed.values_mut().for_each(|clients| {
            clients.remove(client);
        });
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
