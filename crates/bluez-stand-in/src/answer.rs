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

/// The real service answers a `Disconnect` about two seconds later; values still come meanwhile.
const PARTING: Duration = Duration::from_millis(500);

/// An answer.
enum Answer {
    Nothing,
    Text(String),
    Bytes(Vec<u8>),
    One(Value<'static>),
    All(Sent),
    Objects(HashMap<ObjectPath<'static>, HashMap<&'static str, Sent>>),
}

/// What comes of a call after it was answered.
enum After {
    Nothing,
    /// A scan began.
    Scanning,
    /// A client's scan is over.
    Scanned,
    /// A link was made: the meter is asked for its services.
    Linked(String),
    /// A link was ended.
    Parted(String),
    /// The adapter was switched.
    Switched(bool),
}

/// What a call gives.
type Done = Result<(Answer, After), Refusal>;

/// Nothing but an answer.
fn only(answer: Answer) -> Done {
    Ok((answer, After::Nothing))
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
        let (answer, after) = match answer {
            Ok((answer, after)) => (Ok(answer), after),
            Err(refusal) => (Err(refusal), After::Nothing),
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
        self.follow(after).await;
    }

    /// What comes after the answer.
    async fn follow(&self, after: After) {
        match after {
            After::Nothing => {}
            After::Scanning => {
                let on = Properties::from([("Discovering", Property::Flag(true))]);
                self.set(ADAPTER, ADAPTER1, on).await;
            }
            After::Scanned => self.scan_ended().await,
            After::Linked(address) => self.resolve(&address).await,
            After::Parted(address) => self.parted(&address).await,
            After::Switched(on) => self.switched(on).await,
        }
    }

    async fn call(&self, message: &Message, header: &Header<'_>) -> Done {
        let path = header.path().map(ToString::to_string).unwrap_or_default();
        let client = header.sender().map(ToString::to_string).unwrap_or_default();
        let interface = header.interface().map(ToString::to_string);
        let interface = interface.unwrap_or_default();
        let member = header.member().map(ToString::to_string).unwrap_or_default();
        match (interface.as_str(), member.as_str()) {
            (INTROSPECTION, "Introspect") => {
                let xml = self.now().tree.introspect(&path);
                return only(xml.map(Answer::Text).ok_or_else(|| unknown(&path))?);
            }
            (OBJECTS, "GetManagedObjects") => return only(self.objects()),
            (PROPERTIES, _) => return self.properties(message, &path, &member).await,
            _ => {}
        }
        if !self.now().tree.has(&path) {
            return Err(unknown(&path));
        }
        match (interface.as_str(), member.as_str()) {
            (ADAPTER1, "SetDiscoveryFilter") => only(Answer::Nothing),
            (ADAPTER1, "StartDiscovery") => self.start_scan(client),
            (ADAPTER1, "StopDiscovery") => {
                if !self.now().scanning.remove(&client) {
                    return Err(Refusal::bluez("Failed", "No discovery started"));
                }
                Ok((Answer::Nothing, After::Scanned))
            }
            (DEVICE1, "Connect") => self.connect(&path).await,
            (DEVICE1, "Disconnect") => {
                let address = self.now().meter_at(&path).map(|m| m.address.clone());
                let address = address.ok_or_else(|| unknown(&path))?;
                if !self.now().linked.contains(&address) {
                    return only(Answer::Nothing);
                }
                tokio::time::sleep(PARTING).await;
                self.parting(&address).await;
                Ok((Answer::Nothing, After::Parted(address)))
            }
            (CHARACTERISTIC1, _) => {
                self.attribute(message, &path, CHARACTERISTIC1, &member, client)
                    .await
            }
            (DESCRIPTOR1, _) => {
                self.attribute(message, &path, DESCRIPTOR1, &member, client)
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

    async fn properties(&self, message: &Message, path: &str, member: &str) -> Done {
        let body = message.body();
        let wrong = |_| Refusal::bus("InvalidArgs", "not what was asked for");
        match member {
            "GetAll" => {
                let interface: String = body.deserialize().map_err(wrong)?;
                let all = self.now().tree.get(path, &interface).map(sent);
                only(all.map(Answer::All).ok_or_else(|| unknown(path))?)
            }
            "Get" => {
                let (interface, name): (String, String) = body.deserialize().map_err(wrong)?;
                let now = self.now();
                let properties = now
                    .tree
                    .get(path, &interface)
                    .ok_or_else(|| unknown(path))?;
                let property = properties.get(name.as_str());
                let property =
                    property.ok_or_else(|| Refusal::bus("InvalidArgs", "No such property"))?;
                only(Answer::One(property.value()))
            }
            "Set" => {
                let (interface, name, value): (String, String, Value<'_>) =
                    body.deserialize().map_err(wrong)?;
                if (interface.as_str(), name.as_str()) != (ADAPTER1, "Powered") {
                    return Err(Refusal::bus("PropertyReadOnly", &name));
                }
                let on = matches!(value, Value::Bool(true));
                // Without a change there is no signal.
                if self.now().tree.flag(path, ADAPTER1, "Powered") == on {
                    return only(Answer::Nothing);
                }
                if !on {
                    self.unlink_all().await;
                }
                Ok((Answer::Nothing, After::Switched(on)))
            }
            _ => Err(Refusal::bus("UnknownMethod", member)),
        }
    }

    fn start_scan(&self, client: String) -> Done {
        let mut now = self.now();
        if !now.tree.flag(ADAPTER, ADAPTER1, "Powered") {
            return Err(Refusal::bluez("NotReady", "Resource Not Ready"));
        }
        let first = now.scanning.is_empty();
        if !now.scanning.insert(client) {
            return Err(Refusal::bluez(
                "InProgress",
                "Operation already in progress",
            ));
        }
        let after = if first {
            After::Scanning
        } else {
            After::Nothing
        };
        Ok((Answer::Nothing, after))
    }

    async fn connect(&self, path: &str) -> Done {
        let address = {
            let now = self.now();
            let meter = now.meter_at(path).ok_or_else(|| unknown(path))?;
            if !now.tree.flag(ADAPTER, ADAPTER1, "Powered") {
                return Err(Refusal::bluez("Failed", "Input/output error"));
            }
            if !now.in_reach.contains(&meter.address) {
                return Err(Refusal::bluez("Failed", "le-connection-abort-by-local"));
            }
            if now.linked.contains(&meter.address) {
                return only(Answer::Nothing);
            }
            meter.address.clone()
        };
        self.link(&address).await;
        Ok((Answer::Nothing, After::Linked(address)))
    }

    /// A characteristic's or a descriptor's method.
    async fn attribute(
        &self,
        message: &Message,
        path: &str,
        interface: &'static str,
        member: &str,
        client: String,
    ) -> Done {
        let (linked, uuid) = {
            let now = self.now();
            let meter = now.meter_at(path).ok_or_else(|| unknown(path))?;
            let properties = now.tree.get(path, interface);
            let uuid = match properties.ok_or_else(|| unknown(path))?.get("UUID") {
                Some(Property::Text(uuid)) => uuid.clone(),
                _ => String::new(),
            };
            (now.linked.contains(&meter.address), uuid)
        };
        let notifies = interface == CHARACTERISTIC1;
        match member {
            "StartNotify" if notifies => self.start_notify(path, client, linked).await,
            "StopNotify" if notifies => self.stop_notify(path, &client).await,
            "ReadValue" | "WriteValue" if !linked => Err(Refusal::bluez("Failed", "Not connected")),
            "ReadValue" => {
                // What is read is signalled like what is notified, and before the answer.
                let value = self.now().values.get(path).cloned().unwrap_or_default();
                self.signal_value(path, interface, &value).await;
                only(Answer::Bytes(value))
            }
            "WriteValue" if notifies => {
                let body = message.body();
                let (bytes, _): (Vec<u8>, HashMap<String, Value<'_>>) = body
                    .deserialize()
                    .map_err(|_| Refusal::bluez("InvalidArguments", "not bytes"))?;
                self.now().written.push((uuid, bytes));
                only(Answer::Nothing)
            }
            _ => Err(Refusal::bus("UnknownMethod", member)),
        }
    }

    /// A subscription needs no link, and outlives one.
    async fn start_notify(&self, path: &str, client: String, linked: bool) -> Done {
        let first = {
            let mut now = self.now();
            let clients = now.subscribed.entry(path.to_owned()).or_default();
            if clients.contains(&client) {
                return match linked {
                    true => only(Answer::Nothing),
                    false => Err(Refusal::bluez("InProgress", "In Progress")),
                };
            }
            clients.insert(client);
            clients.len() == 1
        };
        if first {
            self.notifying(path, true).await;
        }
        only(Answer::Nothing)
    }

    async fn stop_notify(&self, path: &str, client: &str) -> Done {
        let last = {
            let mut now = self.now();
            let clients = now.subscribed.entry(path.to_owned()).or_default();
            if !clients.remove(client) {
                return Err(Refusal::bluez("Failed", "No notify session started"));
            }
            clients.is_empty()
        };
        if last {
            self.notifying(path, false).await;
        }
        only(Answer::Nothing)
    }
}

fn unknown(path: &str) -> Refusal {
    Refusal::bus("UnknownObject", &format!("no object {path}"))
}
