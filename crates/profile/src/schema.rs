//! JSON Schemas of both kinds of file and the page of all keys, made from the structs that serde fills and
//! their doc comments. Tests only: what is made here is committed, and the program never needs it.
//!
//! `UPDATE_SCHEMA=1 cargo test -p tallywheel-profile schema` writes the files anew.

mod page;

use crate::aircraft::file::AircraftFile;
use crate::read::{Field, Setting, TableList, UserKey, Value};
use crate::rig::file::RigFile;
use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Map, Value as Json, json};
use std::borrow::Cow;
use std::fs;
use std::path::PathBuf;

/// The two kinds of file: the schema's name and the schema.
fn schemas() -> [(&'static str, Json); 2] {
    [("rig", schema::<RigFile>("Rig file")), ("aircraft", schema::<AircraftFile>("Aircraft file"))]
}

fn schema<F: JsonSchema>(title: &str) -> Json {
    let settings = SchemaSettings::draft07().with_transform(RecursiveTransform(as_toml));
    let mut schema = settings.into_generator().into_root_schema_for::<F>();
    as_toml(&mut schema);
    schema.insert("title".to_owned(), title.into());
    // The file that names its schema to an editor has that line as a comment, so it is no key.
    schema.to_value()
}

/// TOML has no null: a key that may be left out is only not required. Doc comments have their lines broken for
/// programmers.
fn as_toml(schema: &mut Schema) {
    let Some(object) = schema.as_object_mut() else { return };
    if let Some(Json::Array(types)) = object.get_mut("type") {
        types.retain(|each| each != "null");
        if let [only] = types.as_slice() {
            let only = only.clone();
            object.insert("type".to_owned(), only);
        }
    }
    if let Some(Json::Array(choices)) = object.get_mut("enum") {
        choices.retain(|choice| !choice.is_null());
    }
    if let Some(Json::Array(choices)) = object.get("anyOf")
        && let [Json::Object(only), Json::Object(null)] = choices.as_slice()
        && null.get("type") == Some(&json!("null"))
    {
        let only = only.clone();
        object.remove("anyOf");
        for (key, value) in only {
            object.entry(key).or_insert(value);
        }
    }
    if let Some(Json::String(text)) = object.get_mut("description") {
        *text =
            text.split("\n\n").map(|paragraph| paragraph.replace('\n', " ")).collect::<Vec<_>>().join("\n\n");
    }
    // What only Rust knows.
    object.remove("format");
    object.remove("default");
}

impl<T: JsonSchema> JsonSchema for Field<T> {
    fn inline_schema() -> bool {
        T::inline_schema()
    }

    fn schema_name() -> Cow<'static, str> {
        T::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        T::json_schema(generator)
    }
}

impl<T: Setting> JsonSchema for Value<T> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "Value".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let mut schema = T::schema();
        let object = schema.as_object_mut().filter(|object| !object.is_empty());
        let object = object.unwrap_or_else(|| panic!("a Setting needs its `schema`: {}", T::expected()));
        object.insert("$comment".to_owned(), T::expected().into());
        Schema::try_from(schema).unwrap()
    }
}

impl<T: JsonSchema> JsonSchema for TableList<T> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "Tables".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "array", "minItems": 1, "items": generator.subschema_for::<T>() })
    }
}

impl JsonSchema for UserKey {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "Key".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string" })
    }
}

/// Text without line breaks or blanks at its ends. The blanks are those of Unicode, written out because not
/// every validator's `\s` means them.
pub(crate) fn plain_text(shortest: usize, longest: usize) -> Json {
    const CONTROL: &str = r"\u0000-\u001f\u007f-\u009f";
    const BLANK: &str = r"\u0020\u00a0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000";
    let end = format!("[^{CONTROL}{BLANK}]");
    json!({
        "type": "string",
        "minLength": shortest,
        "maxLength": longest,
        "pattern": format!("^{end}([^{CONTROL}]*{end})?$"),
    })
}

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../config")
}

/// Writes what is to be committed, or tells where it is not what it would be.
fn committed(path: PathBuf, text: &str) {
    if std::env::var_os("UPDATE_SCHEMA").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, text).unwrap();
        return;
    }
    let found = fs::read_to_string(&path).unwrap_or_default();
    let name = path.file_name().unwrap().display().to_string();
    assert!(
        found == text,
        "{name} is not what the files' structs and their comments make; \
         run UPDATE_SCHEMA=1 cargo test -p tallywheel-profile schema"
    );
}

#[test]
fn the_committed_schemas_are_current() {
    for (kind, schema) in schemas() {
        let text = serde_json::to_string_pretty(&schema).unwrap() + "\n";
        committed(folder().join(format!("schema/{kind}.schema.json")), &text);
    }
}

#[test]
fn the_committed_page_of_keys_is_current() {
    committed(folder().join("KEYS.md"), &page::page(&schemas()));
}

/// Every key and every table says what it is for, and nothing is left without a type.
#[test]
fn nothing_is_without_words() {
    for (kind, schema) in schemas() {
        let tables = std::iter::once((kind, &schema)).chain(
            schema["definitions"].as_object().unwrap().iter().map(|(name, table)| (name.as_str(), table)),
        );
        for (name, table) in tables {
            let words =
                |schema: &Json| schema["description"].as_str().is_some_and(|text| text.ends_with(['.', '`']));
            assert!(words(table), "{kind}: {name}");
            assert_eq!(table["additionalProperties"], json!(false), "{name}");
            for (key, property) in table["properties"].as_object().unwrap_or(&Map::new()) {
                assert!(words(property), "{kind}: {name}: {key} {property}");
                assert!(
                    ["type", "enum", "anyOf", "$ref"].iter().any(|word| property.get(word).is_some()),
                    "{kind}: {name}: {key} {property}"
                );
            }
        }
    }
}
