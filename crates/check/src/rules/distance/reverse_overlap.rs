//! See the rule's documentation below.

use obvert_model::tables::LengthBetween;

use super::reverse_gap::{Pair, pairs};
use crate::sink::Sink;
use crate::support::row_digest::Along;
use crate::support::run_extent::{exceeds, pipe_with_length, unit_mixup};
use crate::support::seen_twice::{and_in_both, seen_twice};
use crate::views::{Ending, Survey, tolerance};

rule! {
    /// # What it checks
    /// Two runs joined by `reverse_of` cover a part of their pipe twice, beyond the tolerance.
    ///
    /// # Exceptions
    /// - Those of `reverse-gap`.
    ///
    /// # Exactly
    /// *An overlap* in Checking. Of two runs that name each other, the first is reported.
    ///
    /// # Why it matters
    /// A defect in the overlap may be recorded twice, and a rating may count it twice.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. Structures:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/2/reverse_of`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 178}]
    /// ```
    ///
    /// # Passes
    /// 1 ft is the tolerance.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 179}]
    /// ```
    /// The length excludes the structures.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 175},
    ///  {"op": "replace", "path": "/pipes/1/length_between", "value": "walls"}]
    /// ```
    ///
    /// # Fix
    /// Keep what each run saw; a rating may count a defect once that both record.
    name: "reverse-overlap", severity: Note, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
    concludes_from: ["pipe.runs"],
    limits: {
        "structure_allowance" = 1.524 "m"
            "length taken up by the two structures: 5 ft; common practice, no published source",
    },
    facts: {
        "overlap" = Length "how far the two runs came − length of the pipe",
        "reverse_of" = Id "the run that this one completes",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let allowance = out.limit("structure_allowance");
    let mut mixup = None;
    for pair in pairs(ending, allowance) {
        let overlap = pair.far[0] + pair.far[1] - pair.length;
        let between =
            pipe_with_length(survey, &pair.run.run).and_then(|(pipe, _)| pipe.length_between);
        let structures = if between == Some(LengthBetween::Centres) { 0.0 } else { allowance };
        if !exceeds(overlap, tolerance(pair.length) + structures) {
            continue;
        }
        if *mixup.get_or_insert_with(|| unit_mixup(ending).is_some()) {
            return;
        }
        let [a, b] = pair.far.map(|far| survey.format_metres(far));
        let (length, shared) = (survey.format_metres(pair.length), survey.format_metres(overlap));
        let message = format!(
            "{shared} of the pipe was surveyed twice: the runs cover {a} and {b} of {length}{}",
            and_in_both(recorded_in_both(&pair, survey))
        );
        out.report(pair.run.subject("/reverse_of"), message)
            .fact("overlap", survey.in_units(overlap))
            .fact("reverse_of", pair.other.run.id.as_str());
    }
}

/// How many defects both runs of a pair record.
fn recorded_in_both(pair: &Pair<'_>, survey: &Survey<'_>) -> usize {
    let [a, b] = [pair.run, pair.other]
        .map(|summary| (summary, Along::of(survey, &summary.run, summary.figures.marks)));
    let ((a, Some(along_a)), (b, Some(along_b))) = (a, b) else { return 0 };
    seen_twice((a.digests(), along_a), (b.digests(), along_b)).len()
}
