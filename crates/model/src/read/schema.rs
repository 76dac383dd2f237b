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

/// One for each subject, including the last.
const SUBJECTS: usize = Subject::Layout as usize + 1;

struct Schema {
    subject: Subject,
    value: &'static Value,
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
    static SCHEMAS: [OnceLock<Schema>; SUBJECTS] = [const { OnceLock::new() }; SUBJECTS];
    SCHEMAS[subject as usize].get_or_init(|| {
        let value = value(subject);
        // The schema is our own and covered by a test: it compiles.
        #[allow(clippy::expect_used)]
        let validator = jsonschema::validator_for(value).expect("the schema compiles");
        Schema { subject, value, validator }
    })
}

/// The schema of a subject.
pub(super) fn value(subject: Subject) -> &'static Value {
    static VALUES: [OnceLock<Value>; SUBJECTS] = [const { OnceLock::new() }; SUBJECTS];
    VALUES[subject as usize].get_or_init(|| match subject {
        Subject::Document => crate::schema::document(),
        Subject::Document0_1 => crate::versions::schema("0.1").unwrap_or_default(),
        Subject::CodeList => crate::lists::CodeList::schema(),
        Subject::GradeScheme => crate::lists::GradeScheme::schema(),
        Subject::Profile => crate::profile::Profile::schema(),
        Subject::Layout => crate::layout::Layout::schema(),
    })
}

pub(super) const EMPTY: &str = "empty text; leave the key out if the value is not known";

pub(super) fn child(pointer: &str, key: &str) -> String {
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
        return problems.push(null(at));
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
        Kind::Required { property } => missing_key(at, property.as_str().unwrap_or_default()),
        Kind::Type { kind } => wrong_type(at, value, &expected_type(kind)),
        Kind::Minimum { limit } => out_of_range(at, value, "below", limit),
        Kind::Maximum { limit } => out_of_range(at, value, "above", limit),
        Kind::MinLength { .. } => empty(at),
        Kind::Pattern { .. } if value.as_str() == Some("") => empty(at),
        Kind::Pattern { .. } => {
            wrong_form(at, value, schema.form_at(&error.schema_path().to_string()))
        }
        Kind::MinItems { .. } | Kind::MaxItems { .. } => no_position(at, value),
        Kind::MinProperties { .. } => bare_extensions(at),
        Kind::PropertyNames { error } => not_a_domain_name(at, error.instance()),
        _ => Problem::new(ProblemKind::WrongType, at, error.to_string()),
    };
    problems.push(problem);
}

pub(super) fn null(at: String) -> Problem {
    let message = "the format has no null; leave the key out if the value is not known";
    Problem::new(ProblemKind::NullValue, at, message)
}

pub(super) fn empty(at: String) -> Problem {
    Problem::new(ProblemKind::EmptyText, at, EMPTY)
}

pub(super) fn wrong_form(at: String, value: &Value, form: &str) -> Problem {
    Problem::new(ProblemKind::TextForm, at, format!("{} is not {form}", show(value)))
}

pub(super) fn no_position(at: String, value: &Value) -> Problem {
    let message =
        format!("a position is two numbers, easting or longitude first; found {}", show(value));
    Problem::new(ProblemKind::WrongType, at, message)
}

pub(super) fn bare_extensions(at: String) -> Problem {
    Problem::new(ProblemKind::MissingKey, at, "empty extensions; leave the key out")
}

pub(super) fn missing_key(at: String, key: &str) -> Problem {
    let problem = Problem::new(ProblemKind::MissingKey, at, format!("the key {key:?} is missing"));
    Problem { key: Some(key.to_owned()), ..problem }
}

pub(super) fn wrong_type(at: String, value: &Value, expected: &str) -> Problem {
    if expected == WHOLE_NUMBER && value.is_number() {
        let message = format!("{} is not a whole number", show(value));
        return Problem::new(ProblemKind::NumberRange, at, message);
    }
    let message = format!("expected {expected}, found {}: {}", type_name(value), show(value));
    Problem::new(ProblemKind::WrongType, at, message)
}

pub(super) fn out_of_range(at: String, value: &Value, side: &str, limit: &Value) -> Problem {
    let message = format!("{} is {side} the limit of {limit}", show(value));
    Problem::new(ProblemKind::NumberRange, at, message)
}

pub(super) fn not_a_domain_name(at: String, key: &Value) -> Problem {
    let message =
        format!("{} is not a reverse domain name, such as org.example.dispatch", show(key));
    let at = key.as_str().map_or_else(|| at.clone(), |key| child(&at, key));
    Problem::new(ProblemKind::TextForm, at, message)
}

const WHOLE_NUMBER: &str = "a whole number";

fn expected_type(kind: &jsonschema::error::TypeKind) -> String {
    match kind {
        jsonschema::error::TypeKind::Single(name) => expected_types([name.to_string().as_str()]),
        jsonschema::error::TypeKind::Multiple(names) => {
            let names: Vec<String> = names.into_iter().map(|name| name.to_string()).collect();
            expected_types(names.iter().map(String::as_str))
        }
    }
}

/// Types of JSON in words.
pub(super) fn expected_types<'n>(names: impl IntoIterator<Item = &'n str>) -> String {
    let word = |name: &'n str| match name {
        "string" => "a text",
        "integer" => WHOLE_NUMBER,
        "number" => "a number",
        "boolean" => "true or false",
        "array" => "a list",
        "object" => "an object",
        other => other,
    };
    names.into_iter().map(word).collect::<Vec<_>>().join(" or ")
}

/// The form of a text that the schema does not describe.
pub(super) const ANY_FORM: &str = "in the required form";

/// The problem of a text that is not one of the words of a vocabulary.
pub(super) fn not_a_word(
    at: String,
    word: &str,
    words: &[&str],
    suggestion: Option<&str>,
) -> Problem {
    let message = format!("{word:?} is not one of: {}", words.join(", "));
    let problem = Problem::new(ProblemKind::UnknownWord, at, message);
    Problem { suggestion: suggestion.map(str::to_owned), ..problem }
}

/// The problem of a key that a document does not have there. `at` is the pointer of the key.
pub(super) fn not_a_key(at: String, key: &str, suggestion: Option<&str>) -> Problem {
    let message = format!("unknown key {key:?}; move your own data to \"extensions\"");
    let problem = Problem::new(ProblemKind::UnknownKey, at, message);
    Problem { suggestion: suggestion.map(str::to_owned), ..problem }
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
        if matches!(self.subject, Subject::Document | Subject::Document0_1) {
            return not_a_key(child(at, key), key, suggestion);
        }
        let advice = match suggestion {
            // Without a suggestion, list the keys that exist.
            None => format!("; known keys: {}", known.join(", ")),
            Some(_) => String::new(),
        };
        let suggestion = suggestion.map(str::to_owned);
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
        if at == self.subject.version_pointer() {
            let list = words.join(", ");
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
        Some(not_a_word(at, word, &words, suggestion))
    }

    /// The schema object that holds the keyword at a schema path such as
    /// `/$defs/Pipe/additionalProperties`.
    fn holder(&'static self, schema_path: &str) -> Option<&'static Value> {
        let parent = schema_path.rsplit_once('/').map_or("", |(parent, _)| parent);
        let mut node = self.value;
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
        comment.unwrap_or(ANY_FORM)
    }
}

fn keys_of(object: &'static Value) -> Vec<&'static str> {
    let properties = object.get("properties").and_then(Value::as_object);
    properties.map(|properties| properties.keys().map(String::as_str).collect()).unwrap_or_default()
}
