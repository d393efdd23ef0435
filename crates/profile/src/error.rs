use std::fmt;

/// One mistake in a file, with its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileError {
    /// The file, as the caller named it.
    pub file: String,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1; a byte order mark is not counted.
    pub column: usize,
    /// The key, with the tables that it is in: `wheel.forward`. `(file)` where no key is to blame.
    pub key: String,
    /// What belongs there, one clause without a full stop.
    pub expected: String,
    /// What is there, one clause without a full stop.
    pub found: String,
}

impl fmt::Display for FileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { file, line, column, key, expected, found } = self;
        write!(f, "{file}:{line}:{column}: {key}: expected {expected}, found {found}")
    }
}

impl std::error::Error for FileError {}

/// All mistakes found in a file, at least one, in the order of the file. Prints one a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileErrors {
    errors: Vec<FileError>,
    held_back: usize,
}

impl FileErrors {
    /// The most mistakes that are told of one file.
    pub const MOST: usize = 100;

    /// `errors` must not be empty.
    pub(crate) fn new(mut errors: Vec<FileError>, held_back: usize) -> Self {
        errors.sort_by_key(|e| (e.line, e.column));
        Self { errors, held_back }
    }

    /// The mistakes, in the order of the file.
    #[must_use]
    pub fn as_slice(&self) -> &[FileError] {
        &self.errors
    }

    /// How many more there were than are told.
    #[must_use]
    pub const fn held_back(&self) -> usize {
        self.held_back
    }

    /// The mistakes, in the order of the file.
    pub fn iter(&self) -> std::slice::Iter<'_, FileError> {
        self.errors.iter()
    }
}

impl<'a> IntoIterator for &'a FileErrors {
    type Item = &'a FileError;
    type IntoIter = std::slice::Iter<'a, FileError>;
    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl IntoIterator for FileErrors {
    type Item = FileError;
    type IntoIter = std::vec::IntoIter<FileError>;
    fn into_iter(self) -> Self::IntoIter {
        self.errors.into_iter()
    }
}

impl fmt::Display for FileErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, error) in self.errors.iter().enumerate() {
            if i > 0 {
                f.write_str("\n")?;
            }
            error.fmt(f)?;
        }
        if self.held_back > 0 {
            write!(f, "\nand {} more", self.held_back)?;
        }
        Ok(())
    }
}

impl std::error::Error for FileErrors {}
