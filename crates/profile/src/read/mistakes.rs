use super::{At, Field, Key, Setting, Source, Tables};
use crate::{FileError, FileErrors};
use std::cell::RefCell;

/// The mistakes told so far of one file. Telling takes `&self`, so that everything that reads a part of the
/// file can tell, also while serde is at work.
pub(crate) struct Mistakes<'a> {
    source: Source<'a>,
    told: RefCell<Told>,
}

#[derive(Default)]
struct Told {
    errors: Vec<FileError>,
    held_back: usize,
}

impl<'a> Mistakes<'a> {
    pub(crate) fn new(source: Source<'a>) -> Self {
        Self { source, told: RefCell::default() }
    }

    /// Tells a mistake at a byte of the text.
    pub(crate) fn tell(
        &self,
        byte: usize,
        key: impl Into<String>,
        expected: impl Into<String>,
        found: impl Into<String>,
    ) {
        let mut told = self.told.borrow_mut();
        // A file may hold a hundred thousand mistakes; more than can be told need no memory.
        if told.errors.len() >= FileErrors::MOST {
            told.held_back += 1;
            return;
        }
        let At { line, column } = self.source.at(byte);
        told.errors.push(FileError {
            file: self.source.file().to_owned(),
            line,
            column,
            key: key.into(),
            expected: expected.into(),
            found: found.into(),
        });
    }

    /// The setting at `key`, which must be there; `table` is the byte where its table begins.
    pub(crate) fn required<'k, T: Setting>(
        &self,
        key: &'k Key<T>,
        table: usize,
        name: &str,
    ) -> Option<&'k T> {
        match key {
            Some(field) => field.setting(),
            None => {
                self.tell(table, name, T::expected(), "nothing");
                None
            }
        }
    }

    /// The `[[kind]]` tables, at least one and at most `most`.
    pub(crate) fn tables<'k, T>(&self, key: &'k Tables<T>, kind: &str, most: usize) -> &'k [Field<T>] {
        let (byte, tables) = match key {
            None => (0, [].as_slice()),
            Some(Field { value: None, .. }) => return &[],
            Some(Field { byte, value: Some(list) }) => (*byte, list.0.as_slice()),
        };
        if tables.is_empty() {
            self.tell(byte, kind, format!("at least one [[{kind}]]"), "nothing");
        }
        if let Some(surplus) = tables.get(most) {
            self.tell(surplus.byte, kind, format!("at most {most} [[{kind}]]"), tables.len().to_string());
        }
        tables.get(..most).unwrap_or(tables)
    }

    /// Tells of a key that has nothing to say in the `here` kind of table but would have in the `there` kind.
    pub(crate) fn foreign<T>(&self, key: &Option<Field<T>>, path: &str, there: &str, here: &str) {
        if let Some(field) = key {
            self.tell(field.byte, path, format!("this key only with {there}"), format!("it with {here}"));
        }
    }

    /// Whether nothing more will be told, only counted; then its wording is not worth the time.
    pub(crate) fn is_full(&self) -> bool {
        self.told.borrow().errors.len() >= FileErrors::MOST
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.told.borrow().errors.is_empty()
    }

    pub(crate) const fn source(&self) -> &Source<'a> {
        &self.source
    }

    pub(crate) fn into_errors(self) -> FileErrors {
        let Told { errors, held_back } = self.told.into_inner();
        FileErrors::new(errors, held_back)
    }
}
