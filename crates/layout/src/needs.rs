//! The columns that a field comes from, to name them if a required cell is blank.

use obvert_model::layout::{Record, Target};
use obvert_model::read::{Problem, ProblemKind};

use crate::plan::Plan;
use crate::read::journal::one_line;

/// How many levels of made values are followed.
const DEEPEST: usize = 4;

/// The headings of the columns that a field comes from, directly or through values that the layout
/// makes, in the order of the layout.
pub(crate) fn columns_of<'l>(plan: &Plan<'l>, target: Target) -> Vec<&'l str> {
    let mut found = Vec::new();
    follow(plan, target, DEEPEST, &mut found);
    let place =
        |heading: &str| plan.layout.columns.iter().position(|column| *column.heading == *heading);
    found.sort_by_key(|heading| place(heading));
    found.dedup();
    found
}

fn follow<'l>(plan: &Plan<'l>, target: Target, deep: usize, found: &mut Vec<&'l str>) {
    let Some(deep) = deep.checked_sub(1) else { return };
    let before = found.len();
    let columns =
        plan.columns.iter().filter(|column| column.target().is_some_and(|own| target.holds(own)));
    found.extend(columns.map(|column| column.heading()));
    if let Some(codes) = plan.layout.codes.as_ref().filter(|_| target == Target::CODE) {
        found.extend(codes.columns.iter().map(|heading| heading.as_str()));
    }
    for field in plan
        .made
        .iter()
        .filter(|(own, _)| *own == target)
        .flat_map(|(_, template)| template.fields())
    {
        follow(plan, field, deep, found);
    }
    if found.len() == before {
        // Each end of the run is an end of the pipe; the direction determines which.
        let others: &[Target] = match target {
            Target::RUN_FROM | Target::RUN_TO => &[Target::PIPE_UPSTREAM, Target::PIPE_DOWNSTREAM],
            Target::PIPE_UPSTREAM | Target::PIPE_DOWNSTREAM => &[Target::RUN_FROM, Target::RUN_TO],
            _ => &[],
        };
        others.iter().for_each(|other| follow(plan, *other, deep, found));
    }
}

/// Headings, as they are quoted in a message.
pub(crate) fn quoted(headings: &[&str]) -> String {
    let all: Vec<String> =
        headings.iter().map(|heading| format!("{:?}", one_line(heading))).collect();
    all.join(", ")
}

/// A key that is missing in a record: its field, and the columns that it comes from.
pub(crate) struct Needed<'l> {
    target: Target,
    pub(crate) columns: Vec<&'l str>,
}

/// The field of a missing key; `None` if the problem is another one.
pub(crate) fn needed<'l>(problem: &Problem, plan: &Plan<'l>) -> Option<Needed<'l>> {
    let key = problem.key.as_deref().filter(|_| problem.kind == ProblemKind::MissingKey)?;
    let target = Target::named(&[above(problem).as_slice(), &[key]].concat().join("."))?;
    Some(Needed { target, columns: columns_of(plan, target) })
}

/// The keys of the pointer of a problem, without the indexes of lists.
fn above(problem: &Problem) -> Vec<&str> {
    let keys = problem.pointer.split('/').skip(1);
    keys.filter(|key| !key.bytes().all(|byte| byte.is_ascii_digit())).collect()
}

/// The message for a missing key, and the heading of the column that should hold it, if there is
/// one. `is_blank` is whether a column is blank in the last row, which the fields of the document
/// are made from; `nth` is the observation of its row, if rows have several.
pub(crate) fn missing<'l>(
    problem: &Problem,
    plan: &Plan<'l>,
    is_blank: &dyn Fn(&str) -> bool,
    nth: Option<usize>,
) -> Option<(String, Option<&'l str>)> {
    let Needed { target, mut columns } = needed(problem, plan)?;
    columns.iter_mut().for_each(|heading| *heading = plan.heading_of(heading, nth));
    let above = above(problem);
    let of_document = above.is_empty();
    let each = match target.record() {
        Record::Document if of_document => "survey",
        record if record.list() == above.join(".") => record.name(),
        _ => "one of its kind",
    };
    if of_document {
        columns.retain(|heading| is_blank(heading));
    }
    let Some(first) = columns.first() else {
        let id = &plan.layout.id;
        let message = format!(
            "every {each} requires {target}, and no column of the layout {id} maps to it; add it to fixed or made"
        );
        return Some((message, None));
    };
    let place = if of_document { " in the last row" } else { "" };
    let message = format!(
        "{} has no value{place}, and every {each} requires it; fill it in",
        quoted(&columns)
    );
    Some((message, Some(first)))
}
