//! Hides a board's wheels from everything that reads the kernel's joysticks, so that a simulator does not see
//! the raw pulses beside the trim.
//!
//! The board's own event device is grabbed: no other program gets anything from it, while its hidraw device,
//! where the counting is done, still gives every report. All its other controls live on in a *twin*, a virtual
//! device that has the board's numbers, its axes with their ranges, its hats and its buttons, and is called
//! "BOARD without its wheels". The wheels' buttons are there too but never pressed, so that button 7 stays
//! button 7 for readers that number the buttons that there are.
//!
//! - Vendor, product and version are the board's: whatever knows the board by them (assignments, layouts) takes
//!   the twin for one of its kind. The name tells the two apart; the silent original stays in the list.
//! - An axis has fuzz 0 in the twin, whatever it is on the board: the kernel has applied it once already, and
//!   would again.
//! - The kernel ends a grab when its owner does, however it ends; no other program can be in its way for longer.
//! - Not passed on: lamps and force feedback, which would have to go the other way; and programs that read the
//!   board's hidraw device themselves see it all as before.
//! - One thread that sleeps until the board has something to say. It is not on the way of any count.

#[cfg(any(not(target_os = "linux"), test))]
mod absent;
#[cfg(target_os = "linux")]
mod codes;
#[cfg(target_os = "linux")]
mod keep;
#[cfg(target_os = "linux")]
mod nodes;
#[cfg(target_os = "linux")]
mod sieve;
#[cfg(target_os = "linux")]
mod twin;

#[cfg(not(target_os = "linux"))]
pub use absent::HiddenBoard;
#[cfg(target_os = "linux")]
pub use keep::HiddenBoard;
