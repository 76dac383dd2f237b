//! In every case of the part `rules`, findings have the facts that their rules declare.

use std::collections::{BTreeMap, BTreeSet};

use obvert::check::{FactKind, Need, catalogue, find};
use obvert::model::tables::{LengthUnit, QuantityUnit, SectionUnit};
use obvert::model::text::Timestamp;
use serde_json::Value;

use crate::rules::findings;

/// Whether a value of the right type also has the format of its kind.
fn has_form(kind: FactKind, value: &Value) -> bool {
    let text = value.as_str().unwrap_or_default();
    let date = |text: &str| {
        let parts: Vec<&str> = text.split('-').collect();
        parts.iter().map(|part| part.len()).eq([4, 2, 2])
            && parts.iter().all(|part| part.parse::<u32>().is_ok())
    };
    let date_time = |text: &str| {
        text.parse::<Timestamp>().is_ok() && text.split_once('T').is_some_and(|(day, _)| date(day))
    };
    match kind {
        FactKind::Pointer => text.starts_with('/'),
        FactKind::DateTime => date_time(text),
        FactKind::Date => date(text),
        FactKind::Time => date_time(text) || date(text) || text.parse::<u16>().is_ok(),
        FactKind::Unit => {
            LengthUnit::ALL.iter().any(|unit| unit.as_str() == text)
                || SectionUnit::ALL.iter().any(|unit| unit.as_str() == text)
                || QuantityUnit::ALL.iter().any(|unit| unit.as_str() == text)
        }
        FactKind::Id | FactKind::Code | FactKind::Text => !text.is_empty(),
        FactKind::Word => {
            text.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-') && !text.is_empty()
        }
        FactKind::Year => value.as_u64().is_some_and(|year| year < 10_000),
        FactKind::Bounds => value.as_array().is_some_and(|edges| edges.len() == 4),
        _ => true,
    }
}

/// How the facts of a finding differ from the declaration of its rule.
fn complaints(rule: &str, params: &serde_json::Map<String, Value>) -> Vec<String> {
    let declared = find(rule).map_or(&[][..], |rule| rule.facts);
    let mut wrong = Vec::new();
    for fact in declared {
        match params.get(fact.name) {
            None if fact.when().is_none() => {
                wrong.push(format!("{rule}: {} is not there", fact.name))
            }
            None => {}
            Some(value) if !fact.kind.json().fits(value) => {
                wrong.push(format!(
                    "{rule}: {} is {value}, no {}",
                    fact.name,
                    fact.kind.json().as_str()
                ));
            }
            Some(value) if !has_form(fact.kind, value) => {
                wrong.push(format!("{rule}: {} is {value}, no {}", fact.name, fact.kind.as_str()));
            }
            Some(_) => {}
        }
    }
    let undeclared = params.keys().filter(|name| !declared.iter().any(|fact| fact.name == **name));
    wrong.extend(undeclared.map(|name| format!("{rule}: {name} is not declared")));
    wrong
}

#[test]
fn findings_state_the_declared_facts() {
    let wrong: BTreeSet<String> =
        findings().flat_map(|found| complaints(&found.rule, &found.params)).collect();
    assert!(
        wrong.is_empty(),
        "{} wrong:\n{}",
        wrong.len(),
        wrong.into_iter().collect::<Vec<_>>().join("\n")
    );
}

/// The fact that no case can lack: every entry of the built-in scheme ends with a grade, and the suite has no other scheme
/// for rules. `crates/check/tests/grading.rs` has one.
const NEVER_MISSING: [(&str, &str); 1] = [("grade-contradicts", "computed")];

/// Every fact is in a finding of the suite, and an optional one is missing in another.
#[test]
fn every_declared_fact_shows_up() {
    let mut seen: BTreeMap<(&str, &str), [usize; 2]> = BTreeMap::new();
    for found in findings() {
        for fact in find(&found.rule).map_or(&[][..], |rule| rule.facts) {
            let there = usize::from(found.params.contains_key(fact.name));
            seen.entry((found.rule.as_str(), fact.name)).or_default()[there] += 1;
        }
    }
    let mut wrong = Vec::new();
    for rule in catalogue().iter().filter(|rule| !rule.needs.contains(&Need::Files)) {
        for fact in rule.facts {
            let [without, with] = seen.get(&(rule.name, fact.name)).copied().unwrap_or_default();
            if with == 0 {
                wrong.push(format!("{}: no case shows {}", rule.name, fact.name));
            }
            if fact.when().is_some()
                && without == 0
                && !NEVER_MISSING.contains(&(rule.name, fact.name))
            {
                wrong.push(format!(
                    "{}: every case shows {}, and it is said to be missing at times",
                    rule.name, fact.name
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

/// The comparison works.
#[test]
fn a_fact_too_many_too_few_or_of_another_type_is_seen() {
    let params = |text: &str| serde_json::from_str(text).expect("json");
    assert_eq!(
        complaints("quantity-unexpected", &params(r#"{"recorded": 2, "places": 1}"#)),
        Vec::<String>::new()
    );
    for (facts, wrong) in [
        (r#"{"recorded": 2}"#, "quantity-unexpected: places is not there"),
        (r#"{"recorded": 2, "places": 1, "more": 1}"#, "quantity-unexpected: more is not declared"),
        (
            r#"{"recorded": 2, "places": 1.5}"#,
            "quantity-unexpected: places is 1.5, no whole number",
        ),
        (
            r#"{"recorded": "2", "places": 1}"#,
            "quantity-unexpected: recorded is \"2\", no whole number",
        ),
    ] {
        assert_eq!(complaints("quantity-unexpected", &params(facts)), [wrong]);
    }
    assert_eq!(complaints("start-missing", &params("{}")), Vec::<String>::new());
    assert_eq!(
        complaints("unknown-key", &params(r#"{"key": "x"}"#)),
        ["unknown-key: key is not declared"]
    );
}
