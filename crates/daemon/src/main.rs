//! The `tallywheel` program.
fn main() {}
