//! See the rule's documentation below.

use obvert_model::number::Length;
use obvert_model::tables::{ClockReading, CounterZero, Direction};

use crate::sink::Sink;
use crate::support::clock::hours_outside;
use crate::support::column_votes::{Cause, Causes};
use crate::support::row_order;
use crate::support::run_extent::{TURNED, direction_contradicts, exceeds};
use crate::views::{RowView, tolerance};

rule! {
    /// # What it checks
    /// A connection contradicts the record of the lateral that it names: the lateral joins another
    /// pipe, or this one at another distance or hour.
    ///
    /// # Exceptions
    /// - The structures of the run contradict its direction (`direction-contradicts`).
    ///
    /// # Exactly
    /// The lateral's `joins` is compared in this order, and the first difference is reported:
    ///
    /// - `pipe` is not the pipe of the run.
    /// - `at` differs from the position of the row by more than twice tolerance(`at`), and
    ///   `structure_allowance` more unless the counter states its `offset` or was zeroed at the
    ///   centre of the structure. The position is `offset` + `at` − *reads* of the row from the
    ///   upstream structure; in a run upstream, the length of the pipe less that. This is skipped
    ///   if the row is not settled, the run has `launched`, is disordered or was zeroed again, or
    ///   `joins.at` is negative or beyond the pipe's length + twice its tolerance.
    /// - `clock` is more than one hour from the observation's hour, or from the nearer end of its
    ///   arc if not in it. In a run upstream, the observation's clock reference is mirrored.
    ///
    /// # Why it matters
    /// After lining, connections are cut open from inside by these numbers: a wrong one is a hole
    /// in a new liner and a house without a drain.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. Structures
    /// and hours: common practice, no published source.
    ///
    /// # Fails
    /// The lateral joins 29 ft farther on, at `/runs/0/observations/3/joins`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joins", "value": "L-3"}, {"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-101", "at": 61, "clock": 2}}}]
    /// ```
    /// It joins on the other side, at `/runs/0/observations/3/joins`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joins", "value": "L-3"}, {"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-101", "at": 32, "clock": 10}}}]
    /// ```
    /// It joins another pipe, at `/runs/0/observations/3/joins`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joins", "value": "L-3"}, {"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-102", "at": 32}}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joins", "value": "L-3"}, {"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-101", "at": 33.5, "clock": 3}}}]
    /// ```
    /// From the other end.
    /// ```json
    /// [{"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 30, "code": "connection.preformed", "clock": {"at": 10},
    ///   "quantities": [{"value": 4, "unit": "in"}], "joins": "L-3"}}, {"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-102", "at": 150, "clock": 2}}}]
    /// ```
    ///
    /// # Fix
    /// Look up the connection in the video and correct the one that is wrong.
    name: "connection-contradicts-lateral", severity: Warning, scope: Observation, since: "0.1", clause: "pipes#ends",
    uses: [row_order],
    limits: {
        "structure_allowance" = 1.524 "m"
            "length taken up by the two structures: 5 ft; common practice, no published source",
    },
    facts: {
        "joins" = Id "pipe that the lateral joins by its record" if "it is another pipe",
        "observed_at" = Length "distance of the connection from the upstream structure"
            if "the distances differ",
        "joins_at" = Length "`joins.at` of the lateral" if "`seen` is present",
        "joins_clock" = ClockHour "`joins.clock` of the lateral" if "the hours differ",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(lateral) = row.row.joins.as_ref() else { return };
    let (survey, run) = (row.survey(), row.run);
    let joins = survey.pipe(lateral).and_then(|pipe| pipe.joins.as_ref());
    let (Some(joins), Some(view)) = (joins, run.pipe) else { return };
    if direction_contradicts(view.pipe, run.run) {
        return;
    }
    let lateral = lateral.as_str();
    if joins.pipe != view.pipe.id {
        let message = format!(
            "{lateral:?} connects here, but by its record it joins {:?}",
            joins.pipe.as_str()
        );
        out.report(row.subject("/joins"), message).fact("joins", joins.pipe.as_str());
        return;
    }
    let upstream = run.run.direction == Direction::Upstream;
    if let (Some(at), Some(seen)) = (joins.at, from_upstream(row, upstream)) {
        let (joined, length) = (survey.metres(at), view.metres().unwrap_or(0.0));
        let on_it = joined >= 0.0 && (length <= 0.0 || joined <= length + 2.0 * tolerance(length));
        let known = run
            .run
            .counter
            .as_ref()
            .is_some_and(|c| c.offset.is_some() || c.zero == CounterZero::StructureCentre);
        let structures = if known { 0.0 } else { out.limit("structure_allowance") };
        let limit = 2.0 * tolerance(joined) + structures;
        let differs = |seen: f64| exceeds((seen - joined).abs(), limit);
        if on_it
            && differs(seen)
            && row_order::in_order(run, row.index)
            && !run.disordered()
            && !run.marks().counter_reset
        {
            let (here, there) = (survey.format_metres(seen), survey.format_metres(joined));
            let turned = if length > 0.0 && !differs(length - seen) { TURNED } else { "" };
            let message = format!(
                "{lateral:?} connects {here} from the upstream structure, but by its record it joins at {there}{turned}"
            );
            out.report(row.subject("/joins"), message)
                .fact("observed_at", survey.in_units(seen))
                .fact("joins_at", at.get());
            return;
        }
    }
    let reading = row.row.clock.as_ref().and_then(|clock| clock.reading());
    let reading = if upstream { reading.and_then(ClockReading::mirrored) } else { reading };
    if let (Some(reading), Some(clock)) = (reading, joins.clock.filter(|clock| clock.is_valid()))
        && hours_outside(reading, clock.get()) > 1.0
    {
        let message = format!(
            "{lateral:?} connects at another hour, but by its record it joins at {clock} o'clock, looking downstream"
        );
        let column =
            Causes::from(Cause::ClockUnit).with(Cause::Shifted, row.run.is_shifted(row.index));
        out.report_unless(column, row.subject("/joins"), message).fact("joins_clock", clock.get());
    }
}

/// How far the row is from the centre of the upstream structure, in metres.
fn from_upstream(row: &RowView<'_>, upstream: bool) -> Option<f64> {
    let run = row.run;
    if run.run.launched.is_some() {
        return None;
    }
    let unit = run.survey.head.units.length.metres();
    let offset =
        run.run.counter.as_ref().and_then(|counter| counter.offset).map_or(0.0, Length::get);
    let far = (offset + row.row.at.get() - run.reads()) * unit;
    if upstream { Some(run.pipe?.metres()? - far) } else { Some(far) }
}
