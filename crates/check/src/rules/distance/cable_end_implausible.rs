//! See the rule's documentation below.

use obvert_model::number::Length;
use obvert_model::tables::StopReason;

use crate::sink::Sink;
use crate::support::cameras::{is_camera, same_camera};
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// A run was stopped because the cable or rod was used up, but its equipment has far more
    /// cable, or the same camera came far farther in another run.
    ///
    /// # Exceptions
    /// - The run was launched into a lateral: the cable lies in the main.
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// `outcome.reason` is `cable-end`. `surveyed` − *reads* is less than `share` of the greatest
    /// `cable_length` among the cameras of the run; if none is recorded, of the greatest `surveyed`
    /// − *reads* among the runs that share a camera with it.
    ///
    /// # Why it matters
    /// Something else stopped the camera, and it is not in the record.
    ///
    /// # Source
    /// Common practice, no published source: a part of the cable lies between the vehicle and the
    /// pipe.
    ///
    /// # Fails
    /// At `/runs/1/outcome/reason`:
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/cable_length", "value": 600}, {"op": "replace", "path": "/runs/1/outcome/reason", "value": "cable-end"},
    ///  {"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "cable-end"}]
    /// ```
    /// By another run, at `/runs/1/outcome/reason`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome/reason", "value": "cable-end"}, {"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "cable-end"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/cable_length", "value": 170}, {"op": "replace", "path": "/runs/1/outcome/reason", "value": "cable-end"},
    ///  {"op": "replace", "path": "/runs/1/observations/2/characterisation/0", "value": "cable-end"}]
    /// ```
    ///
    /// # Fix
    /// State what stopped the camera, or correct the distance or the equipment.
    name: "cable-end-implausible", severity: Warning, scope: Ending, since: "0.1", clause: "runs#outcome",
    concludes_from: ["equipment", "equipment.kind", "equipment.cable_length", "runs", "runs.surveyed", "runs.equipment"],
    limits: {
        "share" = 50.0 "%" "least part of the cable that is used; common practice, no published source",
    },
    facts: {
        "travelled" = Length "distance travelled: `surveyed` − *reads*",
        "cable" = Length "the cable, or how far the camera came in another run",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    for summary in ending.runs {
        let reason = summary.run.outcome.as_ref().and_then(|outcome| outcome.reason);
        if reason != Some(StopReason::CableEnd)
            || summary.run.launched.is_some()
            || ending.lengths_doubtful()
        {
            continue;
        }
        let Some(travelled) = summary.figures.travelled else { continue };
        let recorded = cable(ending, summary);
        let Some(cable) = recorded.or_else(|| farthest(ending, summary)) else { continue };
        if travelled >= cable * out.limit("share") / 100.0 {
            continue;
        }
        let [came, has] = [travelled, cable].map(|metres| survey.format_metres(metres));
        let message = if recorded.is_some() {
            format!("the cable was used up at {came}, but the camera has {has} of cable")
        } else {
            format!("the cable was used up at {came}, but the camera came {has} far in another run")
        };
        out.report(summary.subject("/outcome/reason"), message)
            .fact("travelled", survey.in_units(travelled))
            .fact("cable", survey.in_units(cable));
    }
}

/// The longest cable of the run's cameras, in metres.
fn cable(ending: &Ending<'_>, summary: &RunSummary) -> Option<f64> {
    let survey = ending.survey;
    let named = summary.run.equipment.iter().filter_map(|id| survey.equipment(id));
    let cables = named.filter(|row| is_camera(row.kind)).filter_map(|row| row.cable_length);
    let metres =
        cables.filter(|cable: &Length| cable.get() > 0.0).map(|cable| survey.metres(cable));
    metres.reduce(f64::max)
}

/// How far a camera of the run came in other runs, in metres.
fn farthest(ending: &Ending<'_>, summary: &RunSummary) -> Option<f64> {
    let others = ending.runs.iter().filter(|other| {
        other.index != summary.index
            && other.run.launched.is_none()
            && same_camera(ending.survey, &other.run, &summary.run)
    });
    others.filter_map(|other| other.figures.travelled).reduce(f64::max)
}
