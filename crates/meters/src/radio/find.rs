//! Looking for a meter: the adapter, the scan, and which of those that advertise is meant.

use std::collections::BTreeMap;
use std::time::Duration;

use btleplug::api::{
    BDAddr, Central, CentralEvent, CentralState, Manager as _, Peripheral as _,
    PeripheralProperties, ScanFilter,
};
use btleplug::platform::{Adapter, Manager, Peripheral, PeripheralId};
use tokio::sync::mpsc;
use tokio::time::{Instant, sleep_until, timeout_at};

use super::{Events, Kept, RadioError, Thread, next, within};

/// One answer of the service.
pub(super) const ANSWER: Duration = Duration::from_secs(5);
/// A meter that is on advertises at least every 2.56 s or so (common practice); some are missed.
const SCAN: Duration = Duration::from_secs(8);
/// After a name was seen, how long its namesakes are waited for.
const NAMESAKES: Duration = Duration::from_millis(700);

/// What goes by a name or an address.
enum Which<'w> {
    Address(BDAddr),
    Name(&'w str),
}

impl Which<'_> {
    fn of(text: &str) -> Which<'_> {
        match text.parse() {
            Ok(address) => Which::Address(address),
            Err(_) => Which::Name(text),
        }
    }

    fn is(&self, properties: &PeripheralProperties) -> bool {
        match self {
            Which::Address(address) => properties.address == *address,
            Which::Name(name) => [&properties.local_name, &properties.advertisement_name]
                .into_iter()
                .flatten()
                .any(|n| n == name),
        }
    }
}

/// The first adapter that is on.
pub(super) async fn adapter() -> Result<Adapter, RadioError> {
    let manager = within("reaching the bus", ANSWER, Manager::new()).await?;
    let adapters = within("asking for adapters", ANSWER, manager.adapters()).await?;
    let mut off = None;
    for adapter in adapters {
        let state = within("asking an adapter", ANSWER, adapter.adapter_state()).await?;
        if state == CentralState::PoweredOn {
            return Ok(adapter);
        }
        let info = within("asking an adapter", ANSWER, adapter.adapter_info()).await?;
        let name = info.split(' ').next().unwrap_or_default().to_owned();
        off.get_or_insert(name);
    }
    Err(off.map_or(RadioError::NoAdapter, RadioError::Off))
}

/// Scans until the meter is seen. The scan is stopped, whatever comes of it.
/// The meter is kept, and what the adapter tells: that is read to the end of the link.
pub(super) async fn find(
    adapter: &Adapter,
    which: &str,
    kept: &mut Kept,
) -> Result<Peripheral, RadioError> {
    // Before the scan, so that nothing is missed.
    kept.events = Some(within("listening", ANSWER, adapter.events()).await?);
    within(
        "starting a scan",
        ANSWER,
        adapter.start_scan(ScanFilter::default()),
    )
    .await?;
    let found = seen(adapter, which, &mut kept.events).await;
    // A link is not made well while a scan runs; and a scan that is left running drains batteries.
    let stopped = within("stopping the scan", ANSWER, adapter.stop_scan()).await;
    let (peripheral, linked) = found?;
    stopped?;
    kept.shared = linked;
    Ok(peripheral)
}

async fn seen(
    adapter: &Adapter,
    which: &str,
    events: &mut Option<Events>,
) -> Result<(Peripheral, bool), RadioError> {
    let wanted = Which::of(which);
    let mut until = Instant::now() + SCAN;
    let mut found: BTreeMap<BDAddr, (Peripheral, bool)> = BTreeMap::new();
    while let Ok(event) = timeout_at(until, next(events)).await {
        let Some(event) = event else {
            return Err(RadioError::Stuck("scanning"));
        };
        let Some((peripheral, properties)) = advertised(adapter, &event).await? else {
            continue;
        };
        if !wanted.is(&properties) {
            continue;
        }
        let linked = within("asking of a meter", ANSWER, peripheral.is_connected()).await?;
        // What the service remembers of a meter that is not there has no signal strength.
        if properties.rssi.is_none() && !linked {
            continue;
        }
        if matches!(wanted, Which::Address(_)) {
            return Ok((peripheral, linked));
        }
        if found.is_empty() {
            until = Instant::now() + NAMESAKES;
        }
        found.insert(properties.address, (peripheral, linked));
    }
    let count = found.len();
    let addresses: Vec<String> = found.keys().map(ToString::to_string).collect();
    match (found.into_values().next(), count) {
        (None, _) => Err(RadioError::NotSeen {
            which: which.to_owned(),
            seconds: SCAN.as_secs(),
        }),
        (Some(one), 1) => Ok(one),
        _ => Err(RadioError::Several {
            which: which.to_owned(),
            count,
            addresses: addresses.join(", "),
        }),
    }
}

/// The peripheral that an event is about, if it is about one that was seen.
async fn advertised(
    adapter: &Adapter,
    event: &CentralEvent,
) -> Result<Option<(Peripheral, PeripheralProperties)>, RadioError> {
    let id: &PeripheralId = match event {
        CentralEvent::DeviceDiscovered(id)
        | CentralEvent::DeviceUpdated(id)
        | CentralEvent::RssiUpdate { id, .. }
        | CentralEvent::ManufacturerDataAdvertisement { id, .. }
        | CentralEvent::ServiceDataAdvertisement { id, .. }
        | CentralEvent::ServicesAdvertisement { id, .. } => id,
        CentralEvent::StateUpdate(CentralState::PoweredOff) => {
            return Err(RadioError::Off("that was in use".to_owned()));
        }
        _ => return Ok(None),
    };
    // One that the service forgot meanwhile, or describes in part only, is passed over.
    let asked = async {
        let peripheral = adapter.peripheral(id).await.ok()?;
        let properties = peripheral.properties().await.ok()??;
        Some((peripheral, properties))
    };
    within("asking of a meter", ANSWER, async {
        Ok::<_, RadioError>(asked.await)
    })
    .await
}

/// Something that advertises.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advertiser {
    /// Its address.
    pub address: String,
    /// Its name, if it says one.
    pub name: Option<String>,
    /// How strong its signal is, dBm.
    pub rssi: i16,
    /// The services that it advertises.
    pub services: Vec<crate::ble::Uuid>,
}

/// Listens for this long to what advertises; strongest first. Nothing is connected to.
///
/// # Errors
/// [`RadioError`] if there is no radio to listen with.
pub async fn listen(time: Duration) -> Result<Vec<Advertiser>, RadioError> {
    let (to, mut from) = mpsc::channel(1);
    let _thread = Thread::start(async move |kept: &mut Kept| {
        // Whoever does not wait any more has dropped the thread.
        let _ = to.send(heard(time, kept).await).await;
    })?;
    match from.recv().await {
        Some(heard) => heard,
        None => Err(RadioError::failed("the Bluetooth library broke off")),
    }
}

async fn heard(time: Duration, kept: &mut Kept) -> Result<Vec<Advertiser>, RadioError> {
    let adapter = adapter().await?;
    kept.events = Some(within("listening", ANSWER, adapter.events()).await?);
    within(
        "starting a scan",
        ANSWER,
        adapter.start_scan(ScanFilter::default()),
    )
    .await?;
    let until = Instant::now() + time;
    let mut heard = BTreeMap::new();
    let failed = loop {
        let event = tokio::select! {
            event = next(&mut kept.events) => event,
            () = sleep_until(until) => break None,
        };
        let Some(event) = event else {
            break Some(RadioError::Stuck("scanning"));
        };
        match advertised(&adapter, &event).await {
            Ok(Some((_, p))) => {
                if let Some(rssi) = p.rssi {
                    let said = p.advertisement_name.or(p.local_name);
                    heard.insert(
                        p.address,
                        Advertiser {
                            address: p.address.to_string(),
                            // A service that has no name makes one out of the address.
                            name: said.filter(|n| n.replace('-', ":") != p.address.to_string()),
                            rssi,
                            services: p
                                .services
                                .iter()
                                .map(|s| crate::ble::Uuid(s.as_u128()))
                                .collect(),
                        },
                    );
                }
            }
            Ok(None) => {}
            Err(e) => break Some(e),
        }
    };
    let stopped = within("stopping the scan", ANSWER, adapter.stop_scan()).await;
    if let Some(e) = failed {
        return Err(e);
    }
    stopped?;
    let mut heard: Vec<Advertiser> = heard.into_values().collect();
    heard.sort_by_key(|a| std::cmp::Reverse(a.rssi));
    Ok(heard)
}
