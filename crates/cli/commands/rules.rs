//! `obvert rules`: the catalogue of rules.

use obvert::check::{Fact, Rule, Section, catalogue};
use serde_json::{Value, json};

use super::print;
use crate::args::ListFormat;
use crate::{Failure, Status, render};

/// Prints the catalogue of rules.
pub(crate) fn run(format: ListFormat) -> Result<Status, Failure> {
    match format {
        ListFormat::Json => {
            let rules: Vec<Value> = catalogue().iter().map(|rule| object(rule)).collect();
            print(format!("{}\n", serde_json::to_string_pretty(&rules)?).as_bytes())
        }
        ListFormat::Text => render::out(|out| list(out)),
    }
}

/// Prints the rules as text, family by family.
fn list(out: &mut dyn std::io::Write) -> std::io::Result<()> {
    let width = catalogue().iter().map(|rule| rule.name.len()).max().unwrap_or(0);
    let mut family = "";
    for rule in catalogue() {
        if rule.family() != family {
            if !family.is_empty() {
                writeln!(out)?;
            }
            family = rule.family();
            writeln!(out, "{}", render::strong(family))?;
        }
        let severity = render::severity(rule.severity, &format!("{:<7}", rule.severity));
        writeln!(out, "  {:<width$}  {severity}  {}", rule.name, rule.summary())?;
    }
    writeln!(out, "\n{} rules; run `obvert explain NAME` for details", catalogue().len())
}

fn fact(fact: &Fact) -> Value {
    let mut object = json!({
        "name": fact.name,
        "kind": fact.kind.as_str(),
        "type": fact.kind.json().as_str(),
        "meaning": fact.meaning,
    });
    if let Some(when) = fact.when() {
        object["when"] = when.into();
    }
    object
}

fn object(rule: &Rule) -> Value {
    let examples = |section| -> Vec<Value> {
        [rule.examples(section), rule.delivery_examples(section)]
            .concat()
            .into_iter()
            .map(|example| {
                let patch: Value = serde_json::from_str(&example.patch).unwrap_or_default();
                if section == Section::Fails {
                    json!({ "path": example.path, "patch": patch })
                } else {
                    json!({ "patch": patch })
                }
            })
            .collect()
    };
    let mut object = json!({
        "name": rule.name,
        "family": rule.family(),
        "severity": rule.severity.as_str(),
        "scope": rule.check.scope(),
        "since": rule.since,
        "clause": rule.clause,
        "summary": rule.summary(),
        "checks": rule.section(Section::Checks),
        "exceptions": rule.section(Section::Exceptions),
        "matters": rule.section(Section::Matters),
        "fix": rule.section(Section::Fix),
        "limits": rule.limits.iter().map(|limit| json!({
            "name": limit.name,
            "default": limit.default,
            "unit": limit.unit,
            "meaning": limit.meaning,
        })).collect::<Vec<_>>(),
        "facts": rule.facts.iter().map(fact).collect::<Vec<_>>(),
        "fails": examples(Section::Fails),
        "passes": examples(Section::Passes),
    });
    let source = rule.section(Section::Source);
    if !source.is_empty() {
        object["source"] = source.into();
    }
    if let Some(profile) = rule.profile() {
        object["profile"] = serde_json::from_str(&profile).unwrap_or_default();
    }
    object
}
