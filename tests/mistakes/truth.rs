//! Compares a fixed survey with the true one and with the mistaken one.

use std::collections::{BTreeMap, BTreeSet};

use obvert::check::Checker;
use obvert::check::fixing::FixSettings;
use serde_json::{Map, Value, json};

/// The key of `extensions` under which a record keeps its number, so that it is recognised whatever
/// else of it changes.
const MARK: &str = "org.example.mark";

/// The values of a record by their place in it. A list without objects is one value.
type Values = BTreeMap<String, Value>;

/// The records of a survey by their mark. A record that was copied occurs several times.
type Records = BTreeMap<u64, Vec<Values>>;

/// A true survey.
pub(crate) struct Truth {
    /// The survey, with every record marked.
    pub(crate) document: Value,
    records: Records,
    /// The records with everything that can be computed from the true survey.
    derived: Records,
}

impl Truth {
    /// Marks the records of a true survey.
    pub(crate) fn new(checker: &Checker, mut document: Value) -> Self {
        let mut next = 0;
        mark(&mut document, &mut next);
        let text = serde_json::to_string_pretty(&document).expect("json");
        let all = FixSettings::default().with_confirmed(true);
        let fixed = checker.fix(text.as_bytes(), &all, None).expect("json").text;
        let derived = records(&serde_json::from_str(&fixed).expect("json"));
        Self { records: records(&document), derived, document }
    }

    /// The values of a fixed survey that are neither true nor as they were before the fix.
    pub(crate) fn untrue(&self, mistaken: &Value, fixed: &Value) -> Vec<String> {
        let (before, after) = (records(mistaken), records(fixed));
        let mut untrue = Vec::new();
        for (mark, truth) in &self.records {
            let (Some(truth), Some(before)) = (truth.first(), before.get(mark)) else { continue };
            let Some(after) = after.get(mark).filter(|after| after.len() == before.len()) else {
                untrue.push(format!("a record is gone: {:?}", truth.get("/id")));
                continue;
            };
            let derived = self.derived.get(mark).and_then(|records| records.first());
            for after in after {
                let compared = Compared { truth, before, after, derived };
                untrue.extend(compared.untrue());
            }
        }
        untrue.extend(disorder(&self.document, mistaken, fixed));
        untrue
    }
}

/// One record in all versions.
struct Compared<'r> {
    truth: &'r Values,
    before: &'r [Values],
    after: &'r Values,
    derived: Option<&'r Values>,
}

impl Compared<'_> {
    fn untrue(&self) -> Vec<String> {
        let places: BTreeSet<&String> = self.truth.keys().chain(self.after.keys()).collect();
        let wrong = places.into_iter().filter(|place| !self.allowed(place));
        wrong
            .map(|place| {
                format!(
                    "{:?} {place} is {:?}; true: {:?}, mistaken: {:?}",
                    self.truth.get("/id"),
                    self.after.get(place),
                    self.truth.get(place),
                    self.before.iter().map(|before| before.get(place)).collect::<Vec<_>>()
                )
            })
            .collect()
    }

    fn allowed(&self, place: &str) -> bool {
        let after = self.after.get(place);
        after == self.truth.get(place)
            || self.before.iter().any(|before| before.get(place) == after)
            || after.is_some() && self.derived.is_some_and(|derived| derived.get(place) == after)
            || self.follows(place)
    }

    /// Whether a value says only what the mistaken record already said.
    fn follows(&self, place: &str) -> bool {
        let number = |values: &Values, place: &str| values.get(place).and_then(Value::as_f64);
        let after = self.after.get(place);
        let before = self.before.first().and_then(|before| before.get(place));
        match (place, before, after) {
            // No value is the same as no key.
            (_, Some(Value::Null), None) => true,
            (_, Some(Value::String(text)), None) => text.is_empty(),
            // The file names of Windows.
            ("/file", Some(Value::String(file)), Some(now)) => *now == file.replace('\\', "/"),
            // Only a stretch has an end beyond its start.
            ("/continuous", _, Some(Value::Bool(true))) => {
                number(self.after, "/to") > number(self.after, "/at")
            }
            // The distances of the run are too great by what the counter showed.
            ("/counter/reads", _, Some(reads)) => {
                let surplus = self.before.iter().find_map(|before| {
                    Some(number(before, "/surveyed")? - number(self.truth, "/surveyed")?)
                });
                let truly = number(self.truth, place).unwrap_or(0.0);
                let is = reads.as_f64().unwrap_or(0.0) - truly;
                surplus.is_some_and(|surplus| (surplus - is).abs() < 0.01)
            }
            _ => false,
        }
    }
}

/// Pairs of rows that a fix put into an order that is neither the true nor the mistaken one. Rows at
/// one true distance have no order.
fn disorder(truth: &Value, mistaken: &Value, fixed: &Value) -> Vec<String> {
    let (truth, before, after) = (orders(truth), orders(mistaken), orders(fixed));
    let mut wrong = Vec::new();
    for (run, after) in &after {
        let (Some(truth), Some(before)) = (truth.get(run), before.get(run)) else { continue };
        let at = |mark: &u64| truth.iter().find(|(other, _)| other == mark).map(|(_, at)| *at);
        let place = |rows: &[(u64, f64)], mark: u64| rows.iter().position(|row| row.0 == mark);
        for (index, (first, _)) in after.iter().enumerate() {
            for (second, _) in &after[index + 1..] {
                let known = at(first).zip(at(second)).filter(|(one, other)| one != other);
                let were = place(before, *first) < place(before, *second);
                let truly = place(truth, *first) < place(truth, *second);
                if known.is_some() && first != second && !were && !truly {
                    wrong.push(format!("row {first} is now before row {second}"));
                }
            }
        }
    }
    wrong
}

/// The rows of each run: their marks and distances.
fn orders(document: &Value) -> BTreeMap<u64, Vec<(u64, f64)>> {
    let runs = document["runs"].as_array().into_iter().flatten();
    runs.filter_map(|run| {
        let rows = run["observations"].as_array().into_iter().flatten();
        let rows = rows.filter_map(|row| Some((marked(row)?, row["at"].as_f64().unwrap_or(0.0))));
        Some((marked(run)?, rows.collect()))
    })
    .collect()
}

fn marked(record: &Value) -> Option<u64> {
    record["extensions"][MARK]["n"].as_u64()
}

/// Marks the document, the rows of its tables, and their rows.
fn mark(record: &mut Value, next: &mut u64) {
    let Some(members) = record.as_object_mut() else { return };
    // The media of an observation are references, not records.
    let holds = !members.contains_key("code");
    for (_, rows) in members.iter_mut().filter(|(name, _)| holds && is_table(name)) {
        rows.as_array_mut().into_iter().flatten().for_each(|row| mark(row, next));
    }
    let extensions = members.entry("extensions").or_insert_with(|| json!({}));
    extensions[MARK] = json!({ "n": *next });
    *next += 1;
}

fn is_table(name: &str) -> bool {
    let tables = ["parties", "equipment", "structures", "pipes", "locates", "ratings", "runs"];
    tables.contains(&name) || ["observations", "media"].contains(&name)
}

/// The records of a survey.
fn records(document: &Value) -> Records {
    let mut document = document.clone();
    sizes_in_millimetres(&mut document);
    let mut records = Records::new();
    collect(&document, &mut records);
    records
}

/// Writes the sizes of pipes in millimetres: another unit with other numbers is the same.
fn sizes_in_millimetres(document: &mut Value) {
    let factor = if document["units"]["section"] == "in" { 25.4 } else { 1.0 };
    document["units"]["section"] = json!("mm");
    for pipe in document["pipes"].as_array_mut().into_iter().flatten() {
        for key in ["height", "width"] {
            if let Some(size) = pipe[key].as_f64() {
                pipe[key] = json!((size * factor * 10.0).round() / 10.0);
            }
        }
    }
}

fn collect(record: &Value, records: &mut Records) {
    let Some(members) = record.as_object() else { return };
    let mut own = Map::new();
    for (name, value) in members {
        match value.as_array() {
            Some(rows) if is_table(name) && rows.iter().any(|row| marked(row).is_some()) => {
                rows.iter().for_each(|row| collect(row, records));
            }
            _ => drop(own.insert(name.clone(), value.clone())),
        }
    }
    if let Some(mark) = marked(record) {
        let mut values = Values::new();
        flatten(&Value::Object(own), String::new(), &mut values);
        records.entry(mark).or_default().push(values);
    }
}

fn flatten(value: &Value, place: String, values: &mut Values) {
    match value {
        Value::Object(members) => members
            .iter()
            .for_each(|(key, member)| flatten(member, format!("{place}/{key}"), values)),
        Value::Array(items) if items.iter().any(Value::is_object) => items
            .iter()
            .enumerate()
            .for_each(|(index, item)| flatten(item, format!("{place}/{index}"), values)),
        // 9 and 9.0 are the same number.
        Value::Number(number) => drop(values.insert(place, json!(number.as_f64()))),
        other => drop(values.insert(place, other.clone())),
    }
}

/// Leaves out some of what a survey need not state, so that there is less to conclude from.
pub(crate) fn state_less(document: &mut Value, random: &mut fastrand::Rng) {
    let drop_some = |rows: &mut Value, keys: &[&str], random: &mut fastrand::Rng| {
        for row in rows.as_array_mut().into_iter().flatten().filter_map(Value::as_object_mut) {
            for key in keys {
                if random.u8(0..4) == 0 {
                    row.remove(*key);
                }
            }
        }
    };
    drop_some(&mut document["pipes"], &["length", "height", "inverts", "path"], random);
    drop_some(&mut document["structures"], &["depth", "ground"], random);
    drop_some(&mut document["media"], &["at", "duration"], random);
    drop_some(&mut document["ratings"], &["peak", "total", "mean", "count"], random);
    drop_some(&mut document["runs"], &["started", "finished"], random);
    let named = random.bool();
    for run in document["runs"].as_array_mut().into_iter().flatten() {
        drop_some(&mut run["observations"], &["media", "grades"], random);
        for row in run["observations"].as_array_mut().into_iter().flatten().filter(|_| named) {
            row["id"] = json!(format!("row {}", row["id"].as_str().unwrap_or_default()));
        }
    }
}
