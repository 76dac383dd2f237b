//! Ways of spoiling a document, each with the places of the schema that it applies to, and the
//! expected verdict.

use obvert_model::read::ProblemKind;
use serde_json::Value;

use super::tree::Tree;

/// The expected verdict of a reader.
#[derive(Clone, Copy)]
pub(crate) enum Verdict {
    /// Still a valid document.
    Valid,
    /// Refused with a problem of this kind, among others; the schema alone refuses it too.
    Refused(ProblemKind),
    /// Refused by a reader but not by the schema alone: with problems of this kind, or as ambiguous
    /// JSON.
    Beyond(Option<ProblemKind>),
    /// Any verdict of the reader.
    Any,
}

/// A place in a document, with its schema.
pub(crate) struct Place<'s> {
    /// The index of the node in the tree.
    pub index: usize,
    /// The field, such as `Pipe.height`; an item of a list is `Pipe.path[]`, the whole is
    /// `Document`.
    pub name: String,
    /// The schema of the place, references resolved.
    pub schema: &'s Value,
}

impl Place<'_> {
    fn is(&self, name: &str) -> bool {
        self.schema["type"] == name
    }

    fn is_object(&self) -> bool {
        self.schema["properties"].is_object()
    }

    fn is_extensions(&self) -> bool {
        self.schema["propertyNames"].is_object()
    }

    fn is_plain_text(&self) -> bool {
        self.is("string") && self.schema["enum"].is_null() && self.schema["pattern"].is_null()
    }

    fn requires(&self, key: &str) -> bool {
        self.schema["required"].as_array().into_iter().flatten().any(|name| name == key)
    }
}

type Spoil = fn(&mut Tree, &Place<'_>, &mut dyn FnMut(usize) -> usize) -> bool;

/// One way of spoiling a document.
pub(crate) struct Kind {
    pub name: &'static str,
    pub verdict: Verdict,
    /// Applies it to the node of a place, or returns false if it does not apply. The last argument
    /// draws a number below another.
    pub spoil: Spoil,
}

/// Every place of a document that the schema describes, so nothing inside extensions.
pub(crate) fn places<'s>(root: &'s Value, tree: &Tree) -> Vec<Place<'s>> {
    let mut found = Vec::new();
    walk(root, root, "Document".into(), tree, &mut 0, &mut found);
    found
}

fn walk<'s>(
    root: &'s Value,
    schema: &'s Value,
    name: String,
    tree: &Tree,
    index: &mut usize,
    found: &mut Vec<Place<'s>>,
) {
    let target = schema["$ref"].as_str().and_then(|path| path.strip_prefix("#/$defs/"));
    let schema = target.map_or(schema, |name| &root["$defs"][name]);
    let object = target.unwrap_or("Document");
    let place = Place { index: *index, name, schema };
    *index += 1;
    match tree {
        Tree::Token(_) | Tree::Text(_) => {}
        _ if place.is_extensions() => *index += tree.count() - 1,
        Tree::List(items) => {
            for item in items {
                walk(root, &schema["items"], format!("{}[]", place.name), item, index, found);
            }
        }
        Tree::Object(entries) => {
            for (key, value) in entries {
                walk(
                    root,
                    &schema["properties"][key],
                    format!("{object}.{key}"),
                    value,
                    index,
                    found,
                );
            }
        }
    }
    found.push(place);
}

fn token(text: &str) -> Tree {
    Tree::Token(text.into())
}

fn text(text: &str) -> Tree {
    Tree::Text(text.into())
}

/// A random one of several.
fn one<'t>(of: &[&'t str], choose: &mut dyn FnMut(usize) -> usize) -> &'t str {
    of[choose(of.len())]
}

fn entries(node: &mut Tree) -> &mut Vec<(String, Tree)> {
    match node {
        Tree::Object(entries) => entries,
        other => panic!("the schema has an object here: {other:?}"),
    }
}

/// Removes a required or an optional key.
fn without(
    node: &mut Tree,
    place: &Place<'_>,
    required: bool,
    choose: &mut dyn FnMut(usize) -> usize,
) -> bool {
    if !place.is_object() {
        return false;
    }
    let entries = entries(node);
    let which: Vec<usize> =
        (0..entries.len()).filter(|at| place.requires(&entries[*at].0) == required).collect();
    if which.is_empty() {
        return false;
    }
    entries.remove(which[choose(which.len())]);
    true
}

/// All ways. The validators print the names.
pub(crate) const KINDS: &[Kind] = &[
    Kind {
        name: "unknown-key",
        verdict: Verdict::Refused(ProblemKind::UnknownKey),
        spoil: |node, place, choose| {
            if !place.is_object() {
                return false;
            }
            let known: Vec<&String> =
                place.schema["properties"].as_object().unwrap().keys().collect();
            let near = known[choose(known.len())];
            let key = match choose(5) {
                0 => format!("{near}s"),
                1 => near.to_uppercase(),
                2 => format!(" {near}"),
                3 => String::new(),
                _ => "x".into(),
            };
            if known.contains(&&key) {
                return false;
            }
            entries(node).push((key, token("1")));
            true
        },
    },
    Kind {
        name: "key-of-elsewhere",
        verdict: Verdict::Refused(ProblemKind::UnknownKey),
        spoil: |node, place, choose| {
            let key = one(
                &["obvert", "upstream", "observations", "code", "sha256", "depth_to", "peak"],
                choose,
            );
            if !place.is_object() || !place.schema["properties"][key].is_null() {
                return false;
            }
            entries(node).push((key.into(), text("x")));
            true
        },
    },
    Kind {
        name: "missing-key",
        verdict: Verdict::Refused(ProblemKind::MissingKey),
        spoil: |node, place, choose| without(node, place, true, choose),
    },
    Kind {
        name: "null-value",
        verdict: Verdict::Refused(ProblemKind::NullValue),
        spoil: |node, _, _| {
            *node = token("null");
            true
        },
    },
    Kind {
        name: "another-type",
        verdict: Verdict::Refused(ProblemKind::WrongType),
        spoil: |node, place, choose| {
            let other = match choose(3) {
                0 if !place.is("boolean") => token("true"),
                1 if !place.is("string") => text("12"),
                _ if place.is("number") || place.is("integer") => text("7"),
                _ => token("7"),
            };
            *node = other;
            true
        },
    },
    Kind {
        name: "in-a-list",
        verdict: Verdict::Refused(ProblemKind::WrongType),
        spoil: |node, _, _| {
            *node = Tree::List(vec![node.clone()]);
            true
        },
    },
    Kind {
        name: "list-for-object",
        verdict: Verdict::Refused(ProblemKind::WrongType),
        spoil: |node, _, _| {
            let Tree::Object(entries) = node else { return false };
            *node = Tree::List(entries.iter().map(|(_, value)| value.clone()).collect());
            true
        },
    },
    Kind {
        name: "object-for-list",
        verdict: Verdict::Refused(ProblemKind::WrongType),
        spoil: |node, _, _| {
            let Tree::List(items) = node else { return false };
            *node = Tree::Object(
                items.iter().enumerate().map(|(at, item)| (at.to_string(), item.clone())).collect(),
            );
            true
        },
    },
    Kind {
        name: "empty-text",
        verdict: Verdict::Refused(ProblemKind::EmptyText),
        spoil: |node, place, _| {
            *node = text("");
            place.is("string")
        },
    },
    Kind {
        name: "unknown-word",
        verdict: Verdict::Refused(ProblemKind::UnknownWord),
        spoil: |node, place, choose| {
            let (Tree::Text(word), true) = (&mut *node, place.schema["enum"].is_array()) else {
                return false;
            };
            *word = match choose(5) {
                0 => format!("{word} "),
                1 => format!("{word}s"),
                2 => format!("{word}\n"),
                3 => one(&["9.9", "circuler", "null", "é"], choose).into(),
                _ => word.chars().skip(1).chain(word.chars().take(1)).collect(),
            };
            place.schema["enum"].as_array().unwrap().iter().all(|known| known != word.as_str())
                && !word.is_empty()
        },
    },
    Kind {
        name: "text-form",
        verdict: Verdict::Refused(ProblemKind::TextForm),
        spoil: |node, place, choose| {
            let (Tree::Text(text), true) = (&mut *node, place.schema["pattern"].is_string()) else {
                return false;
            };
            // No form has a blank, a line end, a letter beyond ASCII or a digit of another script.
            let (c, at) = (['\n', ' ', 'é', '٢', '\u{0}', '\u{2028}'][choose(6)], choose(3));
            *text = match at {
                0 => format!("{text}{c}"),
                1 => format!("{c}{text}"),
                _ => text.chars().take(2).chain([c]).chain(text.chars().skip(2)).collect(),
            };
            true
        },
    },
    Kind {
        name: "number-range",
        verdict: Verdict::Refused(ProblemKind::NumberRange),
        spoil: |node, place, choose| {
            let beyond = [
                "9007199254740992",
                "-9007199254740992",
                "9007199254740993.0",
                "1e16",
                "1e308",
                "-1e400",
            ];
            let number = match place.schema["maximum"].as_u64() {
                Some(_) if place.is("integer") && choose(2) == 0 => {
                    one(&["-1", "1.5", "1e-7", "-0.5"], choose)
                }
                Some(_) if place.is("integer") && place.schema["maximum"] == 9999 => {
                    one(&["10000", "1e4"], choose)
                }
                _ => one(&beyond, choose),
            };
            *node = token(number);
            place.is("number") || place.is("integer")
        },
    },
    Kind {
        name: "position-length",
        verdict: Verdict::Refused(ProblemKind::WrongType),
        spoil: |node, place, choose| {
            let (Tree::List(items), true) = (node, place.schema["maxItems"] == 2) else {
                return false;
            };
            match choose(3) {
                0 => drop(items.pop()),
                1 => items.clear(),
                _ => items.push(token("0")),
            }
            true
        },
    },
    Kind {
        name: "extension-key",
        verdict: Verdict::Refused(ProblemKind::TextForm),
        spoil: |node, place, choose| {
            if !place.is_extensions() {
                return false;
            }
            let key = one(
                &[
                    "truck",
                    "Org.example",
                    "org..example",
                    "org.example ",
                    "org.example\n",
                    "1.a",
                    "org.é",
                ],
                choose,
            );
            entries(node).push((key.into(), token("1")));
            true
        },
    },
    Kind {
        name: "extensions-empty",
        verdict: Verdict::Refused(ProblemKind::MissingKey),
        spoil: |node, place, _| {
            *node = Tree::Object(Vec::new());
            place.is_extensions()
        },
    },
    Kind {
        name: "extension-number",
        verdict: Verdict::Refused(ProblemKind::NumberRange),
        spoil: |node, place, choose| {
            if !place.is_extensions() {
                return false;
            }
            let number = token(one(&["9007199254740992", "-1e300", "1e400"], choose));
            let held = match choose(3) {
                0 => number,
                1 => Tree::List(vec![token("0"), number]),
                _ => Tree::Object(vec![(
                    "a".into(),
                    Tree::List(vec![Tree::Object(vec![(String::new(), number)])]),
                )]),
            };
            entries(node).push(("org.example.far".into(), held));
            true
        },
    },
    Kind {
        name: "extension-of-any-json",
        verdict: Verdict::Valid,
        spoil: |node, place, choose| {
            if !place.is_extensions() {
                return false;
            }
            let held = one(
                &[
                    "null",
                    "\"\"",
                    "[[], {}, null, false]",
                    r#"{"": {"runs": 7}}"#,
                    "-9007199254740991",
                ],
                choose,
            );
            entries(node).push(("org.example.any".into(), token(held)));
            true
        },
    },
    Kind {
        name: "optional-key-away",
        verdict: Verdict::Valid,
        spoil: |node, place, choose| without(node, place, false, choose),
    },
    Kind {
        name: "keys-reversed",
        verdict: Verdict::Valid,
        spoil: |node, place, _| {
            if !place.is_object() {
                return false;
            }
            entries(node).reverse();
            true
        },
    },
    Kind {
        name: "list-empty",
        verdict: Verdict::Valid,
        spoil: |node, place, _| {
            *node = Tree::List(Vec::new());
            place.is("array") && place.schema["minItems"].is_null()
        },
    },
    Kind {
        name: "number-spelling",
        verdict: Verdict::Valid,
        spoil: |node, place, choose| {
            let (Tree::Token(number), true) = (node, place.is("number") || place.is("integer"))
            else {
                return false;
            };
            if number.contains(['e', 'E']) {
                return false;
            }
            number.push_str(match choose(4) {
                0 if !number.contains('.') => ".0",
                1 => "E0",
                2 => "e-00",
                _ => "e+0",
            });
            true
        },
    },
    Kind {
        name: "duplicate-key",
        verdict: Verdict::Beyond(Some(ProblemKind::DuplicateKey)),
        spoil: |node, place, choose| {
            let Tree::Object(entries) = node else { return false };
            if entries.is_empty() || !(place.is_object() || place.is_extensions()) {
                return false;
            }
            entries.push(entries[choose(entries.len())].clone());
            true
        },
    },
    Kind {
        name: "duplicate-id",
        verdict: Verdict::Beyond(Some(ProblemKind::DuplicateId)),
        spoil: |node, place, choose| {
            let is_row = |item: &Tree| matches!(item, Tree::Object(entries) if entries.iter().any(|(key, _)| key == "id"));
            // Media of an observation have an id that is a reference.
            let (Tree::List(items), false) = (node, place.name == "Observation.media") else {
                return false;
            };
            if items.is_empty() || !items.iter().all(is_row) {
                return false;
            }
            items.push(items[choose(items.len())].clone());
            true
        },
    },
    Kind {
        name: "lone-surrogate",
        verdict: Verdict::Beyond(None),
        spoil: |node, place, choose| {
            *node = token(one(&[r#""\ud83d""#, r#""a\udebd""#, r#""\udebd\ud83d""#], choose));
            place.is_plain_text()
        },
    },
    Kind {
        name: "too-deep",
        verdict: Verdict::Beyond(None),
        spoil: |node, place, choose| {
            if !place.is_extensions() {
                return false;
            }
            let levels = 130 + choose(20);
            entries(node).push((
                "org.example.deep".into(),
                token(&("[".repeat(levels) + &"]".repeat(levels))),
            ));
            true
        },
    },
];
