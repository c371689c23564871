//! Whole numbers and powers of ten into display values: digits are kept as they are sent, and
//! only what does not fit into a display value's mantissa is rounded off.
#![deny(clippy::indexing_slicing, clippy::unwrap_used, clippy::expect_used)]

use ohmtrail_core::reading::Decimal;

/// The most digits that are kept.
const DIGITS: u128 = 1_000_000_000;

/// `mantissa * 10^exponent` with at most nine digits; more are rounded off, half to even, as their
/// place is finer than any meter resolves. None if the exponent leaves a display's range.
pub(crate) fn fit(mantissa: i128, exponent: i32) -> Option<Decimal> {
    let mut size = mantissa.unsigned_abs();
    let mut exponent = exponent;
    let mut dropped = 1_u128;
    let whole = size;
    while size >= DIGITS {
        dropped = dropped.checked_mul(10)?;
        size = rounded(whole, dropped);
        exponent = exponent.checked_add(1)?;
    }
    let size = i32::try_from(size).ok()?;
    Some(Decimal::new(
        if mantissa < 0 { -size } else { size },
        i8::try_from(exponent).ok()?,
    ))
}

/// A quotient rounded to the nearest whole number, a half to the even one.
pub(crate) fn rounded(number: u128, by: u128) -> u128 {
    let (whole, rest) = (
        number.checked_div(by).unwrap_or(0),
        number.checked_rem(by).unwrap_or(0),
    );
    let twice = rest.saturating_mul(2);
    if twice > by || (twice == by && whole % 2 == 1) {
        whole + 1
    } else {
        whole
    }
}

/// Decimal text with a point and an exponent where it has them (`-12.06`, `+1.2E-03`), as IEEE
/// 488.2 sends NR1, NR2 and NR3. The digits are kept, trailing zeros too.
pub(crate) fn parse(text: &str) -> Option<Decimal> {
    let (sign, text) = match text.as_bytes().first()? {
        b'-' => (-1, text.get(1..)?),
        b'+' => (1, text.get(1..)?),
        _ => (1, text),
    };
    let (number, power) = match text.split_once(['E', 'e']) {
        Some((number, power)) => (number, whole(power)?),
        None => (text, 0),
    };
    let (before, behind) = number.split_once('.').unwrap_or((number, ""));
    let mut mantissa = 0_i128;
    if before.is_empty() && behind.is_empty() {
        return None;
    }
    for digit in before.bytes().chain(behind.bytes()) {
        if !digit.is_ascii_digit() {
            return None;
        }
        mantissa = mantissa
            .checked_mul(10)?
            .checked_add(i128::from(digit - b'0'))?;
    }
    let behind = i32::try_from(behind.len()).ok()?;
    fit(sign * mantissa, power.checked_sub(behind)?)
}

/// A whole number with a sign where it has one.
pub(crate) fn whole(text: &str) -> Option<i32> {
    let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
    if digits.is_empty() || !digits.bytes().all(|d| d.is_ascii_digit()) {
        return None;
    }
    text.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_kept_as_they_are_sent() {
        for (text, mantissa, exponent) in [
            // The form of TRADE's worked example of NR3.
            ("+1.23456789E-03", 123_456_789, -11),
            ("-1.20E+01", -120, -1),
            ("0.00000000E+00", 0, -8),
            ("238.4", 2384, -1),
            ("+238.40", 23840, -2),
            ("7", 7, 0),
            (".5", 5, -1),
            ("5.", 5, 0),
            ("1e3", 1, 3),
            // Ten digits and more are rounded to nine, a half to the even neighbour.
            ("1.0000000005", 100_000_000, -8),
            ("1.0000000015", 100_000_000, -8),
            ("1.000000015", 100_000_002, -8),
            ("9.999999999999E-06", 100_000_000, -13),
        ] {
            assert_eq!(
                parse(text),
                Some(Decimal::new(mantissa, exponent)),
                "{text}"
            );
        }
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in [
            "",
            "+",
            "-",
            ".",
            "E",
            "E3",
            "1E",
            "1E+",
            "1E+-3",
            "--1",
            "1.2.3",
            "1,2",
            " 1",
            "1 ",
            "NAN",
            "INF",
            "0x10",
            "1E999",
            "1E-999",
            "1_000",
            "\u{661}",
            "99999999999999999999999999999999999999999999999999",
        ] {
            assert_eq!(parse(text), None, "{text}");
        }
    }
}
