//! See the rule's documentation below.

use obvert_model::tables::FlowState;

use crate::sink::Sink;
use crate::support::nearby::Places;
use crate::support::water::{Statement, Water, parts_water, statements};
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// Two rows contradict each other about the water at one place: the pipe is dry in one and
    /// holds water in the other. Or a row contradicts itself: water runs out of a connection, and
    /// its `flow` is `none`.
    ///
    /// # Exceptions
    /// - Between the rows, or within `within` of one of them, something parts the water: an
    ///   obstacle, a blockage, a collapse, set concrete, a weir, gate, flap or drop, a building trap,
    ///   a bend up or down, a change, an end of a lining or a surge.
    /// - The run is *disordered*, or lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// By the code, or the code of `obvert-terms` that it links to. `water.dry` is a level of 0,
    /// `water.level` and `water.standing` state one in percent, and `note.camera-submerged` and
    /// `note.lost-vision` *under-water* are a level of 100.
    ///
    /// - Each `water.dry` is compared with the statements before and after it in the run, and the
    ///   later row has the finding if the level of the other one is more than `step` and they are
    ///   at most `within` apart, or overlap by more than that if one is a stretch.
    /// - `water.inflow` has a finding at `flow` if that is `none`, and `water.dry` if it is
    ///   anything else.
    ///
    /// # Why it matters
    /// One of the two is mistyped, or was copied from another place.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// Dry and 60 % full at one place. At `/runs/0/observations/3/code`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "water.level", "quantities": [{"value": 60, "unit": "percent"}]}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value": {"id": "2b", "at": 8, "code": "water.dry"}}]
    /// ```
    ///
    /// # Passes
    /// Water is held back by a weir.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "water.level", "quantities": [{"value": 60, "unit": "percent"}]}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value": {"id": "2b", "at": 8, "code": "fitting.weir"}},
    ///  {"op": "add", "path": "/runs/0/observations/4", "value": {"id": "2c", "at": 8.5, "code": "water.dry"}}]
    /// ```
    ///
    /// # Fix
    /// Look at the place in the video again and correct the row that is wrong, or record what parts
    /// the water.
    name: "water-contradicts", severity: Warning, scope: Run, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    limits: {
        "step" = 15.0 "percentage points" "the level next to a dry place; common practice",
        "within" = 0.5 "m" "the distance within which two rows are at one place; common practice",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.disordered() || run.survey.lengths_doubtful() {
        return;
    }
    run.rows().for_each(|row| judge_flow(&row, out));
    let all: Vec<Statement<'_>> = statements(run).collect();
    if !all.iter().any(|statement| statement.water == Water::Dry) {
        return;
    }
    let parted = Places::of(run, parts_water);
    for pair in all.windows(2) {
        compare(&pair[0], &pair[1], &parted, out);
    }
}

/// Reports a row whose flow contradicts its code.
fn judge_flow(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(flow) = row.row.flow else { return };
    let contradicts = match row.term().map(|term| term.code) {
        Some("water.inflow") => flow == FlowState::None,
        Some("water.dry") => flow != FlowState::None,
        _ => false,
    };
    if contradicts {
        let message = format!("{} and the flow {flow} contradict each other", row.row.code);
        out.report(row.subject("/flow"), message);
    }
}

/// Compares two statements, one of which is that the pipe is dry.
fn compare(a: &Statement<'_>, b: &Statement<'_>, parted: &Places, out: &mut Sink<'_>) {
    let level = match (a.water, b.water) {
        (Water::Dry, other) | (other, Water::Dry) if other != Water::Dry => match other {
            Water::Level(percent) => percent,
            _ => 100.0,
        },
        _ => return,
    };
    let within = out.limit("within");
    let apart = b.from - a.to;
    let stretch = a.to > a.from || b.to > b.from;
    let at_one_place =
        if stretch { apart < -within } else { (0.0..=within + 1e-9).contains(&apart) };
    let (from, to) = (a.from.min(b.from) - within, b.to.max(a.from) + within);
    if level <= out.limit("step") || !at_one_place || parted.between(from, to) {
        return;
    }
    let water = match if a.water == Water::Dry { b.water } else { a.water } {
        Water::Level(percent) => format!("{percent} percent full"),
        _ => "under water".to_owned(),
    };
    let survey = a.row.survey();
    let message = format!(
        "the pipe is dry and {water} at one place: see the row at {}",
        survey.format_length(a.row.row.at)
    );
    out.report(b.row.subject("/code"), message);
}
