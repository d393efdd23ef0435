use crate::read::{Field, Key, Mistakes, Setting};
use crate::words;
use tallywheel_units::TrimIndex;

/// A name given to something in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Name(pub(crate) String);

impl Name {
    /// The longest name in characters.
    pub(crate) const LONGEST: usize = 64;
}

impl Setting for Name {
    fn expected() -> String {
        format!(
            "a name of 1 to {} characters, without line breaks and without blanks at its ends",
            Self::LONGEST
        )
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        crate::schema::plain_text(1, Self::LONGEST)
    }

    fn from_text(text: &str) -> Option<Self> {
        let fits = (1..=Self::LONGEST).contains(&text.chars().count());
        (fits && words::is_plain(text)).then(|| Self(text.to_owned()))
    }
}

/// The names of all tables of one kind, to look others up in.
pub(crate) struct Names<'f>(Vec<Option<&'f str>>);

impl<'f> Names<'f> {
    /// Collects the names, each of which must be there and be the first of its kind.
    pub(crate) fn of<T>(
        tables: &'f [Field<T>],
        kind: &str,
        name: impl Fn(&'f T) -> &'f Key<Name>,
        mistakes: &Mistakes<'_>,
    ) -> Self {
        let mut seen: Vec<(&str, usize)> = Vec::new();
        let path = format!("{kind}.name");
        let names = tables.iter().map(|field| {
            let key = name(field.value.as_ref()?);
            let text = mistakes.required(key, field.byte, &path)?.0.as_str();
            let byte = key.as_ref()?.byte;
            if let Some((_, first)) = seen.iter().find(|(other, _)| *other == text) {
                let line = mistakes.source().at(*first).line;
                let found = format!("{}, as on line {line}", words::quoted(text));
                mistakes.tell(byte, path.as_str(), format!("a name that no other [[{kind}]] has"), found);
            }
            seen.push((text, byte));
            Some(text)
        });
        Self(names.collect())
    }

    /// The place of the table with this name. Tells when there is none; `what` names the kind of table.
    pub(crate) fn find(
        &self,
        name: &str,
        byte: usize,
        path: &str,
        what: &str,
        mistakes: &Mistakes<'_>,
    ) -> Option<usize> {
        let place = self.0.iter().position(|known| *known == Some(name));
        // A name that could not be read may be the one meant.
        if place.is_none() && self.0.iter().all(Option::is_some) && !self.0.is_empty() {
            mistakes.tell(byte, path, self.expected(what), words::quoted(name));
        }
        place
    }

    /// How many tables there are, those without a name included.
    pub(crate) fn len(&self) -> usize {
        self.0.len()
    }

    /// The places of all tables, in order.
    pub(crate) fn indices(&self) -> Option<Vec<TrimIndex>> {
        (0..self.0.len()).map(trim_index).collect()
    }

    /// All names with their places, in order; `None` where one could not be read.
    pub(crate) fn all(&self) -> Option<Vec<(TrimIndex, String)>> {
        let named = self.0.iter().enumerate();
        named.map(|(place, name)| Some((trim_index(place)?, (*name)?.to_owned()))).collect()
    }

    /// What to expect where one of these names belongs; `what` names the kind of table.
    pub(crate) fn expected(&self, what: &str) -> String {
        let known = self.0.iter().flatten();
        if known.clone().next().is_none() {
            return format!("the name of {what}");
        }
        format!("the name of {what}: {}", words::one_of_quoted(known))
    }
}

/// A trim by its place in the list of names.
pub(crate) fn trim_index(place: usize) -> Option<TrimIndex> {
    u8::try_from(place).ok().map(TrimIndex::new)
}
