//! Documents for testing the converters: arbitrary ones for property tests, generated from the
//! shape of the format so that a new field is tested without a change here, and valid handwritten
//! ones with difficult values.
//!
//! References between tables are arbitrary: a document that refers to a missing pipe is well
//! formed, and a lossless converter keeps the reference.

// Every test file is a separate crate and uses only some of these functions.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used, clippy::panic)]

pub mod changes;

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::shape::{self, Field, ObjectShape, Shape};
use obvert_model::tables::Document;
use proptest::prelude::*;
use serde::Deserialize;
use serde_json::{Map, Value, json};

/// The document in its canonical layout, which serves to compare two documents.
pub fn canonical(document: &Document) -> String {
    obvert_model::write::to_string(document).unwrap()
}

/// Fails with a line diff unless the two documents are byte-for-byte equal.
#[track_caller]
pub fn assert_same(before: &Document, after: &Document) {
    let (before, after) = (canonical(before), canonical(after));
    if before != after {
        let first = before.lines().zip(after.lines()).position(|(a, b)| a != b).unwrap_or(0);
        let line = |text: &str| text.lines().nth(first).unwrap_or("(no such line)").to_owned();
        panic!(
            "line {} differs\n before: {:?}\n after:  {:?}",
            first + 1,
            line(&before),
            line(&after)
        );
    }
}

/// The document with this value, which must be valid.
#[track_caller]
pub fn document_of(value: Value) -> Document {
    match obvert_model::read::document(value.to_string().as_bytes()) {
        Ok(document) => document,
        Err(error) => panic!("{error}\n{value:#}"),
    }
}

/// The configuration of a property test: `cases`, unless `PROPTEST_CASES` sets another number.
pub fn cases(cases: u32) -> ProptestConfig {
    let asked = std::env::var("PROPTEST_CASES").ok().and_then(|text| text.parse().ok());
    ProptestConfig {
        cases: asked.unwrap_or(cases),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// Texts that a careless converter would change.
pub const NASTY_TEXTS: &[&str] = &[
    " ",
    "  two spaces before and behind  ",
    "\t",
    "\n",
    "\r",
    "\r\n",
    "a\rb\nc\r\nd\te",
    "ends with a line\n",
    "\nbegins with a line",
    "\"",
    "\"quoted\"",
    "'",
    "a,b;c\td|e",
    "\"a\"\"b\",\n\"c\"",
    "<a href=\"x\">&amp;</a>",
    "]]>",
    "<![CDATA[x]]>",
    "<!-- x -->",
    "&#13;",
    "007",
    "1",
    "-0",
    "1.50",
    "1e5",
    "+1",
    ".5",
    "0x10",
    "1,5",
    "NaN",
    "INF",
    "-Infinity",
    "true",
    "false",
    "TRUE",
    "null",
    "None",
    "NA",
    "#N/A",
    "=1+1",
    "=HYPERLINK(\"x\")",
    "@a",
    "-3+4",
    "'007",
    "''",
    "[]",
    "{}",
    "[\"a\"]",
    "\"\"",
    "\\",
    "\\n",
    "\\u0000",
    "\u{0}",
    "\u{1}\u{8}\u{b}\u{c}\u{1f}",
    "\u{7f}\u{80}\u{85}\u{9f}",
    "\u{a0}nbsp\u{a0}",
    "\u{2028}\u{2029}\u{3000}",
    "\u{feff}mark first",
    "\u{fffd}\u{fffe}\u{ffff}\u{fdd0}\u{1fffe}\u{10ffff}",
    "\u{200b}\u{202e}\u{ad}",
    "e\u{301} \u{e9}",
    "\u{1f6bd} \u{1f468}\u{200d}\u{1f527} \u{1f1e9}\u{1f1ea}",
    "\u{4e0b}\u{6c34}\u{9053} \u{443}\u{43b}\u{438}\u{446}\u{430} \u{645}",
    "2026-05-06",
    "2026-05-06T16:20:00-05:00",
    "a/b~c~0d~1e",
    "../../etc/passwd",
    "org.example.x",
    "$schema",
    "_x000D_",
    "%0D%0A",
];

/// Numbers that a careless converter would change.
pub const NASTY_NUMBERS: &[f64] = &[
    0.0,
    0.1,
    0.30000000000000004,
    1.0,
    -1.0,
    1.5,
    -0.3,
    12.40,
    100.0,
    1e15,
    1e16 / 3.0,
    9_007_199_254_740_991.0,
    -9_007_199_254_740_991.0,
    4_503_599_627_370_495.5,
    5e-324,
    2.2250738585072014e-308,
    1e-7,
    1.0 / 3.0,
    123_456.789_012_345_67,
    1e-300,
];

fn limit(object: &str, field: &str) -> u64 {
    let schema = obvert_model::schema::document();
    let holder = if object == "Document" { &schema } else { &schema["$defs"][object] };
    holder["properties"][field]["maximum"].as_u64().unwrap_or(255)
}

fn text() -> BoxedStrategy<String> {
    prop_oneof![
        4 => "[A-Za-z0-9][A-Za-z0-9 ._-]{0,11}",
        3 => prop::sample::select(NASTY_TEXTS).prop_map(str::to_owned),
        1 => prop::collection::vec(any::<char>(), 1..12).prop_map(|chars| chars.into_iter().collect::<String>()),
        1 => "[ \t\r\n\"',;=+@<>&\\\\\u{0}\u{1f}-]{1,8}",
    ]
    .boxed()
}

fn number() -> BoxedStrategy<Value> {
    prop_oneof![
        4 => (-100_000_i32..100_000).prop_map(|n| json!(f64::from(n) / 100.0)),
        2 => (0_u32..500).prop_map(|n| json!(n)),
        2 => prop::sample::select(NASTY_NUMBERS).prop_map(|n| json!(n)),
        1 => any::<f64>().prop_filter("finite and within 2^53 - 1", |n| n.abs() <= 9_007_199_254_740_991.0)
            .prop_map(|n| json!(n)),
    ]
    .boxed()
}

fn any_json() -> BoxedStrategy<Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::Bool),
        number(),
        text().prop_map(Value::String),
        Just(json!("")),
    ];
    leaf.prop_recursive(3, 12, 3, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..3).prop_map(Value::Array),
            prop::collection::btree_map(prop_oneof![text(), Just(String::new())], inner, 0..3)
                .prop_map(|entries| Value::Object(entries.into_iter().collect())),
        ]
    })
    .boxed()
}

/// Converts a pattern of the schema to the generator's dialect, which has no anchors or lookahead.
fn generator_pattern(pattern: &str) -> String {
    pattern.trim_start_matches('^').trim_end_matches(r"(?!\n)").trim_end_matches('$').to_owned()
}

fn value_of(holder: &str, field: &Field, shape: &Shape) -> BoxedStrategy<Value> {
    match shape {
        Shape::Object(name) => object(shape::object(name)),
        Shape::List(item) => {
            // A converter must return non-empty lists only, but may receive empty ones.
            prop::collection::vec(value_of(holder, field, item), 0..4)
                .prop_map(Value::Array)
                .boxed()
        }
        Shape::Word(words) => prop::sample::select(words.clone()).prop_map(Value::String).boxed(),
        Shape::Text => match &field.pattern {
            Some(pattern) => prop::string::string_regex(&generator_pattern(pattern))
                .expect("the schema's patterns are plain")
                .prop_map(Value::String)
                .boxed(),
            None => text().prop_map(Value::String).boxed(),
        },
        Shape::Number => number(),
        Shape::Whole => {
            let limit = limit(holder, &field.name);
            prop_oneof![0..=limit, Just(0), Just(limit), 0..=limit.min(9)]
                .prop_map(|n| json!(n))
                .boxed()
        }
        Shape::Bool => any::<bool>().prop_map(Value::Bool).boxed(),
        Shape::Position => (number(), number()).prop_map(|(x, y)| json!([x, y])).boxed(),
        Shape::Extensions => {
            let key = "[a-z][a-z0-9-]{0,3}(\\.[a-z0-9][a-z0-9-]{0,4}){1,2}";
            prop::collection::btree_map(key, any_json(), 1..3)
                .prop_map(|entries| Value::Object(entries.into_iter().collect()))
                .boxed()
        }
        other => panic!("a shape that the test documents do not know: {other:?}"),
    }
}

fn object(shape: &ObjectShape) -> BoxedStrategy<Value> {
    let fields: Vec<_> = shape
        .fields
        .iter()
        .map(|field| {
            let value = value_of(&shape.name, field, &field.shape);
            let share = match (&field.required, &field.shape) {
                (true, _) => 1.0,
                (_, Shape::Extensions) => 0.15,
                // The tables.
                (_, Shape::List(_)) if shape.name == "Document" => 0.7,
                _ => 0.4,
            };
            if share >= 1.0 {
                value.prop_map(Some).boxed()
            } else {
                prop::option::weighted(share, value).boxed()
            }
        })
        .collect();
    let names: Vec<String> = shape.fields.iter().map(|field| field.name.clone()).collect();
    fields
        .prop_map(move |values| {
            let present =
                names.iter().cloned().zip(values).filter_map(|(name, value)| Some((name, value?)));
            Value::Object(present.collect::<Map<_, _>>())
        })
        .boxed()
}

/// Makes ids unique within their table, since the generator sees only one row at a time.
fn unique_ids(rows: Option<&mut Value>) {
    let mut seen = BTreeSet::new();
    for row in rows.and_then(Value::as_array_mut).into_iter().flatten() {
        if let Some(Value::String(id)) = row.get_mut("id") {
            while !seen.insert(id.clone()) {
                id.push('+');
            }
        }
    }
}

/// Arbitrary valid documents as JSON values.
pub fn values() -> BoxedStrategy<Value> {
    object(shape::document())
        .prop_map(|mut value| {
            for field in &shape::document().fields {
                unique_ids(value.get_mut(&field.name));
            }
            for run in value.get_mut("runs").and_then(Value::as_array_mut).into_iter().flatten() {
                unique_ids(run.get_mut("observations"));
            }
            value
        })
        .boxed()
}

/// Arbitrary valid documents.
pub fn documents() -> BoxedStrategy<Document> {
    values()
        .prop_map(|value| {
            Document::deserialize(&value).expect("the generator makes valid documents")
        })
        .boxed()
}

/// The values of a minimal document, as a base for tests.
pub fn minimal() -> Value {
    json!({
        "obvert": "0.2",
        "id": "urn:uuid:7d0f7c1e-58a6-4d5b-9df2-6b8f0c7f4a11",
        "issued": "2026-05-06T16:20:00-05:00",
        "units": { "length": "ft", "section": "in" },
        "coding": { "list": "obvert-terms", "version": "1" }
    })
}

/// A document in which every field of the format occurs once; `nth` selects among words and texts.
pub fn full(nth: usize) -> Value {
    fn sample(field: &Field, shape: &Shape, nth: usize) -> Value {
        match shape {
            Shape::Object(name) => row(shape::object(name), nth),
            Shape::List(item) => {
                Value::Array((0..2).map(|more| sample(field, item, nth + more)).collect())
            }
            Shape::Word(words) => json!(words[nth % words.len()]),
            Shape::Text => match field.pattern.as_deref() {
                None => json!(format!("{} {nth}", field.name)),
                Some(pattern) => json!(sample_of(pattern)),
            },
            Shape::Number => json!(NASTY_NUMBERS[nth % NASTY_NUMBERS.len()]),
            Shape::Whole => json!(nth % 5),
            Shape::Bool => json!(nth.is_multiple_of(2)),
            Shape::Position => json!([1_234_567.25 + f64::from(u32::try_from(nth).unwrap()), -0.5]),
            Shape::Extensions => {
                json!({ "org.example.one": { "nth": nth, "text": "a\u{1}b", "none": null } })
            }
            other => panic!("a shape that the test documents do not know: {other:?}"),
        }
    }
    fn row(shape: &ObjectShape, nth: usize) -> Value {
        let fields =
            shape.fields.iter().map(|field| (field.name.clone(), sample(field, &field.shape, nth)));
        Value::Object(fields.collect())
    }
    /// A text that matches a pattern of the schema.
    fn sample_of(pattern: &str) -> &'static str {
        match pattern {
            p if p.contains("sha-256") => {
                "sha-256:7d793037a0760186574b0282f2f435e77d793037a0760186574b0282f2f435e7"
            }
            p if p.contains("{64}") => {
                "7d793037a0760186574b0282f2f435e77d793037a0760186574b0282f2f435e7"
            }
            p if p.contains('T') => "2026-05-06T09:31:00-05:00",
            p if p.contains("{4}-") => "2026-05-06",
            p if p.contains("]*/[") => "image/jpeg",
            p if p.contains("]*:[") => "EPSG:6594",
            p if p.contains("{2,8}") => "de-AT",
            p => panic!("no sample for the pattern {p}"),
        }
    }
    row(shape::document(), nth)
}

/// Valid documents with difficult values, each with a description of the difficulty.
pub fn difficult() -> Vec<(&'static str, Document)> {
    let with = |changes: Value| {
        let mut value = minimal();
        for (key, change) in changes.as_object().unwrap() {
            value[key] = change.clone();
        }
        document_of(value)
    };
    let texts: Vec<Value> = NASTY_TEXTS
        .iter()
        .map(|text| json!({ "id": text, "at": 1, "code": text, "characterisation": [text, "x", text], "remark": text }))
        .collect();
    let numbers: Vec<Value> = NASTY_NUMBERS
        .iter()
        .enumerate()
        .map(|(row, n)| json!({ "id": row.to_string(), "at": n, "code": "x", "quantities": [{ "value": n, "unit": "mm" }] }))
        .collect();
    let texts_as_keys: BTreeMap<&str, &str> =
        NASTY_TEXTS.iter().map(|text| (*text, *text)).collect();
    let mut deep = json!("bottom");
    for level in 0..40 {
        deep = if level % 2 == 0 { json!([deep]) } else { json!({ "": deep }) };
    }
    let run = |rows: Vec<Value>| json!([{ "id": "r", "pipe": "p", "direction": "upstream", "observations": rows }]);
    vec![
        ("required values only", document_of(minimal())),
        ("every field, first words", document_of(full(0))),
        ("every field, second words", document_of(full(1))),
        ("every field, other words", document_of(full(7))),
        (
            "empty lists",
            with(
                json!({ "parties": [], "runs": [], "pipes": [{ "id": "p", "upstream": "a", "path": [] }] }),
            ),
        ),
        ("a run without observations", with(json!({ "runs": run(vec![]) }))),
        (
            "texts that are easily changed",
            with(json!({ "$schema": "\u{1}$schema", "vertical": " ", "runs": run(texts) })),
        ),
        ("numbers that are easily changed", with(json!({ "runs": run(numbers) }))),
        (
            "extensions of every kind",
            with(json!({
                "extensions": {
                    "org.example.texts": texts_as_keys,
                    "org.example.deep": deep,
                    "org.example.null": null,
                    "org.example.false": false,
                    "org.example.empty": "",
                    "org.example.list": [],
                    "org.example.object": {},
                    "org.example.numbers": NASTY_NUMBERS,
                    "a.0-9": ["\u{fffe}\u{ffff}", { "\u{ffff}": "\r\n" }]
                }
            })),
        ),
        (
            "rows that differ in what they leave out",
            with(json!({
                "structures": [
                    { "id": "1", "kind": "manhole", "position": [0, 0] },
                    { "id": "01", "kind": "other", "kind_text": "a shaft\nof bricks" },
                    { "id": "1.0", "kind": "outfall", "position": [-97.5, 30.25], "depth": 0 }
                ],
                "pipes": [
                    { "id": "p1", "upstream": "1", "downstream": "01", "path": [[0, 0]] },
                    { "id": "p2", "upstream": "1", "joins": { "pipe": "p1", "clock": 3 }, "inverts": { "downstream": -0.5 } },
                    { "id": "p3", "upstream": "1", "path": [[0, 0], [0.1, 0.2], [1e-7, -3]] }
                ],
                "ratings": [{ "id": "g", "pipe": "p1", "aspect": "structural", "runs": ["r", "r"] }],
                "runs": [
                    { "id": "r", "pipe": "p1", "direction": "downstream", "equipment": ["a", "b", "a"],
                      "counter": { "zero": "pipe-end", "checks": [{ "reading": 1, "known": 1.1 }, { "reading": 2, "known": 2 }] } },
                    { "id": "R", "pipe": "p2", "direction": "upstream", "observations": [
                        { "id": "1", "at": 5, "code": "a", "continuous": false, "clock": {}, "grades": {} },
                        { "id": "2", "at": 3, "code": "b", "to": 1, "media": [{ "id": "m" }, { "id": "m", "offset": 0 }] }
                    ] }
                ]
            })),
        ),
    ]
}
