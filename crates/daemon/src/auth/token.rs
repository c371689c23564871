//! Secrets: how they are drawn, and what is kept of them. Only a hash is ever written down, and no
//! secret can be printed by mistake.

use std::fmt;
use std::io;

/// A session's token: 256 random bits of the system.
pub struct Token([u8; 32]);

impl Token {
    /// Draws one.
    ///
    /// # Errors
    /// If the system has no random bits to give.
    pub fn draw() -> io::Result<Self> {
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes).map_err(io::Error::other)?;
        Ok(Token(bytes))
    }

    /// Reads one as it came from a cookie or a header; none if it cannot be one.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let mut bytes = [0; 32];
        if text.len() != 2 * bytes.len() || !text.is_ascii() {
            return None;
        }
        for (byte, pair) in bytes.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
            let pair = std::str::from_utf8(pair).ok()?;
            // `from_str_radix` would take a sign.
            if !pair.bytes().all(|b| b.is_ascii_hexdigit()) {
                return None;
            }
            *byte = u8::from_str_radix(pair, 16).ok()?;
        }
        Some(Token(bytes))
    }

    /// The token itself, to be handed to its holder once: 64 hexadecimal digits.
    #[must_use]
    pub fn reveal(&self) -> String {
        self.0.iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// What is kept of it. The token has 256 random bits, so a plain hash cannot be guessed back.
    #[must_use]
    pub fn hash(&self) -> blake3::Hash {
        blake3::hash(&self.0)
    }
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(…)")
    }
}

/// The letters of a pairing code: none is mistaken for another on a small screen.
const LETTERS: &[u8; 32] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
/// The letters in a code: 40 random bits.
const LENGTH: usize = 8;

/// A pairing code: short enough to be typed with gloves on.
pub struct Code(String);

impl Code {
    /// Draws one.
    ///
    /// # Errors
    /// If the system has no random bits to give.
    pub fn draw() -> io::Result<Self> {
        let mut bytes = [0; LENGTH];
        getrandom::fill(&mut bytes).map_err(io::Error::other)?;
        // 32 letters: every fifth bit pattern is one letter, none is likelier than another.
        let letters = bytes
            .iter()
            .map(|b| char::from(LETTERS[usize::from(b % 32)]));
        Ok(Code(letters.collect()))
    }

    /// Reads one as typed: small letters, blanks and dashes are no matter; none if it cannot be
    /// one.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let mut letters = String::with_capacity(LENGTH);
        for c in text.chars().filter(|c| !matches!(c, ' ' | '-')) {
            let c = c.to_ascii_uppercase();
            let known = u8::try_from(c).is_ok_and(|b| LETTERS.contains(&b));
            if !known || letters.len() == LENGTH {
                return None;
            }
            letters.push(c);
        }
        (letters.len() == LENGTH).then_some(Code(letters))
    }

    /// The code itself, to be shown to whoever stands at the daemon: `ABCD-EFGH`.
    #[must_use]
    pub fn reveal(&self) -> String {
        let (a, b) = self.0.split_at(LENGTH / 2);
        format!("{a}-{b}")
    }

    /// What is kept of it.
    #[must_use]
    pub fn hash(&self) -> blake3::Hash {
        blake3::hash(self.0.as_bytes())
    }
}

impl fmt::Debug for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Code(…)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_comes_back_from_its_text_and_never_shows_itself() {
        let token = Token::draw().expect("random bits");
        let text = token.reveal();
        assert_eq!(text.len(), 64);
        let read = Token::read(&text).expect("its own text");
        assert_eq!(read.hash(), token.hash());
        assert_ne!(Token::draw().expect("random bits").hash(), token.hash());
        assert!(!format!("{token:?}").contains(&text[..8]));
        for wrong in [
            "",
            "00",
            &text[1..],
            &format!("+{}", &text[1..]),
            &"é".repeat(32),
        ] {
            assert!(Token::read(wrong).is_none(), "{wrong}");
        }
    }

    #[test]
    fn a_code_is_read_as_people_type_it() {
        let code = Code::draw().expect("random bits");
        let shown = code.reveal();
        assert_eq!(shown.len(), 9);
        for typed in [
            shown.clone(),
            shown.to_lowercase(),
            shown.replace('-', " "),
            format!(" {} ", shown.replace('-', "")),
        ] {
            let read = Code::read(&typed).expect("its own text");
            assert_eq!(read.hash(), code.hash(), "{typed}");
        }
        assert!(!format!("{code:?}").contains(&shown));
        for wrong in [
            "",
            "ABCD",
            "ABCD-EFGHJ",
            "ABCD-EFG0",
            "ABCD-EFGé",
            "<script>",
        ] {
            assert!(Code::read(wrong).is_none(), "{wrong}");
        }
    }

    #[test]
    fn no_letter_of_a_code_is_likelier_than_another() {
        let mut counts = [0_u32; 32];
        for _ in 0..4000 {
            for letter in Code::draw().expect("random bits").0.bytes() {
                let at = LETTERS.iter().position(|l| *l == letter).expect("a letter");
                counts[at] += 1;
            }
        }
        // 1,000 each, with a standard deviation of 31: eight of them are never seen.
        assert!(counts.iter().all(|c| (750..1250).contains(c)), "{counts:?}");
    }
}
