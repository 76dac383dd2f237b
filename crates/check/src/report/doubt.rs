//! Withdraws fixes that are computed from a value that another finding is about. In a path, `*`
//! means every row of a list.

use std::collections::BTreeMap;

use super::Report;

/// Withdraws the fixes of a complete report that rest on a value in doubt: nothing is computed from
/// it until a person has looked at it.
pub(crate) fn withdraw_fixes(report: &mut Report) {
    if report.findings.iter().all(|finding| finding.rests_on.is_empty()) {
        return;
    }
    let mut rules: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for finding in &report.findings {
        rules.entry(&finding.subject.path).or_default().push(&finding.rule);
    }
    let mut columns: BTreeMap<String, bool> = BTreeMap::new();
    let mut doubted = |value: &str, own: &str| {
        if let Some((rows, column)) = value.split_once("/*/") {
            return *columns
                .entry(format!("{own} {value}"))
                .or_insert_with(|| column_doubted(&rules, rows, column, own));
        }
        let other = |rules: &Vec<&str>| rules.iter().any(|rule| *rule != own);
        let inside = format!("{value}/");
        rules.get(value).is_some_and(other)
            || rules
                .range(inside.as_str()..)
                .take_while(|(path, _)| path.starts_with(&inside))
                .any(|(_, rules)| other(rules))
            || holders(value).any(|holder| rules.get(holder).is_some_and(other))
    };
    let withdrawn: Vec<usize> = report
        .findings
        .iter()
        .enumerate()
        .filter(|(_, finding)| finding.rests_on.iter().any(|value| doubted(value, &finding.rule)))
        .map(|(index, _)| index)
        .collect();
    for index in withdrawn {
        report.findings[index].fix = None;
    }
    for finding in &mut report.findings {
        finding.rests_on = Vec::new();
    }
}

/// Whether a finding of another rule is about a column, in any row of a list.
fn column_doubted(rules: &BTreeMap<&str, Vec<&str>>, rows: &str, column: &str, own: &str) -> bool {
    let rows = format!("{rows}/");
    let in_rows = rules.range(rows.as_str()..).take_while(|(path, _)| path.starts_with(&rows));
    in_rows.into_iter().any(|(path, rules)| {
        let field = path[rows.len()..].split_once('/').map_or("", |(_, field)| field);
        field.split('/').next() == Some(column) && rules.iter().any(|rule| *rule != own)
    })
}

/// The observation that a value belongs to, and the values between the two. A finding about a whole
/// run or a whole pipe says nothing about one value in it.
fn holders(value: &str) -> impl Iterator<Item = &str> {
    const OBSERVATION: usize = 4;
    std::iter::successors(value.rfind('/'), |end| value[..*end].rfind('/'))
        .map(|end| &value[..end])
        .take_while(|holder| holder.matches('/').count() >= OBSERVATION)
}
