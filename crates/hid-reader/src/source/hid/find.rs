use crate::Layout;
use crate::source::SourceError;
use std::borrow::Cow;
use std::ffi::CString;

/// Which board is meant. What is left out matches every board.
///
/// A serial number, a vendor and a product must be the board's own. If several boards are left, those
/// without buttons are passed over, then joysticks, gamepads and multi-axis controllers go before others;
/// then the path decides. The path alone says nothing about a board that was plugged in again, so with a
/// serial number, a vendor or a product it only breaks ties, and a board at another path is taken when it is
/// the only one. Given alone, the path must be the board's.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BoardMatch {
    /// USB vendor.
    pub vendor: Option<u16>,
    /// USB product.
    pub product: Option<u16>,
    /// Serial number.
    pub serial: Option<String>,
    /// Device node.
    pub path: Option<String>,
}

/// A board as hidapi lists it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Candidate {
    pub(super) path: CString,
    pub(super) vendor: u16,
    pub(super) product: u16,
    pub(super) serial: Option<String>,
    pub(super) name: String,
    pub(super) usage_page: u16,
    pub(super) usage: u16,
    /// As recordings number it; 3 is USB.
    pub(super) bus: u16,
}

impl Candidate {
    pub(super) fn path(&self) -> Cow<'_, str> {
        self.path.to_string_lossy()
    }

    pub(super) fn application(&self) -> String {
        match hut::Usage::new_from_page_and_id(self.usage_page, self.usage) {
            Ok(usage) => usage.name(),
            Err(_) => format!("usage {:04x}:{:04x}", self.usage_page, self.usage),
        }
    }

    /// A mouse, keyboard or keypad, or the pointer that a mouse has.
    pub(super) fn is_desktop(&self) -> bool {
        self.usage_page == 1 && matches!(self.usage, 1 | 2 | 6 | 7)
    }

    fn is_player(&self) -> bool {
        self.usage_page == 1 && matches!(self.usage, 4 | 5 | 8)
    }
}

pub(super) fn choose(
    candidates: Vec<Candidate>,
    wanted: &BoardMatch,
    layout: impl Fn(&Candidate) -> Option<Layout>,
) -> Result<Candidate, SourceError> {
    let named = wanted.vendor.is_some() || wanted.product.is_some() || wanted.serial.is_some();
    let mut left = candidates;
    left.retain(|candidate| {
        wanted.vendor.is_none_or(|vendor| vendor == candidate.vendor)
            && wanted.product.is_none_or(|product| product == candidate.product)
            && (wanted.serial.is_none() || wanted.serial == candidate.serial)
            && (named || wanted.path.as_deref().is_none_or(|path| path == candidate.path()))
    });
    if left.len() > 1 {
        let buttons = |one: &Candidate| layout(one).is_some_and(|layout| layout.buttons().bits() != 0);
        prefer(&mut left, buttons);
        prefer(&mut left, Candidate::is_player);
        prefer(&mut left, |one| wanted.path.as_deref() == Some(&*one.path()));
    }
    if left.len() > 1 {
        return Err(SourceError::AskWhich {
            paths: left.iter().map(|one| one.path().into_owned()).collect(),
        });
    }
    left.pop().ok_or(SourceError::AwaitPlug)
}

/// Keeps those that `good` holds for, if there are any.
fn prefer(candidates: &mut Vec<Candidate>, good: impl Fn(&Candidate) -> bool) {
    let verdicts: Vec<bool> = candidates.iter().map(good).collect();
    if verdicts.contains(&true) {
        let mut verdicts = verdicts.into_iter();
        candidates.retain(|_| verdicts.next().unwrap_or(false));
    }
}

#[cfg(test)]
mod tests;
