//! See the rule's documentation below.

use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::support::run_extent::{
    RunExtent, exceeds, far_position, pipe_with_length, single_unit_advice, unit_mixup,
};
use crate::views::{Ending, tolerance};

rule! {
    /// # What it checks
    /// A run reached the far structure, but is shorter than its pipe, beyond the tolerance.
    ///
    /// # Exceptions
    /// - Those of `run-longer-than-pipe`.
    ///
    /// # Exactly
    /// As *Lengths* in Checking: *L* exceeds *far* + tolerance(*L*) + `structure_allowance`.
    ///
    /// # Why it matters
    /// The camera did not see the whole pipe, or the counter slipped.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. Structures:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/surveyed`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 207}]
    /// ```
    ///
    /// # Passes
    /// 1 ft for the counter and 5 ft for the structures.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 206}]
    /// ```
    /// The run met the one from the other end.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 240},
    ///  {"op": "replace", "path": "/runs/0/outcome/kind", "value": "met"}]
    /// ```
    /// Zeroed at a fitting 30 ft from the structure.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 230},
    ///  {"op": "replace", "path": "/runs/0/counter/zero", "value": "access-fitting"},
    ///  {"op": "replace", "path": "/runs/0/counter/offset", "value": 30}]
    /// ```
    ///
    /// # Fix
    /// Correct the outcome if the far structure was not reached; otherwise correct `surveyed`, the
    /// counter or the pipe's length.
    name: "run-shorter-than-pipe", severity: Warning, scope: Ending, since: "0.1", clause: "runs#ends",
    limits: {
        "structure_allowance" = 1.524 "m"
            "length taken up by the two structures: 5 ft; common practice, no published source",
    },
    facts: {
        "far" = Length "how far along the pipe the run came",
        "length" = Length "the length of the pipe",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let allowance = out.limit("structure_allowance");
    let mut mixup = None;
    for summary in
        ending.runs.iter().filter(|summary| summary.outcome() == Some(OutcomeKind::Reached))
    {
        let Some((_, length)) = pipe_with_length(survey, &summary.run) else { continue };
        let Some(far) = far_position(survey, &summary.run, summary.figures.marks) else { continue };
        if !exceeds(length, far + tolerance(length) + allowance)
            || ending.camera_drifts(&summary.run)
        {
            continue;
        }
        if *mixup.get_or_insert_with(|| unit_mixup(ending).is_some()) {
            return;
        }
        let (came, whole) = (survey.format_metres(far), survey.format_metres(length));
        let message = format!(
            "the run reached the far structure, but covers only {came} of a pipe that is {whole} long"
        );
        let finding = out.report(summary.subject("/surveyed"), message);
        finding.fact("far", survey.in_units(far)).fact("length", survey.in_units(length));
        let extent = RunExtent { far, length, excess: far / length - 1.0 };
        if let Some(advice) = single_unit_advice(survey, &summary.run, extent) {
            finding.help(advice);
        }
    }
}
