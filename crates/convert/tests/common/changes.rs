//! Every single change of a value of a document that leaves the document valid, for the tests that
//! no change gets lost.

#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use obvert_model::shape::{self, ObjectShape, Shape};
use obvert_model::tables::Document;
use serde_json::{Value, json};

/// A change: the pointer of the value, what it becomes (`None` if it is removed), and the document
/// with it.
pub struct Change {
    pub pointer: String,
    pub becomes: Option<Value>,
    pub document: Document,
}

/// As many changes of a document as a test asks for, evenly spread over its values; fewer if some
/// are not valid.
pub fn of(document: &Value, count: usize) -> Vec<Change> {
    let mut found = Vec::new();
    of_object(document, shape::document(), "", &mut found);
    let step = found.len().div_ceil(count.max(1)).max(1);
    let changes = found.into_iter().step_by(step).filter_map(|(pointer, becomes)| {
        let mut changed = document.clone();
        put(&mut changed, &pointer, becomes.clone());
        let document = obvert_model::read::document(changed.to_string().as_bytes()).ok()?;
        Some(Change { pointer, becomes, document })
    });
    changes.collect()
}

/// Sets or removes the value at a pointer.
pub fn put(document: &mut Value, pointer: &str, becomes: Option<Value>) {
    let (above, key) = pointer.rsplit_once('/').unwrap();
    match (document.pointer_mut(above).unwrap(), becomes) {
        (Value::Object(object), Some(value)) => {
            object.insert(key.to_owned(), value);
        }
        (Value::Object(object), None) => {
            object.remove(key);
        }
        (Value::Array(list), Some(value)) => list[key.parse::<usize>().unwrap()] = value,
        (Value::Array(list), None) => {
            list.remove(key.parse().unwrap());
        }
        _ => panic!("{pointer} is in no object and in no list"),
    }
}

type Found = Vec<(String, Option<Value>)>;

fn of_object(value: &Value, shape: &ObjectShape, pointer: &str, found: &mut Found) {
    for field in &shape.fields {
        let at = format!("{pointer}/{}", field.name);
        let Some(value) = value.get(&field.name) else { continue };
        // The version of the format is not a value of the survey.
        if at == "/obvert" {
            continue;
        }
        if !field.required {
            found.push((at.clone(), None));
        }
        of_value(value, &field.shape, &at, found);
    }
}

fn of_value(value: &Value, shape: &Shape, at: &str, found: &mut Found) {
    let mut become_one = |becomes: Value| found.push((at.to_owned(), Some(becomes)));
    match shape {
        Shape::Object(name) => of_object(value, shape::object(name), at, found),
        Shape::List(item) => {
            let items = value.as_array().unwrap();
            for (index, value) in items.iter().enumerate() {
                let at = format!("{at}/{index}");
                found.push((at.clone(), None));
                of_value(value, item, &at, found);
            }
            if items.len() > 1 && items[0] != items[1] {
                let mut swapped = items.clone();
                swapped.swap(0, 1);
                found.push((at.to_owned(), Some(swapped.into())));
            }
        }
        Shape::Word(words) => {
            let own = words.iter().position(|word| Some(word.as_str()) == value.as_str()).unwrap();
            for step in [1, words.len() / 2 + 1] {
                let other = &words[(own + step) % words.len()];
                if Some(other.as_str()) != value.as_str() {
                    become_one(json!(other));
                }
            }
        }
        Shape::Text => {
            let text = value.as_str().unwrap();
            become_one(json!(format!("{text}x")));
            become_one(json!(format!("ř{text}")));
            if let Some(at) = text.rfind(|letter: char| letter.is_ascii_digit()) {
                let digit = (text.as_bytes()[at] - b'0' + 1) % 10;
                become_one(json!(format!("{}{digit}{}", &text[..at], &text[at + 1..])));
            }
            if text.contains("05:00") {
                become_one(json!(text.replace("05:00", "04:00")));
            }
        }
        Shape::Number | Shape::Whole => {
            let number = value.as_f64().unwrap();
            for other in [number + 1.0, number + 0.001, 0.0, -number] {
                if other != number {
                    become_one(if other.fract() == 0.0 {
                        json!(other as i64)
                    } else {
                        json!(other)
                    });
                }
            }
        }
        Shape::Bool => become_one(json!(!value.as_bool().unwrap())),
        Shape::Position => {
            let numbers = [value[0].as_f64().unwrap(), value[1].as_f64().unwrap()];
            become_one(json!([numbers[0] + 0.125, numbers[1]]));
            become_one(json!([numbers[0], numbers[1] + 0.125]));
        }
        Shape::Extensions => {
            become_one(json!({"org.example.other": value}));
            let mut more = value.clone();
            more["org.example.more"] = json!({"a": [1, "x", null]});
            become_one(more);
        }
        other => panic!("a shape that the test documents do not know: {other:?}"),
    }
}
