//! What must not compile: making an open gate, doubling it, keeping it past a revocation, or
//! building an ask without it. The compiler's own words are stored beside each case.

#[test]
fn the_gates_cannot_be_forged() {
    trybuild::TestCases::new().compile_fail("tests/cfail/*.rs");
}
