//! The JSON Schemas (2020-12), generated from the Rust types.
//!
//! ```
//! use obvert_model::schema;
//!
//! let document = schema::document();
//! assert_eq!(document["$id"], format!("{}document.schema.json", schema::BASE));
//! ```

use schemars::generate::SchemaSettings;
use schemars::transform::{RecursiveTransform, Transform};
use schemars::{JsonSchema, Schema};
use serde_json::Value;

use crate::tables::{Head, Run};

/// The base URI of the schemas of this version of the format. It need not resolve.
pub const BASE: &str = "https://obvert.example/schema/0.2/";

/// The XML namespace of this version of the format. It need not resolve.
pub const XML_NAMESPACE: &str = "https://obvert.example/ns/0.2";

/// The schema of a survey document.
#[must_use]
pub fn document() -> Value {
    /// A survey document of the obvert format.
    #[derive(serde::Serialize, JsonSchema)]
    #[schemars(deny_unknown_fields)]
    struct Document {
        #[serde(flatten)]
        head: Head,
        /// The runs of the camera, in any order. Written last.
        #[serde(skip_serializing_if = "Vec::is_empty", default)]
        runs: Vec<Run>,
    }
    of::<Document>(
        "document",
        "Obvert survey document",
        example(include_str!("../data/examples/document.json")),
    )
}

/// The schema of an id, with a comment that names its table by the dotted path.
pub(crate) fn id_of(table: &str) -> Schema {
    schemars::json_schema!({ "type": "string", "minLength": 1, "$comment": format!("{ID_OF}{table}") })
}

/// The start of the comment of an id, before the table.
pub(crate) const ID_OF: &str = "id of a row of ";

/// An embedded example for a schema.
pub(crate) fn example(text: &str) -> Vec<Value> {
    // A test checks that each is JSON and valid.
    serde_json::from_str(text).into_iter().collect()
}

/// The schema of one type, with an `$id` under [`BASE`] and valid examples. Other crates use it for
/// their documents, so that all schemas of the format are alike.
#[must_use]
pub fn of<T: JsonSchema>(name: &str, title: &str, examples: Vec<Value>) -> Value {
    let mut schema = SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<T>();
    RecursiveTransform(strict).transform(&mut schema);
    schema.insert("$id".into(), format!("{BASE}{name}.schema.json").into());
    schema.insert("title".into(), title.into());
    schema.insert("examples".into(), examples.into());
    let mut value = schema.to_value();
    // Put `$schema`, `$id` and the title first.
    if let Some(object) = value.as_object_mut() {
        let rest = std::mem::take(object);
        for key in ["$schema", "$id", "title", "description", "examples"] {
            if let Some(entry) = rest.get(key) {
                object.insert(key.to_owned(), entry.clone());
            }
        }
        for (key, entry) in rest {
            object.entry(key).or_insert(entry);
        }
    }
    value
}

/// Removes `null` and defaults, which serde adds for optional fields and the format does not have,
/// and makes patterns strict in Python, where `$` also matches before a final newline.
fn strict(schema: &mut Schema) {
    schema.remove("default");
    schema.remove("format");
    let Some(object) = schema.as_object_mut() else { return };
    if let Some(Value::Array(types)) = object.get_mut("type") {
        // If every type is allowed, so is `null`.
        if types.len() < 6 {
            types.retain(|name| name != "null");
        }
        if let [only] = types.as_slice() {
            let only = only.clone();
            object.insert("type".into(), only);
        }
    }
    if let Some(Value::Array(options)) = object.get_mut("anyOf") {
        options.retain(|option| option.get("type") != Some(&Value::from("null")));
        if let [Value::Object(only)] = options.as_slice() {
            let only = only.clone();
            object.remove("anyOf");
            for (key, entry) in only {
                object.entry(key).or_insert(entry);
            }
        }
    }
    if let Some(Value::String(pattern)) = object.get_mut("pattern") {
        if pattern.ends_with('$') {
            pattern.push_str(r"(?!\n)");
        }
    }
}

/// The schema of a vocabulary: its words, and what each means in the description.
pub(crate) fn vocabulary(description: &str, words: &[(&str, &str)]) -> Schema {
    let mut text = description.trim().to_owned();
    for (word, meaning) in words {
        text.push_str(&format!("\n- `{word}`: {}", meaning.trim()));
    }
    let words: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
    schemars::json_schema!({ "description": text, "type": "string", "enum": words })
}
