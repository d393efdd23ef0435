//! What an aircraft file may say. The doc comments here are the one description of its keys.

use super::TitlePattern;
use super::output::file::OutputFile;
use super::trim::file::TrimFile;
use crate::names::Name;
use crate::read::{Key, List, Tables};
use serde::Deserialize;

/// How one aircraft's trims behave and where their positions go. It never names a board or a button.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct AircraftFile {
    /// The aircraft's name.
    #[cfg_attr(test, schemars(required))]
    pub(crate) name: Key<Name>,
    /// Titles by which a simulator calls this aircraft, such as `["Kettrin 2*"]`. `*` stands for any characters
    /// and `?` for one; capital and small letters are alike. Of several aircraft files that match a title
    /// the most specific pattern wins: the one with the most characters other than `*` and `?`, then the one with
    /// fewer `*`. Default: none.
    pub(crate) titles: List<TitlePattern>,
    /// Whether this aircraft is for every title that no aircraft file matches; at most one file says so. Default
    /// false.
    pub(crate) default: Key<bool>,
    /// The trims, one table each, at least one.
    #[cfg_attr(test, schemars(required))]
    pub(crate) trim: Tables<TrimFile>,
    /// Where the positions are published, one table each. Without any, nothing is published.
    pub(crate) output: Tables<OutputFile>,
}
