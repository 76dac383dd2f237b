//! A fingerprint of a finding, to recognise it in a later report of the same survey.
//!
//! Pointers and lines change when rows are inserted, so the fingerprint consists of the rule, the
//! ids of the subject, the field, and the facts. A finding about the whole document has no ids, and
//! its facts are counts that every new row changes, so only its rule and its pointer are used.

use std::fmt::Write;

use serde_json::Value;

use crate::finding::Finding;

/// The fingerprint of a finding. Two findings of a report can have the same one if neither ids nor
/// facts distinguish them.
#[must_use]
pub(crate) fn fingerprint(finding: &Finding) -> String {
    let mut text = format!("{}\n{}", finding.rule, without_row_numbers(&finding.subject.path));
    let ids = [
        &finding.subject.record,
        &finding.subject.pipe,
        &finding.subject.run,
        &finding.subject.observation,
    ];
    for id in ids {
        // The length prevents two ids from running into each other.
        match id {
            Some(id) => {
                let _ = write!(text, "\n{} {id}", id.len());
            }
            None => text.push_str("\n-"),
        }
    }
    if ids.iter().any(|id| id.is_some()) {
        for (name, fact) in &finding.params {
            let _ = write!(text, "\n{name}=");
            write_fact(fact, &mut text);
        }
    }
    text
}

/// Writes a fact. Computed numbers are rounded, since machines may differ in the last digits.
fn write_fact(fact: &Value, text: &mut String) {
    let _ = match fact {
        Value::String(pointer) if pointer.starts_with('/') => {
            write!(text, "{}", without_row_numbers(pointer))
        }
        Value::Number(number) => match number.as_f64() {
            // Zero has no sign here.
            Some(number) => write!(text, "{:.8e}", number + 0.0),
            None => write!(text, "{number}"),
        },
        Value::Array(list) => {
            for fact in list {
                text.push(' ');
                write_fact(fact, text);
            }
            Ok(())
        }
        Value::Object(object) => {
            for (name, fact) in object {
                let _ = write!(text, " {name}=");
                write_fact(fact, text);
            }
            Ok(())
        }
        fact => write!(text, "{fact}"),
    };
}

/// A pointer with `*` for the numbers of rows.
pub(crate) fn without_row_numbers(pointer: &str) -> String {
    pointer
        .split('/')
        .map(|token| {
            if token.bytes().all(|byte| byte.is_ascii_digit()) && !token.is_empty() {
                "*"
            } else {
                token
            }
        })
        .collect::<Vec<_>>()
        .join("/")
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    fn stated(fact: &Value) -> String {
        let mut text = String::new();
        super::write_fact(fact, &mut text);
        text
    }

    #[test]
    fn facts_that_another_machine_computes_are_the_same() {
        for (one, other) in [
            (json!(0.1 + 0.2), json!(0.3)),
            (json!(3), json!(3.0)),
            (json!(-0.0), json!(0.0)),
            (json!({ "total": 1.0 / 3.0 }), json!({ "total": 0.333_333_333_333_333_4 })),
            (json!([0.1 + 0.2]), json!([0.3])),
            (json!("/structures/3/position"), json!("/structures/4/position")),
        ] {
            assert_ne!(one.to_string(), other.to_string());
            assert_eq!(stated(&one), stated(&other));
        }
        for (one, other) in [
            (json!(0.3), json!(0.300_001)),
            (json!([1, 2]), json!([12])),
            (json!(["a b"]), json!(["a", "b"])),
            (json!({ "total": 1 }), json!({ "mean": 1 })),
            (json!("3"), json!(3)),
            (json!(true), json!("true")),
        ] {
            assert_ne!(stated(&one), stated(&other));
        }
    }
}
