//! End to end tests.
