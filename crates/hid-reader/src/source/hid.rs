//! Boards, through hidapi.

mod access;
mod descriptor;
mod find;
mod open;

pub use access::Access;
pub use find::BoardMatch;
pub use open::OpenBoard;

use super::SourceError;
use crate::Layout;
use find::Candidate;
use hidapi::{BusType, DeviceInfo, HidApi};

/// A board that is plugged in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundBoard {
    /// Its device node; changes from one plugging in to the next.
    pub path: String,
    /// USB vendor.
    pub vendor: u16,
    /// USB product.
    pub product: u16,
    /// Its serial number, if it has one.
    pub serial: Option<String>,
    /// Its name.
    pub name: String,
    /// Whether it can be opened.
    pub access: Access,
    /// How many buttons its report descriptor has; `None` if the descriptor cannot be read or understood.
    pub buttons: Option<usize>,
    /// What the board says it is, as the HID Usage Tables name it: "Joystick", "Gamepad", "Keyboard".
    pub application: String,
}

/// The boards of this machine. Make one and keep it.
///
/// Looking through them reads all of sysfs and takes 20 to 150 ms, so it is never done on a timer: only
/// when something was plugged in, or the user asks.
pub struct Hid {
    api: HidApi,
}

impl Hid {
    /// Looks which boards there are.
    ///
    /// # Errors
    /// [`SourceError::GiveUp`].
    pub fn new() -> Result<Self, SourceError> {
        HidApi::new().map(|api| Self { api }).map_err(give_up)
    }

    /// All boards that are plugged in now, each once, in the order of their paths. Each is opened for a
    /// moment to see whether it can be.
    ///
    /// # Errors
    /// [`SourceError::GiveUp`].
    pub fn boards(&mut self) -> Result<Vec<FoundBoard>, SourceError> {
        let candidates = self.candidates()?;
        Ok(candidates.into_iter().map(|candidate| self.describe(candidate)).collect())
    }

    /// Opens the board that `wanted` means, see [`BoardMatch`].
    ///
    /// # Errors
    /// Every [`SourceError`] but [`SourceError::Finish`].
    pub fn open(&mut self, wanted: &BoardMatch) -> Result<OpenBoard, SourceError> {
        let candidates = self.candidates()?;
        let candidate = find::choose(candidates, wanted, |candidate| self.layout(candidate))?;
        open::open(&self.api, candidate)
    }

    /// The board that [`Self::open`] would open, which is not opened but for a moment to see whether it can be.
    ///
    /// # Errors
    /// [`SourceError::AwaitPlug`], [`SourceError::AskWhich`] and [`SourceError::GiveUp`].
    pub fn find(&mut self, wanted: &BoardMatch) -> Result<FoundBoard, SourceError> {
        let candidates = self.candidates()?;
        let candidate = find::choose(candidates, wanted, |candidate| self.layout(candidate))?;
        Ok(self.describe(candidate))
    }

    fn candidates(&mut self) -> Result<Vec<Candidate>, SourceError> {
        self.api.refresh_devices().map_err(give_up)?;
        let mut candidates: Vec<Candidate> = Vec::new();
        for info in self.api.device_list() {
            let candidate = candidate(info);
            // Windows reads keyboards and mice itself and lets nobody else; each has a path of its own there.
            if cfg!(windows) && candidate.is_desktop() {
                continue;
            }
            // hidapi lists a board once per collection; the first is the outermost.
            if candidates.iter().all(|other| other.path != candidate.path) {
                candidates.push(candidate);
            }
        }
        candidates.sort_by(|one, other| one.path.cmp(&other.path));
        Ok(candidates)
    }

    fn describe(&self, candidate: Candidate) -> FoundBoard {
        let access = access::check(&candidate.path());
        let buttons = self
            .layout(&candidate)
            .map(|layout| usize::try_from(layout.buttons().bits().count_ones()).unwrap_or(0));
        FoundBoard {
            path: candidate.path().into_owned(),
            vendor: candidate.vendor,
            product: candidate.product,
            access,
            buttons,
            application: candidate.application(),
            serial: candidate.serial,
            name: candidate.name,
        }
    }

    fn layout(&self, candidate: &Candidate) -> Option<Layout> {
        let descriptor = descriptor::unopened(&self.api, &candidate.path).ok()?;
        Layout::from_descriptor(&descriptor).ok()
    }
}

impl std::fmt::Debug for Hid {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Hid").finish_non_exhaustive()
    }
}

fn candidate(info: &DeviceInfo) -> Candidate {
    let named = |text: Option<&str>| text.filter(|text| !text.is_empty()).map(str::to_owned);
    Candidate {
        path: info.path().to_owned(),
        vendor: info.vendor_id(),
        product: info.product_id(),
        serial: named(info.serial_number()),
        name: named(info.product_string()).unwrap_or_else(|| "board without a name".to_owned()),
        usage_page: info.usage_page(),
        usage: info.usage(),
        bus: match info.bus_type() {
            BusType::Unknown => 0,
            BusType::Usb => 0x03,
            BusType::Bluetooth => 0x05,
            BusType::I2c => 0x18,
            BusType::Spi => 0x1C,
        },
    }
}

#[expect(clippy::needless_pass_by_value, reason = "what map_err hands over")]
fn give_up(error: hidapi::HidError) -> SourceError {
    SourceError::GiveUp { reason: error.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever boards this machine has, none at all among them.
    #[test]
    fn boards_can_be_listed_and_are_listed_once() {
        let mut hid = Hid::new().unwrap();
        let boards = hid.boards().unwrap();
        assert!(boards.is_sorted_by(|one, other| one.path < other.path), "{boards:?}");
        let nobody = BoardMatch { serial: Some("no board has this".to_owned()), ..BoardMatch::default() };
        assert_eq!(hid.open(&nobody).unwrap_err(), SourceError::AwaitPlug);
        assert_eq!(hid.find(&nobody).unwrap_err(), SourceError::AwaitPlug);
    }
}
