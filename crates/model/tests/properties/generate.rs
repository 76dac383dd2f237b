//! Documents generated from the schema: every table and field, present or not, with values that
//! break readers.

use obvert_model::schema;
use proptest::prelude::*;
use proptest::strategy::Union;
use serde_json::{Map, Value, json};

/// A valid document, as JSON.
pub(crate) fn document() -> BoxedStrategy<Value> {
    document_of(&schema::document())
}

/// A document that is valid by the schema of some version.
pub(crate) fn document_of(root: &Value) -> BoxedStrategy<Value> {
    object(root, root).prop_map(with_ids_apart).boxed()
}

fn value(root: &Value, schema: &Value) -> BoxedStrategy<Value> {
    if let Some(name) = schema["$ref"].as_str().and_then(|path| path.strip_prefix("#/$defs/")) {
        return match name {
            "Extensions" => extensions().boxed(),
            _ => value(root, &root["$defs"][name]),
        };
    }
    if let Some(words) = schema["enum"].as_array() {
        return prop::sample::select(words.clone()).boxed();
    }
    if let Some(pattern) = schema["pattern"].as_str() {
        return form(pattern).prop_map(Value::from).boxed();
    }
    match schema["type"].as_str() {
        Some("object") => object(root, schema),
        Some("array") if schema["maxItems"] == 2 => {
            prop::collection::vec(number(), 2).prop_map(Value::from).boxed()
        }
        Some("array") => {
            prop::collection::vec(value(root, &schema["items"]), 0..3).prop_map(Value::from).boxed()
        }
        Some("number") => number().boxed(),
        Some("integer") => {
            let largest = schema["maximum"].as_u64().unwrap();
            // JSON does not distinguish 3 from 3.0.
            #[allow(clippy::cast_precision_loss)]
            let with_fraction = (0..=largest).prop_map(|whole| json!(whole as f64));
            prop_oneof![
                Just(json!(0)),
                Just(json!(largest)),
                (0..=largest).prop_map(|n| json!(n)),
                with_fraction
            ]
            .boxed()
        }
        Some("boolean") => any::<bool>().prop_map(Value::from).boxed(),
        Some("string") => {
            text().prop_filter("never empty", |text| !text.is_empty()).prop_map(Value::from).boxed()
        }
        other => panic!("the generator does not know {other:?}: {schema}"),
    }
}

fn object(root: &Value, schema: &Value) -> BoxedStrategy<Value> {
    let required = schema["required"].as_array().cloned().unwrap_or_default();
    let fields = schema["properties"].as_object().unwrap().iter().map(|(key, field)| {
        let entry = value(root, field);
        let must = required.iter().any(|name| name == key);
        let key = key.clone();
        let entry = entry.prop_map(move |entry| (key.clone(), entry));
        if must { entry.prop_map(Some).boxed() } else { prop::option::weighted(0.4, entry).boxed() }
    });
    fields
        .collect::<Vec<_>>()
        .prop_map(|entries| Value::Object(entries.into_iter().flatten().collect()))
        .boxed()
}

/// A text from a pattern in the schema.
pub(crate) fn form(pattern: &str) -> impl Strategy<Value = String> + use<> {
    // The generator has no anchors.
    let inner = pattern.trim_start_matches('^').trim_end_matches(r"(?!\n)").trim_end_matches('$');
    prop::string::string_regex(inner).unwrap()
}

/// Texts that break readers: escapes, line ends, characters beyond the first 65 536, unusual sort
/// order.
pub(crate) fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        3 => "[a-zA-Z0-9 .,-]{1,12}",
        2 => prop::collection::vec(
            prop::sample::select(vec![
                '"', '\\', '/', '\u{0}', '\u{1f}', '\n', '\r', '\t', '\u{8}', '\u{c}', '\u{7f}', '\u{80}', 'é',
                '\u{2028}', '\u{feff}', '\u{fb33}', '\u{fffd}', '\u{ffff}', '🚰', '\u{10ffff}', '~', '0', '<', '&', '='
            ]),
            1..6
        ).prop_map(String::from_iter),
        1 => any::<String>(),
    ]
}

/// Numbers that break readers and writers: the ends of the range, the smallest, minus zero, halves,
/// long fractions.
fn number() -> impl Strategy<Value = Value> {
    let special = prop::sample::select(vec![
        json!(0),
        json!(-0.0),
        json!(0.1),
        json!(1e-7),
        json!(5e-324),
        json!(f64::MIN_POSITIVE),
        json!(9_007_199_254_740_991_i64),
        json!(-9_007_199_254_740_991_i64),
        json!(9_007_199_254_740_991.0),
        json!(4_503_599_627_370_495.5),
        json!(0.300_000_000_000_000_04),
        json!(123_456.789),
    ]);
    prop_oneof![
        special,
        (-100_000..100_000_i64).prop_map(|n| json!(n)),
        (-1e6..1e6).prop_map(|n: f64| json!((n * 100.0).round() / 100.0)),
        // Of every magnitude within the range.
        (any::<f64>(), -330..16).prop_map(|(n, power)| json!(
            (n.to_bits() % 1_000_000) as f64 / 1e6 * 10f64.powi(power)
        )),
    ]
}

fn extensions() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        number(),
        Just(json!("")),
        text().prop_map(Value::from)
    ];
    let any_json = leaf.prop_recursive(4, 16, 4, |inner| {
        Union::new([
            prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from).boxed(),
            prop::collection::vec((prop_oneof![text(), Just(String::new())], inner), 0..4)
                .prop_map(|entries| Value::Object(entries.into_iter().collect()))
                .boxed(),
        ])
    });
    let key = "[a-z][a-z0-9-]{0,3}(\\.[a-z0-9][a-z0-9-]{0,3}){1,3}";
    prop::collection::vec((key, any_json), 1..3)
        .prop_map(|entries| Value::Object(entries.into_iter().collect()))
}

/// Ids are unique within their table, those of observations within their run.
fn with_ids_apart(mut document: Value) -> Value {
    fn table(rows: &mut Value) {
        let mut seen = std::collections::BTreeSet::new();
        for (index, row) in rows.as_array_mut().into_iter().flatten().enumerate() {
            let Some(row) = row.as_object_mut() else { continue };
            while row
                .get("id")
                .and_then(Value::as_str)
                .is_some_and(|id| !seen.insert(id.to_owned()))
            {
                let id = row["id"].as_str().unwrap_or_default();
                let apart = format!("{id}-{index}");
                row.insert("id".into(), apart.into());
            }
        }
    }
    let top: &mut Map<String, Value> = document.as_object_mut().unwrap();
    for rows in top.values_mut().filter(|rows| rows.is_array()) {
        table(rows);
    }
    for run in top.get_mut("runs").and_then(Value::as_array_mut).into_iter().flatten() {
        if let Some(rows) = run.get_mut("observations") {
            table(rows);
        }
    }
    document
}
