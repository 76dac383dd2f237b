//! The codes of the two layouts in the examples.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::layout::{Layout, Target};
use obvert_model::lists::CodeList;

const A: &str = include_str!("../../../examples/layouts/office-a.layout.json");
const B: &str = include_str!("../../../examples/layouts/office-b.layout.json");

fn messages(layout: &serde_json::Value) -> Vec<String> {
    let layout = Layout::read(layout.to_string().as_bytes()).unwrap();
    let list = layout.fixed_text(Target::CODE_LIST).unwrap();
    let list = CodeList::built_ins().into_iter().find(|known| *known.id == *list).unwrap();
    layout.coding_problems(list).iter().map(ToString::to_string).collect()
}

#[test]
fn unknown_codes_are_reported_where_they_are_written() {
    let mut a: serde_json::Value = serde_json::from_str(A).unwrap();
    assert_eq!(messages(&a), Vec::<String>::new());
    a["codes"]["words"][6]["code"] = "crack.longitudnal".into();
    a["codes"]["words"][2]["characterisation"] = serde_json::json!(["colapse"]);
    a["codes"]["words"][0]["characterisation"] = serde_json::json!(["x"]);
    let found_in_a = messages(&a);
    for (found, start) in found_in_a.iter().zip([
        "/codes/words/0/characterisation/0: run.start takes 0 characterisations and this is one more; remove it",
        "/codes/words/2/characterisation/0: run.stopped has no reason \"colapse\"; did you mean \"collapse\"?",
        "/codes/words/6/code: the code list obvert-terms 1 has no code \"crack.longitudnal\"; did you mean \"crack.longitudinal\"?",
    ]) {
        assert_eq!(found, start);
    }
    assert_eq!(found_in_a.len(), 3, "{found_in_a:?}");
}

#[test]
fn words_of_a_column_and_constants_are_checked() {
    let mut b: serde_json::Value = serde_json::from_str(B).unwrap();
    assert_eq!(messages(&b), Vec::<String>::new());
    b["columns"][10]["translate"] =
        serde_json::json!([{"text": "Riss", "value": "BAB"}, {"text": "Bruch", "value": "QQQ"}]);
    b["columns"][11]["translate"] = serde_json::json!([{"text": "längs", "value": "lengthwise"}]);
    b["fixed"]
        .as_array_mut()
        .unwrap()
        .push(serde_json::json!({"to": "runs.observations.code", "value": "QQZ"}));
    let messages = messages(&b);
    let starts = [
        "/columns/10/translate/1/value: the code list en-13508-2",
        "/fixed/8/value: the code list en-13508-2",
    ];
    for start in starts {
        assert!(messages.iter().any(|one| one.starts_with(start)), "{start}: {messages:?}");
    }
}
