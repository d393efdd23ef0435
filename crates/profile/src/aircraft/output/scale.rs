use super::limits::RangeEnd;
use crate::output::Scale;
use crate::read::{Key, List, Mistakes, optional};

/// The scale that `range` and `reversed` make; `usual` where neither is there, and its range where only `reversed` is.
/// `path` is that of their table.
pub(super) fn scale(
    range: &List<RangeEnd>,
    reversed: &Key<bool>,
    usual: Scale,
    path: &str,
    mistakes: &Mistakes<'_>,
) -> Option<Scale> {
    let straight = match range {
        None if reversed.is_none() => return Some(usual),
        None => Scale::new(usual.at_low().min(usual.at_high()), usual.at_low().max(usual.at_high()))?,
        Some(field) => {
            let ends = field.value.as_ref()?;
            let [low, high] = ends.as_slice() else {
                let found = format!("{} numbers", ends.len());
                mistakes.tell(field.byte, format!("{path}.range"), "two numbers, such as [0, 1]", found);
                return None;
            };
            let (low, high) = (low.setting()?.get(), high.setting()?.get());
            if low >= high {
                let expected = "the lower end first; `reversed = true` turns it round";
                mistakes.tell(field.byte, format!("{path}.range"), expected, format!("{low} and {high}"));
                return None;
            }
            Scale::new(low, high)?
        }
    };
    let reversed = optional(reversed)?.copied().unwrap_or(false);
    Some(if reversed { straight.reversed() } else { straight })
}
