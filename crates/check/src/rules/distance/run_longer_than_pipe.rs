//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A run is much longer than its pipe.
    ///
    /// # Exceptions
    /// - The closing row contradicts `surveyed` (`surveyed-contradicts-finish`).
    /// - The run has `launched`, and its counter was not set at the lateral (`pipe-end`,
    ///   `access-fitting`).
    /// - The run is longer by a small share only (`run-slightly-longer-than-pipe`).
    /// - `distance-drift` reports the run's camera.
    /// - Runs and pipes are in different units (`length-unit-suspect`).
    ///
    /// # Exactly
    /// As *Lengths* in Checking: *far* − *surplus* exceeds *L* + 2 × tolerance(*L*), for the
    /// counter and for the owner's record, and `structure_allowance` more unless `length_between`
    /// is `centres`; and (*far* − *surplus*) ∕ *L* − 1 exceeds `share`.
    ///
    /// # Why it matters
    /// The run was in another pipe, went past the structure, or its counter is off: every distance
    /// is in doubt.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. Structures
    /// and share: common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/surveyed`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 190}]
    /// ```
    /// One run does not prove a wrong unit, at `/runs/0/surveyed`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 60.96}]
    /// ```
    ///
    /// # Passes
    /// 5 % may be the owner's map.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 190.5}]
    /// ```
    /// 2 ft are allowed between centres.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 198}]
    /// ```
    /// A length between walls excludes the structures.
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
    /// On plan: the pipe falls by 40 ft.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 196}, {"op": "replace", "path": "/pipes/0/inverts/upstream", "value": 679.7},
    ///  {"op": "remove", "path": "/structures/0/ground"}, {"op": "remove", "path": "/structures/0/invert"}, {"op": "remove", "path": "/structures/0/depth"}]
    /// ```
    /// The counter was set at the end of the pipe, 20 ft from the centre of the chamber.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 200}, {"op": "replace", "path": "/pipes/0/length_between", "value": "ends"},
    ///  {"op": "replace", "path": "/runs/0/counter", "value": {"zero": "pipe-end", "offset": 20}}]
    /// ```
    ///
    /// # Fix
    /// Check in the video where the run passes the structure; correct `surveyed`, the counter, the
    /// pipe or its length.
    name: "run-longer-than-pipe", severity: Error, scope: Ending, since: "0.1", clause: "runs#ends",
    limits: {
        "structure_allowance" = 1.524 "m"
            "length taken up by the two structures: 5 ft; common practice, no published source",
        "share" = 5.0 "%"
            "by how much a run may exceed a length from a map; common practice, no published source",
    },
    facts: {
        "far" = Length "how far along the pipe the run came",
        "length" = Length "the length of the pipe",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    report_longer(ending, out, |excess, share| excess > share);
}

/// Reports the runs that are past their pipes by an excess that `belongs` to the rule, given the
/// share that an owner's record may be wrong by.
pub(super) fn report_longer(
    ending: &Ending<'_>,
    out: &mut Sink<'_>,
    belongs: impl Fn(f64, f64) -> bool,
) {
    let survey = ending.survey;
    let allowance = out.limit("structure_allowance");
    let share = out.limit("share") / 100.0 + 1e-9;
    let mut mixup = None;
    for summary in ending.runs {
        let Some(extent) =
            run_extent::beyond_pipe(survey, &summary.run, summary.figures.marks, allowance)
        else {
            continue;
        };
        if !belongs(extent.excess, share) || ending.camera_drifts(&summary.run) {
            continue;
        }
        if *mixup.get_or_insert_with(|| run_extent::unit_mixup(ending).is_some()) {
            return;
        }
        let (far, length) = (survey.format_metres(extent.far), survey.format_metres(extent.length));
        let message = format!("the run covers {far} of a pipe that is {length} long");
        let finding = out.report(summary.subject("/surveyed"), message);
        finding
            .fact("far", survey.in_units(extent.far))
            .fact("length", survey.in_units(extent.length));
        if let Some(advice) = run_extent::single_unit_advice(survey, &summary.run, extent) {
            finding.help(advice);
        }
    }
}
