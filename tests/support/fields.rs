//! The tables of fields of the specification: type, range, meaning and example of every field, and
//! the rules that guard it. Types come from the schema, examples from a clean document that has every
//! field, ranges from the checker, and the rules from their own examples.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::sync::OnceLock;

use obvert::check::{Checker, Report, Rule, Section, Settings, catalogue};
use obvert::model::shape::{self, Field, ObjectShape, Shape};
use serde_json::Value;

use super::chapters;
use super::support::read;

/// A field, by the name of its object and its key; the object itself with an empty key.
type Location = (String, String);

/// The document that has every field.
pub(crate) const EVERY_FIELD: &str = "tests/data/every-field.obvert.json";

/// The table of an object's fields in a chapter, and below it the rules that guard them.
pub(crate) fn table(name: &str, chapter: &str) -> String {
    let object = shape::object(name);
    assert!(!object.fields.is_empty(), "the format has no object {name}");
    // Extensions are the last key of an object, unless its table lists them elsewhere.
    let fields = match object.fields.split_last() {
        Some((last, rest)) if last.shape == Shape::Extensions => rest,
        _ => &object.fields[..],
    };
    let mut out = String::from("| Key | Type | Meaning |\n|---|---|---|\n");
    for field in fields {
        let (meaning, words) = meaning(field);
        let (kind, meaning) = match (&field.shape, words) {
            (Shape::Extensions, _) => (kind_of(field, name, chapter), String::new()),
            (Shape::Word(all), Some(words)) if all.len() == 1 => {
                ("enum".to_owned(), format!("{meaning} {words}").trim().to_owned())
            }
            (_, Some(words)) => match first_use(&words) {
                Some((object, key))
                    if (object.as_str(), key.as_str()) != (name, field.name.as_str()) =>
                {
                    (format!("enum, as {}", reference(&object, &key, name, chapter)), meaning)
                }
                _ => ("enum".to_owned(), format!("{meaning} {words}").trim().to_owned()),
            },
            // The chapter on the document explains all of these at once.
            (_, None) if describes_other(object, field) => ("string".to_owned(), String::new()),
            (_, None) => (kind_of(field, name, chapter), meaning),
        };
        let cell = |text: String| {
            if text.is_empty() { " ".to_owned() } else { format!(" {} ", text.replace('|', "\\|")) }
        };
        let key = format!("`{}`", field.name);
        let key = if field.required { format!("**{key}**") } else { key };
        let example = example(name, field).map(|value| format!("`{value}`"));
        let meaning: Vec<String> =
            Some(meaning).filter(|text| !text.is_empty()).into_iter().chain(example).collect();
        let _ = writeln!(out, "| {key} |{}|{}|", cell(kind), cell(meaning.join(" ")));
    }
    out + &rules(object, chapter)
}

/// Whether a field describes in words the `other` of an enum.
fn describes_other(object: &ObjectShape, field: &Field) -> bool {
    let of = field.name.strip_suffix("_text").and_then(|name| object.field(name));
    let Some(Shape::Word(words)) = of.map(|of| &of.shape) else { return false };
    words.iter().any(|word| word == "other")
}

/// Which rules guard which of an object's fields.
fn rules(object: &ObjectShape, chapter: &str) -> String {
    let catalogue = chapters::path_of("rules")
        .map(|path| chapters::link(chapter, &path))
        .expect("the catalogue");
    let mut out = String::new();
    let keys = std::iter::once("").chain(object.fields.iter().map(|field| field.name.as_str()));
    for key in keys {
        let Some(rules) = guards().get(&(object.name.clone(), key.to_owned())) else { continue };
        // A rule that is listed at a key needs no place at the object.
        let at_key = |rule: &str| {
            let of = |field: &Field| guards().get(&(object.name.clone(), field.name.clone()));
            object.fields.iter().filter_map(of).any(|rules| rules.contains(rule))
        };
        let rules: Vec<&str> =
            rules.iter().copied().filter(|rule| !key.is_empty() || !at_key(rule)).collect();
        if rules.is_empty() {
            continue;
        }
        if out.is_empty() {
            out.push_str("\nRules:\n\n");
        }
        let what = if key.is_empty() { "the object".to_owned() } else { format!("`{key}`") };
        let links: Vec<String> =
            rules.iter().map(|rule| format!("[`{rule}`]({catalogue}#{rule})")).collect();
        let _ = writeln!(out, "- {what}: {}", links.join(", "));
    }
    out
}

/// The meaning of a field, and the meanings of its enum words if they have any.
fn meaning(field: &Field) -> (String, Option<String>) {
    let line = |text: &str| text.replace('\n', " ").trim().to_owned();
    // The type has the unit already.
    let units = [", in length units", ", in section units", ", in seconds", ", in hertz"];
    let description =
        units.iter().fold(field.description.clone(), |text, unit| text.replace(unit, ""));
    let described = match description.split_once("\n- ") {
        Some((first, words)) => {
            let words: Vec<String> = words.split("\n- ").map(|word| brief(&line(word))).collect();
            (line(first), Some(words.join(" ")))
        }
        None => (line(&description), None),
    };
    if repeats(&field.name, &described.0) { (String::new(), described.1) } else { described }
}

/// Whether a meaning only repeats a field's name: "The title." of `title`.
fn repeats(name: &str, meaning: &str) -> bool {
    let bare = meaning.trim_end_matches('.').to_lowercase();
    let bare = ["the ", "a ", "its "].iter().find_map(|article| bare.strip_prefix(article));
    bare == Some(&name.replace('_', " ")) || name == "id" && meaning.starts_with("Identifies the ")
}

/// The units that the chapter on conventions defines.
const UNITS: [&str; 5] = ["`m`", "`ft`", "`us-ft`", "`mm`", "`in`"];

/// A word of a vocabulary with its meaning, or alone if the meaning only repeats it. `other` and
/// the units are explained once for all enums.
fn brief(word: &str) -> String {
    let Some((name, meaning)) = word.split_once(": ") else { return word.to_owned() };
    let plain = |text: &str| text.trim_matches(['`', '.']).replace('-', " ").to_lowercase();
    let meant = plain(meaning);
    let articles = ["a ", "an ", "the "];
    let meant = articles.iter().find_map(|article| meant.strip_prefix(article)).unwrap_or(&meant);
    let repeats = name == "`other`" || plain(name) == meant || UNITS.contains(&name);
    if repeats { format!("{name}.") } else { word.to_owned() }
}

/// The first field in reading order that has a vocabulary, where its words are explained.
fn first_use(words: &str) -> Option<Location> {
    static FIRST: OnceLock<BTreeMap<String, Location>> = OnceLock::new();
    let first = FIRST.get_or_init(|| {
        let mut first = BTreeMap::new();
        for (object, _) in homes() {
            for field in &shape::object(object).fields {
                if let (_, Some(words)) = meaning(field) {
                    first.entry(words).or_insert_with(|| (object.clone(), field.name.clone()));
                }
            }
        }
        first
    });
    first.get(words).cloned()
}

/// The first field in reading order that has the words of an enum, or a list of them.
fn first_list(item: &Shape) -> Option<Location> {
    let Shape::Word(_) = item else { return None };
    homes().iter().find_map(|(object, _)| {
        let has = |field: &&Field| match &field.shape {
            Shape::List(other) => **other == *item,
            shape => shape == item,
        };
        let field = shape::object(object).fields.iter().find(has)?;
        Some((object.clone(), field.name.clone()))
    })
}

/// The objects that have tables with the chapters that have them, in reading order.
fn homes() -> &'static [(String, String)] {
    static HOMES: OnceLock<Vec<(String, String)>> = OnceLock::new();
    HOMES.get_or_init(|| {
        let chapters = chapters::chapters();
        let mut homes = Vec::new();
        for path in chapters::in_order() {
            let lines = chapters.get(&path).map(|text| text.lines()).into_iter().flatten();
            let names =
                lines.filter_map(|line| line.strip_prefix("<!-- fields: ")?.strip_suffix(" -->"));
            homes.extend(names.map(|name| (name.to_owned(), path.clone())));
        }
        homes
    })
}

/// A field of another object, as a table refers to it.
fn reference(object: &str, key: &str, from: &str, chapter: &str) -> String {
    let home = homes().iter().find(|(name, _)| name == object).map(|(_, path)| path);
    match home {
        _ if object == from => format!("`{key}`"),
        Some(home) if home != chapter => {
            format!("[`{object}.{key}`]({})", chapters::link(chapter, home))
        }
        _ => format!("`{object}.{key}`"),
    }
}

fn kind_of(field: &Field, object: &str, chapter: &str) -> String {
    let kind = match &field.shape {
        Shape::List(item) => match first_list(item) {
            Some((of, key)) if (of.as_str(), key.as_str()) != (object, field.name.as_str()) => {
                format!("array of enum, as {}", reference(&of, &key, object, chapter))
            }
            _ => format!("array of {}", kind(item, chapter)),
        },
        shape => kind(shape, chapter),
    };
    // The column of examples shows what the form's own example would.
    let form = field.form.as_ref().map(|form| form.split(", such as").next().unwrap_or(form));
    let form = form.map(|form| match form.strip_prefix("a ").unwrap_or(form) {
        // The first page and the conventions define both.
        "path of keys joined by points" => ": path".to_owned(),
        "date, time and offset" => ": time".to_owned(),
        form => format!(": {form}"),
    });
    let bounds = field.bounds.map(|[least, most]| format!(", {least} to {most}"));
    let unit = field.measures().map_or_else(
        || field.unit.as_ref().map(|unit| format!(", {unit}")),
        |units| units.strip_prefix("units.").map(|unit| format!(", {unit}")),
    );
    let range = range(object, field).map(|range| format!(", {range}"));
    // Only clock references have such a range.
    let unit = unit.filter(|unit| unit != ", hours of a clock face");
    let parts = [form, bounds, unit, range];
    kind + &parts.into_iter().flatten().collect::<String>()
}

fn kind(shape: &Shape, chapter: &str) -> String {
    match shape {
        Shape::Object(name) => name.clone(),
        Shape::List(item) => format!("array of {}", kind(item, chapter)),
        Shape::Text => "string".into(),
        Shape::Word(words) => {
            let words: Vec<String> = words.iter().map(|word| format!("`{word}`")).collect();
            format!("enum: {}", words.join(", "))
        }
        Shape::Number => "number".into(),
        Shape::Whole => "integer".into(),
        Shape::Bool => "boolean".into(),
        Shape::Single => "string, number or boolean".into(),
        Shape::Position => "[x, y]".into(),
        Shape::Extensions => {
            let path = chapters::path_of("extensions").expect("the chapter on extensions");
            format!("[extensions]({})", chapters::link(chapter, &path))
        }
        Shape::Labels => "object: strings by language tag".into(),
        _ => "any".into(),
    }
}

/// An example of a field of the document that is not an object. An enum lists its words already.
fn example(object: &str, field: &Field) -> Option<String> {
    let item = match &field.shape {
        Shape::List(item) => item.as_ref(),
        shape => shape,
    };
    if matches!(item, Shape::Object(_) | Shape::Word(_) | Shape::Bool) {
        return None;
    }
    let (_, found) = places().get(&(object.to_owned(), field.name.clone()))?;
    Some(found.to_string()).filter(|text| text.len() <= LONGEST_EXAMPLE)
}

/// A longer example shows nothing that a shorter one would not.
const LONGEST_EXAMPLE: usize = 130;

/// The first location of every field in the document, with its value.
fn places() -> &'static BTreeMap<Location, (String, Value)> {
    static PLACES: OnceLock<BTreeMap<Location, (String, Value)>> = OnceLock::new();
    PLACES.get_or_init(|| {
        let document: Value = serde_json::from_str(&read(EVERY_FIELD)).expect("json");
        let mut found = BTreeMap::new();
        collect(shape::document(), &document, "", &mut found);
        found
    })
}

fn collect(
    object: &ObjectShape,
    value: &Value,
    at: &str,
    found: &mut BTreeMap<Location, (String, Value)>,
) {
    for (key, value) in value.as_object().into_iter().flatten() {
        let Some(field) = object.field(key) else { continue };
        let at = format!("{at}/{key}");
        collect_in(&field.shape, value, &at, found);
        found.entry((object.name.clone(), key.clone())).or_insert((at, value.clone()));
    }
}

fn collect_in(
    shape: &Shape,
    value: &Value,
    at: &str,
    found: &mut BTreeMap<Location, (String, Value)>,
) {
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

/// Fields of the format without an example: there are none.
pub(crate) fn without_example() -> Vec<String> {
    let fields =
        shape::objects().flat_map(|object| object.fields.iter().map(move |field| (object, field)));
    let lacks = |(object, field): &(&ObjectShape, &Field)| {
        !places().contains_key(&(object.name.clone(), field.name.clone()))
            && object.name != "Document"
            || object.name == "Document"
                && !places().contains_key(&("Document".into(), field.name.clone()))
    };
    fields.filter(lacks).map(|(object, field)| format!("{}.{}", object.name, field.name)).collect()
}

/// Ranges that a number can have, with numbers inside and outside.
const RANGES: [(&str, &[f64], &[f64]); 3] = [
    ("above 0", &[0.001, 1.0], &[0.0, -0.001, -1.0]),
    ("0 or more", &[0.0, 0.001, 1.0], &[-0.001, -1.0]),
    ("1 to 12.5 in steps of 0.5", &[1.0, 1.5, 12.0, 12.5], &[0.0, 0.5, 1.25, 12.75, 13.0, -1.0]),
];

/// The range of a number, found by checking: one of the rules about impossible numbers has a
/// finding at that field.
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
        report.findings.iter().any(|found| {
            found.subject.path == *pointer && rules.iter().any(|rule| *found.rule == **rule)
        })
    };
    // Most numbers can be anything: one check shows it.
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
    let settings = || Settings::default().with_today("2026-06-01".parse().expect("a date"));
    let text = serde_json::to_vec(document).expect("json");
    if let Some(profile) = rule.and_then(Rule::profile) {
        let profile = obvert::model::profile::Profile::read(profile.as_bytes()).expect("a profile");
        let checker = Checker::new(settings().with_profile(profile)).expect("settings");
        return checker.check(&text).expect("json");
    }
    CHECKER.get_or_init(|| Checker::new(settings()).expect("settings")).check(&text).expect("json")
}

/// The rules that guard each field: those with a failing example that has a finding at the field,
/// or has none once the example's change of the field is undone.
pub(crate) fn guards() -> &'static BTreeMap<Location, BTreeSet<&'static str>> {
    static GUARDS: OnceLock<BTreeMap<Location, BTreeSet<&'static str>>> = OnceLock::new();
    GUARDS.get_or_init(|| {
        let mut guards: BTreeMap<Location, BTreeSet<&'static str>> = BTreeMap::new();
        // The rules of profiles guard any field that a profile names.
        for rule in catalogue().iter().filter(|rule| rule.family() != "profile") {
            for example in rule.examples(Section::Fails) {
                let patch: Value = serde_json::from_str(&example.patch).expect("a patch");
                let operations = patch.as_array().expect("operations");
                let Some(document) = patched(operations) else { continue };
                let report = check(&document, Some(rule));
                let found = report.findings.iter().filter(|finding| finding.rule == rule.name);
                let mut of: BTreeSet<Location> =
                    found.filter_map(|finding| place_of(&finding.subject.path)).collect();
                of.extend(deciding(rule, operations));
                for place in of {
                    guards.entry(place).or_default().insert(rule.name);
                }
            }
        }
        guards
    })
}

/// The fields of an example's operations without whose change the rule has no finding.
fn deciding(rule: &Rule, operations: &[Value]) -> Vec<Location> {
    let minimal: Value = serde_json::from_str(obvert::check::MINIMAL).expect("json");
    let silent = |document: Option<Value>| {
        let Some(document) = document else { return false };
        let report = check(&document, Some(rule));
        // An unreadable document, or a rule that cannot be run, is no evidence.
        let whole = report.documents.iter().all(|document| document.left_out.is_empty());
        let ran = whole
            && !report
                .not_run
                .iter()
                .any(|not_run| not_run.rules.iter().any(|name| name == rule.name));
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
            let was =
                minimal.pointer(&format!("{path}{leaf}")).filter(|_| operation["op"] == "replace");
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

/// The pointers to everything under a key in a value.
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
    let patch: json_patch::Patch =
        serde_json::from_value(Value::Array(operations.to_vec())).expect("a patch");
    json_patch::patch(&mut document, &patch).ok()?;
    Some(document)
}

/// The field at a pointer, or the object if it is an item of a list; `None` below extensions.
pub(crate) fn place_of(pointer: &str) -> Option<Location> {
    let mut object = shape::document();
    let mut place = (object.name.clone(), String::new());
    let mut shape: Option<&Shape> = None;
    for token in pointer.split('/').skip(1) {
        match shape {
            Some(Shape::List(item))
                if token == "-" || token.bytes().all(|byte| byte.is_ascii_digit()) =>
            {
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
