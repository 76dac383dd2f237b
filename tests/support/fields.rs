//! The tables of fields of the specification: for every field its value, range, number of times, meaning, an example and the
//! rules that guard it. Nothing of that is written down twice: what a value is comes from the schema, the example from a
//! document that has every field and is clean, the range from asking the checker, and the rules from their own examples.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::sync::OnceLock;

use obvert::check::{Checker, Report, Rule, Section, Settings, catalogue};
use obvert::model::shape::{self, Field, ObjectShape, Shape};
use serde_json::Value;

use super::support::read;

/// A field, by the name of its object and its key; the object itself with an empty key.
type Location = (String, String);

/// The document that has every field.
pub(crate) const EVERY_FIELD: &str = "tests/data/every-field.obvert.json";

/// The table of an object's fields, and below it that of the rules that guard them.
pub(crate) fn table(name: &str) -> String {
    let object = shape::object(name);
    assert!(!object.fields.is_empty(), "the format has no object {name}");
    let mut out = format!("| Key of {name} | Times | Value | Meaning | Example |\n|---|---|---|---|---|\n");
    for field in &object.fields {
        let (meaning, words) = meaning(field);
        let meaning = format!("{meaning}{words}").replace('|', "\\|");
        let (times, value) = (times(field), value(name, field));
        let example = example(name, field).map_or_else(String::new, |value| format!("`{value}`").replace('|', "\\|"));
        let _ = writeln!(out, "| `{}` | {times} | {value} | {meaning} | {example} |", field.name);
    }
    out + &rules(object)
}

/// Which rules guard which of an object's fields.
fn rules(object: &ObjectShape) -> String {
    let mut out = String::new();
    let keys = std::iter::once("").chain(object.fields.iter().map(|field| field.name.as_str()));
    for key in keys {
        let Some(rules) = guards().get(&(object.name.clone(), key.to_owned())) else { continue };
        if out.is_empty() {
            let _ = write!(out, "\n| Key of {} | Rules |\n|---|---|\n", object.name);
        }
        let what = if key.is_empty() { "*the object as a whole*".to_owned() } else { format!("`{key}`") };
        let links: Vec<String> = rules.iter().map(|rule| format!("[`{rule}`](rules.md#{rule})")).collect();
        let _ = writeln!(out, "| {what} | {} |", links.join(", "));
    }
    out
}

fn meaning(field: &Field) -> (String, String) {
    let (first, words) = field
        .description
        .split_once("\n- ")
        .map_or((field.description.as_str(), None), |(first, rest)| (first, Some(rest)));
    let words: String = words.into_iter().flat_map(|words| words.split("\n- ")).fold(String::new(), |mut all, word| {
        let _ = write!(all, " {}", word.replace('\n', " "));
        all
    });
    (first.replace('\n', " ").trim().to_owned(), words)
}

fn times(field: &Field) -> &'static str {
    match (field.required, &field.shape) {
        (true, _) => "1",
        (false, Shape::List(_)) => "0..n",
        (false, _) => "0..1",
    }
}

fn value(object: &str, field: &Field) -> String {
    let kind = match &field.shape {
        Shape::List(item) => format!("list of {}", kind(item)),
        // What the words mean stands beside them.
        Shape::Word(_) if field.description.contains("\n- ") => "one of the words beside".into(),
        shape => kind(shape),
    };
    let form = field.form.as_ref().map(|form| format!(": {form}"));
    let bounds = field.bounds.map(|[least, most]| format!(", {least} to {most}"));
    let unit = field.unit.as_ref().map(|unit| format!(", {unit}"));
    let range = range(object, field).map(|range| format!(", {range}"));
    let parts = [form, bounds, unit, range];
    kind + &parts.into_iter().flatten().collect::<String>()
}

fn kind(shape: &Shape) -> String {
    match shape {
        Shape::Object(name) => format!("object {name}"),
        Shape::List(item) => format!("list of {}", kind(item)),
        Shape::Text => "text".into(),
        Shape::Word(words) => words.iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", "),
        Shape::Number => "number".into(),
        Shape::Whole => "whole number".into(),
        Shape::Bool => "true or false".into(),
        Shape::Single => "text, number, or true or false".into(),
        Shape::Position => "[x, y]".into(),
        Shape::Extensions => "[extensions](extensions.md)".into(),
        Shape::Labels => "texts by language tag".into(),
        _ => "any".into(),
    }
}

/// An example of a field that is no object itself.
fn example(object: &str, field: &Field) -> Option<String> {
    let holds_objects = match &field.shape {
        Shape::Object(_) => true,
        Shape::List(item) => matches!(**item, Shape::Object(_)),
        _ => false,
    };
    if holds_objects {
        return None;
    }
    let place = (object.to_owned(), field.name.clone());
    let (_, found) = places().get(&place).or_else(|| places_beside().get(&place))?;
    Some(found.to_string())
}

/// The first place of every field in a document, and what stands there.
fn places() -> &'static BTreeMap<Location, (String, Value)> {
    static PLACES: OnceLock<BTreeMap<Location, (String, Value)>> = OnceLock::new();
    PLACES.get_or_init(|| {
        let document: Value = serde_json::from_str(&read(EVERY_FIELD)).expect("json");
        let mut found = BTreeMap::new();
        collect(shape::document(), &document, "", &mut found);
        found
    })
}

/// The first place of every field of what stands beside a document.
fn places_beside() -> &'static BTreeMap<Location, (String, Value)> {
    static PLACES: OnceLock<BTreeMap<Location, (String, Value)>> = OnceLock::new();
    PLACES.get_or_init(|| {
        let mut found = BTreeMap::new();
        for (object, path) in [
            (shape::profile(), "examples/profiles/larkmoor-water.profile.json"),
            (shape::profile(), "examples/profiles/morvelde-drainage.profile.json"),
            (shape::profile(), "examples/profiles/house-drain-sale.profile.json"),
            (shape::code_list(), "schema/obvert-terms.json"),
            (shape::code_list(), "schema/en-13508-2.json"),
            (shape::grade_scheme(), "schema/obvert-grades.json"),
        ] {
            let value: Value = serde_json::from_str(&read(path)).expect("json");
            collect(object, &value, "", &mut found);
        }
        found
    })
}

fn collect(object: &ObjectShape, value: &Value, at: &str, found: &mut BTreeMap<Location, (String, Value)>) {
    for (key, value) in value.as_object().into_iter().flatten() {
        let Some(field) = object.field(key) else { continue };
        let at = format!("{at}/{key}");
        collect_in(&field.shape, value, &at, found);
        found.entry((object.name.clone(), key.clone())).or_insert((at, value.clone()));
    }
}

fn collect_in(shape: &Shape, value: &Value, at: &str, found: &mut BTreeMap<Location, (String, Value)>) {
    match (shape, value) {
        (Shape::Object(name), value) => collect(shape::object(name), value, at, found),
        (Shape::List(item), Value::Array(items)) => {
            for (index, value) in items.iter().enumerate() {
                collect_in(item, value, &format!("{at}/{index}"), found);
            }
        }
        _ => {}
    }
}

/// Fields of the format that no example has: there are none.
pub(crate) fn without_example() -> Vec<String> {
    let fields = shape::objects().flat_map(|object| object.fields.iter().map(move |field| (object, field)));
    let lacks = |(object, field): &(&ObjectShape, &Field)| {
        !places().contains_key(&(object.name.clone(), field.name.clone())) && object.name != "Document"
            || object.name == "Document" && !places().contains_key(&("Document".into(), field.name.clone()))
    };
    fields.filter(lacks).map(|(object, field)| format!("{}.{}", object.name, field.name)).collect()
}

/// Ranges that a number can have, with numbers inside and outside.
const RANGES: [(&str, &[f64], &[f64]); 3] = [
    ("above 0", &[0.001, 1.0], &[0.0, -0.001, -1.0]),
    ("0 or more", &[0.0, 0.001, 1.0], &[-0.001, -1.0]),
    ("1 to 12.5 in steps of 0.5", &[1.0, 1.5, 12.0, 12.5], &[0.0, 0.5, 1.25, 12.75, 13.0, -1.0]),
];

/// The range that the checker keeps a number to, found by asking it: whether one of the rules about impossible numbers speaks up
/// at that very place.
fn range(object: &str, field: &Field) -> Option<&'static str> {
    if field.shape != Shape::Number {
        return None;
    }
    let (pointer, _) = places().get(&(object.to_owned(), field.name.clone()))?;
    let impossible = |number: &f64| {
        let mut document: Value = serde_json::from_str(&read(EVERY_FIELD)).expect("json");
        *document.pointer_mut(pointer).expect("a place") = Value::from(*number);
        let report = check(&document, None);
        let rules = ["number-impossible", "clock-range"];
        report
            .findings
            .iter()
            .any(|found| found.subject.path == *pointer && rules.iter().any(|rule| *found.rule == **rule))
    };
    // Most numbers can be anything, and one question tells so.
    if !impossible(&-1.0) {
        return None;
    }
    let fits = |(_, inside, outside): &&(&str, &[f64], &[f64])| {
        !inside.iter().any(impossible) && outside.iter().all(impossible)
    };
    RANGES.iter().find(fits).map(|(range, ..)| *range)
}

fn check(document: &Value, rule: Option<&Rule>) -> Report {
    static CHECKER: OnceLock<Checker> = OnceLock::new();
    let settings = || Settings { today: "2026-06-01".parse().ok(), ..Settings::default() };
    let text = serde_json::to_vec(document).expect("json");
    if let Some(profile) = rule.and_then(Rule::profile) {
        let profile = obvert::model::profile::Profile::read(profile.as_bytes()).expect("a profile");
        let checker = Checker::new(Settings { profile: Some(profile), ..settings() }).expect("settings");
        return checker.check(&text).expect("json");
    }
    CHECKER.get_or_init(|| Checker::new(settings()).expect("settings")).check(&text).expect("json")
}

/// For every field the rules that guard it, by their examples. A rule is found at a field where one of its failing examples
/// has a finding at it, or has none any more once the example's change of that field is taken back.
pub(crate) fn guards() -> &'static BTreeMap<Location, BTreeSet<&'static str>> {
    static GUARDS: OnceLock<BTreeMap<Location, BTreeSet<&'static str>>> = OnceLock::new();
    GUARDS.get_or_init(|| {
        let mut guards: BTreeMap<Location, BTreeSet<&'static str>> = BTreeMap::new();
        // A profile can name any field; its rules guard what it says.
        for rule in catalogue().iter().filter(|rule| rule.family() != "profile") {
            for example in rule.examples(Section::Fails) {
                let patch: Value = serde_json::from_str(&example.patch).expect("a patch");
                let operations = patch.as_array().expect("operations");
                let Some(document) = patched(operations) else { continue };
                let report = check(&document, Some(rule));
                let found = report.findings.iter().filter(|finding| finding.rule == rule.name);
                let mut of: BTreeSet<Location> = found.filter_map(|finding| place_of(&finding.subject.path)).collect();
                of.extend(deciding(rule, operations));
                for place in of {
                    guards.entry(place).or_default().insert(rule.name);
                }
            }
        }
        guards
    })
}

/// The fields of an example's operations without whose change the rule says nothing.
fn deciding(rule: &Rule, operations: &[Value]) -> Vec<Location> {
    let minimal: Value = serde_json::from_str(obvert::check::MINIMAL).expect("json");
    let silent = |document: Option<Value>| {
        let Some(document) = document else { return false };
        let report = check(&document, Some(rule));
        // A document that cannot be read, or a rule that cannot be run, says nothing about the field.
        let whole = report.documents.iter().all(|document| document.left_out.is_empty());
        let ran = whole && !report.not_run.iter().any(|not_run| not_run.rules.iter().any(|name| name == rule.name));
        ran && !report.findings.iter().any(|finding| finding.rule == rule.name)
    };
    let mut found = Vec::new();
    for (index, operation) in operations.iter().enumerate() {
        let path = operation["path"].as_str().expect("a path").to_owned();
        let mut without = operations.to_vec();
        without.remove(index);
        if !operation["value"].is_object() && !operation["value"].is_array() {
            if silent(patched(&without)) {
                found.extend(place_of(&path));
            }
            continue;
        }
        let mut leaves = Vec::new();
        members(&operation["value"], "", &mut leaves);
        for leaf in leaves {
            let mut changed = operations.to_vec();
            let (holder, key) = leaf.rsplit_once('/').expect("a key");
            let was = minimal.pointer(&format!("{path}{leaf}")).filter(|_| operation["op"] == "replace");
            let holder = changed[index]["value"].pointer_mut(holder).and_then(Value::as_object_mut);
            let Some(holder) = holder else { continue };
            match was {
                Some(was) => holder.insert(key.to_owned(), was.clone()),
                None => holder.remove(key),
            };
            if silent(patched(&changed)) {
                found.extend(place_of(&format!("{path}{leaf}")));
            }
        }
    }
    found
}

/// The pointers to everything that stands under a key in a value.
fn members(value: &Value, at: &str, found: &mut Vec<String>) {
    match value {
        Value::Object(entries) => {
            for (key, value) in entries {
                let at = format!("{at}/{key}");
                members(value, &at, found);
                found.push(at);
            }
        }
        Value::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                members(item, &format!("{at}/{index}"), found);
            }
        }
        _ => {}
    }
}

fn patched(operations: &[Value]) -> Option<Value> {
    let mut document: Value = serde_json::from_str(obvert::check::MINIMAL).expect("json");
    let patch: json_patch::Patch = serde_json::from_value(Value::Array(operations.to_vec())).expect("a patch");
    json_patch::patch(&mut document, &patch).ok()?;
    Some(document)
}

/// The field that a pointer leads to, or the object where it leads to one of a list; `None` below extensions.
pub(crate) fn place_of(pointer: &str) -> Option<Location> {
    let mut object = shape::document();
    let mut place = (object.name.clone(), String::new());
    let mut shape: Option<&Shape> = None;
    for token in pointer.split('/').skip(1) {
        match shape {
            Some(Shape::List(item)) if token == "-" || token.bytes().all(|byte| byte.is_ascii_digit()) => {
                if let Shape::Object(name) = &**item {
                    object = shape::object(name);
                    place = (name.clone(), String::new());
                }
                shape = Some(item);
                continue;
            }
            Some(Shape::Position) => return Some(place),
            Some(Shape::Object(name)) => object = shape::object(name),
            None => {}
            Some(_) => return None,
        }
        let field = object.field(token)?;
        place = (object.name.clone(), token.to_owned());
        shape = Some(&field.shape);
    }
    Some(place)
}
