//! What a meter in the stand-in has.

/// A meter.
#[derive(Debug, Clone)]
pub struct Meter {
    /// Its address, `C0:FF:EE:00:00:01`.
    pub address: String,
    /// The name that it advertises.
    pub name: String,
    /// Its services.
    pub services: Vec<Service>,
}

/// A service.
#[derive(Debug, Clone)]
pub struct Service {
    /// Its UUID, whole.
    pub uuid: String,
    /// Its characteristics.
    pub characteristics: Vec<Characteristic>,
}

/// A characteristic.
#[derive(Debug, Clone)]
pub struct Characteristic {
    /// Its UUID, whole.
    pub uuid: String,
    /// What it can do, in the service's words: `read`, `notify`, `write`…
    pub flags: Vec<&'static str>,
    /// What a read gives.
    pub value: Vec<u8>,
    /// Its descriptors: 16-bit number and value.
    pub descriptors: Vec<(u16, Vec<u8>)>,
}

impl Meter {
    /// A meter of one service.
    #[must_use]
    pub fn new(
        address: &str,
        name: &str,
        service: &str,
        characteristics: Vec<Characteristic>,
    ) -> Meter {
        Meter {
            address: address.to_owned(),
            name: name.to_owned(),
            services: vec![Service {
                uuid: service.to_owned(),
                characteristics,
            }],
        }
    }

    /// Its object.
    pub(crate) fn path(&self) -> String {
        path_of(&self.address)
    }
}

/// The object of a meter with this address.
pub(crate) fn path_of(address: &str) -> String {
    format!("{}/dev_{}", crate::tree::ADAPTER, address.replace(':', "_"))
}

impl Characteristic {
    /// One that can do this, and has no descriptors.
    #[must_use]
    pub fn new(uuid: &str, flags: &[&'static str]) -> Characteristic {
        Characteristic {
            uuid: uuid.to_owned(),
            flags: flags.to_vec(),
            value: Vec::new(),
            descriptors: Vec::new(),
        }
    }

    /// With this descriptor.
    #[must_use]
    pub fn with(mut self, descriptor: u16, value: &[u8]) -> Characteristic {
        self.descriptors.push((descriptor, value.to_vec()));
        self
    }

    /// With this value.
    #[must_use]
    pub fn showing(mut self, value: &[u8]) -> Characteristic {
        self.value = value.to_vec();
        self
    }
}

/// A UUID of the Bluetooth SIG's, whole.
pub(crate) fn whole(number: u16) -> String {
    format!("0000{number:04x}-0000-1000-8000-00805f9b34fb")
}
