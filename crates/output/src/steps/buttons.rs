use crate::OutputError;
use std::io;

/// Something with buttons that can be held: a virtual joystick, or the keyboard.
pub(super) trait Buttons: Send {
    /// Which of them.
    type Button: Copy + Send;

    /// What to say when [`Self::hold`] has failed and [`Self::renew`] has not.
    const LOST: Lost;

    /// Holds that button or lets it go: one call to the system, and in it one button and nothing else.
    ///
    /// # Errors
    /// What the system says. It is of no use any more before it is renewed.
    fn hold(&mut self, button: Self::Button, held: bool) -> io::Result<()>;

    /// Makes it of use again after an error, with nothing held.
    ///
    /// # Errors
    /// Why that cannot be.
    fn renew(&mut self) -> Result<(), OutputError>;
}

/// What is wrong, and what can be done.
pub(super) struct Lost {
    pub(super) reason: &'static str,
    pub(super) cure: &'static str,
}
