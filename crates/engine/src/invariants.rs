//! What must always be so, checked where it is written: in tests a broken invariant panics, in a release it is counted,
//! logged by nobody (it may be on a reader's thread) and shown by `status`.

use std::sync::atomic::{AtomicU64, Ordering};

static BROKEN: AtomicU64 = AtomicU64::new(0);

/// Checks that something is so; what it is about stands beside it, for the panic of a test.
macro_rules! invariant {
    ($holds:expr, $what:literal) => {
        if !$holds {
            $crate::invariants::broken($what);
        }
    };
}
pub(crate) use invariant;

/// How many checks have failed since the program started.
#[must_use]
pub fn broken_so_far() -> u64 {
    BROKEN.load(Ordering::Relaxed)
}

#[cold]
#[track_caller]
pub(crate) fn broken(what: &'static str) {
    BROKEN.fetch_add(1, Ordering::Relaxed);
    debug_assert!(false, "broken invariant: {what}");
}

#[cfg(test)]
mod tests {
    #[test]
    #[should_panic(expected = "broken invariant: one is two")]
    fn a_broken_one_is_counted_and_stops_a_test() {
        assert_eq!(super::broken_so_far(), 0);
        let caught = std::panic::catch_unwind(|| invariant!(1 == 2, "one is two"));
        assert_eq!(super::broken_so_far(), 1);
        std::panic::resume_unwind(caught.unwrap_err());
    }
}
