//! See the rule's documentation below.

use obvert_model::tables::OutcomeKind;

use crate::sink::Sink;
use crate::support::run_extent::{exceeds, far_position, pipe_with_length, unit_mixup};
use crate::views::{Ending, tolerance};

rule! {
    /// # What it checks
    /// A run that reached the far structure is not shorter than its pipe. The run is measured from the centre of its
    /// start structure: `counter.offset` and what was travelled, `surveyed` less `counter.reads`. It may fall short of
    /// the pipe's length by the tolerance of a counter and by what the two structures take up. Not compared are the runs
    /// that `run-longer-than-pipe` does not compare. The rule stands back where `length-unit-suspect` finds the units mixed.
    ///
    /// # Why it matters
    /// The camera did not see the whole pipe, or the counter slipped and every distance is too small.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems. Structures: common practice, no published source.
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
    /// A run that met the one from the other end.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 240},
    ///  {"op": "replace", "path": "/runs/0/outcome/kind", "value": "met"}]
    /// ```
    /// The counter was zeroed at a fitting 30 ft from the structure.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 230},
    ///  {"op": "replace", "path": "/runs/0/counter/zero", "value": "access-fitting"},
    ///  {"op": "replace", "path": "/runs/0/counter/offset", "value": 30}]
    /// ```
    ///
    /// # Fix
    /// Correct the outcome if the far structure was not reached; correct `surveyed`, the counter's set-up or the pipe's
    /// length if it was.
    name: "run-shorter-than-pipe", severity: Warning, scope: Ending, since: "0.1", clause: "runs#ends",
    limits: {
        "structure_allowance" = 1.524 "m" "what the two structures take up of a length between centres: 5 ft, common practice, no published source",
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
    for summary in ending.runs.iter().filter(|summary| summary.outcome() == Some(OutcomeKind::Reached)) {
        let Some((_, length)) = pipe_with_length(survey, &summary.run) else { continue };
        let Some(far) = far_position(survey, &summary.run, summary.marks) else { continue };
        if !exceeds(length, far + tolerance(length) + allowance) || ending.camera_drifts(&summary.run) {
            continue;
        }
        if *mixup.get_or_insert_with(|| unit_mixup(ending).is_some()) {
            return;
        }
        let (came, whole) = (survey.say_metres(far), survey.say_metres(length));
        let message =
            format!("the run is said to have reached the far structure, but came {came} along a pipe of {whole}");
        out.report(summary.subject("/surveyed"), message)
            .fact("far", survey.in_units(far))
            .fact("length", survey.in_units(length));
    }
}
