//! GeoJSON: a change of any one member of a file changes the document or is an error.

use super::{asked, common, geojson};
use common::document_of;
use serde_json::{Value, json};

/// A survey with a position for each kind of feature.
const LARKMOOR: &str = include_str!("../../../../examples/data/larkmoor.obvert.json");
const EVERY_FIELD: &str = include_str!("../../../../tests/data/every-field.obvert.json");

/// The pointers of all values of a file, those of objects and lists too.
fn pointers(value: &Value, at: &str, found: &mut Vec<String>) {
    match value {
        Value::Object(object) => {
            for (key, value) in object {
                let at = format!("{at}/{}", key.replace('~', "~0").replace('/', "~1"));
                found.push(at.clone());
                pointers(value, &at, found);
            }
        }
        Value::Array(list) => {
            for (index, value) in list.iter().enumerate() {
                let at = format!("{at}/{index}");
                found.push(at.clone());
                pointers(value, &at, found);
            }
        }
        _ => {}
    }
}

/// What a value is changed to; `None` removes it.
fn candidates(value: &Value) -> Vec<Option<Value>> {
    let mut all = vec![None, Some(json!({"other": 1})), Some(json!(true))];
    all.extend(match value {
        Value::String(text) => vec![
            Some(json!(format!("{text}x"))),
            Some(json!(format!("\u{159}{text}"))),
            Some(json!(7)),
        ],
        Value::Number(number) => {
            let number = number.as_f64().unwrap();
            vec![Some(json!(number + 1.0)), Some(json!(number + 0.001)), Some(json!("x"))]
        }
        Value::Bool(is) => vec![Some(json!(!is))],
        Value::Array(list) => {
            let doubled: Vec<Value> = list.iter().chain(list.last()).cloned().collect();
            vec![Some(doubled.into()), Some(json!("x"))]
        }
        // A collection has members for programs, but no values of the survey.
        Value::Object(object) if object.contains_key("features") => {
            let mut more = object.clone();
            more.insert("parties".to_owned(), json!([]));
            vec![Some(more.into()), Some(json!("x"))]
        }
        Value::Object(object) => {
            let mut more = object.clone();
            more.insert("unknown".to_owned(), json!(5));
            vec![Some(more.into()), Some(json!("x"))]
        }
        Value::Null => vec![Some(json!("x"))],
    });
    all
}

fn put(file: &mut Value, pointer: &str, becomes: Option<Value>) {
    let (above, key) = pointer.rsplit_once('/').unwrap();
    let key = key.replace("~1", "/").replace("~0", "~");
    match (file.pointer_mut(above).unwrap(), becomes) {
        (Value::Object(object), Some(value)) => drop(object.insert(key, value)),
        (Value::Object(object), None) => drop(object.remove(&key)),
        (Value::Array(list), Some(value)) => list[key.parse::<usize>().unwrap()] = value,
        (Value::Array(list), None) => drop(list.remove(key.parse().unwrap())),
        _ => unreachable!(),
    }
}

/// Whether a change is one of what follows from the rest of the file, which a reader ignores
/// (spec/formats/geojson.md): the sentence and the box for people and programs, and a geometry that
/// is left out; and the id of a feature, which its row has too.
fn is_derived(file: &Value, pointer: &str, becomes: Option<&Value>) -> bool {
    let keys: Vec<&str> = pointer.split('/').skip(1).collect();
    match keys.as_slice() {
        ["features", _, "properties", "placed"] | [.., "bbox"] | ["bbox", _] => true,
        ["features", _, "bbox", _] => true,
        ["features", _, "geometry"] => {
            becomes.is_none_or(Value::is_null) || file.pointer(pointer) == Some(&Value::Null)
        }
        ["features", _, "id"] => becomes.is_none(),
        ["features", index, "properties", "id"] => {
            becomes.is_none()
                && file["features"][index.parse::<usize>().unwrap()].get("id").is_some()
        }
        _ => false,
    }
}

#[test]
fn a_change_of_any_member_of_geojson_changes_the_document_or_the_error() {
    for (name, source, usual) in [("every field", EVERY_FIELD, 800), ("Larkmoor", LARKMOOR, 100)] {
        let document = document_of(serde_json::from_str(source).unwrap());
        let mut bytes = Vec::new();
        geojson::write(&document, &mut bytes).unwrap();
        let file: Value = serde_json::from_slice(&bytes).unwrap();
        assert_eq!(geojson::read(&bytes, "s").unwrap().document, document);
        let mut all = Vec::new();
        let mut found = vec![String::new()];
        pointers(&file, "", &mut found);
        for pointer in found {
            let value = file.pointer(&pointer).unwrap();
            let removable = !pointer.is_empty();
            let of = candidates(value).into_iter().filter(|other| removable || other.is_some());
            all.extend(of.map(|becomes| (pointer.clone(), becomes)));
        }
        let (total, step) = (all.len(), (all.len() / asked(usual)).max(1));
        let (mut count, mut silent) = (0, Vec::new());
        for (pointer, becomes) in all.into_iter().step_by(step) {
            if file.pointer(&pointer) == becomes.as_ref()
                || is_derived(&file, &pointer, becomes.as_ref())
            {
                continue;
            }
            let mut changed = file.clone();
            match &becomes {
                Some(value) if pointer.is_empty() => changed = value.clone(),
                _ => put(&mut changed, &pointer, becomes.clone()),
            }
            count += 1;
            if geojson::read(changed.to_string().as_bytes(), "s")
                .is_ok_and(|survey| survey.document == document)
            {
                silent.push(format!("{pointer}: {:?} -> {becomes:?}", file.pointer(&pointer)));
            }
        }
        println!("GeoJSON, {name}: {count} changes of {total}");
        assert!(silent.is_empty(), "{name}: {} silent:\n{}", silent.len(), silent.join("\n"));
        assert!(count > 50, "{count}");
    }
}
