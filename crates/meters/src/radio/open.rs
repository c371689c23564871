//! From a meter that was found to values on their way: connect, wait for its services, read what its
//! characteristics are, subscribe.

use std::time::Duration;

use btleplug::api::{CentralEvent, CharPropFlags, Characteristic, Peripheral as _};
use btleplug::platform::Peripheral;

use super::find::{self, ANSWER};
use super::{Events, Kept, RadioError, Wanted, next, within};
use crate::ble::{Found, How, Plan, Uuid};

/// To connect and to hear what services there are: seconds at a long connection interval.
const CONNECT: Duration = Duration::from_secs(10);
/// The Presentation Format descriptor.
const FORMAT: Uuid = Uuid::short(0x2904);
/// The User Description descriptor.
const CALLED: Uuid = Uuid::short(0x2901);

/// A link on which values are on their way.
pub(super) struct Opened {
    /// The meter.
    pub peripheral: Peripheral,
    /// Its characteristics, as they were found.
    pub found: Vec<(Characteristic, Found)>,
    /// Which of them are used.
    pub plan: Plan,
    /// Whether each value is written as a line that describes it.
    pub described: bool,
}

/// Opens a link. What is kept has it as soon as it is being made.
pub(super) async fn open(wanted: &Wanted, kept: &mut Kept) -> Result<Opened, RadioError> {
    let adapter = find::adapter().await?;
    let peripheral = find::find(&adapter, &wanted.which, kept).await?;
    tracing::debug!(address = %peripheral.address(), shared = kept.shared, "found");
    // Before it is connected: a connection that comes too late is ended, too.
    kept.peripheral = Some(peripheral.clone());
    connect(&peripheral, &mut kept.events).await?;
    within(
        "asking for services",
        ANSWER,
        peripheral.discover_services(),
    )
    .await?;
    let found = characteristics(&peripheral, wanted).await?;
    let plain: Vec<Found> = found.iter().map(|(_, found)| found.clone()).collect();
    let plan = Plan::new(&wanted.pipes, wanted.entry, &plain)?;
    // Before subscribing: the first value may come at once.
    kept.values = Some(within("listening", ANSWER, peripheral.notifications()).await?);
    for want in &plan.wants {
        if let (How::Notify, Some((characteristic, _))) = (want.how, found.get(want.index)) {
            within("subscribing", ANSWER, peripheral.subscribe(characteristic)).await?;
        }
    }
    Ok(Opened {
        peripheral,
        found,
        plan,
        described: *wanted.entry == crate::gatt::ENTRY,
    })
}

/// Connects, and waits until the services are known. A link that drops meanwhile is seen at once:
/// the library alone would wait for the services of a meter that is gone.
async fn connect(peripheral: &Peripheral, events: &mut Option<Events>) -> Result<(), RadioError> {
    let id = peripheral.id();
    let dropped = async {
        while let Some(event) = next(events).await {
            match event {
                CentralEvent::DeviceDisconnected(gone) if gone == id => break,
                _ => {}
            }
        }
        Err(RadioError::Dropped)
    };
    tokio::select! {
        connected = within("connecting", CONNECT, peripheral.connect()) => connected,
        dropped = dropped => dropped,
    }
}

/// The meter's characteristics with what their descriptors say.
async fn characteristics(
    peripheral: &Peripheral,
    wanted: &Wanted,
) -> Result<Vec<(Characteristic, Found)>, RadioError> {
    let mut all = Vec::new();
    let named = wanted.pipes.service;
    for service in peripheral.services() {
        if named.is_some_and(|named| named.0 != service.uuid.as_u128()) {
            continue;
        }
        for characteristic in service.characteristics {
            let has = |flags: CharPropFlags| characteristic.properties.intersects(flags);
            let mut found = Found {
                service: Uuid(service.uuid.as_u128()),
                uuid: Uuid(characteristic.uuid.as_u128()),
                notifies: has(CharPropFlags::NOTIFY | CharPropFlags::INDICATE),
                reads: has(CharPropFlags::READ),
                writes: has(CharPropFlags::WRITE | CharPropFlags::WRITE_WITHOUT_RESPONSE),
                format: None,
                called: None,
            };
            for descriptor in &characteristic.descriptors {
                let which = Uuid(descriptor.uuid.as_u128());
                if which != FORMAT && which != CALLED {
                    continue;
                }
                let read = peripheral.read_descriptor(descriptor);
                let read = within("reading a descriptor", ANSWER, read).await?;
                if which == FORMAT {
                    found.format = Some(read);
                } else {
                    found.called = Some(String::from_utf8_lossy(&read).into_owned());
                }
            }
            all.push((characteristic, found));
        }
    }
    Ok(all)
}
