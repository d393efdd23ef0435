use crate::ErrorKind;

/// One `T` for each [`ErrorKind`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct PerKind<T> {
    change_config: T,
    ask_user: T,
    reopen: T,
    resend: T,
    carry_on: T,
}

impl<T> PerKind<T> {
    const fn get(&self, kind: ErrorKind) -> &T {
        match kind {
            ErrorKind::ChangeConfig => &self.change_config,
            ErrorKind::AskUser => &self.ask_user,
            ErrorKind::Reopen => &self.reopen,
            ErrorKind::Resend => &self.resend,
            ErrorKind::CarryOn => &self.carry_on,
        }
    }

    pub(super) const fn get_mut(&mut self, kind: ErrorKind) -> &mut T {
        match kind {
            ErrorKind::ChangeConfig => &mut self.change_config,
            ErrorKind::AskUser => &mut self.ask_user,
            ErrorKind::Reopen => &mut self.reopen,
            ErrorKind::Resend => &mut self.resend,
            ErrorKind::CarryOn => &mut self.carry_on,
        }
    }
}

/// Errors of one output since the start, by kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ErrorCounts(PerKind<u64>);

impl ErrorCounts {
    /// Errors of that kind.
    #[must_use]
    pub const fn get(&self, kind: ErrorKind) -> u64 {
        *self.0.get(kind)
    }

    /// Every kind with its errors.
    pub fn iter(&self) -> impl Iterator<Item = (ErrorKind, u64)> + '_ {
        ErrorKind::ALL.into_iter().map(|kind| (kind, self.get(kind)))
    }

    /// Errors of all kinds.
    #[must_use]
    pub fn total(&self) -> u64 {
        self.iter().fold(0, |sum, (_, count)| sum.saturating_add(count))
    }

    pub(super) const fn add(&mut self, kind: ErrorKind) {
        let count = self.0.get_mut(kind);
        *count = count.saturating_add(1);
    }
}
