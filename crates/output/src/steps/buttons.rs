use std::io;

/// Something with buttons that can be held: a virtual joystick, or a keyboard where the system has no other.
pub(super) trait Buttons: Send {
    /// Holds the button with that number, counted from 1, or lets it go: one call to the system, and in it
    /// one button and nothing else.
    ///
    /// # Errors
    /// What the system says. The device is of no use any more, and holds nothing.
    fn hold(&mut self, button: u8, held: bool) -> io::Result<()>;
}
