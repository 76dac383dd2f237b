//! The objects of SARIF for rules, artifact locations and logical locations.

use serde_json::{Value, json};

use super::{level, uri};
use crate::finding::{Finding, Severity};
use crate::output::{Block, Named, blocks};
use crate::report::Report;
use crate::rule::Section;

/// A rule as a reporting descriptor (3.49).
pub(super) fn rule_object(report: &Report, name: &str, named: Option<Named<'_>>) -> Value {
    let severity = severity_of(report, name, named);
    let Some(named) = named else {
        return json!({ "id": name, "defaultConfiguration": { "level": level(severity) } });
    };
    let mut object = json!({
        "id": name,
        "shortDescription": { "text": named.summary() },
        "defaultConfiguration": { "level": level(severity) },
    });
    let sections = named.sections();
    let paragraphs: Vec<String> =
        sections.iter().map(|(heading, text)| titled(heading, &plain(text))).collect();
    object["fullDescription"] =
        json!({ "text": sections.first().map(|(_, text)| plain(text)).unwrap_or_default() });
    let fix = Section::Fix.heading();
    let text = format!("{}\n\n{fix}: {}", paragraphs.join("\n\n"), plain(&named.advice()));
    let mut markdown = String::new();
    for (heading, section) in &sections {
        markdown.push_str(&format!("## {heading}\n\n{section}\n\n"));
    }
    markdown.push_str(&format!("## {fix}\n\n{}\n", named.advice()));
    object["help"] = json!({ "text": text, "markdown": markdown });
    let mut properties = json!({ "tags": [named.family()] });
    if let Named::Rule(rule) = named {
        properties["clause"] = json!(rule.clause);
        properties["since"] = json!(rule.since);
        let limits: serde_json::Map<String, Value> = rule
            .limits
            .iter()
            .map(|limit| {
                let set = report.settings.limits.get(&format!("{name}.{}", limit.name)).copied();
                (
                    limit.name.to_owned(),
                    json!({ "value": set.unwrap_or(limit.default), "unit": limit.unit }),
                )
            })
            .collect();
        if !limits.is_empty() {
            properties["limits"] = Value::Object(limits);
        }
    }
    object["properties"] = properties;
    object
}

/// A section as plain text.
fn titled(heading: &str, text: &str) -> String {
    let space = if text.starts_with("- ") { '\n' } else { ' ' };
    format!("{heading}:{space}{text}")
}

/// A text in Markdown as plain text.
fn plain(text: &str) -> String {
    let list = |items: Vec<String>| {
        items.iter().map(|item| format!("- {item}")).collect::<Vec<_>>().join("\n")
    };
    let blocks = blocks(text).into_iter().map(|block| match block {
        Block::Paragraph(text) => text,
        Block::List(items) => list(items),
    });
    blocks.collect::<Vec<_>>().join("\n\n").replace('`', "")
}

/// The severity of a rule in this check.
fn severity_of(report: &Report, name: &str, named: Option<Named<'_>>) -> Severity {
    if let Some(total) = report.rules.iter().find(|total| total.rule == name) {
        return total.severity;
    }
    let set = report.settings.severities.get(name);
    let set =
        set.and_then(|word| Severity::ALL.into_iter().find(|severity| severity.as_str() == word));
    set.or(named.map(Named::severity)).unwrap_or(Severity::Error)
}

/// The location of a file (3.4): as it was named, or within the zip that contains it.
pub(super) fn artifact_location(file: &str, within: Option<&str>) -> Value {
    if let Some(inner) = within.and_then(|zip| file.strip_prefix(zip)) {
        // 3.24.3: the path of a nested artifact begins at the root of the one that contains it.
        return json!({ "uri": format!("/{}", uri::encoded(inner.trim_start_matches(['/', '\\']))) });
    }
    json!({ "uri": uri::of_file(file) })
}

/// The pipe, the run and the observation of a finding, the innermost first, each by its fully
/// qualified name (3.33.5): `pipes/P-102/runs/R-03/observations/10`, with the document's name in
/// front.
pub(super) fn logical_locations(finding: &Finding, document: &str) -> Vec<Value> {
    let mut list = Vec::new();
    let mut qualified = uri::encoded(document);
    let record = finding
        .subject
        .record
        .as_ref()
        .map(|id| (finding.subject.path.split('/').nth(1).unwrap_or("rows"), id));
    let ids = [
        ("pipe", finding.subject.pipe.as_ref().map(|id| ("pipes", id))),
        ("run", finding.subject.run.as_ref().map(|id| ("runs", id))),
        ("observation", finding.subject.observation.as_ref().map(|id| ("observations", id))),
        ("record", record),
    ];
    for (kind, id) in ids {
        let Some((table, id)) = id else { continue };
        let escaped = uri::encoded(id).replace('/', "%2F");
        qualified = format!("{qualified}/{table}/{escaped}");
        list.push(json!({ "name": id, "kind": kind, "fullyQualifiedName": qualified }));
    }
    list.reverse();
    list
}
