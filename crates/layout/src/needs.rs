//! What an office is told where a cell is empty that a survey needs: the model says that a key is missing, and whoever fills in a
//! table knows columns.

use obvert_model::layout::Layout;
use obvert_model::read::{Problem, ProblemKind};

/// How deep values that are made of others are followed.
const DEEP: usize = 4;

/// The headings of the columns that a field comes from, directly or by what the layout makes of them, in the order of the layout.
pub(super) fn columns_of<'l>(layout: &'l Layout, path: &str) -> Vec<&'l str> {
    let mut found = Vec::new();
    follow(layout, path, DEEP, &mut found);
    let place = |heading: &str| layout.columns.iter().position(|column| *column.heading == *heading);
    found.sort_by_key(|heading| place(heading));
    found.dedup();
    found
}

fn follow<'l>(layout: &'l Layout, path: &str, deep: usize, found: &mut Vec<&'l str>) {
    let Some(deep) = deep.checked_sub(1) else { return };
    let before = found.len();
    let leads = |to: &str| to == path || to.strip_prefix(path).is_some_and(|rest| rest.starts_with('.'));
    let columns = layout.columns.iter().filter(|column| column.to.as_deref().is_some_and(leads));
    found.extend(columns.map(|column| column.heading.as_str()));
    if let Some(codes) = layout.codes.as_ref().filter(|_| path == "runs.observations.code") {
        found.extend(codes.columns.iter().map(obvert_model::text::Text::as_str));
    }
    for made in layout.made.iter().filter(|made| &*made.to == path) {
        for piece in made.text.split('{').skip(1).filter_map(|piece| piece.split_once('}')) {
            follow(layout, piece.0, deep, found);
        }
    }
    if found.len() == before {
        // Each end of the run is one of the pipe, and which of them the direction says.
        let others: &[&str] = match path {
            "runs.from" | "runs.to" => &["pipes.upstream", "pipes.downstream"],
            "pipes.upstream" | "pipes.downstream" => &["runs.from", "runs.to"],
            _ => &[],
        };
        others.iter().for_each(|other| follow(layout, other, deep, found));
    }
}

/// Headings as a message has them.
pub(super) fn quoted(headings: &[&str]) -> String {
    let all: Vec<String> = headings.iter().map(|heading| format!("{:?}", heading.replace('\n', " "))).collect();
    all.join(", ")
}

/// What to say of a key that is missing, and the heading of the column where it should stand, if there is one. `blank` tells which
/// columns have nothing in the last row, of which the fields of the document are made.
pub(super) fn said<'l>(
    problem: &Problem,
    layout: &'l Layout,
    blank: &dyn Fn(&str) -> bool,
) -> Option<(String, Option<&'l str>)> {
    let key = problem.key.as_deref().filter(|_| problem.kind == ProblemKind::MissingKey)?;
    let tables: Vec<&str> =
        problem.pointer.split('/').skip(1).filter(|token| !token.bytes().all(|byte| byte.is_ascii_digit())).collect();
    let path = [&tables[..], &[key]].concat().join(".");
    let each = match tables.as_slice() {
        [] => "survey",
        ["pipes"] => "pipe",
        ["runs"] => "run",
        ["runs", "observations"] => "observation",
        ["structures"] => "structure",
        ["media"] => "picture or recording",
        _ => "one of its kind",
    };
    let mut columns = columns_of(layout, &path);
    if tables.is_empty() {
        columns.retain(|heading| blank(heading));
    }
    Some(match columns.first() {
        Some(first) if tables.is_empty() => {
            let message = format!(
                "nothing stands under {} in the last row, and every {each} needs it; fill it in",
                quoted(&columns)
            );
            (message, Some(first))
        }
        Some(first) => {
            (format!("nothing stands under {}, and every {each} needs it; fill it in", quoted(&columns)), Some(first))
        }
        None => {
            let id = &layout.id;
            (
                format!(
                    "every {each} needs {path}, and no column of the layout {id} holds it; give it there in fixed or made"
                ),
                None,
            )
        }
    })
}
