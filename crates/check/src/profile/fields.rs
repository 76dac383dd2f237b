//! The demands of a profile on fields. The fields to read are planned once. Each row is read once,
//! however many demands there are, and all rules share the result.

use obvert_model::edit::Edit;
use obvert_model::probe::{Plan, See, Slot, Value};
use obvert_model::profile::{Condition, Demand, FieldDemand, Matcher, Pattern, Profile, Scalar};
use obvert_model::tables::{Head, Run};
use rustc_hash::FxHashSet;
use serde_json::Value as Json;

use crate::finding::Finding;
use crate::sink::Sink;
use crate::views::Part;

/// How a field violates a demand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Violation {
    /// It is missing.
    Missing,
    /// It is present.
    Forbidden,
    /// It has a value that is not allowed.
    Value,
    /// Its text does not match the pattern.
    Pattern,
}

/// One field of one row that violates a demand.
#[derive(Clone, Debug)]
pub(crate) struct ViolatingField {
    violation: Violation,
    /// The demand, by its number in the profile.
    demand: usize,
    table: usize,
    rows: Vec<usize>,
    /// How many keys of the field's path the row has. A missing field is reported at the innermost
    /// object that exists.
    depth: usize,
    /// The value, if it is wrong.
    value: Option<Json>,
}

/// The violated demands in one part of a document.
pub(crate) type Violations = Vec<ViolatingField>;

/// The demands on fields, prepared.
#[derive(Clone, Debug)]
pub(crate) struct FieldDemands {
    plan: Plan,
    tables: Vec<Table>,
}

#[derive(Clone, Debug, Default)]
struct Table {
    demands: Vec<PreparedDemand>,
    tests: Vec<Test>,
    /// The tests of every field.
    of_field: Vec<Vec<usize>>,
}

#[derive(Clone, Debug)]
struct PreparedDemand {
    demand: usize,
    presence: Option<Demand>,
    field: usize,
    /// The objects that contain the field, from the row on.
    parents: Vec<usize>,
    conditions: Vec<PreparedCondition>,
    values: Option<usize>,
    pattern: Option<usize>,
}

/// A condition: a field that must be present, and the tests that one of its values must pass.
#[derive(Clone, Debug)]
struct PreparedCondition {
    field: usize,
    tests: Vec<usize>,
}

#[derive(Clone, Debug)]
enum Test {
    Among { texts: FxHashSet<Box<str>>, numbers: Vec<f64>, bools: Vec<bool> },
    Pattern(Matcher),
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
            (Self::Pattern(matcher), Value::Text(text)) => matcher.matches(text),
            _ => return None,
        })
    }
}

impl FieldDemands {
    pub(crate) fn new(profile: &Profile) -> Self {
        let mut prepared = Self { plan: Plan::default(), tables: Vec::new() };
        for (index, demand) in profile.fields.iter().enumerate() {
            // Profiles with invalid paths were rejected before.
            let Ok(target) = demand.path.resolve() else { continue };
            let slot = prepared.plan.want(&target.table, &target.keys);
            let parents = (1..target.keys.len())
                .map(|end| prepared.plan.want(&target.table, &target.keys[..end]).field);
            let parents = parents.collect();
            let conditions = demand
                .conditions
                .iter()
                .filter_map(|condition| prepared.condition(&target.table, condition));
            let conditions = conditions.collect();
            let values = (!demand.values.is_empty())
                .then(|| prepared.test(slot, Test::among(&demand.values)));
            let pattern = prepared.pattern(slot, demand.pattern.as_ref());
            prepared.table(slot.table).demands.push(PreparedDemand {
                demand: index,
                presence: demand.demand,
                field: slot.field,
                parents,
                conditions,
                values,
                pattern,
            });
        }
        let tables = prepared.plan.tables();
        prepared.tables.resize_with(tables, Table::default);
        for (index, table) in prepared.tables.iter_mut().enumerate() {
            table.of_field.resize_with(prepared.plan.fields(index), Vec::new);
        }
        prepared
    }

    fn table(&mut self, table: usize) -> &mut Table {
        if self.tables.len() <= table {
            self.tables.resize_with(table + 1, Table::default);
        }
        &mut self.tables[table]
    }

    fn condition(&mut self, table: &[String], condition: &Condition) -> Option<PreparedCondition> {
        let target = condition.field.resolve_in(table).ok()?;
        let slot = self.plan.want(&target.table, &target.keys);
        let values =
            (!condition.values.is_empty()).then(|| self.test(slot, Test::among(&condition.values)));
        let pattern = self.pattern(slot, condition.pattern.as_ref());
        let tests = values.into_iter().chain(pattern).collect();
        Some(PreparedCondition { field: slot.field, tests })
    }

    fn pattern(&mut self, slot: Slot, pattern: Option<&Pattern>) -> Option<usize> {
        let matcher = pattern?.compile().ok()?;
        Some(self.test(slot, Test::Pattern(matcher)))
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

    /// The violated demands in the head of a document and its tables.
    pub(crate) fn of_head(&self, head: &Head) -> Violations {
        let mut tester = Tester::new(self);
        self.plan.head(head, &mut tester);
        tester.found
    }

    /// The violated demands in a run and its observations.
    pub(crate) fn of_run(&self, run: &Run, index: usize) -> Violations {
        if !self.plan.looks_at_runs() {
            return Vec::new();
        }
        let mut tester = Tester::new(self);
        self.plan.run(run, index, &mut tester);
        tester.found
    }
}

/// Tests the values of the current row of each table.
struct Tester<'d> {
    demands: &'d FieldDemands,
    rows: Vec<Row>,
    found: Violations,
}

#[derive(Clone, Debug)]
struct Row {
    /// For every field, whether the row has it.
    present: Vec<bool>,
    /// For every test, whether a value passed it.
    passed: Vec<bool>,
    /// For every test, the first value that failed it.
    failed: Vec<Option<Json>>,
}

impl<'d> Tester<'d> {
    fn new(demands: &'d FieldDemands) -> Self {
        let rows = demands.tables.iter().map(|table| Row {
            present: vec![false; table.of_field.len()],
            passed: vec![false; table.tests.len()],
            failed: vec![None; table.tests.len()],
        });
        Self { demands, rows: rows.collect(), found: Vec::new() }
    }
}

impl See for Tester<'_> {
    fn field(&mut self, slot: Slot, value: Value<'_>) {
        let table = &self.demands.tables[slot.table];
        let row = &mut self.rows[slot.table];
        row.present[slot.field] = true;
        for test in &table.of_field[slot.field] {
            match table.tests[*test].passes(value) {
                Some(true) => row.passed[*test] = true,
                Some(false) if row.failed[*test].is_none() => {
                    row.failed[*test] = Some(to_json(value))
                }
                _ => {}
            }
        }
    }

    fn row(&mut self, table: usize, rows: &[usize]) {
        let row = &mut self.rows[table];
        for prepared in &self.demands.tables[table].demands {
            let holds = |condition: &PreparedCondition| {
                row.present[condition.field] && condition.tests.iter().all(|test| row.passed[*test])
            };
            if prepared.conditions.iter().all(holds) {
                let found = prepared.violations(row).map(|(violation, depth, value)| {
                    let (demand, rows, value) = (prepared.demand, rows.to_vec(), value.cloned());
                    ViolatingField { violation, demand, table, rows, depth, value }
                });
                self.found.extend(found);
            }
        }
        row.present.fill(false);
        row.passed.fill(false);
        row.failed.fill(None);
    }
}

impl PreparedDemand {
    /// How a row violates the demand, each with the depth and the wrong value.
    fn violations<'r>(
        &self,
        row: &'r Row,
    ) -> impl Iterator<Item = (Violation, usize, Option<&'r Json>)> + use<'r> {
        let depth = self.parents.iter().filter(|parent| row.present[**parent]).count();
        let presence = match (self.presence, row.present[self.field]) {
            (Some(Demand::Required), false) => Some((Violation::Missing, depth, None)),
            (Some(Demand::Forbidden), true) => Some((Violation::Forbidden, depth + 1, None)),
            _ => None,
        };
        let tests = [(Violation::Value, self.values), (Violation::Pattern, self.pattern)];
        let failed = tests.into_iter().filter_map(move |(violation, test)| {
            Some((violation, depth + 1, Some(row.failed[test?].as_ref()?)))
        });
        presence.into_iter().chain(failed)
    }
}

fn to_json(value: Value<'_>) -> Json {
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
fn quoted(value: &Json) -> String {
    match value {
        Json::String(text) => format!("{text:?}"),
        other => other.to_string(),
    }
}

/// Reports the fields of a part of a document that violate a demand in one way.
pub(crate) fn report(
    part: &Part<'_>,
    violation: Violation,
    out: &mut Sink<'_>,
    message: impl Fn(&FieldDemand, &str) -> String,
) {
    let Some(demands) = part.survey().demands else { return };
    for found in part.violations().iter().filter(|found| found.violation == violation) {
        let demand = &demands.profile.fields[found.demand];
        let plan = &demands.fields.plan;
        let mut subject = part.subject(plan.name(found.table), &found.rows);
        subject.path = plan.pointer(found.table, &found.rows);
        let below = demand.path.split('.').skip(plan.name(found.table).len()).take(found.depth);
        below.for_each(|key| subject.path.extend(["/", key]));
        let value = found.value.as_ref().map(quoted).unwrap_or_default();
        let path = (violation == Violation::Forbidden).then(|| subject.path.clone());
        let finding = out.report(subject, message(demand, &value));
        facts(finding, demand, found.value.as_ref());
        if let Some(path) = path {
            finding
                .fix_if_confirmed("this office must not get this field", vec![Edit::remove(path)]);
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
            ([], None) => format!("{field} is present"),
            ([], Some(pattern)) => format!("{field} matches {pattern}"),
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
