//! Bluetooth Low Energy without a radio: what is observed of a Bluetooth service and its meter, the
//! same of the stand-in and of the real service in an emulated machine; and the binary beside it.

pub mod ear;
pub mod facts;
pub mod machine;
pub mod served;
pub mod stand_in;
pub mod watching;

/// The address of the invented meter.
pub const ADDRESS: &str = "C0:FF:EE:00:00:01";
/// Its name.
pub const NAME: &str = "Bench meter";
/// Its service.
pub const SERVICE: &str = "7a2b0000-9c7e-4f1d-8b3a-5d6e7f809a0b";
/// Its volts, sint32, which are read and notified.
pub const VOLTS: &str = "7a2b0003-9c7e-4f1d-8b3a-5d6e7f809a0b";
/// Tenths of volts, as the Presentation Format descriptor says it (Bluetooth SIG assigned numbers).
pub const TENTHS_OF_VOLTS: [u8; 7] = [0x10, 0xFF, 0x28, 0x27, 0x01, 0x00, 0x00];
/// What its volts are called.
pub const CALLED: &[u8] = b"Contactor";
/// Its temperature, which is only read: the SIG's characteristic.
pub const TEMPERATURE: &str = "00002a6e-0000-1000-8000-00805f9b34fb";
/// 21.50 °C, always.
pub const HUNDREDTHS_OF_CELSIUS: i16 = 2150;

/// A Bluetooth service with the invented meter in reach of its adapter, and the hands to make
/// things happen to them. What is here was made to happen by its own means, and is seen on the bus only.
pub trait Hands {
    /// The bus that the service is on, as `DBUS_SYSTEM_BUS_ADDRESS` is to name it.
    fn bus(&self) -> String;
    /// Notifies these values of the volts one after the other, in tenths.
    fn send(&mut self, tenths: &[i32]);
    /// Notifies these in turn, ten a second, from now on; none ends that.
    fn stream(&mut self, tenths: &[i32]);
    /// Drops the link.
    fn drop_link(&mut self);
    /// Takes the meter out of reach, or back.
    fn reach(&mut self, near: bool);
    /// Kills the service.
    fn kill(&mut self);
    /// Starts it again.
    fn start(&mut self);
}
