use super::Setting;
use serde::de::{Deserialize, Deserializer, Error, Unexpected, Visitor};
use serde_spanned::Spanned;
use std::collections::BTreeMap;
use std::fmt;
use std::marker::PhantomData;

/// A key with one value; `None` when the file does not have it.
pub(crate) type Key<T> = Option<Field<Value<T>>>;
/// A key with a list of values.
pub(crate) type List<T> = Option<Field<Vec<Field<Value<T>>>>>;
/// A key with a list of lists of values.
pub(crate) type Rows<T> = Option<Field<Vec<Field<Vec<Field<Value<T>>>>>>>;
/// A key with a table of the user's own keys.
pub(crate) type Map<T> = Option<Field<BTreeMap<UserKey, Field<Value<T>>>>>;
/// A key with `[[tables]]`.
pub(crate) type Tables<T> = Option<Field<TableList<T>>>;

/// A key that the user chose, and where it is.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord, serde::Deserialize)]
#[serde(transparent)]
pub(crate) struct UserKey(Spanned<String>);

impl std::ops::Deref for UserKey {
    type Target = Spanned<String>;

    fn deref(&self) -> &Spanned<String> {
        &self.0
    }
}

/// Something in the file and where it is.
#[derive(Debug)]
pub(crate) struct Field<T> {
    /// The byte that it begins at.
    pub(crate) byte: usize,
    /// `None` when it was a mistake; that has been told.
    pub(crate) value: Option<T>,
}

impl<T> Field<Value<T>> {
    /// The value, unless it was a mistake.
    pub(crate) fn setting(&self) -> Option<&T> {
        self.value.as_ref().map(|v| &v.0)
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Field<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let spanned = Spanned::<Kept<T>>::deserialize(deserializer)?;
        Ok(Self { byte: spanned.span().start, value: spanned.into_inner().0 })
    }
}

/// The setting at an optional key: `None` when it was a mistake.
pub(crate) fn optional<T: Setting>(key: &Key<T>) -> Option<Option<&T>> {
    match key {
        None => Some(None),
        Some(field) => field.setting().map(Some),
    }
}

/// Keeps a mistake from ending the reading of everything around it. The tree has told it by then.
struct Kept<T>(Option<T>);

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Kept<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Ok(Self(T::deserialize(deserializer).ok()))
    }
}

/// A [`Setting`] for serde.
#[derive(Debug)]
pub(crate) struct Value<T>(T);

impl<'de, T: Setting> Deserialize<'de> for Value<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(SettingVisitor(PhantomData))
    }
}

struct SettingVisitor<T>(PhantomData<T>);

impl<'de, T: Setting> Visitor<'de> for SettingVisitor<T> {
    type Value = Value<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&T::expected())
    }

    fn visit_bool<E: Error>(self, flag: bool) -> Result<Self::Value, E> {
        T::from_flag(flag).map(Value).ok_or_else(|| E::invalid_value(Unexpected::Bool(flag), &self))
    }

    fn visit_i64<E: Error>(self, number: i64) -> Result<Self::Value, E> {
        let as_any_number = || T::from_number(f64::from(i32::try_from(number).ok()?));
        T::from_whole(number)
            .or_else(as_any_number)
            .map(Value)
            .ok_or_else(|| E::invalid_value(Unexpected::Signed(number), &self))
    }

    fn visit_f64<E: Error>(self, number: f64) -> Result<Self::Value, E> {
        T::from_number(number).map(Value).ok_or_else(|| E::invalid_value(Unexpected::Float(number), &self))
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
        T::from_text(text).map(Value).ok_or_else(|| E::invalid_value(Unexpected::Str(text), &self))
    }
}

/// `[[tables]]`. The name of this struct tells the tree to say so when there is something else.
#[derive(Debug, serde::Deserialize)]
#[serde(rename = "[[tables]]")]
pub(crate) struct TableList<T>(pub(crate) Vec<Field<T>>);

impl<T> TableList<T> {
    /// What [`super::tree`] knows it by.
    pub(super) const NAME: &'static str = "[[tables]]";
}
