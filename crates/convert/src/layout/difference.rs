//! What a table does not give back: the document that was written held against the one that is read from the table.

use std::collections::{HashMap, HashSet};

use obvert_model::layout::Layout;
use serde_json::{Map, Value};

use super::said;
use crate::{LossKind, LossReport};

/// Adds every difference to the report, by pointers into the document that was written.
pub(super) fn differences(before: &Value, after: &Value, layout: &Layout, report: &mut LossReport) {
    Difference { layout, report }.value(before, after, "", "");
}

struct Difference<'d> {
    layout: &'d Layout,
    report: &'d mut LossReport,
}

impl Difference<'_> {
    /// The column that leads to a field, quoted, or the layout.
    fn column(&self, path: &str) -> Option<String> {
        let leads = |to: &str| to == path || path.strip_prefix(to).is_some_and(|rest| rest.starts_with('.'));
        let column = self.layout.columns.iter().find(|column| column.to.as_deref().is_some_and(leads))?;
        Some(format!("{:?}", column.heading))
    }

    fn dropped(&mut self, path: &str, pointer: &str) {
        let id = &self.layout.id;
        let message = match self.column(path) {
            Some(column) => format!("the column {column} of the layout {id} cannot hold it"),
            None => format!("the layout {id} has no column for {path}"),
        };
        self.report.add(LossKind::Dropped, pointer, message);
    }

    fn value(&mut self, before: &Value, after: &Value, path: &str, pointer: &str) {
        match (before, after) {
            (Value::Object(before), Value::Object(after)) => self.object(before, after, path, pointer),
            (Value::Array(before), Value::Array(after)) => self.array(before, after, path, pointer),
            _ if before == after || before.as_f64().is_some_and(|number| Some(number) == after.as_f64()) => {}
            _ => {
                let id = &self.layout.id;
                let message = match self.column(path) {
                    Some(column) => {
                        format!("through the column {column} of the layout {id} {path} comes back otherwise")
                    }
                    None => format!("the layout {id} has no column for {path} and makes another of it"),
                };
                self.report.add(LossKind::Changed, pointer, message);
            }
        }
    }

    fn object(&mut self, before: &Map<String, Value>, after: &Map<String, Value>, path: &str, pointer: &str) {
        let below = |key: &str| if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") };
        let child = |key: &str| format!("{pointer}/{}", key.replace('~', "~0").replace('/', "~1"));
        for (key, value) in before {
            match after.get(key) {
                Some(other) => self.value(value, other, &below(key), &child(key)),
                None => self.dropped(&below(key), &child(key)),
            }
        }
        for key in after.keys().filter(|key| !before.contains_key(*key)) {
            let message = format!("the layout {} puts {} in", self.layout.id, below(key));
            self.report.add(LossKind::Defaulted, child(key), message);
        }
    }

    fn array(&mut self, before: &[Value], after: &[Value], path: &str, pointer: &str) {
        let partners = partners(before, after, path);
        let order: Vec<usize> = partners.iter().flatten().copied().collect();
        if !order.is_sorted() {
            let message =
                format!("through the layout {} the rows of {path} come back in another order", self.layout.id);
            self.report.add(LossKind::Changed, pointer, message);
        }
        let mut taken = vec![false; after.len()];
        for (index, value) in before.iter().enumerate() {
            let pointer = format!("{pointer}/{index}");
            match partners[index].and_then(|partner| after.get(partner).map(|other| (partner, other))) {
                Some((partner, other)) => {
                    taken[partner] = true;
                    self.value(value, other, path, &pointer);
                }
                None if path == "runs.observations" => {
                    let code = value.get("code").map(said).unwrap_or_default();
                    let message = format!("the layout {} has no words for {code}", self.layout.id);
                    self.report.add(LossKind::Dropped, pointer, message);
                }
                None => self.dropped(path, &pointer),
            }
        }
        for _ in taken.iter().filter(|taken| !**taken) {
            let message = format!("the layout {} puts {path} in", self.layout.id);
            self.report.add(LossKind::Defaulted, pointer, message);
        }
    }
}

/// Which row of the one list is which of the other: observations in their order by distance and code, other rows by id where
/// each has its own, and those that are left in their order where there are as many.
fn partners(before: &[Value], after: &[Value], path: &str) -> Vec<Option<usize>> {
    if path == "runs.observations" {
        let mut next = 0;
        return before
            .iter()
            .map(|value| {
                let same = |other: &Value| value.get("code") == other.get("code");
                let found = after.get(next).filter(|other| same(other)).map(|_| next);
                next += usize::from(found.is_some());
                found
            })
            .collect();
    }
    let once = |rows: &[Value]| {
        let mut seen = HashSet::new();
        rows.iter().all(|row| row.get("id").is_some_and(|id| seen.insert(said(id))))
    };
    if !once(before) || !once(after) {
        return (0..before.len()).map(|index| (index < after.len()).then_some(index)).collect();
    }
    let ids: HashMap<String, usize> =
        after.iter().enumerate().filter_map(|(index, value)| Some((said(value.get("id")?), index))).collect();
    let mut found: Vec<Option<usize>> = before.iter().map(|value| ids.get(&said(value.get("id")?)).copied()).collect();
    let taken: HashSet<usize> = found.iter().flatten().copied().collect();
    let left: Vec<usize> = (0..after.len()).filter(|index| !taken.contains(index)).collect();
    let open: Vec<usize> = (0..before.len()).filter(|index| found[*index].is_none()).collect();
    if left.len() == open.len() {
        for (index, partner) in open.into_iter().zip(left) {
            found[index] = Some(partner);
        }
    }
    found
}
