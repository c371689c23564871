//! The ohmtrail command.
fn main() {}
