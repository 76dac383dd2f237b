//! See the rule's documentation below.

use obvert_model::tables::{CounterZero, Direction};

use crate::sink::Sink;
use crate::support::coverage::unseen_between;
use crate::support::run_extent::{
    beyond_pipe, exceeds, far_position, pipe_with_length, unit_mixup,
};
use crate::views::{Ending, RunSummary, tolerance};

rule! {
    /// # What it checks
    /// Two runs joined by `reverse_of` leave a part of their pipe unseen, beyond the tolerance.
    ///
    /// # Exceptions
    /// - `reverse-mismatch` or `run-longer-than-pipe` reports one of the runs.
    /// - Runs and pipes are in different units (`length-unit-suspect`).
    /// - It is not known how far one of the runs, or another run of the pipe, came.
    /// - A run of the pipe ended as ordered.
    ///
    /// # Exactly
    /// As *Lengths* in Checking: *L* − *a* − *b* exceeds tolerance(*L*), and `structure_allowance`
    /// more unless both counters are centred, and so does the longest part of that gap that no
    /// other run of the pipe covers. Of two runs that name each other, the first is reported.
    ///
    /// # Why it matters
    /// The part between the two was never seen; often it holds what stopped the first run.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. Structures:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/2/reverse_of`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 182}]
    /// ```
    ///
    /// # Passes
    /// 1 ft is the tolerance.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 181}]
    /// ```
    /// Zeroed at the wall, without an offset.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 185},
    ///  {"op": "replace", "path": "/runs/1/counter/zero", "value": "structure-wall"}]
    /// ```
    /// A third run saw what the two left.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 200},
    ///  {"op": "copy", "from": "/runs/1", "path": "/runs/3"}, {"op": "replace", "path": "/runs/3/id", "value": "R-102B"},
    ///  {"op": "replace", "path": "/runs/3/surveyed", "value": 110}, {"op": "replace", "path": "/runs/3/observations/1/at", "value": 110},
    ///  {"op": "replace", "path": "/runs/3/observations/2/at", "value": 110}]
    /// ```
    ///
    /// # Fix
    /// State the counters' offsets if the gap is not real. If it is, keep the record and tell the
    /// owner what was not seen.
    name: "reverse-gap", severity: Warning, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
    concludes_from: ["pipe.runs"],
    limits: {
        "structure_allowance" = 1.524 "m"
            "length taken up by the two structures: 5 ft; common practice, no published source",
    },
    facts: {
        "gap" = Length "the longest part between the two runs that no run saw",
        "reverse_of" = Id "the run that this one completes",
    },
}

/// A run, the one that it completes, and in metres how far each came and how long their pipe is.
pub(super) struct Pair<'d> {
    pub(super) run: &'d RunSummary,
    pub(super) other: &'d RunSummary,
    pub(super) far: [f64; 2],
    pub(super) length: f64,
}

/// The pairs of runs that complete each other and can be compared.
pub(super) fn pairs<'d>(ending: &'d Ending<'d>, allowance: f64) -> impl Iterator<Item = Pair<'d>> {
    let survey = ending.survey;
    ending.runs.iter().filter_map(move |run| {
        let other = ending.run(run.run.reverse_of.as_ref()?)?;
        // Two runs that name each other are one pair.
        let seen = other.run.reverse_of.as_ref() == Some(&run.run.id) && other.index < run.index;
        if seen || other.run.pipe != run.run.pipe || other.run.direction == run.run.direction {
            return None;
        }
        let (_, length) = pipe_with_length(survey, &run.run)?;
        if [run, other]
            .iter()
            .any(|one| beyond_pipe(survey, &one.run, one.figures.marks, allowance).is_some())
        {
            return None;
        }
        let far = [
            far_position(survey, &run.run, run.figures.marks)?,
            far_position(survey, &other.run, other.figures.marks)?,
        ];
        Some(Pair { run, other, far, length })
    })
}

/// Whether it is known that a run's distances are from the centre of its structure.
fn centred(summary: &RunSummary) -> bool {
    summary
        .run
        .counter
        .as_ref()
        .is_some_and(|c| c.zero == CounterZero::StructureCentre || c.offset.is_some())
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let allowance = out.limit("structure_allowance");
    let mut mixup = None;
    for pair in pairs(ending, allowance) {
        let between = pair.length - pair.far[0] - pair.far[1];
        let structures = if centred(pair.run) && centred(pair.other) { 0.0 } else { allowance };
        let counts = |gap: f64| exceeds(gap, tolerance(pair.length) + structures);
        if !counts(between) {
            continue;
        }
        let edges = match pair.run.run.direction {
            Direction::Downstream => (pair.far[0], pair.length - pair.far[1]),
            Direction::Upstream => (pair.far[1], pair.length - pair.far[0]),
        };
        let unseen = unseen_between(ending, [pair.run, pair.other], edges, allowance);
        let Some(gap) = unseen.filter(|gap| counts(*gap)) else { continue };
        if *mixup.get_or_insert_with(|| unit_mixup(ending).is_some()) {
            return;
        }
        let [a, b] = pair.far.map(|far| survey.format_metres(far));
        let (length, unseen) = (survey.format_metres(pair.length), survey.format_metres(gap));
        let message =
            format!("{unseen} of the pipe was not seen: the runs cover {a} and {b} of {length}");
        out.report(pair.run.subject("/reverse_of"), message)
            .fact("gap", survey.in_units(gap))
            .fact("reverse_of", pair.other.run.id.as_str());
    }
}
