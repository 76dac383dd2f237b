//! Fixes for structural problems: a word in the wrong case, a number in quotation marks, a `null`.
//! Nothing is guessed: an ambiguous value gets no fix, or one that a person must confirm.

use regex::Regex;
use serde_json::Value;

use super::error::{Problem, ProblemKind};
use crate::edit::{Edit, Fix};
use crate::shape::{self, Field, Shape};

/// Adds a fix to every problem of a document that has one.
pub(super) fn add_fixes(document: &Value, problems: &mut [Problem]) {
    // A fix for a duplicate key would remove one of the two values, and either can be right.
    let duplicates: Vec<String> = problems
        .iter()
        .filter(|problem| problem.kind == ProblemKind::DuplicateKey)
        .map(|problem| problem.pointer.clone())
        .collect();
    let clear = |pointer: &str| {
        let inside = |duplicate: &String| {
            pointer
                .strip_prefix(duplicate.as_str())
                .is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        };
        !duplicates.iter().any(inside)
    };
    for problem in problems.iter_mut().filter(|problem| clear(&problem.pointer)) {
        problem.fix = fix(document, problem);
    }
}

fn fix(document: &Value, problem: &Problem) -> Option<Fix> {
    let value = document.pointer(&problem.pointer)?;
    let (holder, _) = problem.pointer.rsplit_once('/')?;
    let keys = document.pointer(holder)?.as_object();
    let keys: Option<Vec<&str>> = keys.map(|keys| keys.keys().map(String::as_str).collect());
    of_value(value, keys.as_deref(), problem)
}

/// The fix for the problem of a value. `keys` are those of the object that has the value.
pub(super) fn of_value(value: &Value, keys: Option<&[&str]>, problem: &Problem) -> Option<Fix> {
    let pointer = problem.pointer.as_str();
    let (_, last) = pointer.rsplit_once('/')?;
    match problem.kind {
        ProblemKind::UnknownWord => {
            respelled(pointer, value.as_str()?, problem.suggestion.as_deref()?)
        }
        ProblemKind::UnknownKey => renamed_key(pointer, keys?, problem.suggestion.as_deref()?),
        ProblemKind::NullValue | ProblemKind::EmptyText => {
            let optional = keys.is_some() && field(pointer).is_some_and(|field| !field.required);
            optional.then(|| {
                Fix::safe(
                    format!("removes {last}, which has no value"),
                    vec![Edit::remove(pointer)],
                )
            })
        }
        ProblemKind::MissingKey => {
            let empty =
                last == "extensions" && value.as_object().is_some_and(serde_json::Map::is_empty);
            empty.then(|| Fix::safe("removes the empty extensions", vec![Edit::remove(pointer)]))
        }
        ProblemKind::WrongType => retyped(pointer, value),
        ProblemKind::TextForm => reformed(pointer, value.as_str()?),
        _ => None,
    }
}

/// Fixes the spelling of a key.
fn renamed_key(pointer: &str, keys: &[&str], meant: &str) -> Option<Fix> {
    let (holder, last) = pointer.rsplit_once('/')?;
    let key = last.replace("~1", "/").replace("~0", "~");
    // If a key occurs in two spellings, either can be right.
    let spellings = keys.iter().filter(|other| plain(other) == plain(&key)).count();
    if spellings != 1 {
        return None;
    }
    let safe = same_but_case(&key, meant);
    if !safe && plain(&key) != plain(meant) {
        return None;
    }
    let does = format!("writes the key {key:?} as {meant:?}");
    let renamed = format!("{holder}/{}", crate::edit::token(meant));
    Some(Fix { safe, does, edits: vec![Edit::relocate(pointer, renamed)] })
}

/// The field at a pointer into a document.
fn field(pointer: &str) -> Option<&'static Field> {
    let keys: Vec<&str> = pointer.split('/').skip(1).filter(|token| !is_index(token)).collect();
    shape::field(&keys)
}

/// The shape of the value at a pointer; for a list, of its items.
fn shape_at(pointer: &str) -> Option<&'static Shape> {
    let mut found = &field(pointer)?.shape;
    if pointer.rsplit('/').next().is_some_and(is_index) {
        let Shape::List(item) = found else { return None };
        found = item;
    }
    Some(found)
}

fn is_index(token: &str) -> bool {
    !token.is_empty() && token.bytes().all(|byte| byte.is_ascii_digit())
}

fn plain(text: &str) -> String {
    text.to_lowercase().replace(['-', '_', ' '], "")
}

fn same_but_case(text: &str, meant: &str) -> bool {
    text.trim().to_lowercase() == meant.to_lowercase()
}

fn respelled(pointer: &str, word: &str, meant: &str) -> Option<Fix> {
    let edits = vec![Edit::replace(pointer, meant)];
    if same_but_case(word, meant) {
        return Some(Fix::safe(format!("writes {word:?} as {meant:?}"), edits));
    }
    (plain(word) == plain(meant))
        .then(|| Fix::to_confirm(format!("{word:?} means {meant:?}"), edits))
}

/// Fixes a number or boolean written as a text, and a text written as a whole number.
fn retyped(pointer: &str, value: &Value) -> Option<Fix> {
    /// Above this, a number may differ from its spelling in the source.
    const LARGEST: u64 = 1_000_000_000_000_000;
    let shape = shape_at(pointer)?;
    let new = match (shape, value) {
        (Shape::Number | Shape::Whole, Value::String(text)) => {
            let number: Value = serde_json::from_str(text.trim()).ok()?;
            let small = number.as_f64().is_some_and(|number| number.abs() < 1e15);
            let whole = *shape != Shape::Whole || number.is_u64() || number.is_i64();
            Some(number).filter(|_| small && whole)?
        }
        (Shape::Bool, Value::String(text)) => match text.trim().to_lowercase().as_str() {
            "true" => Value::Bool(true),
            "false" => Value::Bool(false),
            _ => return None,
        },
        (Shape::Text, Value::Number(number)) => {
            // 1.10 would become 1.1, which is wrong for the number of a drawing.
            let number = number.as_u64().filter(|number| *number < LARGEST)?;
            Value::String(number.to_string())
        }
        _ => return None,
    };
    Some(Fix::safe(format!("writes {value} as {new}"), vec![Edit::replace(pointer, new)]))
}

/// Fixes a text that has its form in another case, without surrounding white space, or with the `T`
/// between date and time that RFC 3339 (5.6) allows people to omit.
fn reformed(pointer: &str, text: &str) -> Option<Fix> {
    let has_form = test_of(field(pointer)?.pattern.as_deref()?)?;
    let trimmed = text.trim();
    let mut fits: Vec<String> =
        [trimmed.to_owned(), trimmed.to_lowercase(), trimmed.to_uppercase()]
            .into_iter()
            .flat_map(|one| [with_t(&one), Some(one)])
            .flatten()
            .filter(|one| has_form(one))
            .collect();
    fits.sort_unstable();
    fits.dedup();
    // A text that only needs trimming keeps its case.
    let meant = match (fits.iter().find(|one| *one == trimmed), fits.as_slice()) {
        (Some(_), _) => trimmed,
        (None, [only]) => only,
        _ => return None,
    };
    Some(Fix::safe(format!("writes {text:?} as {meant:?}"), vec![Edit::replace(pointer, meant)]))
}

/// Whether a text has a form.
pub(super) type FormTest = Box<dyn Fn(&str) -> bool + Send + Sync>;

/// The test of a form, by its pattern. The typed readers' own tests are many times faster than
/// regular expressions.
pub(super) fn test_of(pattern: &str) -> Option<FormTest> {
    // Removes what the schema adds for other regular expression dialects.
    let pattern = pattern.trim_end_matches("(?!\\n)");
    if let Some((_, test)) = crate::text::FORMS.iter().find(|(known, _)| *known == pattern) {
        return Some(Box::new(test));
    }
    let pattern = Regex::new(pattern).ok()?;
    Some(Box::new(move |text| pattern.is_match(text)))
}

fn with_t(text: &str) -> Option<String> {
    let (date, time) = (text.get(..10)?, text.get(11..)?);
    (text.as_bytes()[10] == b' ').then(|| format!("{date}T{time}"))
}
