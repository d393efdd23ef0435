//! The board's cycle, and what a hand may ask of it: the one home of the rule that `plan` and the diagnostics share.

use super::Nanos;
use std::time::Duration;

/// The shortest time between two counts at which a board that presses a button for `on` and releases it for `off` loses
/// none, and at which that can be seen in reports every `interval`. `None` where a pulse or a pause may fall between two
/// reports, so that counts may be lost at any speed.
///
/// A board may drop what comes within `on + off`, its cycle, and times between presses are seen to within a report
/// interval. So what is called free of loss keeps a quarter of the cycle away from it, or a report interval where that
/// is more, but no more than 3/7: at least 70 % of the board's rate is always promised, and at most 80 %.
#[must_use]
pub fn free_of_loss(on: Duration, off: Duration, interval: Duration) -> Option<Duration> {
    if on < interval || off < interval {
        return None;
    }
    let nanos = |time: Duration| u64::try_from(time.as_nanos()).unwrap_or(u64::MAX);
    Some(Duration::from_nanos(allowed(nanos(on + off), nanos(interval))))
}

/// The same of a cycle.
pub(super) fn allowed(cycle: Nanos, interval: Nanos) -> Nanos {
    let (least, most) = (cycle / 4, cycle.saturating_mul(3) / 7);
    cycle.saturating_add(interval.clamp(least, most))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: the figures are arithmetic on the sentence above.
    #[test]
    fn between_seven_and_eight_tenths_of_the_boards_rate() {
        let ms = Duration::from_millis;
        assert_eq!(free_of_loss(ms(20), ms(20), ms(1)), Some(ms(50)), "80 %");
        assert_eq!(free_of_loss(ms(20), ms(20), ms(12)), Some(ms(52)));
        assert_eq!(free_of_loss(ms(28), ms(28), ms(28)), Some(ms(80)), "70 %");
        assert_eq!(free_of_loss(ms(7), ms(20), ms(8)), None);
        assert_eq!(free_of_loss(ms(20), ms(7), ms(8)), None);
        for (on, off, interval) in [(8, 60, 8), (60, 8, 1), (16, 16, 16), (9, 8, 2)] {
            let free = free_of_loss(ms(on), ms(off), ms(interval)).unwrap();
            let share = (ms(on) + ms(off)).as_secs_f64() / free.as_secs_f64();
            assert!((0.7 - 1e-6..=0.8 + 1e-6).contains(&share), "{share}");
        }
    }
}
