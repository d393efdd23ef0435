use super::Mistakes;
use super::field::TableList;
use crate::words;
use serde::de::value::BorrowedStrDeserializer;
use serde::de::{DeserializeSeed, Deserializer, Error, Expected, IntoDeserializer, Unexpected, Visitor};
use serde::forward_to_deserialize_any;
use serde_spanned::Spanned;
use serde_spanned::de::{SpannedDeserializer, is_spanned};
use std::fmt;
use toml::de::{DeString, DeTable, DeValue};

/// A value in the tree that `toml` parsed, to be read by serde.
///
/// `toml` has a deserializer of its own, but it stops at the first mistake and puts what it expected and what
/// it found into one sentence. This one tells each mistake where it is; [`super::Field`] then goes on.
#[derive(Clone, Copy)]
pub(crate) struct Node<'de, 'p> {
    value: &'de DeValue<'de>,
    byte: usize,
    end: usize,
    path: Path<'p>,
    mistakes: &'p Mistakes<'p>,
}

/// The keys from the root to a value; elements of lists have the path of their list.
#[derive(Clone, Copy)]
struct Path<'p> {
    parent: Option<&'p Path<'p>>,
    key: &'p str,
}

impl Path<'_> {
    const ROOT: Self = Self { parent: None, key: "" };
}

impl fmt::Display for Path<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(parent) = self.parent {
            parent.fmt(f)?;
            if parent.parent.is_some() {
                f.write_str(".")?;
            }
        }
        words::bare(self.key).fmt(f)
    }
}

/// Why reading ended.
#[derive(Debug)]
pub(crate) enum Wrong {
    /// This was expected; the node that the value is in has yet to tell.
    Expected(String),
    /// It has been told.
    Told,
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Expected(expected) => f.write_str(expected),
            Self::Told => f.write_str("told"),
        }
    }
}

impl std::error::Error for Wrong {}

impl Error for Wrong {
    fn custom<T: fmt::Display>(message: T) -> Self {
        Self::Expected(message.to_string())
    }

    fn invalid_type(_: Unexpected<'_>, expected: &dyn Expected) -> Self {
        Self::Expected(expected.to_string())
    }

    fn invalid_value(_: Unexpected<'_>, expected: &dyn Expected) -> Self {
        Self::Expected(expected.to_string())
    }
}

impl<'de, 'p> Node<'de, 'p> {
    /// The whole document.
    pub(crate) fn root(tree: &'de Spanned<DeValue<'de>>, mistakes: &'p Mistakes<'p>) -> Self {
        Self { value: tree.get_ref(), byte: 0, end: 0, path: Path::ROOT, mistakes }
    }

    fn tell(&self, wrong: Wrong) -> Wrong {
        if let Wrong::Expected(expected) = wrong {
            self.mistakes.tell(self.byte, self.path.to_string(), expected, words::value(self.value));
        }
        Wrong::Told
    }

    fn tell_unknown(&self, key: &Spanned<DeString<'_>>, fields: &'static [&'static str]) {
        let byte = key.span().start;
        if self.mistakes.is_full() {
            return self.mistakes.tell(byte, "", "", "");
        }
        let name = key.get_ref().as_ref();
        let path = Path { parent: Some(&self.path), key: name };
        let expected = match words::nearest(name, fields.iter().copied()) {
            Some(near) => format!("`{near}` or another known key"),
            None => {
                let known: Vec<_> = fields.iter().map(|f| format!("`{f}`")).collect();
                format!("one of the keys {}", words::one_of(&known))
            }
        };
        let mut found = words::code(name);
        if self.path.parent.is_none()
            && let Some((_, file)) = AT_THE_ROOT.iter().find(|(known, _)| *known == name)
        {
            found = format!("{found}, which belongs in {file}");
        }
        self.mistakes.tell(byte, path.to_string(), expected, found);
    }
}

/// The tables at the root of our files, for those who give one kind of file for the other.
const AT_THE_ROOT: [(&str, &str); 4] = [
    ("board", "a rig file"),
    ("wheel", "a rig file"),
    ("trim", "an aircraft file"),
    ("output", "an aircraft file"),
];

impl<'de> Deserializer<'de> for Node<'de, '_> {
    type Error = Wrong;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Wrong> {
        let other = |visitor: V| Err(Wrong::invalid_type(Unexpected::Other("value"), &visitor));
        match self.value {
            DeValue::String(text) => visitor.visit_borrowed_str(text),
            DeValue::Integer(number) => match i64::from_str_radix(number.as_str(), number.radix()) {
                Ok(number) => visitor.visit_i64(number),
                Err(_) => other(visitor),
            },
            DeValue::Float(number) => match number.as_str().parse() {
                Ok(number) => visitor.visit_f64(number),
                Err(_) => other(visitor),
            },
            DeValue::Boolean(flag) => visitor.visit_bool(*flag),
            DeValue::Datetime(_) => other(visitor),
            DeValue::Array(list) => visitor.visit_seq(Elements { rest: list.iter(), list: self }),
            DeValue::Table(table) => visitor.visit_map(Entries::new(table, self, None)),
        }
        .map_err(|wrong| self.tell(wrong))
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Wrong> {
        if is_spanned(name) {
            return visitor.visit_map(SpannedDeserializer::new(self, self.byte..self.end));
        }
        let DeValue::Table(table) = self.value else {
            return Err(self.tell(Wrong::custom("a table")));
        };
        for key in table.keys().filter(|key| !fields.contains(&key.get_ref().as_ref())) {
            self.tell_unknown(key, fields);
        }
        visitor.visit_map(Entries::new(table, self, Some(fields))).map_err(|wrong| self.tell(wrong))
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Wrong> {
        match self.value {
            DeValue::Array(_) => self.deserialize_any(visitor),
            _ => Err(self.tell(Wrong::custom("a list in square brackets"))),
        }
    }

    fn deserialize_map<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Wrong> {
        match self.value {
            DeValue::Table(_) => self.deserialize_any(visitor),
            _ => Err(self.tell(Wrong::custom("a table in braces"))),
        }
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        visitor: V,
    ) -> Result<V::Value, Wrong> {
        if name == TableList::<()>::NAME && !self.value.is_array() {
            return Err(self.tell(Wrong::custom(format_args!("[[{}]] in double brackets", self.path))));
        }
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Wrong> {
        visitor.visit_some(self)
    }

    forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf
        unit unit_struct tuple tuple_struct enum identifier ignored_any
    }
}

impl<'de> IntoDeserializer<'de, Wrong> for Node<'de, '_> {
    type Deserializer = Self;

    fn into_deserializer(self) -> Self {
        self
    }
}

struct Elements<'de, 'p> {
    rest: std::slice::Iter<'de, Spanned<DeValue<'de>>>,
    list: Node<'de, 'p>,
}

impl<'de> serde::de::SeqAccess<'de> for Elements<'de, '_> {
    type Error = Wrong;

    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, Wrong> {
        let Some(element) = self.rest.next() else { return Ok(None) };
        let node = Node {
            value: element.get_ref(),
            byte: element.span().start,
            end: element.span().end,
            ..self.list
        };
        seed.deserialize(node).map(Some)
    }
}

/// The entries of a table, those of `only` when it is a struct's.
struct Entries<'de, 'p> {
    rest: <&'de DeTable<'de> as IntoIterator>::IntoIter,
    value: Option<(&'de Spanned<DeString<'de>>, &'de Spanned<DeValue<'de>>)>,
    table: Node<'de, 'p>,
    only: Option<&'static [&'static str]>,
}

impl<'de, 'p> Entries<'de, 'p> {
    fn new(table: &'de DeTable<'de>, node: Node<'de, 'p>, only: Option<&'static [&'static str]>) -> Self {
        Self { rest: table.into_iter(), value: None, table: node, only }
    }
}

impl<'de> serde::de::MapAccess<'de> for Entries<'de, '_> {
    type Error = Wrong;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, Wrong> {
        let only = self.only;
        let wanted = |key: &str| only.is_none_or(|only| only.contains(&key));
        self.value = self.rest.by_ref().find(|(key, _)| wanted(key.get_ref()));
        match self.value {
            Some((key, _)) => seed.deserialize(EntryKey(key)).map(Some),
            None => Ok(None),
        }
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, Wrong> {
        let Some((key, value)) = self.value.take() else {
            return Err(Wrong::custom("a key before its value"));
        };
        let path = Path { parent: Some(&self.table.path), key: key.get_ref() };
        let span = value.span();
        seed.deserialize(Node {
            value: value.get_ref(),
            byte: span.start,
            end: span.end,
            path,
            mistakes: self.table.mistakes,
        })
    }
}

/// A key, as text or as text with its place.
struct EntryKey<'de>(&'de Spanned<DeString<'de>>);

impl<'de> Deserializer<'de> for EntryKey<'de> {
    type Error = Wrong;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Wrong> {
        visitor.visit_borrowed_str(self.0.get_ref())
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        _fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Wrong> {
        if is_spanned(name) {
            let text = BorrowedStrDeserializer::<Wrong>::new(self.0.get_ref());
            visitor.visit_map(SpannedDeserializer::new(text, self.0.span()))
        } else {
            self.deserialize_any(visitor)
        }
    }

    forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option
        unit unit_struct newtype_struct seq tuple tuple_struct map enum identifier ignored_any
    }
}
