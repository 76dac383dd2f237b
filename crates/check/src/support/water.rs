//! What rows state about the water in the pipe.

use obvert_model::tables::QuantityUnit;

use crate::support::terms::Term;
use crate::views::{RowView, RunView};

/// The water at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Water {
    /// None.
    Dry,
    /// So many percent of the height.
    Level(f64),
    /// The camera was under water.
    Submerged,
}

/// A row that states the water at its place.
#[derive(Clone, Copy)]
pub(crate) struct Statement<'r> {
    /// The row.
    pub(crate) row: RowView<'r>,
    /// The water.
    pub(crate) water: Water,
    /// Where the row begins and ends, in metres.
    pub(crate) from: f64,
    /// Where it ends.
    pub(crate) to: f64,
}

/// The statements of a run, in the order of its rows.
pub(crate) fn statements<'r>(run: &'r RunView<'r>) -> impl Iterator<Item = Statement<'r>> {
    run.rows().filter_map(|row| {
        let water = water(&row, row.term()?)?;
        let survey = row.survey();
        Some(Statement {
            row,
            water,
            from: survey.metres(row.row.at),
            to: survey.metres(row.row.end()),
        })
    })
}

fn water(row: &RowView<'_>, term: Term<'_>) -> Option<Water> {
    match term.code {
        "water.dry" => Some(Water::Dry),
        "water.level" | "water.standing" => {
            let level = row.row.quantities.first()?;
            let percent = level.value.get();
            (level.unit == QuantityUnit::Percent && (0.0..=100.0).contains(&percent))
                .then_some(Water::Level(percent))
        }
        "note.camera-submerged" => Some(Water::Submerged),
        "note.lost-vision" if term.kind == Some("under-water") => Some(Water::Submerged),
        _ => None,
    }
}

/// Whether the water can be another one on the two sides of a row.
pub(crate) fn parts_water(term: &Term<'_>) -> bool {
    matches!(term.group(), "obstacle" | "collapse" | "blockage" | "change")
        || term.group() == "bend" && matches!(term.kind, Some("down" | "up"))
        || matches!(
            term.code,
            "access.building-trap"
                | "fitting.weir"
                | "fitting.gate"
                | "fitting.flap"
                | "fitting.drop"
                | "water.surge"
                | "deposit.hardened"
                | "lining.start"
                | "lining.finish"
        )
}
