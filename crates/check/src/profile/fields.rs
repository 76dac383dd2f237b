//! The demands of a profile on fields. The fields to look at are planned once; each row is looked
//! at once, whatever the number of demands on it, and the rules share what was found.

use obvert_model::edit::Edit;
use obvert_model::probe::{Plan, Slot, Value, Visitor};
use obvert_model::profile::{Condition, Demand, FieldDemand, Matcher, Pattern, Profile, Scalar};
use obvert_model::tables::{Head, Run};
use rustc_hash::FxHashSet;
use serde_json::Value as Json;

use crate::finding::Finding;
use crate::sink::Sink;
use crate::views::Part;

/// How a field fails a demand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Breach {
    /// It is missing.
    Missing,
    /// It is present.
    Forbidden,
    /// It has a value that is not allowed.
    Value,
    /// Its text does not have the required form.
    Form,
}

/// One field of one row that fails a demand.
#[derive(Clone, Debug)]
pub(crate) struct Found {
    breach: Breach,
    /// The demand, by its number in the profile.
    demand: usize,
    table: usize,
    rows: Vec<usize>,
    /// How many keys of the field the row has: a missing field is reported at the place where it
    /// belongs.
    depth: usize,
    /// The value, if it is wrong.
    value: Option<Json>,
}

/// The failed demands in one part of a document.
pub(crate) type Breaches = Vec<Found>;

/// The demands on fields, prepared.
#[derive(Clone, Debug)]
pub(crate) struct FieldDemands {
    plan: Plan,
    tables: Vec<Table>,
}

#[derive(Clone, Debug, Default)]
struct Table {
    demands: Vec<Ready>,
    tests: Vec<Test>,
    /// The tests of every field.
    of_field: Vec<Vec<usize>>,
}

#[derive(Clone, Debug)]
struct Ready {
    demand: usize,
    what: Option<Demand>,
    field: usize,
    /// The objects that the field is in, from the row on.
    parents: Vec<usize>,
    conditions: Vec<Asked>,
    values: Option<usize>,
    form: Option<usize>,
}

/// A condition: a field that must be present, and the tests that one of its values must pass.
#[derive(Clone, Debug)]
struct Asked {
    field: usize,
    tests: Vec<usize>,
}

#[derive(Clone, Debug)]
enum Test {
    Among { texts: FxHashSet<Box<str>>, numbers: Vec<f64>, bools: Vec<bool> },
    Form(Matcher),
}

impl Test {
    fn among(values: &[Scalar]) -> Self {
        let (mut texts, mut numbers, mut bools) = (FxHashSet::default(), Vec::new(), Vec::new());
        for value in values {
            match value {
                Scalar::Text(text) => {
                    texts.insert(text.as_str().into());
                }
                Scalar::Number(number) => numbers.push(number.get()),
                Scalar::Bool(value) => bools.push(*value),
            }
        }
        Self::Among { texts, numbers, bools }
    }

    /// Whether a single value passes; `None` for lists and objects.
    fn passes(&self, value: Value<'_>) -> Option<bool> {
        Some(match (self, value) {
            (Self::Among { texts, .. }, Value::Text(text)) => texts.contains(text),
            (Self::Among { numbers, .. }, Value::Number(number)) => numbers.contains(&number),
            (Self::Among { bools, .. }, Value::Bool(value)) => bools.contains(&value),
            (Self::Form(matcher), Value::Text(text)) => matcher.matches(text),
            _ => return None,
        })
    }
}

impl FieldDemands {
    pub(crate) fn new(profile: &Profile) -> Self {
        let mut ready = Self { plan: Plan::default(), tables: Vec::new() };
        for (index, demand) in profile.fields.iter().enumerate() {
            // Invalid paths were refused before.
            let Ok(there) = demand.path.resolve() else { continue };
            let slot = ready.plan.want(&there.table, &there.keys);
            let parents = (1..there.keys.len())
                .map(|end| ready.plan.want(&there.table, &there.keys[..end]).field);
            let parents = parents.collect();
            let conditions = demand
                .conditions
                .iter()
                .filter_map(|condition| ready.asked(&there.table, condition));
            let conditions = conditions.collect();
            let values =
                (!demand.values.is_empty()).then(|| ready.test(slot, Test::among(&demand.values)));
            let form = ready.form(slot, demand.pattern.as_ref());
            let (what, field) = (demand.demand, slot.field);
            let demand = Ready { demand: index, what, field, parents, conditions, values, form };
            ready.table(slot.table).demands.push(demand);
        }
        let tables = ready.plan.tables();
        ready.tables.resize_with(tables, Table::default);
        for (index, table) in ready.tables.iter_mut().enumerate() {
            table.of_field.resize_with(ready.plan.fields(index), Vec::new);
        }
        ready
    }

    fn table(&mut self, table: usize) -> &mut Table {
        if self.tables.len() <= table {
            self.tables.resize_with(table + 1, Table::default);
        }
        &mut self.tables[table]
    }

    fn asked(&mut self, table: &[String], condition: &Condition) -> Option<Asked> {
        let there = condition.field.resolve_in(table).ok()?;
        let slot = self.plan.want(&there.table, &there.keys);
        let values =
            (!condition.values.is_empty()).then(|| self.test(slot, Test::among(&condition.values)));
        let form = self.form(slot, condition.pattern.as_ref());
        Some(Asked { field: slot.field, tests: values.into_iter().chain(form).collect() })
    }

    fn form(&mut self, slot: Slot, pattern: Option<&Pattern>) -> Option<usize> {
        let matcher = pattern?.compile().ok()?;
        Some(self.test(slot, Test::Form(matcher)))
    }

    fn test(&mut self, slot: Slot, test: Test) -> usize {
        let table = self.table(slot.table);
        let number = table.tests.len();
        table.tests.push(test);
        if table.of_field.len() <= slot.field {
            table.of_field.resize_with(slot.field + 1, Vec::new);
        }
        table.of_field[slot.field].push(number);
        number
    }

    /// The failed demands in the head of a document and its tables.
    pub(crate) fn of_head(&self, head: &Head) -> Breaches {
        let mut look = Look::new(self);
        self.plan.head(head, &mut look);
        look.found
    }

    /// The failed demands in a run and its observations.
    pub(crate) fn of_run(&self, run: &Run, index: usize) -> Breaches {
        if !self.plan.looks_at_runs() {
            return Vec::new();
        }
        let mut look = Look::new(self);
        self.plan.run(run, index, &mut look);
        look.found
    }
}

/// What was seen in the current row of each table.
struct Look<'d> {
    demands: &'d FieldDemands,
    rows: Vec<Row>,
    found: Breaches,
}

#[derive(Clone, Debug)]
struct Row {
    there: Vec<bool>,
    /// For every test, whether a value passed it.
    passed: Vec<bool>,
    /// For every test, the first value that failed it.
    failed: Vec<Option<Json>>,
}

impl<'d> Look<'d> {
    fn new(demands: &'d FieldDemands) -> Self {
        let rows = demands.tables.iter().map(|table| Row {
            there: vec![false; table.of_field.len()],
            passed: vec![false; table.tests.len()],
            failed: vec![None; table.tests.len()],
        });
        Self { demands, rows: rows.collect(), found: Vec::new() }
    }
}

impl Visitor for Look<'_> {
    fn field(&mut self, slot: Slot, value: Value<'_>) {
        let table = &self.demands.tables[slot.table];
        let row = &mut self.rows[slot.table];
        row.there[slot.field] = true;
        for test in &table.of_field[slot.field] {
            match table.tests[*test].passes(value) {
                Some(true) => row.passed[*test] = true,
                Some(false) if row.failed[*test].is_none() => row.failed[*test] = Some(kept(value)),
                _ => {}
            }
        }
    }

    fn row(&mut self, table: usize, rows: &[usize]) {
        let of = &self.demands.tables[table];
        let row = &mut self.rows[table];
        for ready in &of.demands {
            let holds = |asked: &Asked| {
                row.there[asked.field] && asked.tests.iter().all(|test| row.passed[*test])
            };
            if !ready.conditions.iter().all(holds) {
                continue;
            }
            let depth = ready.parents.iter().filter(|parent| row.there[**parent]).count();
            let there = row.there[ready.field];
            let found = &mut self.found;
            let mut add = |breach, depth, value: Option<&Json>| {
                let (rows, value) = (rows.to_vec(), value.cloned());
                found.push(Found { breach, demand: ready.demand, table, rows, depth, value });
            };
            match ready.what {
                Some(Demand::Required) if !there => add(Breach::Missing, depth, None),
                Some(Demand::Forbidden) if there => add(Breach::Forbidden, depth + 1, None),
                _ => {}
            }
            for (breach, test) in [(Breach::Value, ready.values), (Breach::Form, ready.form)] {
                if let Some(value) = test.and_then(|test| row.failed[test].as_ref()) {
                    add(breach, depth + 1, Some(value));
                }
            }
        }
        row.there.fill(false);
        row.passed.fill(false);
        row.failed.fill(None);
    }
}

fn kept(value: Value<'_>) -> Json {
    match value {
        Value::Text(text) => text.into(),
        #[allow(clippy::cast_possible_truncation)]
        Value::Number(number) if number.fract() == 0.0 => (number as i64).into(),
        Value::Number(number) => number.into(),
        Value::Bool(value) => value.into(),
        _ => Json::Null,
    }
}

/// A value in a message.
fn say(value: &Json) -> String {
    match value {
        Json::String(text) => format!("{text:?}"),
        other => other.to_string(),
    }
}

/// Reports the fields of a part of a document that fail a demand in one way.
pub(crate) fn report(
    part: &Part<'_>,
    breach: Breach,
    out: &mut Sink<'_>,
    message: impl Fn(&FieldDemand, &str) -> String,
) {
    let Some(demands) = part.survey().demands else { return };
    for found in part.breaches().iter().filter(|found| found.breach == breach) {
        let demand = &demands.profile.fields[found.demand];
        let plan = &demands.fields.plan;
        let mut subject = part.subject(plan.name(found.table), &found.rows);
        subject.path = plan.pointer(found.table, &found.rows);
        let below = demand.path.split('.').skip(plan.name(found.table).len()).take(found.depth);
        below.for_each(|key| subject.path.extend(["/", key]));
        let value = found.value.as_ref().map(say).unwrap_or_default();
        let path = (breach == Breach::Forbidden).then(|| subject.path.clone());
        let finding = out.report(subject, message(demand, &value));
        facts(finding, demand, found.value.as_ref());
        if let Some(path) = path {
            finding.fix_if_confirmed(
                "what goes to this office leaves it out",
                vec![Edit::remove(path)],
            );
        }
    }
}

fn facts(finding: &mut Finding, demand: &FieldDemand, value: Option<&Json>) {
    finding.fact("field", demand.path.as_str());
    if let Some(value) = value {
        finding.fact("value", value.clone());
    }
    if let Some(basis) = &demand.basis {
        finding.fact("basis", basis.as_str());
    }
    if let Some(help) = &demand.help {
        finding.help(help.as_str());
    }
}

/// The rows that a demand applies to, in words: ` where code is "collapse"`; empty for all rows.
pub(crate) fn when(demand: &FieldDemand) -> String {
    let mut parts = demand.conditions.iter().map(|condition| {
        let field = &condition.field;
        match (condition.values.as_slice(), &condition.pattern) {
            ([], None) => format!("{field} is there"),
            ([], Some(pattern)) => format!("{field} has the form {pattern}"),
            (values, _) if values.len() > 4 => format!("{field} is one of {} values", values.len()),
            (values, _) => {
                let words: Vec<String> = values.iter().map(ToString::to_string).collect();
                format!("{field} is {}", words.join(" or "))
            }
        }
    });
    let Some(first) = parts.next() else { return String::new() };
    parts.fold(format!(" where {first}"), |all, part| format!("{all} and {part}"))
}
