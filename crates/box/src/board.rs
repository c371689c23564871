//! What a board's hardware must do. Everything is asked for; nothing here waits.

use embedded_storage::nor_flash::NorFlash;
use ohmtrail_core::reading::Function;
use ohmtrail_core::units::Micros;
use ohmtrail_link::message::{Button, Light, Refusal};

use crate::front::{FrontEnd, Sample};
use crate::lights::Frame;

/// What the box shows and sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shows {
    /// What it means.
    pub light: Light,
    /// The number that follows the shape, where one does: of a step, or of a fault.
    pub number: u16,
    /// The matrix now.
    pub frame: Frame,
    /// The tone now, hertz; 0 is silence.
    pub hz: u16,
}

/// A board.
pub trait Board {
    /// Flash for kept items.
    type Flash: NorFlash;

    /// Flash for kept items.
    fn flash(&mut self) -> &mut Self::Flash;

    /// What its front end can do.
    fn front(&self) -> &'static FrontEnd;

    /// Time since the start, on the clock of the link.
    fn now(&mut self) -> Micros;

    /// A byte from the host, if one came.
    fn hear(&mut self) -> Option<u8>;

    /// Sends bytes to the host.
    fn say(&mut self, bytes: &[u8]);

    /// Sets the front end.
    fn measure(&mut self, function: Function);

    /// A sample of the front end, if one came.
    fn sample(&mut self) -> Option<Sample>;

    /// A button, if one was pressed.
    fn button(&mut self) -> Option<Button>;

    /// Shows and sounds this from now on.
    fn show(&mut self, shows: &Shows);

    /// How deep the stack has been, and how deep it may be, in bytes.
    fn stack(&mut self) -> [u32; 2];
}

/// Where a load lies: memory that can be read in place, and is written once and whole.
pub trait Store {
    /// The load, if there is a whole one: its bytes and its CRC-32.
    fn load(&self) -> Option<(&[u8], u32)>;

    /// Forgets the load and makes room for one of so many bytes.
    ///
    /// # Errors
    /// [`Refusal::TooLarge`] or [`Refusal::Flash`].
    fn begin(&mut self, bytes: u32) -> Result<(), Refusal>;

    /// Writes a piece. Pieces come in order and whole.
    ///
    /// # Errors
    /// [`Refusal::Flash`].
    fn piece(&mut self, at: u32, bytes: &[u8]) -> Result<(), Refusal>;

    /// All pieces are written; `bytes` as they were announced, and their check. What was written is
    /// read back; only if it has that check is it a load from now on.
    ///
    /// # Errors
    /// [`Refusal::Check`] or [`Refusal::Flash`].
    fn end(&mut self, bytes: u32, crc: u32) -> Result<(), Refusal>;
}
