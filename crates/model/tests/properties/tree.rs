//! JSON as written in a file: duplicate keys, any order, any spelling of numbers, any escapes. A
//! source can have features that a value cannot.

use std::fmt::Write;

use serde_json::Value;

#[derive(Clone, Debug)]
pub(crate) enum Tree {
    /// Written as is: `null`, or a number in some spelling.
    Token(String),
    Text(String),
    List(Vec<Tree>),
    Object(Vec<(String, Tree)>),
}

impl Tree {
    pub(crate) fn of(value: &Value) -> Self {
        match value {
            Value::String(text) => Self::Text(text.clone()),
            Value::Array(items) => Self::List(items.iter().map(Self::of).collect()),
            Value::Object(entries) => {
                Self::Object(entries.iter().map(|(k, v)| (k.clone(), Self::of(v))).collect())
            }
            other => Self::Token(other.to_string()),
        }
    }

    pub(crate) fn count(&self) -> usize {
        1 + match self {
            Self::Token(_) | Self::Text(_) => 0,
            Self::List(items) => items.iter().map(Self::count).sum(),
            Self::Object(entries) => entries.iter().map(|(_, value)| value.count()).sum(),
        }
    }

    /// The node at an index in the order of the source; 0 is the root.
    pub(crate) fn node(&mut self, index: usize) -> Option<&mut Self> {
        fn find<'t>(tree: &'t mut Tree, left: &mut usize) -> Option<&'t mut Tree> {
            if *left == 0 {
                return Some(tree);
            }
            *left -= 1;
            match tree {
                Tree::Token(_) | Tree::Text(_) => None,
                Tree::List(items) => items.iter_mut().find_map(|item| find(item, left)),
                Tree::Object(entries) => {
                    entries.iter_mut().find_map(|(_, value)| find(value, left))
                }
            }
        }
        find(self, &mut { index })
    }

    /// Returns whether any object has a duplicate key.
    pub(crate) fn has_twin_keys(&self) -> bool {
        match self {
            Self::Token(_) | Self::Text(_) => false,
            Self::List(items) => items.iter().any(Self::has_twin_keys),
            Self::Object(entries) => {
                let mut keys: Vec<&str> = entries.iter().map(|(key, _)| key.as_str()).collect();
                keys.sort_unstable();
                keys.windows(2).any(|two| two[0] == two[1])
                    || entries.iter().any(|(_, value)| value.has_twin_keys())
            }
        }
    }

    /// The source. `escape` decides for each character whether to escape it without need.
    pub(crate) fn source(&self, escape: &mut impl FnMut() -> bool) -> String {
        let mut out = String::new();
        self.write(&mut out, escape);
        out
    }

    fn write(&self, out: &mut String, escape: &mut impl FnMut() -> bool) {
        match self {
            Self::Token(token) => out.push_str(token),
            Self::Text(text) => quote(text, out, escape),
            Self::List(items) => {
                out.push('[');
                for (index, item) in items.iter().enumerate() {
                    if index > 0 {
                        out.push_str(",\n");
                    }
                    item.write(out, escape);
                }
                out.push(']');
            }
            Self::Object(entries) => {
                out.push('{');
                for (index, (key, value)) in entries.iter().enumerate() {
                    if index > 0 {
                        out.push_str(", ");
                    }
                    quote(key, out, escape);
                    out.push_str(": ");
                    value.write(out, escape);
                }
                out.push_str(" }");
            }
        }
    }
}

fn quote(text: &str, out: &mut String, escape: &mut impl FnMut() -> bool) {
    out.push('"');
    for c in text.chars() {
        if c < ' ' || c == '"' || c == '\\' || escape() {
            for unit in c.encode_utf16(&mut [0; 2]) {
                let _ = write!(out, "\\u{unit:04X}");
            }
        } else {
            out.push(c);
        }
    }
    out.push('"');
}
