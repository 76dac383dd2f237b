//! A probe of typed rows gives the same values as the document's JSON, for every field of the
//! format.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::probe::{Plan, Slot, Value, Visitor};
use obvert_model::shape::{self, ObjectShape, Shape};

/// Every field of the format below an object: the keys of its table and its own.
fn fields(
    object: &'static ObjectShape,
    table: &[String],
    keys: &[String],
    found: &mut Vec<(Vec<String>, Vec<String>)>,
) {
    for field in &object.fields {
        let own = [keys, std::slice::from_ref(&field.name)].concat();
        found.push((table.to_vec(), own.clone()));
        match &field.shape {
            Shape::Object(name) => fields(shape::object(name), table, &own, found),
            Shape::List(item) => {
                if let Shape::Object(name) = &**item {
                    fields(shape::object(name), &[table, &own].concat(), &[], found);
                }
            }
            _ => {}
        }
    }
}

type Seen = BTreeMap<(String, String), Vec<String>>;

struct Note<'p> {
    plan: &'p Plan,
    names: BTreeMap<(usize, usize), String>,
    now: BTreeMap<usize, Vec<(String, String)>>,
    seen: Seen,
}

impl Visitor for Note<'_> {
    fn field(&mut self, slot: Slot, value: Value<'_>) {
        let text = match value {
            Value::Text(text) => format!("{text:?}"),
            Value::Number(number) => format!("{number}"),
            Value::Bool(value) => format!("{value}"),
            Value::List => "list".into(),
            _ => "object".into(),
        };
        let name = self.names[&(slot.table, slot.field)].clone();
        self.now.entry(slot.table).or_default().push((name, text));
    }
    fn row(&mut self, table: usize, rows: &[usize]) {
        let pointer = self.plan.pointer(table, rows);
        for (name, text) in self.now.remove(&table).unwrap_or_default() {
            self.seen.entry((pointer.clone(), name)).or_default().push(text);
        }
    }
}

fn expected(
    value: &serde_json::Value,
    keys: &str,
    pointer: &str,
    object: &'static ObjectShape,
    seen: &mut Seen,
) {
    for field in &object.fields {
        let Some(here) = value.get(&field.name) else { continue };
        let name =
            if keys.is_empty() { field.name.clone() } else { format!("{keys}.{}", field.name) };
        let values = seen.entry((pointer.to_owned(), name.clone())).or_default();
        let single = |value: &serde_json::Value| match value {
            serde_json::Value::Number(number) => format!("{}", number.as_f64().expect("a double")),
            other => other.to_string(),
        };
        match (&field.shape, here) {
            (Shape::Object(inner), _) => {
                values.push("object".into());
                expected(here, &name, pointer, shape::object(inner), seen);
            }
            (Shape::List(item), serde_json::Value::Array(items)) => {
                values.push("list".into());
                for (index, item_value) in items.iter().enumerate() {
                    match &**item {
                        Shape::Object(inner) => {
                            let below = format!("{pointer}/{}/{index}", name.replace('.', "/"));
                            expected(item_value, "", &below, shape::object(inner), seen);
                        }
                        Shape::Position => seen
                            .get_mut(&(pointer.to_owned(), name.clone()))
                            .unwrap()
                            .push("list".into()),
                        _ => seen
                            .get_mut(&(pointer.to_owned(), name.clone()))
                            .unwrap()
                            .push(single(item_value)),
                    }
                }
            }
            (Shape::Position, _) => values.push("list".into()),
            (Shape::Extensions, _) => values.push("object".into()),
            _ => values.push(single(here)),
        }
    }
}

#[test]
fn every_field_has_its_value_in_the_document() {
    let source = include_bytes!("../../../tests/corpus/structure/valid-every-field.json");
    let document = obvert_model::read::document(source).expect("a document");
    let mut all = Vec::new();
    fields(shape::document(), &[], &[], &mut all);
    let mut plan = Plan::default();
    let mut names = BTreeMap::new();
    for (table, keys) in &all {
        if table.is_empty() && keys == &["runs"] {
            continue;
        }
        let slot = plan.want(table, keys);
        names.insert((slot.table, slot.field), keys.join("."));
    }
    let mut note = Note { plan: &plan, names, now: BTreeMap::new(), seen: Seen::new() };
    plan.head(&document.head, &mut note);
    for (index, run) in document.runs.iter().enumerate() {
        plan.run(run, index, &mut note);
    }
    let mut wanted = Seen::new();
    let value: serde_json::Value = serde_json::from_slice(source).expect("json");
    expected(&value, "", "", shape::document(), &mut wanted);
    wanted.remove(&(String::new(), "runs".to_owned()));
    assert_eq!(note.seen, wanted);
    // The document has every field of the format, so nothing is left out here.
    let tables: BTreeSet<String> = all.iter().map(|(table, _)| table.join(".")).collect();
    assert_eq!(tables.len(), plan.tables());
    assert!(note.seen.len() > 150, "{}", note.seen.len());
}

#[test]
fn only_fields_of_the_plan_are_visited() {
    let source = include_bytes!("../../../tests/corpus/structure/valid-every-field.json");
    let document = obvert_model::read::document(source).expect("a document");
    let mut plan = Plan::default();
    let slot = plan.want(&["runs".to_owned(), "observations".to_owned()], &["code".to_owned()]);
    assert_eq!(
        plan.want(&["runs".to_owned(), "observations".to_owned()], &["code".to_owned()]),
        slot
    );
    assert!(plan.looks_at_runs());
    struct Count(usize, Vec<Vec<usize>>);
    impl Visitor for Count {
        fn field(&mut self, _: Slot, _: Value<'_>) {
            self.0 += 1;
        }
        fn row(&mut self, _: usize, rows: &[usize]) {
            self.1.push(rows.to_vec());
        }
    }
    let mut count = Count(0, Vec::new());
    plan.run(&document.runs[0], 7, &mut count);
    let observations = document.runs[0].observations.len();
    assert_eq!(count.0, observations);
    let rows: Vec<Vec<usize>> =
        (0..observations).map(|row| vec![7, row]).chain([vec![7]]).collect();
    assert_eq!(count.1, rows);
    assert_eq!(plan.pointer(slot.table, &[7, 1]), "/runs/7/observations/1");
}
