use std::fmt;

macro_rules! index {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(u8);

        impl $name {
            /// From a place in the file's list, counted from 0.
            #[must_use]
            pub const fn new(index: u8) -> Self {
                Self(index)
            }

            /// The place in the list, counted from 0, to look something up with.
            #[must_use]
            pub fn get(self) -> usize {
                usize::from(self.0)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }
    };
}

index!(
    /// A board's place in the rig file.
    BoardIndex
);
index!(
    /// A wheel's place in the rig file.
    WheelIndex
);
index!(
    /// A trim's place in the aircraft file.
    TrimIndex
);
