//! Validates a value by the JSON Schema and translates the errors into the terms of the format.

use std::sync::OnceLock;

use jsonschema::error::ValidationErrorKind as Kind;
use serde_json::Value;

use super::diagnose::Subject;
use super::error::{Problem, ProblemKind};
use crate::edit;
use crate::synonyms::{nearest_key, nearest_value};
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
    let value = error.instance();
    if value.is_null() {
        let message = "the format has no null; leave the key out if the value is not known";
        return problems.push(Problem::new(ProblemKind::NullValue, at, message));
    }
    let problem = match error.kind() {
        Kind::AdditionalProperties { unexpected } | Kind::UnevaluatedProperties { unexpected } => {
            let object = schema.holder(&error.schema_path().to_string());
            problems.extend(unexpected.iter().map(|key| schema.unknown_key(object, &at, key)));
            return;
        }
        Kind::Enum { options } => {
            problems.extend(schema.unknown_word(at, value, options));
            return;
        }
        Kind::Required { property } => missing_key(at, property),
        Kind::Type { kind } => wrong_type(at, value, kind),
        Kind::Minimum { limit } => out_of_range(at, value, "below", limit),
        Kind::Maximum { limit } => out_of_range(at, value, "above", limit),
        Kind::MinLength { .. } => Problem::new(ProblemKind::EmptyText, at, EMPTY),
        Kind::Pattern { .. } if value.as_str() == Some("") => {
            Problem::new(ProblemKind::EmptyText, at, EMPTY)
        }
        Kind::Pattern { .. } => {
            let form = schema.form_at(&error.schema_path().to_string());
            Problem::new(ProblemKind::TextForm, at, format!("{} is not {form}", show(value)))
        }
        Kind::MinItems { .. } | Kind::MaxItems { .. } => {
            let message = format!(
                "a position is two numbers, easting or longitude first; found {}",
                show(value)
            );
            Problem::new(ProblemKind::WrongType, at, message)
        }
        Kind::MinProperties { .. } => {
            Problem::new(ProblemKind::MissingKey, at, "empty extensions; leave the key out")
        }
        Kind::PropertyNames { error } => not_a_domain_name(at, error.instance()),
        _ => Problem::new(ProblemKind::WrongType, at, error.to_string()),
    };
    problems.push(problem);
}

fn missing_key(at: String, key: &Value) -> Problem {
    let key = key.as_str().unwrap_or_default();
    let problem = Problem::new(ProblemKind::MissingKey, at, format!("the key {key:?} is missing"));
    Problem { key: Some(key.to_owned()), ..problem }
}

fn wrong_type(at: String, value: &Value, kind: &jsonschema::error::TypeKind) -> Problem {
    let expected = expected_type(kind);
    if expected == WHOLE_NUMBER && value.is_number() {
        let message = format!("{} is not a whole number", show(value));
        return Problem::new(ProblemKind::NumberRange, at, message);
    }
    let message = format!("expected {expected}, found {}: {}", type_name(value), show(value));
    Problem::new(ProblemKind::WrongType, at, message)
}

fn out_of_range(at: String, value: &Value, side: &str, limit: &Value) -> Problem {
    let message = format!("{} is {side} the limit of {limit}", show(value));
    Problem::new(ProblemKind::NumberRange, at, message)
}

fn not_a_domain_name(at: String, key: &Value) -> Problem {
    let message =
        format!("{} is not a reverse domain name, such as org.example.dispatch", show(key));
    let at = key.as_str().map_or_else(|| at.clone(), |key| child(&at, key));
    Problem::new(ProblemKind::TextForm, at, message)
}

const WHOLE_NUMBER: &str = "a whole number";

fn expected_type(kind: &jsonschema::error::TypeKind) -> String {
    let one = |name: &str| match name {
        "string" => "a text".to_owned(),
        "integer" => WHOLE_NUMBER.to_owned(),
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
    /// The problem of a key that is not among those of `object` in the schema.
    fn unknown_key(&self, object: Option<&'static Value>, at: &str, key: &str) -> Problem {
        if object.is_some_and(|object| object.get("patternProperties").is_some()) {
            let message = format!("{key:?} is not a language tag (BCP 47), such as en or pt-BR");
            return Problem::new(ProblemKind::TextForm, child(at, key), message);
        }
        let known = object.map(keys_of).unwrap_or_default();
        let suggestion = match self.subject {
            Subject::Document => nearest_key(at, key, &known),
            _ => nearest(key, known.iter().copied()),
        };
        let suggestion = suggestion.map(str::to_owned);
        let advice = match self.subject {
            Subject::Document | Subject::Document0_1 => "; move your own data to \"extensions\"",
            // Without a suggestion, list the keys that exist.
            _ if suggestion.is_none() => &format!("; known keys: {}", known.join(", ")),
            _ => "",
        };
        let message = format!("unknown key {key:?}{advice}");
        Problem { suggestion, ..Problem::new(ProblemKind::UnknownKey, child(at, key), message) }
    }

    /// The problem of a text that is not one of the words of an `enum`; `None` for a value that is
    /// not a text, whose type is reported separately.
    fn unknown_word(&self, at: String, value: &Value, options: &Value) -> Option<Problem> {
        let word = value.as_str()?;
        if word.is_empty() {
            return Some(Problem::new(ProblemKind::EmptyText, at, EMPTY));
        }
        let words: Vec<&str> =
            options.as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        let list = words.join(", ");
        if at == self.subject.version_pointer() {
            // Another version is not a spelling mistake, so there is no suggestion.
            let noun = self.subject.noun();
            let older = self.subject == Subject::Document && crate::versions::KNOWN.contains(&word);
            let advice = if older { "; obvert migrate brings a JSON document to it" } else { "" };
            let message = format!(
                "the {noun} is of version {word:?} of the format; this reader knows {list}{advice}"
            );
            return Some(Problem::new(ProblemKind::UnknownWord, at, message));
        }
        let suggestion = match self.subject {
            Subject::Document => nearest_value(&at, word, &words),
            _ => nearest(word, words.iter().copied()),
        };
        let suggestion = suggestion.map(str::to_owned);
        let message = format!("{word:?} is not one of: {list}");
        Some(Problem { suggestion, ..Problem::new(ProblemKind::UnknownWord, at, message) })
    }

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
