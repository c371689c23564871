//! Bits of a byte, as the display chips' maps name them: bit 0 is the lowest.

/// Whether a bit is set.
pub(crate) const fn bit(byte: u8, n: u8) -> bool {
    byte >> n & 1 == 1
}

/// Bits below what is above them, highest first.
pub(crate) fn pack<const N: usize>(above: u8, bits: [bool; N]) -> u8 {
    bits.into_iter()
        .fold(above, |byte, bit| byte << 1 | u8::from(bit))
}
