//! What makes two findings the same one, in two reports of a survey that was worked on in between.
//!
//! Not the pointer and not the line: a row that was put in moves both. It is the rule, the ids of what it concerns, the
//! field, and the facts behind the message. A finding about the document as a whole has no ids, and its facts are counts
//! that every new row changes, so its rule and its place have to do.

use std::fmt::Write;

use serde_json::Value;

use crate::finding::Finding;

/// A finding's identity: equal for findings that say the same of the same thing. Two findings of one report can share
/// one, where neither ids nor facts tell them apart.
#[must_use]
pub(crate) fn fingerprint(finding: &Finding) -> String {
    let mut text = format!("{}\n{}", finding.rule, without_row_numbers(&finding.path));
    let ids = [&finding.record, &finding.pipe, &finding.run, &finding.observation];
    for id in ids {
        // The length in front keeps two ids from running into one another.
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

/// Writes a fact so that equal ones give equal texts. Numbers are computed and not rounded: one that another machine gets
/// in its last digits is the same.
fn write_fact(fact: &Value, text: &mut String) {
    let _ = match fact {
        Value::String(pointer) if pointer.starts_with('/') => write!(text, "{}", without_row_numbers(pointer)),
        Value::Number(number) => match number.as_f64() {
            // Nought has no sign here.
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

/// A pointer with `*` for every row: where in a table something stands means nothing.
pub(crate) fn without_row_numbers(pointer: &str) -> String {
    pointer
        .split('/')
        .map(|token| if token.bytes().all(|byte| byte.is_ascii_digit()) && !token.is_empty() { "*" } else { token })
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
