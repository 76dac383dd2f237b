//! Problems of the rules that a profile names.

use rustc_hash::FxHashMap;

use super::super::{FieldPath, LimitSetting, Profile};
use super::{Available, AvailableRule, Problems, ProfileProblemKind};
use crate::shape;
use crate::text::nearest;
use crate::versions::renamed;

impl Profile {
    pub(super) fn rule_problems(&self, available: &Available<'_>, problems: &mut Problems) {
        let names: Vec<&str> = self.rules.iter().map(|setting| setting.rule.as_str()).collect();
        problems.duplicates("/rules", "rule", &names, ToString::to_string);
        for (index, setting) in self.rules.iter().enumerate() {
            let at = format!("/rules/{index}");
            if setting.severity.is_none() && setting.limits.is_empty() {
                problems.add(
                    ProfileProblemKind::Empty,
                    &at,
                    "neither a severity nor a limit is set; remove the rule",
                );
            }
            let limits: Vec<&str> =
                setting.limits.iter().map(|limit| limit.name.as_str()).collect();
            problems.duplicates(&format!("{at}/limits"), "limit", &limits, ToString::to_string);
            let Some(rule) = known_rule(&setting.rule, &format!("{at}/rule"), available, problems)
            else {
                continue;
            };
            for (index, limit) in setting.limits.iter().enumerate() {
                limit_problems(rule, limit, &format!("{at}/limits/{index}"), problems);
            }
        }
    }

    pub(super) fn suppression_problems(&self, available: &Available<'_>, problems: &mut Problems) {
        let mut seen: FxHashMap<String, usize> = FxHashMap::default();
        for (index, suppression) in self.suppressions.iter().enumerate() {
            let at = format!("/suppressions/{index}");
            known_rule(&suppression.rule, &format!("{at}/rule"), available, problems);
            let bounds = (
                &suppression.path,
                &suppression.pipes,
                &suppression.runs,
                &suppression.observations,
            );
            if let (None, [], [], []) =
                (bounds.0, bounds.1.as_slice(), bounds.2.as_slice(), bounds.3.as_slice())
            {
                let message = "every finding of the rule would be suppressed; name a path, pipes, runs or observations, or turn the rule off in rules";
                problems.add(ProfileProblemKind::Empty, &at, message);
            }
            let unknown = suppression.path.as_ref().and_then(unknown_path);
            if let Some((message, near)) = unknown {
                let at = format!("{at}/path");
                problems.near(ProfileProblemKind::UnknownField, at, message, near);
            }
            let whole = format!("{:?}{bounds:?}", &*suppression.rule);
            let earlier = *seen.entry(whole).or_insert(index);
            if earlier != index {
                let message =
                    format!("the same is suppressed at /suppressions/{earlier}; keep one");
                problems.add(ProfileProblemKind::Duplicate, &at, message);
            }
            if let Some(until) = &suppression.until
                && available.today.is_some_and(|today| until < today)
            {
                let message = format!("the suppression expired on {until}; remove or renew it");
                problems.add(ProfileProblemKind::Expired, format!("{at}/until"), message);
            }
        }
    }
}

fn limit_problems(
    rule: &AvailableRule<'_>,
    limit: &LimitSetting,
    at: &str,
    problems: &mut Problems,
) {
    let Some((_, unit)) = rule.limits.iter().find(|(name, _)| *name == &*limit.name) else {
        let has: Vec<&str> = rule.limits.iter().map(|(name, _)| *name).collect();
        let has = if has.is_empty() { "none".to_owned() } else { has.join(", ") };
        let message =
            format!("the rule {} has no limit {:?}; it has: {has}", rule.name, &*limit.name);
        return problems.add(ProfileProblemKind::UnknownLimit, format!("{at}/name"), message);
    };
    let (key, message) = match (limit.in_unit(unit), limit.unit) {
        (None, Some(own)) => {
            ("unit", format!("{own} is the wrong kind of unit; the limit is in {unit}"))
        }
        (Some(value), _) if value < 0.0 => {
            ("value", format!("{} is not a limit; use 0 or more", limit.value))
        }
        _ => return,
    };
    problems.add(ProfileProblemKind::LimitValue, format!("{at}/{key}"), message);
}

/// Why the path of a suppression is not one of a field or table, and the nearest path.
fn unknown_path(path: &FieldPath) -> Option<(String, Option<String>)> {
    let keys: Vec<&str> = path.split('.').collect();
    if shape::field(&keys).is_some() {
        return None;
    }
    let error = path.resolve().err();
    Some(error.map_or_else(Default::default, |error| (error.message, error.near)))
}

/// The rule of a name; `None` and a problem if there is none.
fn known_rule<'h, 'a>(
    name: &str,
    at: &str,
    available: &'h Available<'a>,
    problems: &mut Problems,
) -> Option<&'h AvailableRule<'a>> {
    let found = available.rules.iter().find(|rule| rule.name == name);
    if found.is_none() && !available.rules.is_empty() {
        if let Some(new) = renamed(name) {
            let message =
                format!("{name:?} was renamed to {new:?}; `obvert migrate` writes the new name");
            problems.add(ProfileProblemKind::UnknownRule, at, message);
            return None;
        }
        let near = nearest(name, available.rules.iter().map(|rule| rule.name)).map(str::to_owned);
        problems.near(
            ProfileProblemKind::UnknownRule,
            at,
            format!("no rule is called {name:?}"),
            near,
        );
    }
    found
}
