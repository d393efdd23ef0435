use crate::error::{FileError, FileErrors};
use crate::read::At;
use crate::{Aircraft, words};

/// Checks what the aircraft files of one folder must not say together: the same title pattern twice, or two
/// defaults. Patterns that differ may still tie at a title that both match; that shows when the title comes
/// ([`crate::choose_by_title`]).
///
/// # Errors
/// Each mistake at its place in the later of the two files, in the order of `aircraft`.
pub fn together(aircraft: &[&Aircraft]) -> Result<(), FileErrors> {
    let mut errors = Vec::new();
    for (place, file) in aircraft.iter().enumerate() {
        let earlier = aircraft.get(..place).unwrap_or_default();
        let error = |at: &At, key: &str, expected: &str, found: String| FileError {
            file: file.origin.file.clone(),
            line: at.line,
            column: at.column,
            key: key.to_owned(),
            expected: expected.to_owned(),
            found,
        };
        for (pattern, at) in file.titles.iter().zip(&file.origin.titles) {
            if let Some(other) = earlier.iter().find(|other| other.titles.contains(pattern)) {
                let found = format!("{pattern}, as in {}", words::quoted(&other.origin.file));
                errors.push(error(at, "titles", "a pattern that no other aircraft file has", found));
            }
        }
        if let (true, Some(at)) = (file.default, &file.origin.default)
            && let Some(other) = earlier.iter().find(|other| other.default)
        {
            let found = format!("true, as in {}", words::quoted(&other.origin.file));
            errors.push(error(at, "default", "true in one aircraft file only", found));
        }
    }
    if errors.is_empty() { Ok(()) } else { Err(FileErrors::new(errors, 0)) }
}
