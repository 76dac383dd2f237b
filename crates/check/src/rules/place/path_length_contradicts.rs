//! See the rule's documentation below.

use obvert_model::tables::{LengthBetween, LengthUnit};

use crate::sink::Sink;
use crate::support::course_length::explained;
use crate::support::map_lengths::ENDS_SLACK;
use crate::views::{Ending, PipeView, Survey};

rule! {
    /// # What it checks
    /// The stated length of a pipe differs from its course on the map by more than both limits.
    ///
    /// # Exceptions
    /// - The path ends elsewhere than at its structures (`path-end-mismatch`).
    /// - The length follows the slope: it is not above √(course² + fall²), the fall being that of
    ///   the inverts, at most 40 %.
    /// - The pipe is upright: its fall is greater than its course, and its length not below
    ///   √(course² + fall²), nor above the sum of the two.
    /// - The pipe is longer than the straight line, and a run records a bend or a change of
    ///   gradient; or than its path, and a run records a change of gradient or a drop.
    /// - The pipe is longer than the straight line, and a run that reached the far structure came
    ///   as far as the pipe is long, within the tolerance: the pipe bends, and its path is not recorded.
    /// - `length_between` is `walls` or `ends`, the pipe is shorter than its course, and a run that
    ///   reached the far structure came as far as the course: the rest is in the chambers.
    ///
    /// # Exactly
    /// The course is the path, or without one the straight line between the structures, in the unit
    /// that fits most pipes (`crs-unit-suspect`). \|`length` − course\|, less `structures` if
    /// `length_between` is stated and not `centres`, is greater than `slack` and than `share` of
    /// the course.
    ///
    /// # Why it matters
    /// Distances are mapped by the pipe's length: if it is wrong, a repair is dug for in the wrong
    /// place.
    ///
    /// # Source
    /// 0.5 %: the counting tolerance of City of Sunny Isles Beach FL, Section 02762. 1 m: common
    /// practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/0/length`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 210}, {"op": "remove", "path": "/runs/0/surveyed"}]
    /// ```
    /// Without a path, at `/pipes/1/length`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 186}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 203}]
    /// ```
    ///
    /// The run came as far.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 186},
    ///  {"op": "replace", "path": "/runs/1/surveyed", "value": 186}, {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}},
    ///  {"op": "replace", "path": "/runs/1/observations/2", "value": {"id": "3", "at": 186, "code": "run.finish"}},
    ///  {"op": "remove", "path": "/runs/2"}]
    /// ```
    /// The pipe bends.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 186},
    ///  {"op": "add", "path": "/runs/1/observations/1", "value": {"id": "1a", "at": 20, "code": "bend.curved", "characterisation": ["left"], "quantities": [{"value": 40, "unit": "degrees"}]}}]
    /// ```
    /// Along the slope.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 186}, {"op": "replace", "path": "/pipes/1/inverts/downstream", "value": 592},
    ///  {"op": "remove", "path": "/structures/2/invert"}, {"op": "remove", "path": "/structures/2/depth"}, {"op": "remove", "path": "/structures/2/ground"}]
    /// ```
    ///
    /// # Fix
    /// Correct the length or the path. If the straight line is shorter than the pipe, the pipe
    /// probably bends: add its path.
    name: "path-length-contradicts", severity: Warning, scope: Ending, since: "0.1", clause: "pipes#path",
    needs: [Crs],
    concludes_from: ["structures.position", "pipe.runs"],
    limits: {
        "share" = 0.5 "%"
            "greatest difference in per cent of the course: City of Sunny Isles Beach FL, Section 02762",
        "slack" = 1.0 "m" "least tolerance; common practice, no published source",
        "structures" = 1.524 "m"
            "length taken up by two structures where a length is not between centres: 5 ft; common practice, no published source",
    },
    facts: {
        "stated" = Length "`length`, as recorded",
        "course" = Length "length of the path, or of the straight line between the structures",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for view in ending.survey.pipes() {
        check_pipe(ending, &view, out);
    }
}

fn check_pipe(ending: &Ending<'_>, view: &PipeView<'_>, out: &mut Sink<'_>) {
    let map_lengths = view.survey.map_lengths();
    let (Some(stated), Some(course)) = (view.metres(), map_lengths.fitted_length(view.index))
    else {
        return;
    };
    if stated <= 0.0 || map_lengths.end_gaps(view).into_iter().flatten().any(|gap| gap > ENDS_SLACK)
    {
        return;
    }
    let between = view.pipe.length_between.is_none_or(|between| between == LengthBetween::Centres);
    let structures = if between { 0.0 } else { out.limit("structures") };
    let off = (stated - course).abs() - structures;
    if off <= out.limit("slack") || off <= course * out.limit("share") / 100.0 {
        return;
    }
    if explained(ending, view, stated, course) {
        return;
    }
    let own = view.pipe.path.len() >= 2;
    let what = if own { "its path" } else { "the straight line between its structures" };
    let survey = view.survey;
    let [length, measured] = [stated, course].map(|metres| survey.format_metres(metres));
    let message = format!("the stated length is {length}, but {what} is {measured} long");
    let finding = out.report(view.subject("/length"), message);
    finding.fact("stated", survey.in_units(stated)).fact("course", survey.in_units(course));
    if let Some(unit) = other_unit(survey, stated / course) {
        finding.help(format!("check the unit: the stated length seems to be in {unit}"));
    } else if !own && stated > course {
        finding.help("add the path if the pipe bends; otherwise correct the length");
    } else if !own {
        finding
            .help("correct the length or the positions of the structures: no pipe is shorter than the straight line");
    }
}

/// The unit that a stated length seems to be in, if it is as many times the measured one as a foot
/// is of a metre, in the direction that the declared unit explains.
fn other_unit(survey: &Survey<'_>, ratio: f64) -> Option<&'static str> {
    let near = |wanted: f64| (ratio / wanted - 1.0).abs() <= 0.1;
    match survey.head.units.length {
        LengthUnit::Metre => near(1.0 / 0.3048).then_some("feet"),
        _ => near(0.3048).then_some("metres"),
    }
}
