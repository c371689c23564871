//! A BLAKE3 hash of 32 bytes, and its hexadecimal form.

use std::fmt;
use std::str::FromStr;

/// A BLAKE3 hash, all 32 bytes of it. Written as 64 lower-case hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Hash(pub [u8; 32]);

impl Hash {
    /// Digits of the hexadecimal form.
    pub const HEX_DIGITS: usize = 64;

    /// The hash of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Hash(*blake3::hash(bytes).as_bytes())
    }

    /// Its digits in four groups of 16, as papers show them.
    #[must_use]
    pub fn groups(&self) -> [String; 4] {
        let digits = self.to_string();
        [0, 16, 32, 48].map(|from| digits.chars().skip(from).take(16).collect())
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Hash({self})")
    }
}

/// The text is not 64 hexadecimal digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a hash is 64 hexadecimal digits")]
pub struct NotAHash;

impl FromStr for Hash {
    type Err = NotAHash;

    /// Spaces between the digits are passed over: papers print them in groups.
    fn from_str(text: &str) -> Result<Self, NotAHash> {
        let mut digits = text.chars().filter(|c| !c.is_whitespace());
        let mut nibble = || {
            digits
                .next()
                .and_then(|c| c.to_digit(16))
                .and_then(|d| u8::try_from(d).ok())
                .ok_or(NotAHash)
        };
        let mut bytes = [0; 32];
        for byte in &mut bytes {
            *byte = nibble()? << 4 | nibble()?;
        }
        if digits.next().is_some() {
            return Err(NotAHash);
        }
        Ok(Hash(bytes))
    }
}

/// `[u8; 32]` as hexadecimal text where the format is for people, as bytes where it is not.
pub(crate) mod hex {
    use super::Hash;
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};

    pub(crate) fn serialize<S: Serializer>(hash: &[u8; 32], to: S) -> Result<S::Ok, S::Error> {
        if to.is_human_readable() {
            to.collect_str(&Hash(*hash))
        } else {
            hash.serialize(to)
        }
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<[u8; 32], D::Error> {
        if from.is_human_readable() {
            let text = String::deserialize(from)?;
            text.parse::<Hash>().map(|h| h.0).map_err(D::Error::custom)
        } else {
            <[u8; 32]>::deserialize(from)
        }
    }
}

/// The same for a hash that may be absent.
pub(crate) mod hex_option {
    use super::{Hash, hex};
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};

    #[derive(Serialize, Deserialize)]
    struct Bytes(#[serde(with = "hex")] [u8; 32]);

    pub(crate) fn serialize<S: Serializer>(
        hash: &Option<[u8; 32]>,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        hash.map(Bytes).serialize(to)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Option<[u8; 32]>, D::Error> {
        if from.is_human_readable() {
            Option::<String>::deserialize(from)?
                .map(|text| text.parse::<Hash>().map(|h| h.0).map_err(D::Error::custom))
                .transpose()
        } else {
            Ok(Option::<Bytes>::deserialize(from)?.map(|b| b.0))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hex_goes_both_ways_and_refuses_the_rest() {
        // BLAKE3 official test vectors: the hash of no bytes.
        let hash = Hash::of(b"");
        let text = "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262";
        assert_eq!(hash.to_string(), text);
        assert_eq!(text.len(), Hash::HEX_DIGITS);
        assert_eq!(text.parse(), Ok(hash));
        let grouped = format!("{} {}", &text[..16], &text[16..]);
        assert_eq!(grouped.parse(), Ok(hash));
        for bad in ["", &text[1..], "zz", &format!("{text}0")] {
            assert_eq!(bad.parse::<Hash>(), Err(NotAHash), "{bad}");
        }
    }
}
