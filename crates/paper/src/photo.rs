//! Photographs on paper.

/// Gives the bytes of the photograph with that content hash, where it is there.
pub type Photos<'p> = &'p dyn Fn(&[u8; 32]) -> Option<Vec<u8>>;

/// What kind of picture it is, by its first bytes; none for what no paper can show.
#[must_use]
pub fn media_type(bytes: &[u8]) -> Option<&'static str> {
    match bytes {
        [0xFF, 0xD8, 0xFF, ..] => Some("image/jpeg"),
        [0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A, ..] => Some("image/png"),
        [
            b'R',
            b'I',
            b'F',
            b'F',
            _,
            _,
            _,
            _,
            b'W',
            b'E',
            b'B',
            b'P',
            ..,
        ] => Some("image/webp"),
        _ => None,
    }
}
