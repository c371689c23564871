//! Photographs on paper.

use ohmtrail_trail::photos::media_type;

/// Gives the bytes of the photograph with that content hash, where it is there.
pub type Photos<'p> = &'p dyn Fn(&[u8; 32]) -> Option<Vec<u8>>;

/// The media type of a photograph that paper can show; browsers and typesetters show no HEIC.
pub(crate) fn shown(bytes: &[u8]) -> Option<&'static str> {
    media_type(bytes).filter(|kind| *kind != "image/heic")
}
