//! Fields by name: resolves `runs.counter.zero` to a field and the row that has it.

use crate::shape::{self, Field, ObjectShape, Shape};
use crate::synonyms::nearest_key;

texts! {
    /// A field, by its keys: `runs.operator`.
    pub FieldPath matches is_field_path, r"^[a-z][a-z0-9_]*(\.[a-z][a-z0-9_]*)*$", "a path of keys joined by points, such as runs.operator";
}

fn is_field_path(text: &str) -> bool {
    text.split('.').all(|key| {
        key.starts_with(|c: char| c.is_ascii_lowercase())
            && key.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_')
    })
}

/// The result of resolving a path.
#[derive(Clone, Debug, PartialEq)]
pub struct Resolved {
    /// The keys of the table whose rows have the field: `["runs", "observations"]`; none for the
    /// document itself.
    pub table: Vec<String>,
    /// The keys from the row to the field.
    pub keys: Vec<String>,
    /// The field.
    pub field: &'static Field,
    /// Whether the format requires it in every row.
    pub always: bool,
}

/// Why a path cannot be resolved.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct FieldPathError {
    /// What is wrong.
    pub message: String,
    /// The nearest path that exists.
    pub near: Option<String>,
}

impl FieldPath {
    /// The path of a field that the format has.
    pub(crate) fn of_field(path: &str) -> Self {
        Self(path.into())
    }

    /// Resolves the path from the document.
    ///
    /// # Errors
    /// If the format has no such field, or nothing can be demanded of it.
    pub fn resolve(&self) -> Result<Resolved, FieldPathError> {
        let keys: Vec<&str> = self.split('.').collect();
        let (fields, split) = walk(shape::document(), &keys, "the document")?;
        // Runs are read one at a time, so only their fields can be checked.
        if keys == ["runs"] {
            return Err(FieldPathError {
                message:
                    "nothing can be demanded of the list of runs itself; name a field of a run"
                        .to_owned(),
                near: None,
            });
        }
        Ok(resolved(&keys, &fields, split))
    }

    /// Resolves the path from a row of a table.
    ///
    /// # Errors
    /// If the row has no such field, or the field belongs to a table inside the row.
    pub fn resolve_in(&self, table: &[String]) -> Result<Resolved, FieldPathError> {
        let above: Vec<&str> = table.iter().map(String::as_str).collect();
        let row = match shape::field(&above).map(|field| item(&field.shape)) {
            Some(Shape::Object(name)) => shape::object(name),
            _ => shape::document(),
        };
        let keys: Vec<&str> = self.split('.').collect();
        let name = if above.is_empty() {
            "the document".to_owned()
        } else {
            format!("a row of {}", above.join("."))
        };
        let (fields, split) = walk(row, &keys, &name)?;
        if split > 0 || above.is_empty() && keys == ["runs"] {
            return Err(FieldPathError {
                message: format!(
                    "{self} is not a field of the row itself; a condition applies to one row only"
                ),
                near: None,
            });
        }
        let whole = resolved(&keys, &fields, 0);
        Ok(Resolved { table: table.to_vec(), ..whole })
    }
}

fn item(shape: &Shape) -> &Shape {
    match shape {
        Shape::List(inner) => item(inner),
        other => other,
    }
}

fn is_table(shape: &Shape) -> bool {
    matches!(shape, Shape::List(_)) && matches!(item(shape), Shape::Object(_))
}

/// The fields along a path, and how many of them precede the row of the last one.
fn walk(
    mut holder: &'static ObjectShape,
    keys: &[&str],
    start: &str,
) -> Result<(Vec<&'static Field>, usize), FieldPathError> {
    let mut fields: Vec<&'static Field> = Vec::new();
    let mut split = 0;
    for (index, key) in keys.iter().enumerate() {
        if fields.last().is_some_and(|field| is_table(&field.shape)) {
            split = index;
        }
        let Some(field) = holder.field(key) else {
            let before = keys[..index].join(".");
            let place = if before.is_empty() { start.to_owned() } else { before.clone() };
            let names: Vec<&str> = holder.fields.iter().map(|field| field.name.as_str()).collect();
            let near = nearest_key(&before, key, &names).map(str::to_owned);
            // A suggestion that would be refused is none.
            let near = near.and_then(|near| {
                let rest = [&[near.as_str()], &keys[index + 1..]].concat();
                match walk(holder, &rest, start) {
                    Ok(_) => Some(rest.join(".")),
                    Err(error) => error.near,
                }
            });
            let near = near.map(|rest| match before.is_empty() {
                true => rest,
                false => format!("{before}.{rest}"),
            });
            return Err(FieldPathError { message: format!("{place} has no field {key:?}"), near });
        };
        fields.push(field);
        holder = match item(&field.shape) {
            Shape::Object(name) => shape::object(name),
            _ => shape::object(""),
        };
    }
    Ok((fields, split))
}

fn resolved(keys: &[&str], fields: &[&'static Field], split: usize) -> Resolved {
    let owned = |keys: &[&str]| keys.iter().map(|key| (*key).to_owned()).collect();
    Resolved {
        table: owned(&keys[..split]),
        keys: owned(&keys[split..]),
        // A path has at least one key, and every key has a field.
        field: fields[fields.len() - 1],
        always: fields[split..].iter().all(|field| field.required),
    }
}
