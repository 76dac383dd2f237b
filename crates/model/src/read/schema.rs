//! Validates a value by the JSON Schema and translates the errors into the terms of the format.

use std::sync::OnceLock;

use jsonschema::error::ValidationErrorKind as Kind;
use serde_json::Value;

use super::diagnose::Subject;
use super::error::{Problem, ProblemKind};
use crate::edit;
use crate::text::nearest;

/// Every problem that the schema of a subject finds in a value, without locations. A value can have
/// several of one kind.
pub(super) fn problems(value: &Value, subject: Subject) -> Vec<Problem> {
    let schema = schema(subject);
    let mut problems = Vec::new();
    for error in schema.validator.iter_errors(value) {
        translate(&error, schema, &mut problems);
    }
    problems
}

struct Schema {
    subject: Subject,
    value: Value,
    validator: jsonschema::Validator,
}

impl Subject {
    /// The key that states the version of the format.
    fn version_pointer(self) -> &'static str {
        match self {
            Self::Document | Self::Document0_1 => "/obvert",
            Self::CodeList => "/code_list",
            Self::GradeScheme => "/grade_scheme",
            Self::Profile => "/profile",
            Self::Layout => "/layout",
        }
    }

    fn noun(self) -> &'static str {
        match self {
            Self::Document | Self::Document0_1 => "document",
            Self::CodeList => "code list",
            Self::GradeScheme => "grade scheme",
            Self::Profile => "profile",
            Self::Layout => "layout",
        }
    }
}

fn schema(subject: Subject) -> &'static Schema {
    // One for each subject, including the last.
    const SUBJECTS: usize = Subject::Layout as usize + 1;
    static SCHEMAS: [OnceLock<Schema>; SUBJECTS] = [const { OnceLock::new() }; SUBJECTS];
    SCHEMAS[subject as usize].get_or_init(|| {
        let value = match subject {
            Subject::Document => crate::schema::document(),
            Subject::Document0_1 => crate::versions::schema("0.1").unwrap_or_default(),
            Subject::CodeList => crate::lists::CodeList::schema(),
            Subject::GradeScheme => crate::lists::GradeScheme::schema(),
            Subject::Profile => crate::profile::Profile::schema(),
            Subject::Layout => crate::layout::Layout::schema(),
        };
        // The schema is our own and covered by a test: it compiles.
        #[allow(clippy::expect_used)]
        let validator = jsonschema::validator_for(&value).expect("the schema compiles");
        Schema { subject, value, validator }
    })
}

const EMPTY: &str = "empty text; leave the key out if the value is not known";

fn child(pointer: &str, key: &str) -> String {
    format!("{pointer}/{}", edit::token(key))
}

fn show(value: &Value) -> String {
    let text = value.to_string();
    if text.chars().count() > 60 {
        format!("{}…", text.chars().take(60).collect::<String>())
    } else {
        text
    }
}

fn type_name(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a number",
        Value::String(_) => "a text",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}

fn translate(
    error: &jsonschema::ValidationError<'_>,
    schema: &'static Schema,
    problems: &mut Vec<Problem>,
) {
    let at = error.instance_path().to_string();
    let instance = error.instance();
    let mut add = |kind, pointer, message, suggestion| {
        problems.push(Problem { suggestion, ..Problem::new(kind, pointer, message) });
    };
    if instance.is_null() {
        let message =
            "the format has no null; leave the key out if the value is not known".to_owned();
        return add(ProblemKind::NullValue, at, message, None);
    }
    match error.kind() {
        Kind::AdditionalProperties { unexpected } | Kind::UnevaluatedProperties { unexpected } => {
            let object = schema.holder(&error.schema_path().to_string());
            let known = object.map(keys_of).unwrap_or_default();
            for key in unexpected {
                if object.is_some_and(|object| object.get("patternProperties").is_some()) {
                    let message =
                        format!("{key:?} is not a language tag (BCP 47), such as en or pt-BR");
                    add(ProblemKind::TextForm, child(&at, key), message, None);
                    continue;
                }
                let near = nearest(key, known.iter().copied()).map(str::to_owned);
                let own = match schema.subject {
                    Subject::Document | Subject::Document0_1 => {
                        "; move your own data to \"extensions\""
                    }
                    // Without a suggestion, list the keys that exist.
                    _ if near.is_none() => &format!("; known keys: {}", known.join(", ")),
                    _ => "",
                };
                let message = format!("unknown key {key:?}{own}");
                add(ProblemKind::UnknownKey, child(&at, key), message, near);
            }
        }
        Kind::Required { property } => {
            let key = property.as_str().unwrap_or_default();
            let message = format!("the key {key:?} is missing");
            problems.push(Problem {
                key: Some(key.to_owned()),
                ..Problem::new(ProblemKind::MissingKey, at, message)
            });
        }
        Kind::Type { kind } => {
            let wanted = expected_type(kind);
            let (kind, message) = if wanted.starts_with("a whole") && instance.is_number() {
                (ProblemKind::NumberRange, format!("{} is not a whole number", show(instance)))
            } else {
                (
                    ProblemKind::WrongType,
                    format!("expected {wanted}, found {}: {}", type_name(instance), show(instance)),
                )
            };
            add(kind, at, message, None);
        }
        Kind::Enum { options } => {
            let words: Vec<&str> =
                options.as_array().into_iter().flatten().filter_map(Value::as_str).collect();
            let list = words.join(", ");
            match instance.as_str() {
                Some("") => add(ProblemKind::EmptyText, at, EMPTY.to_owned(), None),
                // Another version is not a spelling mistake, so there is no suggestion.
                Some(version) if at == schema.subject.version_pointer() => {
                    let noun = schema.subject.noun();
                    let older = schema.subject == Subject::Document
                        && crate::versions::KNOWN.contains(&version);
                    let hint =
                        if older { "; obvert migrate brings a JSON document to it" } else { "" };
                    let message = format!(
                        "the {noun} is of version {version:?} of the format; this reader knows {list}{hint}"
                    );
                    add(ProblemKind::UnknownWord, at, message, None);
                }
                Some(word) => {
                    let near = nearest(word, words.iter().copied()).map(str::to_owned);
                    add(ProblemKind::UnknownWord, at, format!("{word:?} is not one of: {list}"), near);
                }
                // A wrong type is reported separately.
                None => {}
            }
        }
        Kind::Minimum { limit } | Kind::Maximum { limit } => {
            let side = if matches!(error.kind(), Kind::Minimum { .. }) { "below" } else { "above" };
            let message =
                format!("{} is {side} the limit of {limit}", show(instance));
            add(ProblemKind::NumberRange, at, message, None);
        }
        Kind::MinLength { .. } => add(ProblemKind::EmptyText, at, EMPTY.to_owned(), None),
        Kind::Pattern { .. } if instance.as_str() == Some("") => {
            add(ProblemKind::EmptyText, at, EMPTY.to_owned(), None);
        }
        Kind::Pattern { .. } => {
            let form = schema.form_at(&error.schema_path().to_string());
            add(ProblemKind::TextForm, at, format!("{} is not {form}", show(instance)), None);
        }
        Kind::MinItems { .. } | Kind::MaxItems { .. } => {
            let message = format!(
                "a position is two numbers, easting or longitude first; found {}",
                show(instance)
            );
            add(ProblemKind::WrongType, at, message, None);
        }
        Kind::MinProperties { .. } => {
            add(
                ProblemKind::MissingKey,
                at,
                "empty extensions; leave the key out".to_owned(),
                None,
            );
        }
        Kind::PropertyNames { error } => {
            let message = format!(
                "{} is not a reverse domain name, such as org.example.dispatch",
                show(error.instance())
            );
            let pointer =
                error.instance().as_str().map_or_else(|| at.clone(), |key| child(&at, key));
            add(ProblemKind::TextForm, pointer, message, None);
        }
        _ => add(ProblemKind::WrongType, at, error.to_string(), None),
    }
}

fn expected_type(kind: &jsonschema::error::TypeKind) -> String {
    let one = |name: &str| match name {
        "string" => "a text".to_owned(),
        "integer" => "a whole number".to_owned(),
        "number" => "a number".to_owned(),
        "boolean" => "true or false".to_owned(),
        "array" => "a list".to_owned(),
        "object" => "an object".to_owned(),
        other => other.to_owned(),
    };
    match kind {
        jsonschema::error::TypeKind::Single(name) => one(&name.to_string()),
        jsonschema::error::TypeKind::Multiple(names) => {
            names.into_iter().map(|name| one(&name.to_string())).collect::<Vec<_>>().join(" or ")
        }
    }
}

impl Schema {
    /// The schema object that holds the keyword at a schema path such as
    /// `/$defs/Pipe/additionalProperties`.
    fn holder(&'static self, schema_path: &str) -> Option<&'static Value> {
        let parent = schema_path.rsplit_once('/').map_or("", |(parent, _)| parent);
        let mut node = &self.value;
        for token in parent.split('/').skip(1) {
            // `$ref` is a separate step of the path.
            if token == "$ref" {
                node = self.value.pointer(node.get("$ref")?.as_str()?.strip_prefix('#')?)?;
            } else {
                let key = token.replace("~1", "/").replace("~0", "~");
                node = match node {
                    Value::Array(items) => items.get(key.parse::<usize>().ok()?)?,
                    _ => node.get(&key)?,
                };
            }
        }
        Some(node)
    }

    fn form_at(&'static self, schema_path: &str) -> &'static str {
        let comment = self.holder(schema_path).and_then(|node| node.get("$comment")?.as_str());
        comment.unwrap_or("in the required form")
    }
}

fn keys_of(object: &'static Value) -> Vec<&'static str> {
    let properties = object.get("properties").and_then(Value::as_object);
    properties.map(|properties| properties.keys().map(String::as_str).collect()).unwrap_or_default()
}
