//! See the rule's documentation below.

use obvert_model::tables::LengthBetween;

use super::reverse_gap::pairs;
use crate::sink::Sink;
use crate::support::run_extent::{exceeds, pipe_with_length, unit_mixup};
use crate::views::{Ending, tolerance};

rule! {
    /// # What it checks
    /// Two runs that are joined by `reverse_of` do not cover a part of their pipe twice, beyond the tolerance. Each is
    /// measured from the centre of its own start structure; what two structures take up is allowed as well unless the
    /// pipe's length was measured between their centres. The same runs are not compared as by `reverse-gap`.
    ///
    /// # Why it matters
    /// An overlap shows the owner that nothing was missed. But a defect in it may be recorded twice, and counted twice.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems. Structures: common practice, no published source.
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
    /// The length leaves the structures out.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 175},
    ///  {"op": "replace", "path": "/pipes/1/length_between", "value": "walls"}]
    /// ```
    ///
    /// # Fix
    /// Look whether a defect within the overlap is in both runs, and keep it in one.
    name: "reverse-overlap", severity: Note, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
    concludes_from: ["pipe.runs"],
    limits: {
        "structure_allowance" = 1.524 "m" "what the two structures take up of a length between centres: 5 ft, common practice, no published source",
    },
    facts: {
        "overlap" = Length "how far both runs came, added up, less the length of the pipe",
        "reverse_of" = Id "the run that this one completes",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let allowance = out.limit("structure_allowance");
    let mut mixup = None;
    for pair in pairs(ending, allowance) {
        let overlap = pair.far[0] + pair.far[1] - pair.length;
        let between = pipe_with_length(survey, &pair.run.run).and_then(|(pipe, _)| pipe.length_between);
        let structures = if between == Some(LengthBetween::Centres) { 0.0 } else { allowance };
        if !exceeds(overlap, tolerance(pair.length) + structures) {
            continue;
        }
        if *mixup.get_or_insert_with(|| unit_mixup(ending).is_some()) {
            return;
        }
        let [a, b] = pair.far.map(|far| survey.say_metres(far));
        let (length, twice) = (survey.say_metres(pair.length), survey.say_metres(overlap));
        let message = format!("{twice} of the pipe were seen twice: {a} and {b} of {length}");
        out.report(pair.run.subject("/reverse_of"), message)
            .fact("overlap", survey.in_units(overlap))
            .fact("reverse_of", pair.other.run.id.as_str());
    }
}
