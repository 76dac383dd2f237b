//! The JSON Schema of a survey as a tree of nodes, for a verifier that reads text.
//!
//! A node is one place of the format, so it knows its path, and advice for it can be kept. Only the
//! keywords that the schema of a survey uses are known; a test compares the verdicts with those of a
//! complete validator.

use std::sync::OnceLock;

use rustc_hash::FxHashMap;
use serde_json::Value;

use super::diagnose::Subject;
use super::fix::{FormTest, test_of};
use super::schema;

/// What the format allows at one place.
#[derive(Default)]
pub(super) struct Node {
    /// The path of keys, without rows: `runs.observations`.
    pub(super) path: String,
    /// The types of JSON that are allowed, as bits; 0 if all are.
    pub(super) types: u8,
    /// The allowed types in words.
    pub(super) expected: String,
    /// The words of a vocabulary.
    pub(super) words: Option<Vec<&'static str>>,
    pub(super) minimum: Option<(i64, &'static Value)>,
    pub(super) maximum: Option<(i64, &'static Value)>,
    /// Whether the empty text is refused.
    pub(super) not_empty: bool,
    /// The form of a text.
    pub(super) form: Option<Form>,
    /// How many items a list has.
    pub(super) items: Option<(u64, u64)>,
    /// The node of each item.
    pub(super) item: Option<usize>,
    /// Whether an object without keys is refused.
    pub(super) not_bare: bool,
    /// The form of keys.
    pub(super) key_form: Option<Form>,
    /// The keys, in the order of the format.
    pub(super) keys: Vec<&'static str>,
    /// The node of each key.
    pub(super) fields: FxHashMap<&'static str, usize>,
    /// The required keys, in the order of the schema.
    pub(super) required: Vec<&'static str>,
    /// Whether unknown keys are refused.
    pub(super) closed: bool,
    /// The node of the value of an unknown key.
    pub(super) other: Option<usize>,
}

/// A form of texts.
pub(super) struct Form {
    pub(super) test: FormTest,
    /// The form in words.
    pub(super) words: &'static str,
}

pub(super) const NULL: u8 = 1;
pub(super) const BOOLEAN: u8 = 2;
pub(super) const NUMBER: u8 = 4;
pub(super) const WHOLE: u8 = 8;
pub(super) const TEXT: u8 = 16;
pub(super) const LIST: u8 = 32;
pub(super) const OBJECT: u8 = 64;

/// The nodes of a survey.
pub(super) struct Nodes {
    all: Vec<Node>,
    /// The node of values that are not looked at.
    pub(super) anything: usize,
    /// The node of the rows of each table, by the path of the table.
    rows: FxHashMap<String, usize>,
    /// The node of an observation.
    pub(super) observation: usize,
}

impl Nodes {
    /// The nodes of the schema of this version.
    pub(super) fn of_survey() -> &'static Self {
        static NODES: OnceLock<Nodes> = OnceLock::new();
        NODES.get_or_init(|| {
            let root = schema::value(Subject::Document);
            let mut builder = Builder { root, all: Vec::new(), open: Vec::new() };
            builder.node(root, String::new());
            let anything = builder.all.len();
            builder.all.push(Node::default());
            let item = |node: &Node| Some((node.path.clone(), node.item?));
            let rows: FxHashMap<String, usize> = builder.all.iter().filter_map(item).collect();
            let observation = rows.get("runs.observations").copied().unwrap_or(anything);
            Self { all: builder.all, anything, rows, observation }
        })
    }

    pub(super) fn get(&self, node: usize) -> &Node {
        &self.all[node.min(self.anything)]
    }

    /// The node of the rows of a table, by its path: `pipes` or `runs.observations`.
    pub(super) fn row(&self, table: &str) -> Option<usize> {
        self.rows.get(table).copied()
    }
}

struct Builder {
    root: &'static Value,
    all: Vec<Node>,
    /// The definitions that are being built, with their nodes: any JSON contains itself.
    open: Vec<(&'static str, usize)>,
}

impl Builder {
    /// Adds the node of a schema.
    fn node(&mut self, schema: &'static Value, path: String) -> usize {
        let reference = schema.get("$ref").and_then(Value::as_str);
        if let Some(reference) = reference {
            if let Some((_, node)) = self.open.iter().find(|(open, _)| *open == reference) {
                return *node;
            }
            let target = reference.strip_prefix('#').and_then(|at| self.root.pointer(at));
            let Some(target) = target else { return usize::MAX };
            self.open.push((reference, self.all.len()));
            let node = self.node(target, path);
            self.open.pop();
            return node;
        }
        let index = self.all.len();
        self.all.push(Node::default());
        let mut node = leaf(schema, path);
        node.item = schema.get("items").map(|item| self.node(item, node.path.clone()));
        match schema.get("additionalProperties") {
            Some(Value::Bool(false)) => node.closed = true,
            Some(other) => node.other = Some(self.node(other, node.path.clone())),
            None => {}
        }
        let keys = schema.get("properties").and_then(Value::as_object);
        for (key, field) in keys.into_iter().flatten() {
            let path = match node.path.as_str() {
                "" => key.clone(),
                above => format!("{above}.{key}"),
            };
            node.keys.push(key);
            node.fields.insert(key, self.node(field, path));
        }
        self.all[index] = node;
        index
    }
}

/// A node without the nodes below it.
fn leaf(schema: &'static Value, path: String) -> Node {
    let limit = |key: &str| {
        let limit = schema.get(key)?;
        Some((limit.as_i64()?, limit))
    };
    let count = |key: &str| schema.get(key).and_then(Value::as_u64);
    let items = (count("minItems").unwrap_or(0), count("maxItems").unwrap_or(u64::MAX));
    let texts = |key: &str| {
        let texts = schema.get(key)?.as_array()?;
        Some(texts.iter().filter_map(Value::as_str).collect::<Vec<_>>())
    };
    let names: Vec<&str> = match schema.get("type") {
        Some(Value::String(name)) => vec![name],
        _ => texts("type").unwrap_or_default(),
    };
    Node {
        path,
        types: names.iter().map(|name| type_bit(name)).fold(0, |all, one| all | one),
        expected: schema::expected_types(names.iter().copied()),
        words: texts("enum"),
        minimum: limit("minimum"),
        maximum: limit("maximum"),
        not_empty: count("minLength").is_some_and(|least| least > 0),
        form: form_of(schema),
        items: (items != (0, u64::MAX)).then_some(items),
        not_bare: count("minProperties").is_some_and(|least| least > 0),
        key_form: schema.get("propertyNames").and_then(form_of),
        required: texts("required").unwrap_or_default(),
        ..Node::default()
    }
}

fn form_of(schema: &'static Value) -> Option<Form> {
    let words = schema.get("$comment").and_then(Value::as_str);
    let test = test_of(schema.get("pattern")?.as_str()?)?;
    Some(Form { test, words: words.unwrap_or(schema::ANY_FORM) })
}

fn type_bit(name: &str) -> u8 {
    match name {
        "null" => NULL,
        "boolean" => BOOLEAN,
        "number" => NUMBER | WHOLE,
        "integer" => WHOLE,
        "string" => TEXT,
        "array" => LIST,
        "object" => OBJECT,
        _ => 0,
    }
}
