//! What is asked of the service, and what it answers.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;

use futures_util::StreamExt;
use zbus::message::{Header, Type};
use zbus::zvariant::{ObjectPath, Value};
use zbus::{Message, MessageStream};

use crate::state::{Call, Refusal};
use crate::tree::{
    ADAPTER, ADAPTER1, CHARACTERISTIC1, DESCRIPTOR1, DEVICE1, INTROSPECTION, Interfaces, OBJECTS,
    PROPERTIES, Properties, Property, Sent, sent,
};
use crate::world::Shared;

/// The real service answers a `Disconnect` seconds later; values still come meanwhile.
const PARTING: Duration = Duration::from_millis(100);

/// An answer.
enum Answer {
    Nothing,
    Text(String),
    Bytes(Vec<u8>),
    One(Value<'static>),
    All(Sent),
    Objects(HashMap<ObjectPath<'static>, HashMap<&'static str, Sent>>),
}

/// Answers calls, each in a task of its own.
pub(crate) async fn serve(shared: Arc<Shared>, mut calls: MessageStream) {
    while let Some(Ok(message)) = calls.next().await {
        if message.message_type() == Type::MethodCall {
            let shared = Arc::clone(&shared);
            tokio::spawn(async move { shared.answer(&message).await });
        }
    }
}

impl Shared {
    async fn answer(&self, message: &Message) {
        let header = message.header();
        let (Some(path), Some(interface), Some(member)) =
            (header.path(), header.interface(), header.member())
        else {
            return;
        };
        let last = interface.rsplit('.').next().unwrap_or_default();
        let method = format!("{last}.{member}");
        let refusal = {
            let mut now = self.now();
            now.calls.push(Call {
                path: path.to_string(),
                method,
            });
            now.refused(member.as_str())
        };
        let answer = match refusal {
            Some(refusal) => Err(refusal),
            None => self.call(message, &header).await,
        };
        let connection = &self.connection;
        // A client that is gone gets no answer.
        let _ = match answer {
            Ok(Answer::Nothing) => connection.reply(&header, &()).await,
            Ok(Answer::Text(text)) => connection.reply(&header, &text).await,
            Ok(Answer::Bytes(bytes)) => connection.reply(&header, &bytes).await,
            Ok(Answer::One(value)) => connection.reply(&header, &(value,)).await,
            Ok(Answer::All(all)) => connection.reply(&header, &all).await,
            Ok(Answer::Objects(objects)) => connection.reply(&header, &objects).await,
            Err(e) => connection.reply_error(&header, e.name, &e.words).await,
        };
        if member.as_str() == "Connect" {
            // It answers first, and asks the meter for its services then.
            let address = self.now().meter_at(path).map(|m| m.address.clone());
            if let Some(address) = address {
                self.resolve(&address).await;
            }
        }
    }

    async fn call(&self, message: &Message, header: &Header<'_>) -> Result<Answer, Refusal> {
        let path = header.path().map(ToString::to_string).unwrap_or_default();
        let client = header.sender().map(ToString::to_string).unwrap_or_default();
        let interface = header.interface().map(ToString::to_string);
        let interface = interface.unwrap_or_default();
        let member = header.member().map(ToString::to_string).unwrap_or_default();
        match (interface.as_str(), member.as_str()) {
            (INTROSPECTION, "Introspect") => {
                let xml = self.now().tree.introspect(&path);
                return xml.map(Answer::Text).ok_or_else(|| unknown(&path));
            }
            (OBJECTS, "GetManagedObjects") => return Ok(self.objects()),
            (PROPERTIES, _) => return self.properties(message, &path, &member).await,
            _ => {}
        }
        if !self.now().tree.has(&path) {
            return Err(unknown(&path));
        }
        match (interface.as_str(), member.as_str()) {
            (ADAPTER1, "SetDiscoveryFilter") => Ok(Answer::Nothing),
            (ADAPTER1, "StartDiscovery") => self.start_scan(client).await,
            (ADAPTER1, "StopDiscovery") => {
                if !self.now().scanning.remove(&client) {
                    return Err(Refusal::bluez("Failed", "No discovery started"));
                }
                self.scan_ended().await;
                Ok(Answer::Nothing)
            }
            (DEVICE1, "Connect") => self.connect(&path).await,
            (DEVICE1, "Disconnect") => {
                let address = self.now().meter_at(&path).map(|m| m.address.clone());
                tokio::time::sleep(PARTING).await;
                self.unlink(&address.unwrap_or_default()).await;
                Ok(Answer::Nothing)
            }
            (CHARACTERISTIC1 | DESCRIPTOR1, _) => {
                self.attribute(message, &path, &interface, &member, client)
                    .await
            }
            _ => Err(Refusal::bus(
                "UnknownMethod",
                &format!("{interface}.{member}"),
            )),
        }
    }

    fn objects(&self) -> Answer {
        let now = self.now();
        let all = now
            .tree
            .objects()
            .map(|(path, interfaces): (_, &Interfaces)| {
                let object = ObjectPath::try_from(path.to_owned()).expect("a well formed path");
                let interfaces = interfaces.iter().map(|(name, p)| (*name, sent(p)));
                (object, interfaces.collect())
            });
        Answer::Objects(all.collect())
    }

    async fn properties(
        &self,
        message: &Message,
        path: &str,
        member: &str,
    ) -> Result<Answer, Refusal> {
        let body = message.body();
        let wrong = |_| Refusal::bus("InvalidArgs", "not what was asked for");
        match member {
            "GetAll" => {
                let interface: String = body.deserialize().map_err(wrong)?;
                let all = self.now().tree.get(path, &interface).map(sent);
                all.map(Answer::All).ok_or_else(|| unknown(path))
            }
            "Get" => {
                let (interface, name): (String, String) = body.deserialize().map_err(wrong)?;
                let now = self.now();
                let properties = now
                    .tree
                    .get(path, &interface)
                    .ok_or_else(|| unknown(path))?;
                let property = properties.get(name.as_str());
                property
                    .map(|p| Answer::One(p.value()))
                    .ok_or_else(|| Refusal::bus("InvalidArgs", "No such property"))
            }
            "Set" => {
                let (interface, name, value): (String, String, Value<'_>) =
                    body.deserialize().map_err(wrong)?;
                if (interface.as_str(), name.as_str()) != (ADAPTER1, "Powered") {
                    return Err(Refusal::bus("PropertyReadOnly", &name));
                }
                let on = matches!(value, Value::Bool(true));
                // Without a change there is no signal.
                if self.now().tree.flag(path, ADAPTER1, "Powered") != on {
                    let powered = Properties::from([("Powered", Property::Flag(on))]);
                    self.set(path, ADAPTER1, powered).await;
                }
                Ok(Answer::Nothing)
            }
            _ => Err(Refusal::bus("UnknownMethod", member)),
        }
    }

    async fn start_scan(&self, client: String) -> Result<Answer, Refusal> {
        if !self.now().tree.flag(ADAPTER, ADAPTER1, "Powered") {
            return Err(Refusal::bluez("NotReady", "Resource Not Ready"));
        }
        if !self.now().scanning.insert(client) {
            return Err(Refusal::bluez(
                "InProgress",
                "Operation already in progress",
            ));
        }
        let on = Properties::from([("Discovering", Property::Flag(true))]);
        self.set(ADAPTER, ADAPTER1, on).await;
        Ok(Answer::Nothing)
    }

    async fn connect(&self, path: &str) -> Result<Answer, Refusal> {
        let address = {
            let now = self.now();
            if !now.tree.flag(ADAPTER, ADAPTER1, "Powered") {
                return Err(Refusal::bluez("NotReady", "Resource Not Ready"));
            }
            let meter = now.meter_at(path).ok_or_else(|| unknown(path))?;
            if !now.in_reach.contains(&meter.address) {
                return Err(Refusal::bluez("Failed", "le-connection-abort-by-local"));
            }
            if now.linked.contains(&meter.address) {
                return Ok(Answer::Nothing);
            }
            meter.address.clone()
        };
        self.link(&address).await;
        Ok(Answer::Nothing)
    }

    /// A characteristic's or a descriptor's method.
    async fn attribute(
        &self,
        message: &Message,
        path: &str,
        interface: &str,
        member: &str,
        client: String,
    ) -> Result<Answer, Refusal> {
        let (value, uuid) = {
            let now = self.now();
            let meter = now.meter_at(path).ok_or_else(|| unknown(path))?;
            if !now.linked.contains(&meter.address) {
                return Err(Refusal::bluez("Failed", "Not connected"));
            }
            let properties = now.tree.get(path, interface);
            let properties = properties.ok_or_else(|| unknown(path))?;
            let bytes = match properties.get("Value") {
                Some(Property::Bytes(bytes)) => bytes.clone(),
                _ => Vec::new(),
            };
            let uuid = match properties.get("UUID") {
                Some(Property::Text(uuid)) => uuid.clone(),
                _ => String::new(),
            };
            (bytes, uuid)
        };
        match (interface, member) {
            (CHARACTERISTIC1, "ReadValue") => {
                // What is read is signalled like what is notified, and before the answer.
                self.signal_value(path, &value).await;
                Ok(Answer::Bytes(value))
            }
            (_, "ReadValue") => Ok(Answer::Bytes(value)),
            (CHARACTERISTIC1, "StartNotify") => {
                let mut now = self.now();
                let clients = now.subscribed.entry(path.to_owned()).or_default();
                if clients.insert(client) {
                    Ok(Answer::Nothing)
                } else {
                    let words = "Operation already in progress";
                    Err(Refusal::bluez("InProgress", words))
                }
            }
            (CHARACTERISTIC1, "StopNotify") => {
                let mut now = self.now();
                let clients = now.subscribed.entry(path.to_owned()).or_default();
                if clients.remove(&client) {
                    Ok(Answer::Nothing)
                } else {
                    Err(Refusal::bluez("Failed", "No notify session started"))
                }
            }
            (CHARACTERISTIC1, "WriteValue") => {
                let body = message.body();
                let (bytes, _): (Vec<u8>, HashMap<String, Value<'_>>) = body
                    .deserialize()
                    .map_err(|_| Refusal::bluez("InvalidArguments", "not bytes"))?;
                self.now().written.push((uuid, bytes));
                Ok(Answer::Nothing)
            }
            _ => Err(Refusal::bus("UnknownMethod", member)),
        }
    }
}

fn unknown(path: &str) -> Refusal {
    Refusal::bus("UnknownObject", &format!("no object {path}"))
}
