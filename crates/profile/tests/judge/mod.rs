//! Judges JSON by a JSON Schema, as far as our schemas go. An unknown keyword ends the test, so none is passed
//! over. A validator from a registry would bring forty crates with it; the test has one judge this one instead.

use regex::Regex;
use serde_json::{Map, Value as Json};
use std::collections::HashMap;

pub(crate) struct Judge {
    schema: Json,
    patterns: HashMap<String, Regex>,
}

impl Judge {
    pub(crate) fn new(schema: &Json) -> Self {
        let mut patterns = HashMap::new();
        collect(schema, &mut patterns);
        Self { schema: schema.clone(), patterns }
    }

    /// What is wrong and where; nothing for what is valid.
    pub(crate) fn errors(&self, instance: &Json) -> Vec<String> {
        let mut errors = Vec::new();
        self.judge(&self.schema, instance, "", &mut errors);
        errors
    }

    fn judge(&self, schema: &Json, instance: &Json, path: &str, errors: &mut Vec<String>) {
        let Json::Object(schema) = schema else {
            if *schema == Json::Bool(false) {
                errors.push(format!("{path} does not belong there"));
            }
            return;
        };
        // In draft 7 nothing beside a reference counts.
        if let Some(reference) = schema.get("$ref") {
            let name = reference.as_str().unwrap().strip_prefix("#/definitions/").unwrap();
            return self.judge(&self.schema["definitions"][name], instance, path, errors);
        }
        for (keyword, value) in schema {
            let good = match (keyword.as_str(), instance) {
                ("$schema" | "$comment" | "title" | "description" | "definitions", _) => true,
                ("type", _) => is_of(value.as_str().unwrap(), instance),
                ("enum", _) => value.as_array().unwrap().iter().any(|choice| same(choice, instance)),
                ("anyOf", _) => value.as_array().unwrap().iter().any(|choice| {
                    let mut own = Vec::new();
                    self.judge(choice, instance, path, &mut own);
                    own.is_empty()
                }),
                ("minimum", Json::Number(number)) => number.as_f64() >= value.as_f64(),
                ("maximum", Json::Number(number)) => number.as_f64() <= value.as_f64(),
                ("exclusiveMinimum", Json::Number(number)) => number.as_f64() > value.as_f64(),
                ("minLength", Json::String(text)) => text.chars().count() as u64 >= value.as_u64().unwrap(),
                ("maxLength", Json::String(text)) => text.chars().count() as u64 <= value.as_u64().unwrap(),
                ("pattern", Json::String(text)) => self.patterns[value.as_str().unwrap()].is_match(text),
                ("minItems", Json::Array(list)) => list.len() as u64 >= value.as_u64().unwrap(),
                ("maxItems", Json::Array(list)) => list.len() as u64 <= value.as_u64().unwrap(),
                ("items", Json::Array(list)) => {
                    for (place, item) in list.iter().enumerate() {
                        self.judge(value, item, &format!("{path}/{place}"), errors);
                    }
                    true
                }
                ("required", Json::Object(object)) => {
                    for key in value.as_array().unwrap().iter().map(|key| key.as_str().unwrap()) {
                        if !object.contains_key(key) {
                            errors.push(format!("{path}/{key} must be there"));
                        }
                    }
                    true
                }
                ("properties", Json::Object(object)) => {
                    for (key, property) in value.as_object().unwrap() {
                        if let Some(inner) = object.get(key) {
                            self.judge(property, inner, &format!("{path}/{key}"), errors);
                        }
                    }
                    true
                }
                ("additionalProperties", Json::Object(object)) => {
                    let known = schema.get("properties").and_then(Json::as_object);
                    for (key, inner) in
                        object.iter().filter(|(key, _)| !known.is_some_and(|known| known.contains_key(*key)))
                    {
                        self.judge(value, inner, &format!("{path}/{key}"), errors);
                    }
                    true
                }
                // What is about another type says nothing.
                ("minimum" | "maximum" | "exclusiveMinimum" | "minLength" | "maxLength" | "pattern", _)
                | (
                    "minItems" | "maxItems" | "items" | "required" | "properties" | "additionalProperties",
                    _,
                ) => true,
                (unknown, _) => panic!("the judge does not know {unknown}"),
            };
            if !good {
                errors.push(format!("{path} {instance} is not {keyword} {value}"));
            }
        }
    }
}

fn is_of(kind: &str, instance: &Json) -> bool {
    match kind {
        "object" => instance.is_object(),
        "array" => instance.is_array(),
        "string" => instance.is_string(),
        "boolean" => instance.is_boolean(),
        "number" => instance.is_number(),
        // 4.0 is an integer since draft 6.
        "integer" => instance.as_f64().is_some_and(|number| number.fract() == 0.0),
        _ => panic!("the judge does not know the type {kind}"),
    }
}

fn same(a: &Json, b: &Json) -> bool {
    match (a, b) {
        (Json::Number(a), Json::Number(b)) => a.as_f64() == b.as_f64(),
        _ => a == b,
    }
}

fn collect(schema: &Json, patterns: &mut HashMap<String, Regex>) {
    match schema {
        Json::Object(object) => {
            if let Some(pattern) = object.get("pattern").and_then(Json::as_str) {
                patterns.insert(pattern.to_owned(), Regex::new(pattern).unwrap());
            }
            each(object, patterns);
        }
        Json::Array(list) => list.iter().for_each(|inner| collect(inner, patterns)),
        _ => {}
    }
}

fn each(object: &Map<String, Json>, patterns: &mut HashMap<String, Regex>) {
    object.values().for_each(|inner| collect(inner, patterns));
}
