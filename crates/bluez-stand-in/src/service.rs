//! The stand-in as a test sees it: what happens to its meters, and what has come of it.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use futures_util::StreamExt;
use tokio::runtime::Runtime;
use zbus::MessageStream;

use crate::answer::serve;
use crate::meter::{Meter, path_of};
use crate::state::{Now, Refusal};
use crate::tree::{ADAPTER, ADAPTER1, CHARACTERISTIC1, DEVICE1, Tree};
use crate::world::Shared;

/// What waits for a state gives up after this long: far more than a loaded machine needs.
const PATIENCE: Duration = Duration::from_secs(30);
/// And looks this often.
const LOOK: Duration = Duration::from_millis(5);
/// Meters advertise this often.
const ADVERTISE: Duration = Duration::from_millis(200);

/// A Bluetooth service with meters. Dropping it takes it off the bus, without a word to anyone: as a
/// service that is killed.
#[derive(Debug)]
pub struct StandIn {
    shared: Arc<Shared>,
    runtime: Option<Runtime>,
}

impl StandIn {
    /// Puts the service on the bus with this address, its adapter on and all meters in reach.
    ///
    /// # Panics
    /// If it cannot be reached or the service is there already.
    #[must_use]
    pub fn start(bus: &str, meters: Vec<Meter>) -> StandIn {
        StandIn::with(bus, meters, Tree::with_adapter(true))
    }

    /// With its adapter off.
    ///
    /// # Panics
    /// As [`StandIn::start`].
    #[must_use]
    pub fn powered_off(bus: &str, meters: Vec<Meter>) -> StandIn {
        StandIn::with(bus, meters, Tree::with_adapter(false))
    }

    /// Started again: it owns its name first, then finds its adapter, and remembers meters that it had
    /// a link to. They are not heard, and nothing is known of their services.
    ///
    /// # Panics
    /// As [`StandIn::start`].
    #[must_use]
    pub fn restarted(bus: &str, meters: Vec<Meter>) -> StandIn {
        let objects = Tree::with_adapter(true);
        let devices = meters.iter().map(|m| (m.path(), Tree::remembered(m)));
        let devices: Vec<_> = devices.collect();
        let service = StandIn::with(bus, meters, Tree::default());
        let adapter = objects.get(ADAPTER, ADAPTER1).cloned();
        service.run(async {
            let shared = &service.shared;
            shared
                .add(ADAPTER, ADAPTER1, adapter.unwrap_or_default())
                .await;
            for (path, device) in devices {
                shared.add(&path, DEVICE1, device).await;
            }
        });
        service
    }

    /// Without an adapter.
    ///
    /// # Panics
    /// As [`StandIn::start`].
    #[must_use]
    pub fn without_adapter(bus: &str) -> StandIn {
        StandIn::with(bus, Vec::new(), Tree::default())
    }

    fn with(bus: &str, meters: Vec<Meter>, tree: Tree) -> StandIn {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .expect("a runtime");
        let shared = runtime.block_on(async {
            let connection = zbus::connection::Builder::address(bus)
                .expect("the bus's address is well formed")
                .build()
                .await
                .expect("the bus takes a connection");
            let now = Now {
                tree,
                in_reach: meters.iter().map(|m| m.address.clone()).collect(),
                meters,
                ..Now::default()
            };
            let shared = Arc::new(Shared {
                now: Mutex::new(now),
                connection,
            });
            // Before the name is owned, so that no call is missed.
            let calls = MessageStream::from(&shared.connection);
            tokio::spawn(serve(Arc::clone(&shared), calls));
            let bus = zbus::fdo::DBusProxy::new(&shared.connection)
                .await
                .expect("the bus is asked");
            let owners = bus
                .receive_name_owner_changed()
                .await
                .expect("the bus tells of its clients");
            let watch = Arc::clone(&shared);
            tokio::spawn(async move {
                let mut owners = owners;
                while let Some(change) = owners.next().await {
                    if let Ok(args) = change.args()
                        && args.new_owner().is_none()
                    {
                        watch.client_gone(args.name().as_str()).await;
                    }
                }
            });
            shared
                .connection
                .request_name("org.bluez")
                .await
                .expect("nobody else is the Bluetooth service");
            let radio = Arc::clone(&shared);
            tokio::spawn(async move {
                loop {
                    tokio::time::sleep(ADVERTISE).await;
                    radio.advertise().await;
                }
            });
            shared
        });
        StandIn {
            shared,
            runtime: Some(runtime),
        }
    }

    fn run<T>(&self, work: impl Future<Output = T>) -> T {
        let runtime = self.runtime.as_ref().expect("it runs until it is dropped");
        runtime.block_on(work)
    }

    /// Looks at how things stand.
    pub fn look<T>(&self, look: impl FnOnce(&Now) -> T) -> T {
        look(&self.shared.now())
    }

    /// Waits until things stand so.
    ///
    /// # Panics
    /// If they never do; it says how they stand instead.
    pub fn wait(&self, for_what: &str, mut stands: impl FnMut(&Now) -> bool) {
        let until = Instant::now() + PATIENCE;
        while !self.look(&mut stands) {
            if Instant::now() > until {
                self.look(|now| panic!("waited in vain for {for_what}: {now:#?}"));
            }
            std::thread::sleep(LOOK);
        }
    }

    /// Notifies a value of a meter's characteristic; nothing comes of it unless someone is subscribed.
    ///
    /// # Panics
    /// If there is no such characteristic yet: its meter has to have been linked once.
    pub fn notify(&self, address: &str, uuid: &str, value: &[u8]) {
        let path = self.look(|now| now.tree.characteristic(address, uuid));
        let path = path.expect("the meter has this characteristic");
        self.run(self.shared.notify(&path, value));
    }

    /// A value of the object with this path is told of, as when another program is subscribed to it
    /// or reads it.
    pub fn notify_at(&self, path: &str, value: &[u8]) {
        self.run(self.shared.signal_value(path, CHARACTERISTIC1, value));
    }

    /// The link to a meter drops.
    pub fn drop_link(&self, address: &str) {
        self.run(self.shared.unlink(address));
    }

    /// A meter goes out of reach, or comes back. Its link drops, and it is not heard.
    pub fn reach(&self, address: &str, in_reach: bool) {
        if in_reach {
            self.shared.now().in_reach.insert(address.to_owned());
        } else {
            self.shared.now().in_reach.remove(address);
            self.drop_link(address);
        }
    }

    /// The next call of this method is refused: `Connect`, `StartNotify`, `ReadValue`…
    pub fn refuse(&self, method: &str, refusal: Refusal) {
        let mut now = self.shared.now();
        let waiting = now.refusals.entry(method.to_owned()).or_default();
        waiting.push(refusal);
    }

    /// Keeps services back from links that are made from now on, or lets them be known.
    pub fn hold_services(&self, hold: bool) {
        let held = {
            let mut now = self.shared.now();
            now.hold_services = hold;
            if hold {
                Vec::new()
            } else {
                std::mem::take(&mut now.held).into_iter().collect()
            }
        };
        for address in held {
            self.run(self.shared.resolve(&address));
        }
    }

    /// Switches the adapter.
    pub fn power(&self, on: bool) {
        self.run(async {
            if !on {
                self.shared.unlink_all().await;
            }
            self.shared.switched(on).await;
        });
    }

    /// A meter's object loses a property, as one that the service knows in part only.
    pub fn forget(&self, address: &str, property: &str) {
        let mut now = self.shared.now();
        if let Some(properties) = now.tree.change(&path_of(address), DEVICE1) {
            properties.remove(property);
        }
    }

    /// Has a meter remembered, as from an earlier day: its object is there, and it is not heard.
    ///
    /// # Panics
    /// If the stand-in has no such meter.
    pub fn remember(&self, address: &str) {
        let mut now = self.shared.now();
        let meter = now.meters.iter().find(|m| m.address == address);
        let meter = meter.expect("the stand-in has this meter").clone();
        now.tree
            .put(&meter.path(), DEVICE1, Tree::remembered(&meter));
    }

    /// Links a meter as another program on this machine would.
    pub fn link_from_elsewhere(&self, address: &str) {
        self.remember(address);
        self.run(async {
            self.shared.link(address).await;
            self.shared.resolve(address).await;
        });
    }
}

impl Drop for StandIn {
    fn drop(&mut self) {
        if let Some(runtime) = self.runtime.take() {
            // The connection closes with its tasks.
            runtime.shutdown_timeout(Duration::from_secs(5));
        }
    }
}
