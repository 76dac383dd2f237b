//! See the rule's documentation below.

use obvert_model::tables::LengthBetween;

use crate::sink::Sink;
use crate::support::map_lengths::ENDS_SLACK;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// The stated length of a pipe agrees with its course on the map: its path, or without one the straight line between
    /// its structures. They disagree when they differ by more than both limits. The course is measured in the unit that
    /// fits most pipes, so that a wrong reference system is one finding of `crs-unit-suspect`; a path that ends
    /// elsewhere is left to `path-end-mismatch`.
    ///
    /// # Why it matters
    /// Every distance is placed on the map by the pipe's length. If that is wrong, a repair is dug for in the wrong place.
    ///
    /// # Source
    /// 0.5 %: the counting tolerance of City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer Systems. 1 m:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/0/length`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 210}, {"op": "remove", "path": "/runs/0/surveyed"}]
    /// ```
    /// Without a path, the straight line counts, at `/pipes/1/length`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 186}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 203}]
    /// ```
    ///
    /// # Fix
    /// Correct the length, or the path. A straight line that is shorter than the pipe usually lacks the pipe's bends: give
    /// the pipe its path.
    name: "path-length-contradicts", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#path",
    needs: [Crs],
    concludes_from: ["structures.position"],
    limits: {
        "share" = 0.5 "%" "how far the two may differ, in hundredths of the course; City of Sunny Isles Beach FL, Section 02762",
        "slack" = 1.0 "m" "how far they may differ at least; common practice, no published source",
        "structures" = 1.524 "m" "what two structures take up where a length is not between centres: 5 ft, common practice, no published source",
    },
    facts: {
        "stated" = Length "the length, as recorded",
        "course" = Length "the length of the path, or of the straight line between the structures",
    },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let map_lengths = view.survey.map_lengths();
    let (Some(stated), Some(course)) = (view.metres(), map_lengths.fitted_length(view.index)) else { return };
    if stated <= 0.0 || map_lengths.end_gaps(view).into_iter().flatten().any(|gap| gap > ENDS_SLACK) {
        return;
    }
    let between = view.pipe.length_between.is_none_or(|between| between == LengthBetween::Centres);
    let structures = if between { 0.0 } else { out.limit("structures") };
    let off = (stated - course).abs() - structures;
    if off <= out.limit("slack") || off <= course * out.limit("share") / 100.0 {
        return;
    }
    let own = view.pipe.path.len() >= 2;
    let what = if own { "its path" } else { "the straight line between its structures" };
    let survey = view.survey;
    let message = format!("{} stated, but {what} is {} long", survey.say_metres(stated), survey.say_metres(course));
    let finding = out.report(view.subject("/length"), message);
    finding.fact("stated", survey.in_units(stated)).fact("course", survey.in_units(course));
    if !own && stated > course {
        finding.help("give the pipe its path if it bends; correct the length if it does not");
    } else if !own {
        finding
            .help("no pipe is shorter than the straight line: correct the length, or the positions of its structures");
    }
}
