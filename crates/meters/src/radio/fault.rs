//! Why a meter cannot be reached by radio: what, where, and what to do. The Bluetooth service's own
//! names of errors are read here, and nowhere else.

use crate::ble::BleError;
use crate::session::Fault;

/// Why there is no link to a meter.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum RadioError {
    /// No bus, or no Bluetooth service on it.
    #[error(
        "Bluetooth: no service answers on the system bus ({0}); install BlueZ (package bluez) and start it: systemctl start bluetooth"
    )]
    NoService(String),
    /// The user may not use it.
    #[error(
        "Bluetooth: permission denied ({0}); use of the service belongs to a group (often `bluetooth`): add the user to it and log in again"
    )]
    Permission(String),
    /// The service knows no adapter, or describes it in part only.
    #[error(
        "Bluetooth: the service has no adapter; plug one in, or see `rfkill list` and `bluetoothctl list`"
    )]
    NoAdapter,
    /// No adapter is on.
    #[error("Bluetooth: adapter {0} is off; switch it on: bluetoothctl power on")]
    Off(String),
    /// The meter does not advertise.
    #[error(
        "ble:{which}: not seen within {seconds} s; switch the meter on, bring it nearer, and end its link to any other phone or program: it advertises to one at a time"
    )]
    NotSeen {
        /// Its address or name.
        which: String,
        /// How long it was looked for.
        seconds: u64,
    },
    /// The name is not one meter's.
    #[error(
        "ble:{which}: {count} meters advertise this name; name one by its address: {addresses}"
    )]
    Several {
        /// The name.
        which: String,
        /// How many.
        count: usize,
        /// Their addresses.
        addresses: String,
    },
    /// The meter does not let itself be read without being paired.
    #[error(
        "the meter refuses ({0}): it wants to be paired; pair it once with `bluetoothctl`: pair ADDRESS, then trust ADDRESS"
    )]
    Unpaired(String),
    /// Another program has it.
    #[error("another program holds the meter ({0}); end it")]
    Held(String),
    /// The link dropped before it was of use.
    #[error(
        "the Bluetooth link dropped while it was being made: bring the meter nearer, and see its battery"
    )]
    Dropped,
    /// The service did not answer in time.
    #[error(
        "Bluetooth: no answer in time while {0}; if that goes on, restart the service: systemctl restart bluetooth"
    )]
    Stuck(&'static str),
    /// The meter's characteristics cannot be used.
    #[error(transparent)]
    Unusable(#[from] BleError),
    /// Something else.
    #[error("Bluetooth: {0}")]
    Failed(String),
}

impl RadioError {
    pub(super) fn failed(detail: impl Into<String>) -> RadioError {
        RadioError::Failed(detail.into())
    }

    /// In which way.
    #[must_use]
    pub const fn fault(&self) -> Fault {
        match self {
            RadioError::NoService(_) | RadioError::Stuck(_) => Fault::NoBluetooth,
            RadioError::Permission(_) => Fault::Permission,
            RadioError::NoAdapter => Fault::NoAdapter,
            RadioError::Off(_) => Fault::RadioOff,
            RadioError::NotSeen { .. } => Fault::NotSeen,
            RadioError::Unpaired(_) => Fault::Unpaired,
            RadioError::Held(_) => Fault::Busy,
            RadioError::Dropped => Fault::LinkDropped,
            RadioError::Several { .. } | RadioError::Unusable(_) | RadioError::Failed(_) => {
                Fault::Refused
            }
        }
    }
}

impl From<btleplug::Error> for RadioError {
    fn from(e: btleplug::Error) -> Self {
        use btleplug::Error;
        let (name, words) = match &e {
            Error::Other(inner) => said(inner.as_ref()),
            Error::PermissionDenied => return RadioError::Permission(e.to_string()),
            Error::NotConnected | Error::DeviceNotFound => return RadioError::Dropped,
            _ => (None, e.to_string()),
        };
        by_name(name.as_deref().unwrap_or_default(), words)
    }
}

/// What an error's name on the bus means.
fn by_name(name: &str, words: String) -> RadioError {
    let short = name.rsplit('.').next().unwrap_or_default();
    if name.starts_with("org.bluez.Error.") {
        return match short {
            "AuthenticationCanceled"
            | "AuthenticationFailed"
            | "AuthenticationRejected"
            | "AuthenticationTimeout"
            | "NotAuthorized" => RadioError::Unpaired(words),
            "NotPermitted" if words.contains("acquired") => RadioError::Held(words),
            "NotPermitted" => RadioError::Unpaired(words),
            "InProgress" | "Busy" => RadioError::Held(words),
            "NotConnected" | "DoesNotExist" => RadioError::Dropped,
            _ if wants_pairing(&words) => RadioError::Unpaired(words),
            _ if words.contains("Not connected") || words.contains("abort") => RadioError::Dropped,
            _ => RadioError::Failed(words),
        };
    }
    match short {
        "AccessDenied" | "AuthFailed" => RadioError::Permission(words),
        // The object went while it was asked for: the service forgot the meter, or was restarted.
        "UnknownObject" | "UnknownMethod" | "UnknownInterface" => RadioError::Dropped,
        "NoReply" | "Timeout" | "TimedOut" => RadioError::Stuck("asking"),
        "FileNotFound" | "NoServer" | "ServiceUnknown" | "NameHasNoOwner" | "Disconnected"
        | "NoSuchUnit" | "BadAddress" => RadioError::NoService(words),
        _ if name.contains(".Spawn.") => RadioError::NoService(words),
        _ => RadioError::Failed(words),
    }
}

/// The attribute protocol's errors for a link that is not secure enough (Bluetooth Core, vol. 3 part
/// F, 3.4.1.1): authentication, authorization, encryption key size, encryption.
fn wants_pairing(words: &str) -> bool {
    ["0x05", "0x08", "0x0c", "0x0f"]
        .iter()
        .any(|code| words.contains(&format!("ATT error: {code}")))
}

/// An error's name on the bus, and its words.
#[cfg(target_os = "linux")]
fn said(e: &(dyn std::error::Error + Send + Sync + 'static)) -> (Option<String>, String) {
    match e.downcast_ref::<bluez_async::BluetoothError>() {
        Some(bluez_async::BluetoothError::DbusError(e)) => {
            let name = e.name().map(str::to_owned);
            let words = e.message().or(e.name()).unwrap_or_default();
            (name, words.to_owned())
        }
        _ => (None, e.to_string()),
    }
}

#[cfg(not(target_os = "linux"))]
fn said(e: &(dyn std::error::Error + Send + Sync + 'static)) -> (Option<String>, String) {
    (None, e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_on_the_bus_are_told_apart() {
        for (name, words, fault) in [
            (
                "org.freedesktop.DBus.Error.FileNotFound",
                "no such socket",
                Fault::NoBluetooth,
            ),
            (
                "org.freedesktop.DBus.Error.ServiceUnknown",
                "not provided",
                Fault::NoBluetooth,
            ),
            (
                "org.freedesktop.DBus.Error.Spawn.ChildExited",
                "status 1",
                Fault::NoBluetooth,
            ),
            (
                "org.freedesktop.DBus.Error.AccessDenied",
                "Rejected send message",
                Fault::Permission,
            ),
            (
                "org.freedesktop.DBus.Error.UnknownObject",
                "no object",
                Fault::LinkDropped,
            ),
            (
                "org.bluez.Error.AuthenticationRejected",
                "Authentication Rejected",
                Fault::Unpaired,
            ),
            (
                "org.bluez.Error.NotPermitted",
                "Notify acquired",
                Fault::Busy,
            ),
            (
                "org.bluez.Error.NotPermitted",
                "Read not permitted",
                Fault::Unpaired,
            ),
            (
                "org.bluez.Error.InProgress",
                "Operation already in progress",
                Fault::Busy,
            ),
            (
                "org.bluez.Error.Failed",
                "Operation failed with ATT error: 0x0f",
                Fault::Unpaired,
            ),
            (
                "org.bluez.Error.Failed",
                "le-connection-abort-by-local",
                Fault::LinkDropped,
            ),
            (
                "org.bluez.Error.Failed",
                "Not connected",
                Fault::LinkDropped,
            ),
            ("org.bluez.Error.Failed", "something else", Fault::Refused),
            ("", "no name at all", Fault::Refused),
        ] {
            assert_eq!(
                by_name(name, words.into()).fault(),
                fault,
                "{name}: {words}"
            );
        }
    }
}
