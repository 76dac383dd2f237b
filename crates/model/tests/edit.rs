//! Edits of the text: the result is that of another implementation of RFC 6902, and everything else
//! stays byte for byte.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::edit::{self, Edit, EditError, Fix};
use proptest::prelude::*;
use serde_json::{Value, json};

/// Text, edits, text.
#[test]
fn layouts_are_kept() {
    let cases = [
        // Rows on separate lines, CRLF: the new row is formatted like its neighbours.
        (
            "[\r\n  {\"a\":1},\r\n  {\"a\":2}\r\n]",
            json!([{"op": "add", "path": "/1", "value": 7}]),
            "[\r\n  {\"a\":1},\r\n  7,\r\n  {\"a\":2}\r\n]",
        ),
        ("[\n\t1\n]", json!([{"op": "add", "path": "/-", "value": 2}]), "[\n\t1,\n\t2\n]"),
        (
            "{\"a\":1}",
            json!([{"op": "add", "path": "/b", "value": [1, {"c": 2.0}]}]),
            "{\"a\":1,\"b\":[1, {\"c\": 2}]}",
        ),
        (
            "{ \"a\" : 1 }",
            json!([{"op": "add", "path": "/b", "value": "x\"y"}]),
            "{ \"a\" : 1, \"b\" : \"x\\\"y\" }",
        ),
        ("{}", json!([{"op": "add", "path": "/b", "value": null}]), "{\"b\": null}"),
        // A wrapped object keeps its line break.
        (
            "{\"a\": 1, \"b\": 2,\n \"c\": 3}",
            json!([{"op": "remove", "path": "/b"}]),
            "{\"a\": 1,\n \"c\": 3}",
        ),
        (
            "{\"a\": 1, \"b\": 2,\n \"c\": 3}",
            json!([{"op": "remove", "path": "/a"}]),
            "{\"b\": 2,\n \"c\": 3}",
        ),
        ("{ \"a\": 1 }", json!([{"op": "remove", "path": "/a"}]), "{}"),
        // Numbers and gaps keep their spelling when items change places.
        (
            "[1.50,  2e1,\n3]",
            json!([{"op": "move", "from": "/2", "path": "/0"}]),
            "[3,  1.50,\n2e1]",
        ),
        // A member that moves within its object is renamed in place.
        (
            "{\"At\" : 1.0, \"b\": 2}",
            json!([{"op": "move", "from": "/At", "path": "/at"}]),
            "{\"at\" : 1.0, \"b\": 2}",
        ),
        ("{\"a\": 1, \"b\": 2}", json!([{"op": "move", "from": "/a", "path": "/b"}]), "{\"b\": 1}"),
        // The last of two duplicate keys counts, and a change removes the other.
        (
            "{\"a\": 1, \"b\": 2, \"a\": 3}",
            json!([{"op": "replace", "path": "/a", "value": 4}]),
            "{\"b\": 2, \"a\": 4}",
        ),
        (
            "\u{FEFF} [\"é\\u00e9/~\"] \n",
            json!([{"op": "replace", "path": "/0", "value": "é"}]),
            "\u{FEFF} [\"é\"] \n",
        ),
        (
            "{\"a/b\": {\"m~n\": 1}}",
            json!([{"op": "replace", "path": "/a~1b/m~0n", "value": 2}]),
            "{\"a/b\": {\"m~n\": 2}}",
        ),
        ("1", json!([{"op": "replace", "path": "", "value": true}]), "true"),
    ];
    for (before, edits, after) in cases {
        let edits: Vec<Edit> = serde_json::from_value(edits).unwrap();
        assert_eq!(edit::text(before, &edits).as_deref(), Ok(after), "{edits:?}");
    }
}

/// A new member is in the order of the format, as far as the others are.
#[test]
fn new_members_are_in_the_order_of_the_format() {
    let text = r#"{"runs": [{"id": "R1", "observations": [{"id": "1", "at": 3, "code": "x", "remark": "y"}]}]}"#;
    let changed = edit::text(
        text,
        &[
            Edit::add("/runs/0/observations/0/to", 9),
            Edit::add("/runs/0/surveyed", 9.5),
            Edit::add("/runs/0/observations/0/extensions", json!({"org.example": 1})),
            Edit::add("/obvert", "0.2"),
        ],
    );
    let wanted = r#"{"obvert": "0.2", "runs": [{"id": "R1", "surveyed": 9.5, "observations": [{"id": "1", "at": 3, "to": 9, "code": "x", "remark": "y", "extensions": {"org.example": 1}}]}]}"#;
    assert_eq!(changed.as_deref(), Ok(wanted));
}

#[test]
fn impossible_edits_are_errors() {
    let pointer = |path: &str| path.to_owned();
    let cases = [
        ("{", json!([]), None),
        ("[1] 2", json!([]), None),
        ("[1]", json!([{"op": "remove", "path": "0"}]), Some(EditError::Pointer(pointer("0")))),
        ("[1]", json!([{"op": "remove", "path": "/~2"}]), Some(EditError::Pointer(pointer("/~2")))),
        ("[1]", json!([{"op": "remove", "path": "/1"}]), Some(EditError::Missing(pointer("/1")))),
        (
            "[1]",
            json!([{"op": "replace", "path": "/00", "value": 1}]),
            Some(EditError::Missing(pointer("/00"))),
        ),
        (
            "[1]",
            json!([{"op": "replace", "path": "/0/a", "value": 1}]),
            Some(EditError::Missing(pointer("/0/a"))),
        ),
        (
            "[1]",
            json!([{"op": "add", "path": "/2", "value": 1}]),
            Some(EditError::Index(pointer("/2"))),
        ),
        ("[1]", json!([{"op": "remove", "path": ""}]), Some(EditError::Whole)),
        (
            "{\"a\":{}}",
            json!([{"op": "move", "from": "/a", "path": "/a/b"}]),
            Some(EditError::Inside { from: pointer("/a"), path: pointer("/a/b") }),
        ),
    ];
    for (text, edits, wanted) in cases {
        let edits: Vec<Edit> = serde_json::from_value(edits).unwrap();
        match (edit::text(text, &edits), wanted) {
            (Err(error), Some(wanted)) => assert_eq!(error, wanted),
            (Err(EditError::Syntax(_)), None) => {}
            (other, wanted) => panic!("{text}: {other:?}, wanted {wanted:?}"),
        }
    }
}

#[test]
fn fixes_that_touch_the_same_values_overlap() {
    let fix = |edits: Value| Fix::safe("", serde_json::from_value(edits).unwrap());
    let at = |path: &str| fix(json!([{"op": "replace", "path": path, "value": 1}]));
    let cases = [
        (at("/a"), at("/a"), true),
        (at("/a"), at("/a/0/b"), true),
        (at("/a"), at("/ab"), false),
        (at("/a/1"), at("/a/2"), false),
        (fix(json!([{"op": "add", "path": "/a/1", "value": 1}])), at("/a/7/c"), true),
        (fix(json!([{"op": "add", "path": "/a/b", "value": 1}])), at("/a/c"), false),
        (fix(json!([{"op": "move", "from": "/a/1", "path": "/a/0"}])), at("/a/7"), true),
    ];
    for (one, other, overlap) in cases {
        assert_eq!(
            (one.overlaps(&other), other.overlaps(&one)),
            (overlap, overlap),
            "{one:?} {other:?}"
        );
    }
    assert!(fix(json!([{"op": "move", "from": "/a/1", "path": "/a/0"}])).reorders());
    assert!(!fix(json!([{"op": "move", "from": "/a/1", "path": "/b/0"}])).reorders());
    assert!(!fix(json!([{"op": "move", "from": "/a/x", "path": "/a/y"}])).reorders());
}

fn value() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i32>().prop_map(Value::from),
        "[a-z~/\"\\\\é\u{1F600} \n]{0,5}".prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 40, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
            prop::collection::btree_map("[a-c~/\"é]{0,2}", inner, 0..6)
                .prop_map(|members| Value::Object(members.into_iter().collect())),
        ]
    })
}

/// A value written with arbitrary white space, as a person or a program may write it.
fn write(value: &Value, spaces: &mut dyn FnMut() -> &'static str, out: &mut String) {
    let (open, close, items): (_, _, Vec<(Option<&String>, &Value)>) = match value {
        Value::Array(items) => ('[', ']', items.iter().map(|item| (None, item)).collect()),
        Value::Object(members) => {
            ('{', '}', members.iter().map(|(key, member)| (Some(key), member)).collect())
        }
        other => return out.push_str(&other.to_string()),
    };
    out.push(open);
    out.push_str(spaces());
    for (number, (key, item)) in items.into_iter().enumerate() {
        if number > 0 {
            out.push_str(spaces());
            out.push(',');
            out.push_str(spaces());
        }
        if let Some(key) = key {
            out.push_str(&json!(key).to_string());
            out.push_str(spaces());
            out.push(':');
            out.push_str(spaces());
        }
        write(item, spaces, out);
    }
    out.push_str(if value == &json!([]) || value == &json!({}) { "" } else { spaces() });
    out.push(close);
}

fn text(value: &Value, seed: &[u8]) -> String {
    const SPACES: [&str; 6] = ["", " ", "\n  ", "\r\n\t", "  ", ""];
    let mut supply = seed.iter().cycle();
    let mut out = String::new();
    write(
        value,
        &mut || SPACES[usize::from(*supply.next().unwrap_or(&0)) % SPACES.len()],
        &mut out,
    );
    out
}

/// Every pointer into a value.
fn pointers(value: &Value, at: &str, all: &mut Vec<String>) {
    all.push(at.to_owned());
    match value {
        Value::Array(items) => {
            items
                .iter()
                .enumerate()
                .for_each(|(index, item)| pointers(item, &format!("{at}/{index}"), all));
        }
        Value::Object(members) => members
            .iter()
            .for_each(|(key, member)| pointers(member, &format!("{at}/{}", edit::token(key)), all)),
        _ => {}
    }
}

/// An edit of a document, chosen by three numbers.
fn some_edit(document: &Value, (kind, first, second): (u8, usize, usize), new: &Value) -> Edit {
    let mut all = Vec::new();
    pointers(document, "", &mut all);
    let (one, two) = (all[first % all.len()].clone(), all[second % all.len()].clone());
    match kind % 5 {
        0 => Edit::Replace { path: one, value: new.clone() },
        1 => Edit::Remove { path: one },
        2 => Edit::Move { from: one, path: two },
        3 => Edit::Add { path: format!("{one}/-"), value: new.clone() },
        _ => Edit::Add { path: format!("{one}/b"), value: new.clone() },
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    /// The result equals that of the crate json-patch on the value; if that fails, so must ours.
    #[test]
    fn the_outcome_is_that_of_rfc_6902(
        start in value(),
        seed in prop::collection::vec(any::<u8>(), 1..20),
        picks in prop::collection::vec((any::<u8>(), any::<usize>(), any::<usize>()), 1..6),
        new in value(),
    ) {
        let before = text(&start, &seed);
        let mut expected = start;
        let mut edits = Vec::new();
        for pick in picks {
            let edit = some_edit(&expected, pick, &new);
            let patch: json_patch::Patch = serde_json::from_value(json!([edit])).unwrap();
            let mut trial = expected.clone();
            // Ours refuses to remove the whole document, which RFC 6902 allows but no fix needs.
            let whole = edit.source() == Some("") || edit.path().is_empty();
            let taken = whole && !matches!(edit, Edit::Replace { .. });
            let possible = json_patch::patch(&mut trial, &patch).is_ok() && !taken;
            edits.push(edit);
            if possible {
                expected = trial;
                continue;
            }
            let outcome = edit::text(&before, &edits);
            let same = matches!(edits.last(), Some(Edit::Move { from, path }) if from.is_empty() && path.is_empty());
            prop_assert!(same || outcome.is_err(), "{before:?} {edits:?}: {outcome:?}");
            edits.pop();
        }
        let after = edit::text(&before, &edits).unwrap_or_else(|error| panic!("{error}: {before:?} {edits:?}"));
        let read: Value = serde_json::from_str(&after).unwrap_or_else(|error| panic!("{error}: {before:?} {edits:?} {after:?}"));
        prop_assert_eq!(read, expected, "{:?} {:?} {:?}", before, edits, after);
    }

    /// One replaced value: everything before and after it stays.
    #[test]
    fn the_rest_stays_byte_for_byte(
        start in value(),
        seed in prop::collection::vec(any::<u8>(), 1..20),
        pick in any::<usize>(),
        new in value(),
    ) {
        let before = text(&start, &seed);
        let mut all = Vec::new();
        pointers(&start, "", &mut all);
        let path = &all[pick % all.len()];
        let place = obvert_model::read::locate(before.as_bytes(), path);
        let after = edit::text(&before, &[Edit::replace(path.as_str(), new.clone())]).unwrap();
        let expected = format!("{}{}{}", &before[..place.offset], edit::spelled(&new), &before[place.end..]);
        prop_assert_eq!(&after, &expected, "{} in {:?}", path, before);
        // Replacing a value by itself changes nothing.
        prop_assert_eq!(edit::text(&after, &[Edit::replace(path.as_str(), new)]).unwrap(), after);
        prop_assert_eq!(edit::text(&before, &[]).unwrap(), before);
    }

    /// Adding and removing a member restores the text, and so does moving an item there and back.
    #[test]
    fn an_edit_and_its_reverse_cancel_out(
        items in prop::collection::vec(value(), 1..8),
        seed in prop::collection::vec(any::<u8>(), 1..20),
        from in any::<usize>(),
        to in any::<usize>(),
    ) {
        let before = text(&json!({"l": items}), &seed);
        let (from, to) = (from % items.len(), to % items.len());
        let (one, other) = (format!("/l/{from}"), format!("/l/{to}"));
        let edits = [Edit::relocate(one.as_str(), other.as_str()), Edit::relocate(other, one)];
        prop_assert_eq!(edit::text(&before, &edits).unwrap(), before.clone());
        let edits = [Edit::add("/m", 1), Edit::remove("/m")];
        prop_assert_eq!(edit::text(&before, &edits).unwrap(), before);
    }
}
