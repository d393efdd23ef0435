//! From text to the structs that serde fills, with the place of everything in it.

mod field;
mod mistakes;
mod setting;
mod source;
mod syntax;
mod tree;

pub(crate) use field::{Field, Key, List, Map, Rows, Tables, Value, optional};
#[cfg(test)]
pub(crate) use field::{TableList, UserKey};
pub(crate) use mistakes::Mistakes;
pub(crate) use setting::{
    Choice, Number, Setting, bounded, milliseconds, real, seconds, whole, whole_milliseconds,
};
pub(crate) use source::At;

use crate::{FileErrors, LARGEST_FILE_BYTES};
use serde::de::DeserializeOwned;
use source::Source;
use tree::Node;

/// Reads `text` into `F` and hands that to `check`, which tells its own mistakes and makes the value.
pub(crate) fn document<F, T>(
    file: &str,
    text: &str,
    check: impl FnOnce(&F, &Mistakes<'_>) -> Option<T>,
) -> Result<T, FileErrors>
where
    F: DeserializeOwned,
{
    let mistakes = Mistakes::new(Source::new(file, text));
    let value = if text.len() > LARGEST_FILE_BYTES {
        let expected = format!("at most {LARGEST_FILE_BYTES} bytes");
        mistakes.tell(0, "(file)", expected, format!("{} bytes", text.len()));
        None
    } else {
        syntax::parse(text, &mistakes)
            .and_then(|tree| F::deserialize(Node::root(&tree, &mistakes)).ok())
            .and_then(|filled| check(&filled, &mistakes))
    };
    match value {
        Some(value) if mistakes.is_empty() => Ok(value),
        _ => Err(mistakes.into_errors()),
    }
}
