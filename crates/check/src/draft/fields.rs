//! Drafts demands on fields: those that every row has, with the pattern of their ids and their words.

use obvert_model::probe::{Plan, Slot, Value, Visitor};
use obvert_model::profile::{Demand, FieldDemand, FieldPath, Pattern, Scalar};
use obvert_model::shape::{self, Field, ObjectShape, Shape};
use rustc_hash::{FxHashMap, FxHashSet};

use super::ids::Ids;
use super::values::Words;
use super::{Draft, count, text};

/// Texts for which an office may have a pattern.
const IDS: [&str; 7] = [
    "structures.id",
    "structures.asset",
    "pipes.id",
    "pipes.asset",
    "runs.id",
    "media.id",
    "assignment.contract",
];

/// Counts of fields and values in the rows.
#[derive(Debug, Default)]
pub(super) struct Statistics {
    /// For every table, the number of rows.
    rows: Vec<usize>,
    /// For every field, the number of rows that have it.
    present: Vec<Vec<usize>>,
    /// The fields of the current row of every table.
    current: Vec<FxHashSet<usize>>,
    ids: FxHashMap<Slot, Ids>,
    words: FxHashMap<Slot, Words>,
}

impl Visitor for Statistics {
    fn field(&mut self, slot: Slot, value: Value<'_>) {
        self.current[slot.table].insert(slot.field);
        let Value::Text(text) = value else { return };
        if let Some(ids) = self.ids.get_mut(&slot) {
            ids.add(text);
        }
        if let Some(words) = self.words.get_mut(&slot) {
            words.add(text);
        }
    }

    fn row(&mut self, table: usize, _: &[usize]) {
        self.rows[table] += 1;
        for field in self.current[table].drain() {
            self.present[table][field] += 1;
        }
    }
}

/// A field of the format, with its path.
struct FieldOfFormat {
    table: Vec<String>,
    keys: Vec<String>,
    field: &'static Field,
}

fn add_fields(
    object: &'static ObjectShape,
    table: &[String],
    keys: &[String],
    found: &mut Vec<FieldOfFormat>,
) {
    for field in &object.fields {
        let skipped = field.name.starts_with('$') || field.shape == Shape::Extensions;
        if skipped {
            continue;
        }
        let keys = [keys, std::slice::from_ref(&field.name)].concat();
        // Runs are read one at a time.
        if !(table.is_empty() && keys == ["runs"]) {
            found.push(FieldOfFormat { table: table.to_vec(), keys: keys.clone(), field });
        }
        match &field.shape {
            Shape::Object(name) => add_fields(shape::object(name), table, &keys, found),
            Shape::List(item) => {
                if let Shape::Object(name) = &**item {
                    add_fields(shape::object(name), &[table, &keys].concat(), &[], found);
                }
            }
            _ => {}
        }
    }
}

/// Every field of the format that can be demanded, by its path.
fn fields_of_format() -> Vec<FieldOfFormat> {
    let mut found = Vec::new();
    add_fields(shape::document(), &[], &[], &mut found);
    found
}

fn path(table: &[String], keys: &[String]) -> String {
    [table, keys].concat().join(".")
}

impl Statistics {
    /// Plans to read every field of the format.
    pub(super) fn new(plan: &mut Plan) -> Self {
        let mut statistics = Self::default();
        for part in fields_of_format() {
            let slot = plan.want(&part.table, &part.keys);
            if IDS.contains(&path(&part.table, &part.keys).as_str()) {
                statistics.ids.insert(slot, Ids::default());
            }
            if vocabulary(part.field).is_some() {
                statistics.words.insert(slot, Words::default());
            }
        }
        let tables = plan.tables();
        statistics.rows = vec![0; tables];
        statistics.present = (0..tables).map(|table| vec![0; plan.fields(table)]).collect();
        statistics.current = vec![FxHashSet::default(); tables];
        statistics
    }
}

impl Draft {
    /// The demands on fields.
    pub(super) fn field_demands(&self) -> Vec<FieldDemand> {
        let mut plan = self.plan.clone();
        let mut required: FxHashSet<String> = FxHashSet::default();
        let mut demands = Vec::new();
        for part in fields_of_format() {
            let slot = plan.want(&part.table, &part.keys);
            demands.extend(self.demand(&part, slot, &mut required));
        }
        demands
    }

    /// The demand on a field; `None` if the surveys show none. `required` are the paths of the
    /// fields that every row has.
    fn demand(
        &self,
        part: &FieldOfFormat,
        slot: Slot,
        required: &mut FxHashSet<String>,
    ) -> Option<FieldDemand> {
        let (rows, least) = (self.statistics.rows[slot.table], self.least(part));
        let (last, above) = part.keys.split_last()?;
        // If an object is demanded, so are the fields that it always has.
        let implied = part.field.required
            && (above.is_empty() || required.contains(&path(&part.table, above)));
        let everywhere = rows >= least && self.statistics.present[slot.table][slot.field] == rows;
        let demanded = everywhere && !implied && !last.ends_with("_text");
        let name = path(&part.table, &part.keys);
        if everywhere {
            required.insert(name.clone());
        }
        let presence = demanded.then(|| match part.table.is_empty() {
            true if rows == 1 => "in the only survey".to_owned(),
            true => format!("in all {}", count(rows, "survey")),
            false => format!("in all {} of {}", count(rows, "row"), part.table.join(".")),
        });
        let pattern = self.pattern(slot, least);
        let words = self.words(part, slot, least);
        if presence.is_none() && pattern.is_none() && words.is_none() {
            return None;
        }
        let (pattern, pattern_basis) = pattern.unzip();
        let (words, words_basis) = words.unzip();
        let basis: Vec<String> =
            presence.into_iter().chain(pattern_basis).chain(words_basis).collect();
        let mut demand =
            FieldDemand::new(FieldPath::new(&name).ok()?).with_values(words.unwrap_or_default());
        demand.demand = demanded.then_some(Demand::Required);
        demand.pattern = pattern;
        demand.basis = text(&basis.join("; "));
        Some(demand)
    }

    /// The least number of rows for a demand on a field.
    fn least(&self, part: &FieldOfFormat) -> usize {
        match part.table.is_empty() {
            true => self.settings.least_surveys,
            false => self.settings.least_rows,
        }
    }

    /// The pattern of the ids of a field, with its basis.
    fn pattern(&self, slot: Slot, least: usize) -> Option<(Pattern, String)> {
        let ids = self.statistics.ids.get(&slot).filter(|ids| ids.count() >= least)?;
        let pattern = Pattern::new(&ids.pattern()?).ok()?;
        Some((pattern, format!("all {} have the pattern", count(ids.count(), "text"))))
    }

    /// The words that are probably allowed in a field, with their basis.
    fn words(
        &self,
        part: &FieldOfFormat,
        slot: Slot,
        least: usize,
    ) -> Option<(Vec<Scalar>, String)> {
        let words = self.statistics.words.get(&slot).filter(|words| words.count() >= least)?;
        let allowed = words.allowed(vocabulary(part.field)?)?;
        let values = count(words.count(), "value");
        let basis = match allowed.len() {
            1 => format!("all {values} are this word"),
            several => format!("all {values} are among these {several} words"),
        };
        let allowed = allowed.into_iter().filter_map(|word| Some(Scalar::Text(text(word)?)));
        Some((allowed.collect(), basis))
    }
}

/// How many words the format has for a field; `None` if it is not a word.
fn vocabulary(field: &Field) -> Option<usize> {
    match &field.shape {
        Shape::Word(words) => Some(words.len()),
        Shape::List(item) => match &**item {
            Shape::Word(words) => Some(words.len()),
            _ => None,
        },
        _ => None,
    }
}
