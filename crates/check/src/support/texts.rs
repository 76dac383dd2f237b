//! The texts that people write in a document: ids, names and free text, found by the shape of the
//! format. Unusual texts are collected once for each part of a document, since several rules check
//! them.

use std::sync::OnceLock;

use obvert_model::probe::{Plan, See, Slot, Value};
use obvert_model::shape::{self, Field, ObjectShape, Shape};

use crate::report::document_order;
use crate::views::{Part, Subject};

/// Free texts that other rules check.
const CHECKED_ELSEWHERE: [&str; 8] = [
    "$schema",
    "coding.list",
    "coding.version",
    "grading.scheme",
    "grading.version",
    "media.file",
    "revises.id",
    "runs.observations.code",
];

/// A text with white space around it, control characters, or letters outside ASCII.
#[derive(Clone, Debug)]
pub(crate) struct UnusualText {
    pub(crate) text: String,
    pub(crate) subject: Subject,
}

/// The unusual texts of a part of a document.
pub(crate) fn unusual_texts(part: &Part<'_>) -> Vec<UnusualText> {
    let mut collector = Collector { part, row: Vec::new(), found: Vec::new() };
    let plan = &texts().plan;
    match part {
        Part::Head(survey) => plan.head(survey.head, &mut collector),
        Part::Run(view) => plan.run(view.run, view.index, &mut collector),
    }
    collector.found.sort_by_cached_key(|found| document_order(&found.subject.path));
    collector.found
}

/// The fields to check, and the end of the pointer of each.
struct Texts {
    plan: Plan,
    below: Vec<(Slot, String)>,
}

fn texts() -> &'static Texts {
    static TEXTS: OnceLock<Texts> = OnceLock::new();
    TEXTS.get_or_init(|| {
        let mut texts = Texts { plan: Plan::default(), below: Vec::new() };
        texts.add(shape::document(), &[], &[]);
        texts
    })
}

impl Texts {
    /// Adds the texts of an object. `table` is the path of its table, and `keys` the path from the row
    /// to the object.
    fn add(&mut self, object: &ObjectShape, table: &[String], keys: &[String]) {
        for field in &object.fields {
            let name = field.name.clone();
            let keys: Vec<String> = keys.iter().cloned().chain([name]).collect();
            let path: Vec<String> = table.iter().chain(&keys).cloned().collect();
            match &field.shape {
                Shape::Object(inside) => self.add(shape::object(inside), table, &keys),
                Shape::List(item) => {
                    if let Shape::Object(inside) = &**item {
                        self.add(shape::object(inside), &path, &[]);
                    }
                }
                _ if is_written(field, table, &path.join(".")) => {
                    let slot = self.plan.want(table, &keys);
                    self.below.push((slot, format!("/{}", keys.join("/"))));
                }
                _ => {}
            }
        }
    }
}

/// Whether people write the text of a field: free text, or the id of the row itself.
fn is_written(field: &Field, table: &[String], path: &str) -> bool {
    let own_id =
        field.name == "id" && field.id_of.as_ref().is_some_and(|of| *of == table.join("."));
    own_id || field.shape == Shape::Text && field.is_free() && !CHECKED_ELSEWHERE.contains(&path)
}

/// Whether a text is not plain printable ASCII, or has white space around it.
fn is_unusual(text: &str) -> bool {
    text.len() != text.trim().len() || !text.bytes().all(|byte| matches!(byte, b' '..=b'~'))
}

struct Collector<'p> {
    part: &'p Part<'p>,
    /// The unusual texts of the current rows.
    row: Vec<(Slot, String)>,
    found: Vec<UnusualText>,
}

impl See for Collector<'_> {
    fn field(&mut self, slot: Slot, value: Value<'_>) {
        if let Value::Text(text) = value {
            if is_unusual(text) {
                self.row.push((slot, text.to_owned()));
            }
        }
    }

    fn row(&mut self, table: usize, rows: &[usize]) {
        let texts = texts();
        // Rows inside a row come before it.
        let (row, outer): (Vec<_>, Vec<_>) =
            std::mem::take(&mut self.row).into_iter().partition(|(slot, _)| slot.table == table);
        self.row = outer;
        for (slot, text) in row {
            let mut subject = self.part.subject(texts.plan.name(table), rows);
            subject.path = texts.plan.pointer(table, rows);
            let below = texts.below.iter().find(|(of, _)| *of == slot);
            subject.path.push_str(below.map_or("", |(_, below)| below));
            self.found.push(UnusualText { text, subject });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exceptions_are_fields_of_the_format() {
        for path in CHECKED_ELSEWHERE {
            let keys: Vec<&str> = path.split('.').collect();
            assert!(shape::field(&keys).is_some(), "{path}");
        }
    }

    #[test]
    fn texts_come_from_the_shape() {
        let texts = texts();
        let paths: Vec<String> = texts
            .below
            .iter()
            .map(|(slot, below)| {
                format!("{}{}", texts.plan.name(slot.table).join("."), below.replace('/', "."))
            })
            .collect();
        for written in [
            ".id",
            ".vertical",
            "parties.name",
            "pipes.lining",
            "runs.counter.zero_text",
            "runs.observations.id",
        ] {
            assert!(paths.iter().any(|path| path == written), "{written}: {paths:?}");
        }
        for other in [
            "pipes.upstream",
            "runs.observations.media.id",
            "media.file",
            "runs.started",
            "parties.role",
        ] {
            assert!(!paths.iter().any(|path| path == other), "{other}");
        }
    }
}
