//! The steps from one version to the next, as data: what each does is named, explained and shown
//! before it is done.

use serde_json::Value;

use crate::edit::{Edit, token};

/// One step from a version to the next.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Its name, which stays.
    pub name: &'static str,
    /// The version that it starts from.
    pub from: &'static str,
    /// The version that it leads to.
    pub to: &'static str,
    /// What it does, in words.
    pub does: &'static str,
    /// Whether everything that the document said is said afterwards.
    pub lossless: bool,
    change: Change,
}

#[derive(Clone, Copy, Debug)]
enum Change {
    /// Another key for the same value, in every object at a path; `*` stands for every item of a
    /// list.
    Rename { holder: &'static [&'static str], from: &'static str, to: &'static str },
    /// Another value where this one stands, at the top.
    Restate { key: &'static str, from: &'static str, to: &'static str },
}

/// All steps, in the order in which they are taken. What a version only adds needs none.
pub const STEPS: &[Step] = &[
    Step {
        name: "counter-check-known",
        from: "0.1",
        to: "0.2",
        does: "calls the distance that a check of the counter was held against \"known\"; it was called \"true\", which reads like a \
               truth value and is no name in most languages",
        lossless: true,
        change: Change::Rename {
            holder: &["runs", "*", "counter", "checks", "*"],
            from: "true",
            to: "known",
        },
    },
    Step {
        name: "schema-address-0.2",
        from: "0.1",
        to: "0.2",
        does: "gives the address of the schema of version 0.2, where that of 0.1 stood",
        lossless: true,
        change: Change::Restate {
            key: "$schema",
            from: "https://obvert.example/schema/0.1/document.schema.json",
            to: "https://obvert.example/schema/0.2/document.schema.json",
        },
    },
    Step {
        name: "version-0.2",
        from: "0.1",
        to: "0.2",
        does: "states version 0.2",
        lossless: true,
        change: Change::Restate { key: "obvert", from: "0.1", to: "0.2" },
    },
];

impl Step {
    /// What it changes in a document, as edits on it; none where there is nothing to change.
    #[must_use]
    pub fn edits(&self, document: &Value) -> Vec<Edit> {
        match self.change {
            Change::Rename { holder, from, to } => {
                let mut edits = Vec::new();
                each(document, holder, &mut String::new(), &mut |pointer, value| {
                    if value.get(from).is_some() {
                        edits.push(Edit::relocate(
                            format!("{pointer}/{}", token(from)),
                            format!("{pointer}/{}", token(to)),
                        ));
                    }
                });
                edits
            }
            Change::Restate { key, from, to } => match document.get(key) {
                Some(value) if value == from => vec![Edit::replace(format!("/{}", token(key)), to)],
                _ => Vec::new(),
            },
        }
    }
}

/// Calls `work` for every value at a path.
fn each(value: &Value, path: &[&str], pointer: &mut String, work: &mut impl FnMut(&str, &Value)) {
    let Some((first, rest)) = path.split_first() else { return work(pointer, value) };
    let length = pointer.len();
    let mut below = |key: &str, value: &Value| {
        pointer.push('/');
        pointer.push_str(key);
        each(value, rest, pointer, work);
        pointer.truncate(length);
    };
    match (*first, value) {
        ("*", Value::Array(items)) => {
            for (index, item) in items.iter().enumerate() {
                below(&index.to_string(), item);
            }
        }
        (key, Value::Object(entries)) => {
            if let Some(entry) = entries.get(key) {
                below(&token(key), entry);
            }
        }
        _ => {}
    }
}
