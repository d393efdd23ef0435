//! The page of all keys, from the schemas.

use serde_json::Value as Json;
use std::fmt::Write;

/// Markdown of both kinds of file.
pub(super) fn page(schemas: &[(&'static str, Json)]) -> String {
    let mut page = String::from(
        "# Every key of the files\n\n\
         Made from the same words as the [schemas](schema), with which an editor completes and checks the files \
         while you write. Do not edit it: `UPDATE_SCHEMA=1 cargo test -p tallywheel-profile schema` writes it.\n\n\
         **low** and **high**: low is the stop where turning backward ends: nose down, left, left wing down. High is \
         the other stop.\n",
    );
    for (kind, schema) in schemas {
        let title = if *kind == "rig" { "rig.toml" } else { "aircraft/*.toml" };
        write!(page, "\n## `{title}`\n\n{}\n", text(schema, "description")).unwrap();
        keys(&mut page, schema);
        tables(&mut page, schema, schema, "");
    }
    page
}

fn text<'j>(schema: &'j Json, key: &str) -> &'j str {
    schema[key].as_str().unwrap_or_default()
}

/// The keys of a table that are no tables themselves.
fn keys(page: &mut String, table: &Json) {
    let required =
        |key: &str| table["required"].as_array().is_some_and(|list| list.iter().any(|own| own == key));
    page.push('\n');
    for (key, property) in table["properties"].as_object().into_iter().flatten() {
        if item(property).is_some() {
            continue;
        }
        let need = if required(key) { "**must be there**; " } else { "" };
        writeln!(page, "- `{key}`: {need}{}. {}", kind(property), text(property, "description")).unwrap();
    }
}

fn tables(page: &mut String, root: &Json, table: &Json, path: &str) {
    for (key, property) in table["properties"].as_object().into_iter().flatten() {
        let Some(name) = item(property) else { continue };
        let item = &root["definitions"][name];
        let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
        write!(
            page,
            "\n### `[[{path}]]`\n\n{}\n\n{}\n",
            text(property, "description"),
            text(item, "description")
        )
        .unwrap();
        keys(page, item);
        tables(page, root, item, &path);
    }
}

/// The name of the table that a list is of.
fn item(property: &Json) -> Option<&str> {
    property["items"]["$ref"].as_str()?.rsplit('/').next()
}

/// What belongs at a key, in the words of the error messages.
fn kind(property: &Json) -> String {
    let own = text(property, "$comment");
    if !own.is_empty() {
        return own.to_owned();
    }
    if property["items"].is_object() {
        let items = &property["items"];
        return match items["items"].is_object() {
            true => format!("a list of lists of {}", kind(&items["items"])),
            false => format!("a list, each {}", kind(items)),
        };
    }
    match &property["additionalProperties"] {
        values if values.is_object() => format!("a table of your own keys, each with {}", kind(values)),
        _ => "a table".to_owned(),
    }
}
