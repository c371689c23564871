//! Typed values whose unit is converted, against the definitions of the units.

use ohmtrail_core::reading::{Decimal, Function, Shown};
use ohmtrail_meters::keyed::parse;

/// A pound-force to the square inch, in pascals, to seven digits (NIST SP 811, appendix B.8).
const PSI: f64 = 6_894.757;

/// Against the definitions (NIST SP 811, appendix B.8): 14.7 psi are 101.4 kPa, 95 degrees Fahrenheit 35 Cel.
#[test]
fn fahrenheit_and_psi_are_converted() {
    for (text, unit, function, mantissa, exponent) in [
        ("95", "[degF]", Function::Celsius, 35, 0),
        ("95.0", "\u{b0}F", Function::Celsius, 350, -1),
        ("72.6", "F", Function::Celsius, 226, -1),
        ("-40", "[degF]", Function::Celsius, -40, 0),
        ("14.7", "psi", Function::Pascals, 101, 3),
        ("118", "[psi]", Function::Pascals, 81, 4),
        ("118.30 psig", "", Function::Pascals, 8156, 2),
    ] {
        let shown = parse(text, unit, function);
        let want = Shown::Value(Decimal::new(mantissa, exponent));
        assert_eq!(shown, Ok(want), "{text} {unit}");
    }
    assert_eq!(
        parse("OL", "[degF]", Function::Celsius),
        Ok(Shown::Overload)
    );
    // Whatever is shown: off by half of the last digit at most, and that digit no finer than the one shown.
    for tenths in (-5000_i32..25_000).step_by(7) {
        for (text, resolution) in [
            (format!("{}", tenths / 10), 1.0),
            (format!("{:.1}", f64::from(tenths) / 10.0), 0.1),
        ] {
            let read: f64 = text.parse().expect("a number");
            for (unit, function, exact, step) in [
                (
                    "[degF]",
                    Function::Celsius,
                    (read - 32.0) / 1.8,
                    resolution / 1.8,
                ),
                ("psi", Function::Pascals, read * PSI, resolution * PSI),
            ] {
                let Ok(Shown::Value(kept)) = parse(&text, unit, function) else {
                    panic!("{text} {unit}");
                };
                let last = kept.resolution();
                assert!(
                    (kept.value() - exact).abs() <= 0.5 * last + 1e-6 * exact.abs(),
                    "{text} {unit}"
                );
                assert!(last >= step && last < 10.0 * step, "{text} {unit}: {last}");
            }
        }
    }
}
