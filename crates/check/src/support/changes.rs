//! Changes of the cross-section that change nothing.
//!
//! The pipe's record may describe it before or after a change, and a run from the other end sees
//! the change the other way round, so the runs of a pipe are judged together.

use obvert_model::lists::Role;
use obvert_model::tables::{Material, MaterialClass, Shape};

use crate::support::cross_section::new_height;
use crate::views::{RowView, RunView, Subject};

/// The kinds of changes, in the order of the arrays below.
pub(crate) const KINDS: [(Role, &str); 3] = [
    (Role::MaterialChange, "material"),
    (Role::ShapeChange, "shape"),
    (Role::SizeChange, "height"),
];

/// What a run shows about changes, by kind.
#[derive(Clone, Debug, Default)]
pub(crate) struct Changes {
    /// Whether a change is to another value than the recorded one.
    pub(crate) away: [bool; 3],
    /// Changes to the value that the pipe has there already.
    pub(crate) same: Box<[SameChange]>,
}

/// A change to the value that the pipe has already.
#[derive(Clone, Debug)]
pub(crate) struct SameChange {
    /// The kind, by its number in [`KINDS`].
    pub(crate) kind: usize,
    /// Where it is recorded.
    pub(crate) subject: Subject,
    /// The value.
    pub(crate) to: String,
    /// The distance of the earlier change to the same value; `None` if the pipe's record has it.
    pub(crate) since: Option<f64>,
}

/// A value of the cross-section.
#[derive(Clone, Copy, Debug)]
enum Value {
    Class(MaterialClass),
    Shape(Shape),
    Height(f64),
}

impl Value {
    fn equals(self, other: Self) -> bool {
        /// Sizes in inches and millimetres are rounded.
        const ROUNDING: f64 = 0.02;
        match (self, other) {
            (Self::Class(a), Self::Class(b)) => a == b,
            (Self::Shape(a), Self::Shape(b)) => a == b,
            (Self::Height(a), Self::Height(b)) => (a - b).abs() <= ROUNDING * a.max(b),
            _ => false,
        }
    }
}

impl Changes {
    /// Collects the changes of a run.
    pub(crate) fn of(run: &RunView<'_>) -> Self {
        let mut changes = Self::default();
        if run.changes.is_empty() || run.disordered() {
            return changes;
        }
        let mut same = Vec::new();
        let mut last: [Option<(Value, Option<f64>)>; 3] =
            std::array::from_fn(|kind| recorded(run, kind).map(|value| (value, None)));
        for row in run.changes.iter().map(|index| run.row(*index)) {
            let Some(kind) = KINDS.iter().position(|(role, _)| row.role() == Some(*role)) else {
                continue;
            };
            let Some(to) = new_value(&row, kind) else {
                last[kind] = None;
                continue;
            };
            changes.away[kind] |= recorded(run, kind).is_some_and(|value| !value.equals(to));
            if let Some((_, since)) = last[kind].filter(|(value, _)| value.equals(to))
                && !is_another(&row, kind)
            {
                same.push(SameChange {
                    kind,
                    subject: subject(&row, kind),
                    to: text(&row, to),
                    since,
                });
            }
            last[kind] = Some((to, Some(row.row.at.get())));
        }
        changes.same = same.into();
        changes
    }
}

fn subject(row: &RowView<'_>, kind: usize) -> Subject {
    let height = KINDS[kind].0 == Role::SizeChange;
    row.subject(if height { "/quantities/0/value" } else { "/characterisation/0" })
}

fn text(row: &RowView<'_>, value: Value) -> String {
    match value {
        Value::Class(class) => class.to_string(),
        Value::Shape(shape) => shape.to_string(),
        Value::Height(_) => row
            .row
            .quantities
            .first()
            .map_or_else(String::new, |size| format!("{} {}", size.value, size.unit)),
    }
}

/// Whether two changes to one word may be a change: a class has several materials, which the remark
/// names, and a new width may come with the same height.
fn is_another(row: &RowView<'_>, kind: usize) -> bool {
    match KINDS[kind].0 {
        Role::MaterialChange => {
            row.row.remark.is_some()
                && !matches!(new_value(row, kind), Some(Value::Class(MaterialClass::Clayware)))
        }
        Role::SizeChange => row.row.quantities.len() > 1,
        _ => false,
    }
}

fn recorded(run: &RunView<'_>, kind: usize) -> Option<Value> {
    let pipe = run.pipe.filter(|view| !view.size_doubtful())?.pipe;
    match KINDS[kind].0 {
        Role::MaterialChange => pipe.material.map(Material::class).map(Value::Class),
        Role::ShapeChange => pipe.shape.map(Value::Shape),
        _ => pipe.height.map(|height| Value::Height(run.survey.millimetres(height))),
    }
    .filter(|value| {
        !matches!(value, Value::Class(MaterialClass::Other) | Value::Shape(Shape::Other))
    })
}

fn new_value(row: &RowView<'_>, kind: usize) -> Option<Value> {
    let word = || row.row.characterisation.first().map(|word| word.as_str());
    match KINDS[kind].0 {
        Role::MaterialChange => word()?.parse().ok().map(Value::Class),
        Role::ShapeChange => word()?.parse().ok().map(Value::Shape),
        _ => new_height(row).map(Value::Height),
    }
    .filter(|value| {
        !matches!(value, Value::Class(MaterialClass::Other) | Value::Shape(Shape::Other))
    })
}
