//! Bytes as a script: what is done to an end of a link, one act after the other, so that a search
//! gets past checks and lengths.

/// What is left of a script.
#[derive(Debug, Clone, Copy)]
pub struct Script<'b>(pub &'b [u8]);

impl<'b> Script<'b> {
    /// The next byte; none at the end.
    pub fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.0.split_first()?;
        self.0 = rest;
        Some(*first)
    }

    /// The next four bytes as a number; the ones that are missing are 0.
    pub fn number(&mut self) -> u32 {
        let bytes = std::array::from_fn(|_| self.byte().unwrap_or_default());
        u32::from_le_bytes(bytes)
    }

    /// A byte that says how many follow, and those; fewer at the end.
    pub fn piece(&mut self) -> &'b [u8] {
        let length = self.byte().unwrap_or_default();
        self.take(usize::from(length))
    }

    /// Two bytes that say how many follow, and those; fewer at the end.
    pub fn long_piece(&mut self) -> &'b [u8] {
        let [low, high] = std::array::from_fn(|_| self.byte().unwrap_or_default());
        self.take(usize::from(u16::from_le_bytes([low, high])))
    }

    fn take(&mut self, length: usize) -> &'b [u8] {
        let (piece, rest) = self.0.split_at(length.min(self.0.len()));
        self.0 = rest;
        piece
    }
}
