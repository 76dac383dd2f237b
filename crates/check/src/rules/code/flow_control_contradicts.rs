//! See the rule's documentation below.

use obvert_model::tables::FlowControl;

use crate::sink::Sink;
use crate::support::nearby::{self, Places};
use crate::support::terms::Term;
use crate::support::water::{Statement, Water, statements};
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The flow was controlled during the run by its `flow_control`, but a row records a high water
    /// level or a camera under water, and nothing that holds water back. There is one finding for
    /// the run.
    ///
    /// # Exceptions
    /// - A row within `around` records what holds the water: a sag, standing water, a backfall, a
    ///   high-water mark or surge, a deposit, roots, an obstacle, a blockage or a collapse, a weir,
    ///   gate or flap, or a trap.
    /// - The run was stopped by high water.
    /// - Every level of the run is full, as in a siphon.
    /// - The level before or after it, within `close`, is not high (`water-level-jump`,
    ///   `water-contradicts`).
    ///
    /// # Exactly
    /// `flow_control` is `plugged`, `bypassed` or `low-flow`. The levels are those of
    /// `water-contradicts`; a level is high from `high` on. What holds water are, by the code or the
    /// code of `obvert-terms` that it links to, `gradient.reverse`, `fitting.weir`, `fitting.gate`,
    /// `fitting.flap`, `access.building-trap`, `deposit.settled`, `deposit.hardened`, the groups
    /// `roots`, `obstacle`, `blockage` and `collapse`, and the group `water` without `water.level`,
    /// `water.dry`, `water.turbid`, `water.coloured`, `water.foam` and `water.inflow`.
    ///
    /// # Why it matters
    /// With the flow controlled, the pipe is nearly empty: the level is wrong, or the control failed
    /// and half of the wall was not seen.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/flow_control`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/flow_control", "value": "bypassed"},
    ///  {"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 12, "code": "water.level", "quantities": [{"value": 80, "unit": "percent"}]}}]
    /// ```
    ///
    /// # Passes
    /// There is standing water in a sag.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/flow_control", "value": "bypassed"},
    ///  {"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 12, "code": "water.level", "quantities": [{"value": 80, "unit": "percent"}]}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value":
    ///   {"id": "2b", "at": 12, "code": "water.sag", "quantities": [{"value": 160, "unit": "mm"}]}}]
    /// ```
    ///
    /// # Fix
    /// Correct the level or `flow_control`, or record what holds the water.
    name: "flow-control-contradicts", severity: Warning, scope: Run, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    limits: {
        "high" = 50.0 "percent" "the level that a controlled flow does not reach; common practice",
        "close" = 1.5 "m" "how far away another level puts it in doubt; common practice",
        "around" = 15.0 "m" "how far away that which holds the water may be; common practice",
    },
    facts: {
        "level" = Percent "the recorded level; 100 if the camera was under water",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(control) = run.run.flow_control.filter(|control| *control != FlowControl::None) else {
        return;
    };
    let reason = run.run.outcome.as_ref().and_then(|outcome| outcome.reason);
    if reason == Some(obvert_model::tables::StopReason::HighWater) {
        return;
    }
    let level = |water: Water| match water {
        Water::Dry => 0.0,
        Water::Level(percent) => percent,
        Water::Submerged => 100.0,
    };
    let high = |water: Water| level(water) >= out.limit("high");
    if !statements(run).any(|statement| high(statement.water)) {
        return;
    }
    if statements(run).all(|statement| level(statement.water) >= 100.0) {
        return;
    }
    let held = Places::of(run, holds_water);
    let around = out.limit("around");
    let all: Vec<Statement<'_>> = statements(run).collect();
    // A level that a neighbour contradicts may be wrong itself.
    let doubted = |index: usize| {
        let others = [index.checked_sub(1), Some(index + 1)].into_iter().flatten();
        others.filter_map(|other| all.get(other)).any(|other| {
            nearby::apart(&all[index].row, &other.row) <= out.limit("close") && !high(other.water)
        })
    };
    let found = (0..all.len()).find(|index| {
        high(all[*index].water) && !held.near(&all[*index].row, around) && !doubted(*index)
    });
    let found = found.map(|index| all[index]);
    let Some(statement) = found else { return };
    let percent = level(statement.water);
    let message = format!(
        "the flow was controlled ({control}), but the water level is {percent} percent at {}",
        run.survey.format_length(statement.row.row.at)
    );
    out.report(run.subject("/flow_control"), message).fact("level", percent);
}

fn holds_water(term: &Term<'_>) -> bool {
    const PASSING: [&str; 6] = [
        "water.level",
        "water.dry",
        "water.turbid",
        "water.coloured",
        "water.foam",
        "water.inflow",
    ];
    matches!(term.group(), "roots" | "obstacle" | "blockage" | "collapse")
        || term.group() == "water" && !PASSING.contains(&term.code)
        || matches!(
            term.code,
            "gradient.reverse"
                | "fitting.weir"
                | "fitting.gate"
                | "fitting.flap"
                | "access.building-trap"
                | "deposit.settled"
                | "deposit.hardened"
        )
}
