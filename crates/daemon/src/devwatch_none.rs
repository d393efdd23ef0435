//! Where the system offers no watch on device nodes: the dock looks from time to time while a board is missing.

/// Which node changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Node {
    /// A HID device.
    Hidraw,
    /// The kernel's door for virtual input devices.
    Uinput,
}

/// Always fails.
///
/// # Errors
/// Always: there is nothing to watch here.
pub fn watch(_changed: impl FnMut(Node) -> bool + Send + 'static) -> std::io::Result<()> {
    Err(std::io::Error::from(std::io::ErrorKind::Unsupported))
}
