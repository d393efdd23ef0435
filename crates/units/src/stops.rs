/// What happens to counts that go past an end stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum StopStyle {
    /// What goes past a stop is dropped, and moving back moves the trim at once.
    #[default]
    Slip,
    /// What goes past a stop must be wound back before the trim moves again.
    Remember,
}
