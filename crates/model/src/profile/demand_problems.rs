//! Checks a demand on a field: values that the field can never have, a pattern that no value
//! matches, conditions that have no effect or contradict the demand.

use super::problems::{Problems, ProfileProblemKind};
use super::{Condition, Demand, FieldDemand, Pattern, Resolved, Scalar};
use crate::shape::Shape;
use crate::synonyms::nearest_value;

pub(super) fn demand_problems(
    demand: &FieldDemand,
    there: &Resolved,
    at: &str,
    problems: &mut Problems,
) {
    value_problems(&demand.values, demand.pattern.as_ref(), there, at, problems);
    if demand.demand == Some(Demand::Forbidden) {
        if there.always {
            let message = format!(
                "the format requires {}, so it cannot be forbidden; remove the demand",
                demand.path
            );
            problems.add(ProfileProblemKind::Contradiction, format!("{at}/demand"), message);
        }
        if !demand.values.is_empty() || demand.pattern.is_some() {
            let message = "a forbidden field takes no values and no pattern; remove them";
            problems.add(ProfileProblemKind::Contradiction, at, message);
        }
    }
    for (index, condition) in demand.conditions.iter().enumerate() {
        let at = format!("{at}/where/{index}");
        match condition.field.resolve_in(&there.table) {
            Err(error) => {
                let at = format!("{at}/field");
                problems.near(ProfileProblemKind::UnknownField, at, error.message, error.near);
            }
            Ok(field) => {
                let pattern = condition.pattern.as_ref();
                value_problems(&condition.values, pattern, &field, &at, problems);
                own_condition(demand, condition, there, &field, &at, problems);
            }
        }
    }
}

/// A condition on the demanded field itself has no effect, or contradicts the demand.
fn own_condition(
    demand: &FieldDemand,
    condition: &Condition,
    there: &Resolved,
    field: &Resolved,
    at: &str,
    problems: &mut Problems,
) {
    if field.keys == there.keys && demand.demand == Some(Demand::Required) {
        let message = format!(
            "{} is present whenever this condition is met; use a condition on another field",
            condition.field
        );
        problems.add(ProfileProblemKind::Contradiction, format!("{at}/field"), message);
    }
}

fn item(shape: &Shape) -> &Shape {
    match shape {
        Shape::List(inner) => item(inner),
        other => other,
    }
}

fn value_problems(
    values: &[Scalar],
    pattern: Option<&Pattern>,
    there: &Resolved,
    at: &str,
    problems: &mut Problems,
) {
    let shape = item(&there.field.shape);
    let name = there.keys.join(".");
    for (index, value) in values.iter().enumerate() {
        let at = format!("{at}/values/{index}");
        if let Some((message, near)) = value_problem(shape, &name, value) {
            problems.near(ProfileProblemKind::Value, at, message, near);
        }
    }
    problems.duplicates(&format!("{at}/values"), "value", values, |value| {
        value.to_string().trim_matches('"').to_owned()
    });
    if let Some(pattern) = pattern {
        pattern_problems(pattern, values, shape, &name, &format!("{at}/pattern"), problems);
    }
}

/// Why a field can never have a value, and the nearest value that it can have.
fn value_problem(shape: &Shape, name: &str, value: &Scalar) -> Option<(String, Option<String>)> {
    let kind = match (shape, value) {
        (Shape::Word(words), Scalar::Text(text)) => {
            if words.iter().any(|word| **word == **text) {
                return None;
            }
            let known: Vec<&str> = words.iter().map(String::as_str).collect();
            let near = nearest_value(name, text, &known).map(str::to_owned);
            let words = words.join(", ");
            return Some((format!("{value} is not one of the words of {name}: {words}"), near));
        }
        (Shape::Text, Scalar::Text(_))
        | (Shape::Number | Shape::Whole, Scalar::Number(_))
        | (Shape::Bool, Scalar::Bool(_)) => return None,
        (Shape::Word(_) | Shape::Text, _) => "a text",
        (Shape::Number | Shape::Whole, _) => "a number",
        (Shape::Bool, _) => "true or false",
        _ => {
            let message = format!("{name} is not a single value; use demand instead of values");
            return Some((message, None));
        }
    };
    Some((format!("{value} is impossible: {name} is {kind}"), None))
}

fn pattern_problems(
    pattern: &Pattern,
    values: &[Scalar],
    shape: &Shape,
    name: &str,
    at: &str,
    problems: &mut Problems,
) {
    if !matches!(shape, Shape::Text | Shape::Word(_)) {
        let message =
            format!("{name} is not a text, and only texts have patterns; use values instead");
        problems.add(ProfileProblemKind::Pattern, at, message);
    }
    let matcher = match pattern.compile() {
        Ok(matcher) => matcher,
        Err(error) => return problems.add(ProfileProblemKind::Pattern, at, error.to_string()),
    };
    let texts = values.iter().filter_map(|value| match value {
        Scalar::Text(text) => Some(text),
        _ => None,
    });
    for text in texts.filter(|text| !matcher.matches(text)) {
        let message = format!(
            "{text:?} is among the values but does not match the pattern; correct one of the two"
        );
        problems.add(ProfileProblemKind::Contradiction, at, message);
    }
}
