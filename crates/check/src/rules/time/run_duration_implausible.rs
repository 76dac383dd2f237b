//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::{EquipmentKind, Method};

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::support::time::{in_future, seconds_between};
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run lasted longer than is plausible: longer than the battery of a camera unit that has one,
    /// or longer than a working day. Recorded pauses do not count.
    ///
    /// # Exceptions
    /// - `finished` is in the future (`date-in-future`).
    /// - A pause is recorded without its duration.
    ///
    /// # Exactly
    /// The time from `started` to `finished`, less the amount `duration` of every row with the role
    /// `paused`, is compared with `battery` if the method is `push-rod`, `pole` or `float`, or if the
    /// run names a camera of such a kind and no crawler; otherwise with `shift`, since a crawler gets
    /// its power from the vehicle.
    ///
    /// # Why it matters
    /// The run was not closed when the camera came out, or a date is wrong.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/finished`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T23:44:00-05:00"}]
    /// ```
    /// A battery would be empty. At `/runs/2/finished`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/finished", "value": "2026-05-06T14:48:00-05:00"},
    ///  {"op": "replace", "path": "/runs/2/method", "value": "push-rod"}]
    /// ```
    ///
    /// # Passes
    /// Three hours is the limit.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/finished", "value": "2026-05-06T13:48:00-05:00"},
    ///  {"op": "replace", "path": "/runs/2/method", "value": "push-rod"}]
    /// ```
    /// A crawler on the vehicle's power.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/finished", "value": "2026-05-06T14:48:00-05:00"}]
    /// ```
    /// It waited for an hour.
    /// ```json
    /// [{"op": "replace", "path": "/runs/2/finished", "value": "2026-05-06T14:48:00-05:00"},
    ///  {"op": "replace", "path": "/runs/2/method", "value": "push-rod"},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value":
    ///   {"id": "1a", "at": 40, "code": "run.paused", "quantities": [{"value": 60, "unit": "minutes"}]}}]
    /// ```
    ///
    /// # Fix
    /// Correct the wrong time, or explain it in the run's remark.
    name: "run-duration-implausible", severity: Warning, scope: Run, since: "0.1", clause: "runs#time",
    concludes_from: ["coding", "equipment"],
    limits: {
        "battery" = 3.0 "h" "the longest run on a battery; common practice, no published source",
        "shift" = 12.0 "h" "the longest run otherwise; common practice, no published source",
    },
    facts: { "hours" = Hours "from `started` to `finished`, without pauses" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let (Some(started), Some(finished)) = (&run.run.started, &run.run.finished) else { return };
    let Some(seconds) = seconds_between(started, finished) else { return };
    let Some(paused) = paused_minutes(run) else { return };
    let limit = out.limit(if on_battery(run) { "battery" } else { "shift" });
    let hours = seconds / 3600.0 - paused / 60.0;
    if exceeds(hours, limit) && !in_future(run.survey, finished) {
        // Whole days say more than thousands of hours: the date is wrong, not the time of day.
        let took = if hours >= 48.0 {
            format!("{:.0} days", hours / 24.0)
        } else {
            format!("{} h", (hours * 10.0).round() / 10.0)
        };
        out.report(
            run.subject("/finished"),
            format!("the run took {took}, longer than the usual maximum of {limit} h"),
        )
        .fact("hours", hours);
    }
}

/// Whether the camera runs on a battery.
fn on_battery(run: &RunView<'_>) -> bool {
    let kinds = run.run.equipment.iter().filter_map(|id| Some(run.survey.equipment(id)?.kind));
    let has = |wanted: &[EquipmentKind]| kinds.clone().any(|kind| wanted.contains(&kind));
    matches!(run.run.method, Some(Method::PushRod | Method::Pole | Method::Float))
        || (has(&[EquipmentKind::PushRod, EquipmentKind::Pole, EquipmentKind::Float])
            && !has(&[EquipmentKind::Crawler]))
}

/// How long the run paused, in minutes; `None` if a pause is recorded without its duration.
fn paused_minutes(run: &RunView<'_>) -> Option<f64> {
    let pauses = run.rows().filter(|row| row.role() == Some(Role::Paused));
    pauses
        .map(|row| {
            let mut amounts = row.code?.amounts(&row.row.characterisation);
            row.amount(amounts.position(|meaning| *meaning.name == *"duration")?)
        })
        .sum()
}
