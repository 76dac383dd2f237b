//! Changes a document at random places.

use obvert::model::lists::{Code, CodeList};
use serde_json::{Value, json};

/// A mistake that can be made anywhere.
pub(crate) struct Mistake {
    /// The mistake in words.
    pub(crate) about: &'static str,
    /// The rule that must report it at the path that `make` returns. With several rules, any of them may report it, at a
    /// path of its choice, since the mistake can be seen in more than one way.
    pub(crate) rules: &'static [&'static str],
    /// How many further errors and warnings are allowed.
    pub(crate) by_catch: usize,
    /// Makes it and returns the path where it must be found; `None` if the document has no suitable place.
    pub(crate) make: fn(&mut Edit<'_>) -> Option<String>,
}

/// A document that is being changed.
pub(crate) struct Edit<'e> {
    pub(crate) document: &'e mut Value,
    pub(crate) random: &'e mut fastrand::Rng,
}

impl Edit<'_> {
    /// A number from a range.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        ((low + self.random.f64() * (high - low)) * 10.0).round() / 10.0
    }

    pub(crate) fn choice<T: Copy>(&mut self, of: &[T]) -> Option<T> {
        self.random.choice(of).copied()
    }

    /// A random row of a table for which `fits` is true.
    pub(crate) fn row(&mut self, table: &str, fits: impl Fn(&Value) -> bool) -> Option<usize> {
        let rows = self.document[table].as_array()?;
        let fitting: Vec<usize> = (0..rows.len()).filter(|index| fits(&rows[*index])).collect();
        self.random.choice(&fitting).copied()
    }

    /// A random observation for which `fits` is true, by run and row. `fits` gets the run as well.
    pub(crate) fn observation(
        &mut self,
        fits: impl Fn(&Value, &Value) -> bool,
    ) -> Option<(usize, usize)> {
        let mut fitting = Vec::new();
        for (run, record) in self.document["runs"].as_array()?.iter().enumerate() {
            let rows = record["observations"].as_array().into_iter().flatten().enumerate();
            fitting.extend(rows.filter(|(_, row)| fits(record, row)).map(|(row, _)| (run, row)));
        }
        self.random.choice(&fitting).copied()
    }

    /// A random observation for whose code `fits` is true.
    pub(crate) fn coded(&mut self, fits: impl Fn(&Code, &Value) -> bool) -> Option<(usize, usize)> {
        let list = self.list();
        let codes = list.by_code();
        self.observation(|_, row| {
            row["code"]
                .as_str()
                .and_then(|code| codes.get(code))
                .is_some_and(|code| fits(code, row))
        })
    }

    /// The code of an observation.
    pub(crate) fn code_of(&self, run: usize, row: usize) -> &'static Code {
        let code =
            self.document["runs"][run]["observations"][row]["code"].as_str().expect("a code");
        self.list().codes.iter().find(|known| *known.code == *code).expect("a known code")
    }

    /// The document's code list.
    pub(crate) fn list(&self) -> &'static CodeList {
        let (id, version) = (&self.document["coding"]["list"], &self.document["coding"]["version"]);
        CodeList::built_in(id.as_str().expect("a list"), version.as_str().expect("a version"))
            .expect("a built-in list")
    }

    pub(crate) fn at(&mut self, pointer: &str) -> &mut Value {
        self.document.pointer_mut(pointer).unwrap_or_else(|| panic!("nothing at {pointer}"))
    }

    pub(crate) fn number_at(&mut self, pointer: &str) -> f64 {
        self.at(pointer).as_f64().unwrap_or_else(|| panic!("no number at {pointer}"))
    }

    /// Sets a key, and adds it if it is missing.
    pub(crate) fn set(&mut self, pointer: &str, value: impl Into<Value>) {
        let (holder, key) = pointer.rsplit_once('/').expect("a pointer");
        let value = tidy(value.into());
        match self.at(holder) {
            Value::Array(rows) => rows[key.parse::<usize>().expect("a row")] = value,
            holder => holder[key] = value,
        }
    }

    pub(crate) fn remove(&mut self, pointer: &str) -> Option<Value> {
        let (holder, key) = pointer.rsplit_once('/').expect("a pointer");
        match self.at(holder) {
            Value::Array(rows) => Some(rows.remove(key.parse().expect("a row"))),
            Value::Object(keys) => keys.remove(key),
            _ => None,
        }
    }

    pub(crate) fn rows(&mut self, run: usize) -> &mut Vec<Value> {
        self.at(&format!("/runs/{run}/observations")).as_array_mut().expect("observations")
    }

    /// Appends a copy of a row with another id.
    pub(crate) fn again(&mut self, table: &str, row: usize, id: &str) -> usize {
        let mut copy = self.document[table][row].clone();
        copy["id"] = json!(id);
        let rows = self.document[table].as_array_mut().expect("a table");
        rows.push(copy);
        rows.len() - 1
    }
}

/// Numbers as a person types them.
fn tidy(value: Value) -> Value {
    match value.as_f64() {
        Some(number) if value.is_f64() => {
            let number = (number * 1000.0).round() / 1000.0;
            if number.fract() == 0.0 { json!(number as i64) } else { json!(number) }
        }
        _ => value,
    }
}

/// A distance in the middle of a run: rows above and below.
pub(crate) fn inner(run: &Value, row: &Value) -> bool {
    let at = |row: &Value| row["at"].as_f64().unwrap_or(0.0);
    let surveyed = run["surveyed"].as_f64().unwrap_or(0.0);
    at(row) > 0.05 * surveyed && at(row) < 0.9 * surveyed
}

/// The pointer of an observation.
pub(crate) fn to((run, row): (usize, usize), field: &str) -> String {
    format!("/runs/{run}/observations/{row}{field}")
}
