//! Ways of spoiling a document, each at the places of the schema where it can be done, and what a
//! reader has to say of it.

use obvert_model::read::ProblemKind;
use serde_json::Value;

use super::tree::Tree;

/// What a reader has to say.
#[derive(Clone, Copy)]
pub(crate) enum Verdict {
    /// It is a document all the same.
    Valid,
    /// Refused, with a problem of this kind among others; the schema alone refuses it too.
    Refused(ProblemKind),
    /// Refused by a reader, while the schema alone sees nothing: with problems of this kind, or as
    /// no JSON that can be relied on.
    Beyond(Option<ProblemKind>),
    /// Whatever the reader says is the measure.
    Any,
}

/// A place in a document, as the schema has it.
pub(crate) struct Spot<'s> {
    /// Which node of the tree.
    pub index: usize,
    /// The field, such as `Pipe.height`; an item of a list is `Pipe.path[]`, the whole is
    /// `Document`.
    pub name: String,
    /// The schema of the place, references resolved.
    pub schema: &'s Value,
}

impl Spot<'_> {
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

type Spoil = fn(&mut Tree, &Spot<'_>, &mut dyn FnMut(usize) -> usize) -> bool;

/// One way.
pub(crate) struct Kind {
    pub name: &'static str,
    pub verdict: Verdict,
    /// Does it to the node of a spot, or returns false where it cannot be done there. The last
    /// argument chooses a number below another.
    pub spoil: Spoil,
}

/// Every place of a document that the schema describes; what stands below extensions it does not.
pub(crate) fn spots<'s>(root: &'s Value, tree: &Tree) -> Vec<Spot<'s>> {
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
    found: &mut Vec<Spot<'s>>,
) {
    let target = schema["$ref"].as_str().and_then(|path| path.strip_prefix("#/$defs/"));
    let schema = target.map_or(schema, |name| &root["$defs"][name]);
    let object = target.unwrap_or("Document");
    let spot = Spot { index: *index, name, schema };
    *index += 1;
    match tree {
        Tree::Token(_) | Tree::Text(_) => {}
        _ if spot.is_extensions() => *index += tree.count() - 1,
        Tree::List(items) => {
            for item in items {
                walk(root, &schema["items"], format!("{}[]", spot.name), item, index, found);
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
    found.push(spot);
}

fn token(text: &str) -> Tree {
    Tree::Token(text.into())
}

fn text(text: &str) -> Tree {
    Tree::Text(text.into())
}

/// One of several, by chance.
fn one<'t>(of: &[&'t str], choose: &mut dyn FnMut(usize) -> usize) -> &'t str {
    of[choose(of.len())]
}

fn entries(node: &mut Tree) -> &mut Vec<(String, Tree)> {
    match node {
        Tree::Object(entries) => entries,
        other => panic!("the schema has an object here: {other:?}"),
    }
}

/// Takes a key away that is, or is not, required.
fn without(
    node: &mut Tree,
    spot: &Spot<'_>,
    required: bool,
    choose: &mut dyn FnMut(usize) -> usize,
) -> bool {
    if !spot.is_object() {
        return false;
    }
    let entries = entries(node);
    let which: Vec<usize> =
        (0..entries.len()).filter(|at| spot.requires(&entries[*at].0) == required).collect();
    if which.is_empty() {
        return false;
    }
    entries.remove(which[choose(which.len())]);
    true
}

/// All ways. The names stand in the output of the judges.
pub(crate) const KINDS: &[Kind] = &[
    Kind {
        name: "unknown-key",
        verdict: Verdict::Refused(ProblemKind::UnknownKey),
        spoil: |node, spot, choose| {
            if !spot.is_object() {
                return false;
            }
            let known: Vec<&String> =
                spot.schema["properties"].as_object().unwrap().keys().collect();
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
        spoil: |node, spot, choose| {
            let key = one(
                &["obvert", "upstream", "observations", "code", "sha256", "depth_to", "peak"],
                choose,
            );
            if !spot.is_object() || !spot.schema["properties"][key].is_null() {
                return false;
            }
            entries(node).push((key.into(), text("x")));
            true
        },
    },
    Kind {
        name: "missing-key",
        verdict: Verdict::Refused(ProblemKind::MissingKey),
        spoil: |node, spot, choose| without(node, spot, true, choose),
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
        spoil: |node, spot, choose| {
            let other = match choose(3) {
                0 if !spot.is("boolean") => token("true"),
                1 if !spot.is("string") => text("12"),
                _ if spot.is("number") || spot.is("integer") => text("7"),
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
        spoil: |node, spot, _| {
            *node = text("");
            spot.is("string")
        },
    },
    Kind {
        name: "unknown-word",
        verdict: Verdict::Refused(ProblemKind::UnknownWord),
        spoil: |node, spot, choose| {
            let (Tree::Text(word), true) = (&mut *node, spot.schema["enum"].is_array()) else {
                return false;
            };
            *word = match choose(5) {
                0 => format!("{word} "),
                1 => format!("{word}s"),
                2 => format!("{word}\n"),
                3 => one(&["9.9", "circuler", "null", "é"], choose).into(),
                _ => word.chars().skip(1).chain(word.chars().take(1)).collect(),
            };
            spot.schema["enum"].as_array().unwrap().iter().all(|known| known != word.as_str())
                && !word.is_empty()
        },
    },
    Kind {
        name: "text-form",
        verdict: Verdict::Refused(ProblemKind::TextForm),
        spoil: |node, spot, choose| {
            let (Tree::Text(text), true) = (&mut *node, spot.schema["pattern"].is_string()) else {
                return false;
            };
            // No form has a blank, a line end, a letter beyond ASCII or a digit of another script
            // anywhere.
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
        spoil: |node, spot, choose| {
            let beyond = [
                "9007199254740992",
                "-9007199254740992",
                "9007199254740993.0",
                "1e16",
                "1e308",
                "-1e400",
            ];
            let number = match spot.schema["maximum"].as_u64() {
                Some(_) if spot.is("integer") && choose(2) == 0 => {
                    one(&["-1", "1.5", "1e-7", "-0.5"], choose)
                }
                Some(_) if spot.is("integer") && spot.schema["maximum"] == 9999 => {
                    one(&["10000", "1e4"], choose)
                }
                _ => one(&beyond, choose),
            };
            *node = token(number);
            spot.is("number") || spot.is("integer")
        },
    },
    Kind {
        name: "position-length",
        verdict: Verdict::Refused(ProblemKind::WrongType),
        spoil: |node, spot, choose| {
            let (Tree::List(items), true) = (node, spot.schema["maxItems"] == 2) else {
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
        spoil: |node, spot, choose| {
            if !spot.is_extensions() {
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
        spoil: |node, spot, _| {
            *node = Tree::Object(Vec::new());
            spot.is_extensions()
        },
    },
    Kind {
        name: "extension-number",
        verdict: Verdict::Refused(ProblemKind::NumberRange),
        spoil: |node, spot, choose| {
            if !spot.is_extensions() {
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
        spoil: |node, spot, choose| {
            if !spot.is_extensions() {
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
        spoil: |node, spot, choose| without(node, spot, false, choose),
    },
    Kind {
        name: "keys-reversed",
        verdict: Verdict::Valid,
        spoil: |node, spot, _| {
            if !spot.is_object() {
                return false;
            }
            entries(node).reverse();
            true
        },
    },
    Kind {
        name: "list-empty",
        verdict: Verdict::Valid,
        spoil: |node, spot, _| {
            *node = Tree::List(Vec::new());
            spot.is("array") && spot.schema["minItems"].is_null()
        },
    },
    Kind {
        name: "number-spelling",
        verdict: Verdict::Valid,
        spoil: |node, spot, choose| {
            let (Tree::Token(number), true) = (node, spot.is("number") || spot.is("integer"))
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
        spoil: |node, spot, choose| {
            let Tree::Object(entries) = node else { return false };
            if entries.is_empty() || !(spot.is_object() || spot.is_extensions()) {
                return false;
            }
            entries.push(entries[choose(entries.len())].clone());
            true
        },
    },
    Kind {
        name: "duplicate-id",
        verdict: Verdict::Beyond(Some(ProblemKind::DuplicateId)),
        spoil: |node, spot, choose| {
            let is_row = |item: &Tree| matches!(item, Tree::Object(entries) if entries.iter().any(|(key, _)| key == "id"));
            // Media of an observation have an id that is a reference.
            let (Tree::List(items), false) = (node, spot.name == "Observation.media") else {
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
        spoil: |node, spot, choose| {
            *node = token(one(&[r#""\ud83d""#, r#""a\udebd""#, r#""\udebd\ud83d""#], choose));
            spot.is_plain_text()
        },
    },
    Kind {
        name: "too-deep",
        verdict: Verdict::Beyond(None),
        spoil: |node, spot, choose| {
            if !spot.is_extensions() {
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
