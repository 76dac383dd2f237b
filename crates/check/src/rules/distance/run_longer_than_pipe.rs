//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// No run is longer than its pipe. The run is measured from the centre of its start structure: `counter.offset` and
    /// what was travelled, `surveyed` less `counter.reads`. It may exceed the pipe's length by the tolerance of a counter
    /// and as much again for the owner's record, and by what two structures take up unless the length was measured
    /// between their centres. Not compared are a run whose `surveyed` its closing row contradicts, and one launched from
    /// a main with the counter set elsewhere than at the lateral. The rule stands back where `length-unit-suspect` finds
    /// the units mixed.
    ///
    /// # Why it matters
    /// A run that is longer than its pipe was in another pipe, went on past the structure, or has a counter that is off;
    /// every distance in it is in doubt.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems. Structures: common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/surveyed`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 197}]
    /// ```
    /// Both are in one unit here, but a single run cannot prove a wrong one, at `/runs/0/surveyed`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 60.96}]
    /// ```
    ///
    /// # Passes
    /// Twice 1 ft is allowed between the centres.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 198}]
    /// ```
    /// The length between the walls leaves the structures out.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 194},
    ///  {"op": "replace", "path": "/pipes/0/length_between", "value": "walls"}]
    /// ```
    /// The counter began at 10 ft.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 190},
    ///  {"op": "replace", "path": "/runs/0/counter/reads", "value": 10},
    ///  {"op": "replace", "path": "/runs/0/observations/0/at", "value": 10}]
    /// ```
    ///
    /// # Fix
    /// See in the video where the run passes the structure; correct `surveyed`, the counter's set-up, the pipe named or
    /// the pipe's length.
    name: "run-longer-than-pipe", severity: Error, scope: Ending, since: "0.1", clause: "runs#ends",
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
    for summary in ending.runs {
        let Some(extent) = run_extent::beyond_pipe(survey, &summary.run, summary.marks, allowance) else { continue };
        if ending.camera_drifts(&summary.run) {
            continue;
        }
        if *mixup.get_or_insert_with(|| run_extent::unit_mixup(ending).is_some()) {
            return;
        }
        let (far, length) = (survey.say_metres(extent.far), survey.say_metres(extent.length));
        let finding = out.report(summary.subject("/surveyed"), format!("the run comes {far} along a pipe of {length}"));
        finding.fact("far", survey.in_units(extent.far)).fact("length", survey.in_units(extent.length));
        if extent.unit_ratio().is_some() {
            let unit = run_extent::unit_advice(survey.head.units.length, true);
            finding.help(format!("the run is 3.28 times as long as the pipe: {unit}"));
        }
    }
}
