//! Checks a demand on a field: values that the field can never have, a pattern that no value
//! matches, conditions that have no effect or contradict the demand.

use super::problems::{Problems, ProfileProblemKind};
use super::{Condition, Demand, FieldDemand, Pattern, Resolved, Scalar};
use crate::shape::Shape;
use crate::text::nearest;

pub(super) fn demand_problems(
    demand: &FieldDemand,
    there: &Resolved,
    at: &str,
    problems: &mut Problems,
) {
    value_problems(&demand.values, demand.pattern.as_ref(), there, at, problems);
    if demand.demand == Some(Demand::Forbidden) {
        if there.always {
            let message =
                format!("the format requires {}, so it cannot be forbidden; remove the demand", demand.path);
            problems.add(ProfileProblemKind::Contradiction, format!("{at}/demand"), message);
        }
        if !demand.values.is_empty() || demand.pattern.is_some() {
            let message =
                "a forbidden field takes no values and no pattern; remove them";
            problems.add(ProfileProblemKind::Contradiction, at, message);
        }
    }
    for (index, condition) in demand.conditions.iter().enumerate() {
        let at = format!("{at}/where/{index}");
        match condition.field.resolve_in(&there.table) {
            Err(error) => {
                problems.near(
                    ProfileProblemKind::UnknownField,
                    format!("{at}/field"),
                    error.message,
                    error.near,
                );
            }
            Ok(field) => {
                value_problems(
                    &condition.values,
                    condition.pattern.as_ref(),
                    &field,
                    &at,
                    problems,
                );
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
        let kind = match (shape, value) {
            (Shape::Word(words), Scalar::Text(text)) => {
                if !words.iter().any(|word| **word == **text) {
                    let near = nearest(text, words.iter().map(String::as_str)).map(str::to_owned);
                    let message =
                        format!("{value} is not one of the words of {name}: {}", words.join(", "));
                    problems.near(ProfileProblemKind::Value, at, message, near);
                }
                continue;
            }
            (Shape::Text, Scalar::Text(_))
            | (Shape::Number | Shape::Whole, Scalar::Number(_))
            | (Shape::Bool, Scalar::Bool(_)) => continue,
            (Shape::Word(_) | Shape::Text, _) => "a text",
            (Shape::Number | Shape::Whole, _) => "a number",
            (Shape::Bool, _) => "true or false",
            _ => {
                let message =
                    format!("{name} is not a single value; use demand instead of values");
                problems.add(ProfileProblemKind::Value, at, message);
                continue;
            }
        };
        problems.add(
            ProfileProblemKind::Value,
            at,
            format!("{value} is impossible: {name} is {kind}"),
        );
    }
    problems.twice(&format!("{at}/values"), "value", values, |value| {
        value.to_string().trim_matches('"').to_owned()
    });
    let Some(pattern) = pattern else { return };
    let at = format!("{at}/pattern");
    if !matches!(shape, Shape::Text | Shape::Word(_)) {
        let message =
            format!("{name} is not a text, and only texts have patterns; use values instead");
        problems.add(ProfileProblemKind::Pattern, &at, message);
    }
    match pattern.compile() {
        Err(error) => problems.add(ProfileProblemKind::Pattern, at, error.to_string()),
        Ok(matcher) => {
            let texts = values.iter().filter_map(|value| match value {
                Scalar::Text(text) => Some(text),
                _ => None,
            });
            for text in texts.filter(|text| !matcher.matches(text)) {
                let message = format!(
                    "{text:?} is among the values but does not match the pattern; correct one of the two"
                );
                problems.add(ProfileProblemKind::Contradiction, &at, message);
            }
        }
    }
}
