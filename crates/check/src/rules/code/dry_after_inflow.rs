//! See the rule's documentation below.

use obvert_model::tables::Direction;

use crate::sink::Sink;
use crate::support::nearby::Places;
use crate::support::water::{Water, parts_water, statements};
use crate::views::RunView;

rule! {
    /// # What it checks
    /// Much water runs into the pipe, from the ground or a connection, and just downstream the pipe
    /// is recorded as dry.
    ///
    /// # Exceptions
    /// - On the way something parts the water (`water-contradicts`).
    /// - The water can leave the pipe on the way: exfiltration, a void, a hole, a break or a
    ///   collapse.
    /// - The run is *disordered*, or lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// By the code, or the code of `obvert-terms` that it links to, `infiltration` *flowing* or
    /// *gushing*, and `water.inflow`, are compared with `water.dry` that begins more than 0.1 m and
    /// at most `downstream` downstream of it, which has the finding. Downstream is ahead of the
    /// camera in a run downstream, and behind it in a run upstream. The water leaves by rows from
    /// the one to the other: `exfiltration`, `void.visible`, or the groups `break`, `hole` or
    /// `collapse`.
    ///
    /// # Why it matters
    /// One of the two rows is wrong, or is at the wrong distance.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// Water gushes in, and 3 ft downstream the pipe is dry. At `/runs/0/observations/3/code`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/1", "value": {"id": "2", "at": 0, "code": "water.dry"}},
    ///  {"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 6, "code": "infiltration", "characterisation": ["gushing"], "grades": {"operational": 5},
    ///    "media": [{"id": "M-1"}]}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value": {"id": "2b", "at": 9, "code": "water.dry"}}]
    /// ```
    ///
    /// # Passes
    /// Dry upstream of where water gushes in.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/1", "value": {"id": "2", "at": 0, "code": "water.dry"}},
    ///  {"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 3, "code": "infiltration", "characterisation": ["gushing"], "grades": {"operational": 5},
    ///    "media": [{"id": "M-1"}]}}]
    /// ```
    ///
    /// # Fix
    /// Look at the place in the video again and correct the row that is wrong.
    name: "dry-after-inflow", severity: Warning, scope: Run, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    limits: {
        "downstream" = 3.0 "m" "how far downstream of an inflow the pipe must be wet; common practice",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.disordered() || run.survey.lengths_doubtful() {
        return;
    }
    let is_dry =
        |row: &crate::views::RowView<'_>| row.term().is_some_and(|term| term.code == "water.dry");
    if !run.rows().any(|row| is_dry(&row)) {
        return;
    }
    let parted = Places::of(run, parts_water);
    let leaves = Places::of(run, |term| {
        matches!(term.group(), "break" | "hole" | "collapse")
            || matches!(term.code, "exfiltration" | "void.visible")
    });
    let inflows = Places::of(run, |term| match term.code {
        "infiltration" => matches!(term.kind, Some("flowing" | "gushing")),
        code => code == "water.inflow",
    });
    let reach = out.limit("downstream");
    for dry in statements(run).filter(|statement| statement.water == Water::Dry) {
        let (from, to) = match run.run.direction {
            Direction::Downstream => (dry.from - reach, dry.from),
            Direction::Upstream => (dry.to, dry.to + reach),
        };
        // At the place itself water can come in below a dry pipe.
        let (from_beside, to_beside) = match run.run.direction {
            Direction::Downstream => (from, to - 0.1),
            Direction::Upstream => (from + 0.1, to),
        };
        if inflows.between(from_beside, to_beside)
            && !leaves.between(from, to)
            && !parted.between(from, to)
        {
            let survey = run.survey;
            let message = format!(
                "the pipe is dry within {} downstream of water that runs in",
                survey.format_metres(reach)
            );
            out.report(dry.row.subject("/code"), message);
        }
    }
}
