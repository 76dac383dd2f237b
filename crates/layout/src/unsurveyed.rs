//! Pipes of an XML file that nobody looked into: an element of a pipe with no run within, which is a pipe without runs and no mistake, both ways.

use std::collections::HashSet;

use obvert_model::layout::{Column, Layout};
use obvert_model::read::ProblemKind;
use serde_json::Value;

use super::grid::GridCell;
use super::grid::Spot;
use super::needs;
use super::read::Reader;
use super::row::{Row, Way, Wrong};

impl Reader<'_> {
    /// Reads what stands around rows and has none, where nothing in it is of a run: a pipe without runs, even where the layout could make the
    /// id of a run of it. `false` where something is of a run, or of a pipe that nothing names.
    pub(super) fn unsurveyed(
        &mut self,
        row: &Row,
        cells: &[GridCell],
        ways: &[Option<Way<'_>>],
        wrong: &[Wrong],
        line: usize,
    ) -> bool {
        let layout = self.layout;
        if layout.xml.is_none() {
            return false;
        }
        let filled = cells.iter().zip(ways).filter(|(cell, _)| !cell.text.trim().is_empty());
        let columns: Vec<_> = filled.filter_map(|(_, way)| way.as_ref().map(|way| way.column)).collect();
        let says = |of: &str| columns.iter().any(|column| column.to.as_deref().is_some_and(|to| to.starts_with(of)));
        let seen = columns.iter().any(|column| column.to.is_none() && column.drop.is_none());
        if says("runs.") || seen {
            return false;
        }
        let Some(id) = row.text("pipes.id") else {
            if says("pipes.") {
                return false;
            }
            let message =
                "nothing stands in the element that is of a pipe or a run; take it out, or fill it in".to_owned();
            self.problem(ProblemKind::OrphanRow, Spot::line(line), "", message);
            return true;
        };
        let pipe = self.merge("pipes", &id, row, line);
        self.references(row, line);
        for (spot, path, message) in wrong {
            let below =
                path.strip_prefix("pipes.").map_or_else(|| path.clone(), |below| format!("pipes/{pipe}/{below}"));
            self.problem(ProblemKind::TextForm, *spot, &format!("/{}", below.replace('.', "/")), message.clone());
        }
        self.dropped(cells, ways, &format!("/pipes/{pipe}"));
        true
    }
}

/// The pipes without runs that a layout has room for, each with its place among the pipes: what names a pipe and its ends stands in fields of
/// the pipe, and not in the root, of which there is one.
pub(super) fn pipes<'v>(document: &'v Value, layout: &Layout) -> Vec<(usize, &'v Value)> {
    let Some(xml) = &layout.xml else { return Vec::new() };
    let of_pipe = |heading: &str| {
        let below = xml.rows.split('/').zip(heading.split('/')).take_while(|(one, other)| one == other).count() > 1;
        let leads = |column: &Column| column.to.as_deref().is_some_and(|to| to.starts_with("pipes."));
        below && layout.columns.iter().any(|column| *column.heading == *heading && leads(column))
    };
    let needed = ["pipes.id", "pipes.upstream", "pipes.downstream"].map(|to| needs::columns_of(layout, to));
    if needed[0].is_empty() || !needed.iter().flatten().all(|heading| of_pipe(heading)) {
        return Vec::new();
    }
    let runs = document["runs"].as_array().into_iter().flatten();
    let surveyed: HashSet<&str> = runs.filter_map(|run| run["pipe"].as_str()).collect();
    let pipes = document["pipes"].as_array().into_iter().flatten().enumerate();
    pipes.filter(|(_, pipe)| pipe["id"].as_str().is_some_and(|id| !surveyed.contains(id))).collect()
}
