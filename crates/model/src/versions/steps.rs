//! The steps from one version to the next, as data. Each has a name and a description that are shown
//! before it is applied.

use serde_json::Value;

use crate::edit::{Edit, token};

/// One step from one version to the next.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Its name, which never changes.
    pub name: &'static str,
    /// The version that it starts from.
    pub from: &'static str,
    /// The version that it results in.
    pub to: &'static str,
    /// What it does, in words.
    pub does: &'static str,
    /// Whether the document keeps all of its information.
    pub lossless: bool,
    change: Change,
}

/// `holder` is the path of the objects that change: keys, with `*` for every item of a list. An
/// empty path is the document itself.
#[derive(Clone, Copy, Debug)]
enum Change {
    /// A key gets another name and keeps its value.
    RenameKey { holder: &'static [&'static str], from: &'static str, to: &'static str },
    /// One value of a key is replaced by another.
    ReplaceValue {
        holder: &'static [&'static str],
        key: &'static str,
        from: &'static str,
        to: &'static str,
    },
}

/// All steps, in the order in which they are applied. Additions to the format need none.
pub const STEPS: &[Step] = &[
    Step {
        name: "counter-check-known",
        from: "0.1",
        to: "0.2",
        does: "renames \"true\" in a check of the counter to \"known\", since it is a distance and not a truth value",
        lossless: true,
        change: Change::RenameKey {
            holder: &["runs", "*", "counter", "checks", "*"],
            from: "true",
            to: "known",
        },
    },
    Step {
        name: "weather-recent-rain",
        from: "0.1",
        to: "0.2",
        does: "replaces the weather \"wet-ground\" with \"recent-rain\", its name in 0.2",
        lossless: true,
        change: Change::ReplaceValue {
            holder: &["runs", "*"],
            key: "weather",
            from: "wet-ground",
            to: "recent-rain",
        },
    },
    Step {
        name: "schema-address-0.2",
        from: "0.1",
        to: "0.2",
        does: "replaces the address of the schema of version 0.1 with that of version 0.2",
        lossless: true,
        change: Change::ReplaceValue {
            holder: &[],
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
        change: Change::ReplaceValue { holder: &[], key: "obvert", from: "0.1", to: "0.2" },
    },
];

impl Step {
    /// The edits that apply it to a document; none if there is nothing to change.
    #[must_use]
    pub fn edits(&self, document: &Value) -> Vec<Edit> {
        let mut edits = Vec::new();
        let (Change::RenameKey { holder, .. } | Change::ReplaceValue { holder, .. }) = self.change;
        for_each(document, holder, &mut String::new(), &mut |pointer, value| {
            edits.extend(self.change.edit(pointer, value));
        });
        edits
    }
}

impl Change {
    /// The edit on one of its holders, if it applies there.
    fn edit(self, pointer: &str, holder: &Value) -> Option<Edit> {
        let at = |key: &str| format!("{pointer}/{}", token(key));
        match self {
            Self::RenameKey { from, to, .. } => {
                holder.get(from).map(|_| Edit::relocate(at(from), at(to)))
            }
            Self::ReplaceValue { key, from, to, .. } => {
                holder.get(key).filter(|value| *value == from).map(|_| Edit::replace(at(key), to))
            }
        }
    }
}

/// Calls `work` with every value at a path and its pointer.
fn for_each(
    value: &Value,
    path: &[&str],
    pointer: &mut String,
    work: &mut impl FnMut(&str, &Value),
) {
    let Some((first, rest)) = path.split_first() else { return work(pointer, value) };
    let length = pointer.len();
    let mut below = |key: &str, value: &Value| {
        pointer.push('/');
        pointer.push_str(key);
        for_each(value, rest, pointer, work);
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
