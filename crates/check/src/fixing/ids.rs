//! Fixes of ids. They need the whole document, since every reference to an id changes with it.

use std::collections::BTreeMap;

use obvert_model::edit::{Edit, Fix};
use obvert_model::shape::{self, ObjectShape, Shape};
use serde_json::Value;

use crate::catalogue::find;
use crate::evidence::tables;
use crate::finding::Finding;
use crate::report::Report;

/// The references to rows of a table, as keys with `*` for the numbers of rows.
fn references(table: &str) -> Vec<Vec<&'static str>> {
    let mut found = Vec::new();
    collect_references(shape::document(), table, &[], &mut found);
    found
}

fn collect_references(
    object: &'static ObjectShape,
    table: &str,
    at: &[&'static str],
    found: &mut Vec<Vec<&'static str>>,
) {
    for field in &object.fields {
        let mut path: Vec<&str> = at.iter().copied().chain([field.name.as_str()]).collect();
        let mut shape = &field.shape;
        while let Shape::List(item) = shape {
            path.push("*");
            shape = item;
        }
        // The row's own id is not a reference.
        let own = path == [table, "*", "id"];
        match shape {
            Shape::Object(name) => collect_references(shape::object(name), table, &path, found),
            _ if field.id_of.as_deref() == Some(table) && !own => found.push(path),
            _ => {}
        }
    }
}

/// The table that a rule about missing rows refers to.
fn table_of(rule: &str) -> Option<&'static str> {
    find(rule)?.refers_to
}

fn is_about_id(finding: &Finding) -> bool {
    finding.rule == "text-untrimmed" && finding.subject.path.ends_with("/id")
        || table_of(&finding.rule).is_some()
}

/// Adds the fixes of ids to the findings of a report.
pub(super) fn add_fixes(report: &mut Report, text: &str) {
    if !report.findings.iter().any(is_about_id) {
        return;
    }
    let Ok(document) = serde_json::from_str::<Value>(text.trim_start_matches('\u{FEFF}')) else {
        return;
    };
    let mut names: BTreeMap<&str, Vec<(String, String)>> = BTreeMap::new();
    for finding in report.findings.iter_mut().filter(|finding| is_about_id(finding)) {
        let fix = match table_of(&finding.rule) {
            Some(table) => {
                let Some(id) = finding.params.get("id").and_then(Value::as_str) else { continue };
                let named = names.entry(table).or_insert_with(|| naming(&document, table));
                renamed_reference(&document, table, id, named)
            }
            None => trimmed(&document, &finding.subject.path, &mut names),
        };
        finding.fix = finding.fix.take().or(fix.map(Box::new));
    }
}

/// Every reference to a row of a table, with the id.
fn naming(document: &Value, table: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    for path in references(table) {
        walk(document, &path, String::new(), &mut found);
    }
    found
}

fn walk(value: &Value, tokens: &[&str], at: String, found: &mut Vec<(String, String)>) {
    match (tokens.split_first(), value) {
        (None, Value::String(id)) => found.push((at, id.clone())),
        (Some((&"*", rest)), Value::Array(items)) => {
            items
                .iter()
                .enumerate()
                .for_each(|(row, item)| walk(item, rest, format!("{at}/{row}"), found));
        }
        (Some((key, rest)), Value::Object(members)) => {
            if let Some(member) = members.get(*key) {
                walk(member, rest, format!("{at}/{key}"), found);
            }
        }
        _ => {}
    }
}

fn ids(rows: Option<&Value>) -> impl Iterator<Item = &str> + Clone {
    rows.and_then(Value::as_array).into_iter().flatten().filter_map(|row| row["id"].as_str())
}

/// The fix that trims an id and every reference to it; none if two rows would then have the same
/// id.
fn trimmed(
    document: &Value,
    path: &str,
    names: &mut BTreeMap<&str, Vec<(String, String)>>,
) -> Option<Fix> {
    let id = document.pointer(path)?.as_str()?;
    let meant = id.trim();
    if path == "/id" {
        return (!meant.is_empty())
            .then(|| Fix::safe("removes the white space", vec![Edit::replace(path, meant)]));
    }
    let (rows, _) = path.strip_suffix("/id")?.rsplit_once('/')?;
    if meant.is_empty()
        || ids(document.pointer(rows)).filter(|other| other.trim() == meant).count() != 1
    {
        return None;
    }
    let mut edits = vec![Edit::replace(path, meant)];
    let table = tables().find(|table| rows.strip_prefix('/') == Some(table));
    if let Some(table) = table {
        let named = names.entry(table).or_insert_with(|| naming(document, table));
        let untrimmed = named.iter().filter(|(_, other)| other.trim() == meant && other != meant);
        edits.extend(untrimmed.map(|(pointer, _)| Edit::replace(pointer.as_str(), meant)));
    }
    Some(Fix::safe("removes the white space, everywhere the id is used", edits))
}

/// The fix of references that differ from an id only in white space or case.
fn renamed_reference(
    document: &Value,
    table: &str,
    id: &str,
    named: &[(String, String)],
) -> Option<Fix> {
    let rows = document.get(table);
    let only = |same: &dyn Fn(&str) -> bool| {
        let mut matches = ids(rows).filter(|other| same(other));
        let first = matches.next()?;
        matches.next().is_none().then_some(first)
    };
    let edits = |meant: &str| -> Vec<Edit> {
        named
            .iter()
            .filter(|(_, other)| other == id)
            .map(|(pointer, _)| Edit::replace(pointer.as_str(), meant))
            .collect()
    };
    // White space around an id is fixed first.
    let folded = id.trim().to_lowercase();
    let meant = only(&|other| other.trim().to_lowercase() == folded)
        .filter(|meant| *meant == meant.trim())?;
    if meant == id.trim() {
        return Some(Fix::safe(format!("writes {id:?} as {meant:?}"), edits(meant)));
    }
    Some(Fix::to_confirm(format!("{id:?} means {meant:?}"), edits(meant)))
}

#[cfg(test)]
mod tests {
    use super::references;

    #[test]
    fn references_come_from_the_shape() {
        let of = |table: &str| -> Vec<String> {
            references(table).iter().map(|path| path.join("/")).collect()
        };
        let mut pipes = of("pipes");
        pipes.sort();
        let expected = [
            "pipes/*/joins/pipe",
            "ratings/*/pipe",
            "runs/*/launched/pipe",
            "runs/*/observations/*/joins",
            "runs/*/pipe",
        ];
        assert_eq!(pipes, expected);
        assert_eq!(of("media"), ["runs/*/observations/*/media/*/id"]);
        assert_eq!(of("equipment"), ["runs/*/equipment/*"]);
    }
}
