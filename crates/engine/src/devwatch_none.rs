//! Where the system offers no watch on device nodes: the dock looks from time to time while a board is missing.

/// Which node changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Node {
    /// A HID device.
    Hidraw,
    /// The kernel's door for virtual input devices.
    Uinput,
}

/// There is none.
#[derive(Debug)]
pub enum DevWatch {}

impl DevWatch {
    /// Always fails.
    ///
    /// # Errors
    /// Always: there is nothing to watch here.
    pub fn new(_changed: impl FnMut(Node) -> bool + Send + 'static) -> std::io::Result<Self> {
        Err(std::io::Error::from(std::io::ErrorKind::Unsupported))
    }

    /// Never called.
    pub fn switch(&mut self, _on: bool) -> bool {
        match *self {}
    }

    /// Never called.
    #[must_use]
    pub const fn is_on(&self) -> bool {
        match *self {}
    }
}
