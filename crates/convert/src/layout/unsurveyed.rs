//! Pipes of an XML file that nobody looked into: an element of a pipe with no run within, which is a pipe without runs and no mistake, both ways.

use obvert_model::layout::Layout;
use obvert_model::read::ProblemKind;
use serde_json::Value;

use super::grid::GridCell;
use super::grid::Spot;
use super::needs;
use super::read::Reader;
use super::row::{Row, Way, Wrong};

impl Reader<'_> {
    /// Reads what stands around rows and has none, where nothing in it is of a run: a pipe without runs. `false` where something is, so that
    /// what names the run is missing, or what names the pipe.
    pub(super) fn unsurveyed(
        &mut self,
        row: &Row,
        cells: &[GridCell],
        ways: &[Option<Way<'_>>],
        wrong: &[Wrong],
        line: usize,
    ) -> bool {
        let layout = self.layout;
        if layout.xml.is_none() || row.text("runs.id").is_some() {
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
            self.problem(ProblemKind::RowAstray, Spot::line(line), "", message);
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

/// The pipes without runs that a layout reads as such when they are written, each with its place among the pipes. Where a pipe alone makes a
/// run, or stands in the root, it would come back as something else.
pub(super) fn pipes<'v>(document: &'v Value, layout: &Layout) -> Vec<(usize, &'v Value)> {
    let Some(xml) = &layout.xml else { return Vec::new() };
    let leads = |heading: &str, of: &dyn Fn(&str) -> bool| {
        layout.columns.iter().any(|column| *column.heading == *heading && column.to.as_deref().is_some_and(of))
    };
    // Ends of a run are those of its pipe.
    let of_run = |to: &str| to.starts_with("runs.") && !["runs.from", "runs.to"].contains(&to);
    let below_root = |heading: &&str| {
        xml.rows.split('/').zip(heading.split('/')).take_while(|(one, other)| one == other).count() > 1
    };
    let named = needs::columns_of(layout, "pipes.id");
    let apart = needs::columns_of(layout, "runs.id").iter().any(|heading| leads(heading, &of_run));
    if !apart || named.is_empty() || !named.iter().all(below_root) {
        return Vec::new();
    }
    let runs = document["runs"].as_array().into_iter().flatten();
    let surveyed: std::collections::HashSet<&str> = runs.filter_map(|run| run["pipe"].as_str()).collect();
    let pipes = document["pipes"].as_array().into_iter().flatten().enumerate();
    pipes.filter(|(_, pipe)| pipe["id"].as_str().is_some_and(|id| !surveyed.contains(id))).collect()
}
