//! The findings of a check as every implementation can state them, and their comparison with the expectation of a case.
//! Messages are not compared.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Map, Value};

use crate::rules::Case;

/// One finding of a report.
#[derive(Clone, Debug)]
pub(crate) struct Found {
    pub(crate) rule: String,
    pub(crate) pointer: String,
    pub(crate) severity: String,
    pub(crate) params: Map<String, Value>,
}

/// The findings of a report in JSON, by document.
pub(crate) fn by_document(report: &Value) -> Vec<Vec<Found>> {
    let documents = report["documents"].as_array().expect("documents").len();
    let mut found = vec![Vec::new(); documents];
    for finding in report["findings"].as_array().expect("findings") {
        let text = |key: &str| finding[key].as_str().expect("a text").to_owned();
        let document = finding.get("document").and_then(Value::as_u64).unwrap_or(0);
        found[usize::try_from(document).expect("a small number")].push(Found {
            rule: text("rule"),
            pointer: text("path"),
            severity: text("severity"),
            params: finding.get("params").and_then(Value::as_object).cloned().unwrap_or_default(),
        });
    }
    found
}

/// Equal as JSON values, numbers to a part in 10⁹: they are computed, and languages add up in different orders.
pub(crate) fn alike(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Number(a), Value::Number(b)) => match (a.as_f64(), b.as_f64()) {
            (Some(a), Some(b)) => (a - b).abs() <= 1e-9 * a.abs().max(b.abs()),
            _ => a == b,
        },
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| alike(a, b))
        }
        (Value::Object(a), Value::Object(b)) => {
            a.len() == b.len() && a.iter().all(|(key, a)| b.get(key).is_some_and(|b| alike(a, b)))
        }
        _ => a == b,
    }
}

/// The differences between the findings and the expectation of a case; empty if there are none.
pub(crate) fn differences(case: &Case, found: &[Found]) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut accounted = BTreeSet::new();
    for expected in &case.expect {
        accounted.insert((expected.rule.as_str(), expected.pointer.as_str()));
        let there: Vec<&Found> = found
            .iter()
            .filter(|found| found.rule == expected.rule && found.pointer == expected.pointer)
            .collect();
        if there.is_empty() {
            wrong.push(format!("no {} at {:?}", expected.rule, expected.pointer));
            continue;
        }
        let fits = |found: &&Found| {
            expected.severity.as_ref().is_none_or(|severity| *severity == found.severity)
                && expected.params.iter().flatten().all(|(name, value)| {
                    found.params.get(name).is_some_and(|found| alike(value, found))
                })
        };
        if !there.iter().any(fits) {
            wrong.push(format!(
                "{} at {:?} states other facts: {:?}",
                expected.rule, expected.pointer, there[0]
            ));
        }
    }
    for (rule, pointers) in &case.also {
        for pointer in pointers {
            accounted.insert((rule, pointer));
            if !found.iter().any(|found| found.rule == *rule && found.pointer == *pointer) {
                wrong.push(format!("no {rule} at {pointer:?} besides"));
            }
        }
    }
    for found in found {
        if !accounted.contains(&(found.rule.as_str(), found.pointer.as_str())) {
            wrong.push(format!("{} at {:?} is not expected", found.rule, found.pointer));
        }
    }
    wrong
}

/// The findings that a case does not expect, by rule.
pub(crate) fn besides(case: &Case, found: &[Found]) -> BTreeMap<String, Vec<String>> {
    let mut also: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for found in found {
        let expected =
            case.expect.iter().any(|one| one.rule == found.rule && one.pointer == found.pointer);
        let pointers = also.entry(found.rule.clone()).or_default();
        if !expected && !pointers.contains(&found.pointer) {
            pointers.push(found.pointer.clone());
        }
    }
    also.retain(|_, pointers| !pointers.is_empty());
    also
}
