//! Names of objects: `trails/TRAIL/RECORDS-HEAD.trail` and `photos/HASH.END`. A state of a trail is one
//! object; a later state is another one beside it.

use ohmtrail_trail::{Hash, photos};

/// Where the states of trails are.
pub(crate) const TRAILS: &str = "trails/";
/// Where photographs are.
pub(crate) const PHOTOS: &str = "photos/";
/// How a sound state ends, and a damaged copy.
const ENDS: [&str; 2] = [".trail", ".damaged"];
/// The media types of photographs.
const TYPES: [&str; 4] = ["image/jpeg", "image/png", "image/webp", "image/heic"];
/// Digits of a count of records.
const DIGITS: usize = 10;

/// A state of a trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct State {
    /// The trail's name for ever.
    pub(crate) trail: Hash,
    /// Whole records.
    pub(crate) records: u32,
    /// The head hash; of a damaged copy, the hash of its bytes.
    pub(crate) hash: Hash,
    /// Whether every record is linked to the one before it. A damaged copy has another name.
    pub(crate) is_sound: bool,
}

impl State {
    /// The object's name.
    pub(crate) fn key(&self) -> String {
        let State {
            trail,
            records,
            hash,
            is_sound,
        } = self;
        let end = ENDS[usize::from(!is_sound)];
        format!("{TRAILS}{trail}/{records:0DIGITS$}-{hash}{end}")
    }

    /// Reads an object's name; none of what is something else.
    pub(crate) fn of_key(key: &str) -> Option<State> {
        let (trail, name) = key.strip_prefix(TRAILS)?.split_once('/')?;
        let sound = name.strip_suffix(ENDS[0]);
        let (records, hash) = sound.or(name.strip_suffix(ENDS[1]))?.split_once('-')?;
        let state = State {
            trail: trail.parse().ok()?,
            records: records.parse().ok()?,
            hash: hash.parse().ok()?,
            is_sound: sound.is_some(),
        };
        // One state has one name.
        (state.key() == key).then_some(state)
    }
}

/// The hash that names a photograph's object, and the media type that goes with its end; none of what is
/// something else.
pub(crate) fn photo_of(key: &str) -> Option<(Hash, &'static str)> {
    let (hash, end) = key.strip_prefix(PHOTOS)?.split_once('.')?;
    let mut types = TYPES.into_iter();
    let media_type = types.find(|of| photos::end_of(of) == Some(end))?;
    Some((hash.parse().ok()?, media_type))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn photographs_are_told_by_hash_and_end() {
        let hash = Hash([7; 32]);
        for media_type in TYPES {
            let end = photos::end_of(media_type).expect("an end");
            let key = format!("{PHOTOS}{hash}.{end}");
            assert_eq!(photo_of(&key), Some((hash, media_type)), "{key}");
        }
        for other in ["", ".part", ".jpg.part", ".svg", ".JPG"] {
            assert_eq!(photo_of(&format!("{PHOTOS}{hash}{other}")), None, "{other}");
        }
    }

    #[test]
    fn names_go_both_ways() {
        let mut state = State {
            trail: Hash([1; 32]),
            records: 59,
            hash: Hash([2; 32]),
            is_sound: true,
        };
        for is_sound in [true, false] {
            state.is_sound = is_sound;
            let key = state.key();
            assert_eq!(State::of_key(&key), Some(state.clone()), "{key}");
            for other in [
                key.replacen("00000000", "", 1),
                key.to_uppercase(),
                key.replacen("trails/", "trails/../", 1),
                format!("{key}.part"),
            ] {
                assert_eq!(State::of_key(&other), None, "{other}");
            }
        }
        // Names are in the order of what they hold.
        let longer = State {
            records: 100,
            ..state.clone()
        };
        assert!(longer.key() > state.key());
    }
}
