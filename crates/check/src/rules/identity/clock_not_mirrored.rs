//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::clock::alike;
use crate::support::row_digest::{RowDigest, common_places, pairs_of_runs};
use crate::support::run_extent::direction_contradicts;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// A feature was seen from both ends of a pipe, and both runs give it the same clock reference,
    /// although left and right are exchanged in a run the other way.
    ///
    /// # Exceptions
    /// - The structures of one of the runs contradict its direction (`direction-contradicts`).
    /// - It is not known where the rows are on the pipe: its length is unknown, a run was launched,
    ///   or its counter seems to have been set to zero again.
    ///
    /// # Exactly
    /// For every two of the first eight runs of a pipe that go in different directions:
    ///
    /// - A feature is a row at one distance in each, with one code and characterisation, within 2 ×
    ///   tolerance(*L*) of one place, and 1.524 m more unless `length_between` is `centres` or both
    ///   counters state their `offset`. With two candidates for a row, it does not count.
    /// - It is *mirrored* if the ends of the later clock reference, mirrored, differ by one hour or
    ///   less from those of the earlier one, and *equal* if they do so unmirrored. A feature that
    ///   is both does not count.
    /// - More features are equal than mirrored. Of several, the finding is at the later run.
    ///
    /// # Why it matters
    /// One of the two runs has left and right exchanged: connections are opened and repairs are
    /// placed on the wrong side.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. One hour:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/2/observations/1/clock`:
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/1", "value": {"id": "1a", "at": 88, "code": "hole", "clock": {"at": 3}}},
    ///  {"op": "replace", "path": "/runs/2/surveyed", "value": 93}, {"op": "replace", "path": "/runs/2/observations/1/at", "value": 93},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 92, "code": "hole", "clock": {"at": 3}}}]
    /// ```
    ///
    /// # Passes
    /// Mirrored.
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/1", "value": {"id": "1a", "at": 88, "code": "hole", "clock": {"at": 3}}},
    ///  {"op": "replace", "path": "/runs/2/surveyed", "value": 93}, {"op": "replace", "path": "/runs/2/observations/1/at", "value": 93},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 92, "code": "hole", "clock": {"at": 9}}}]
    /// ```
    /// At the crown.
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/1", "value": {"id": "1a", "at": 88, "code": "hole", "clock": {"at": 12}}},
    ///  {"op": "replace", "path": "/runs/2/surveyed", "value": 93}, {"op": "replace", "path": "/runs/2/observations/1/at", "value": 93},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value": {"id": "1a", "at": 92, "code": "hole", "clock": {"at": 12}}}]
    /// ```
    ///
    /// # Fix
    /// Look at both places in the videos, and correct the clock references of the run that is
    /// wrong.
    name: "clock-not-mirrored", severity: Warning, scope: Ending, since: "0.1", clause: "observations#clock",
    concludes_from: ["pipe.runs", "observations", "observations.at", "observations.code", "observations.clock"],
    facts: {
        "other" = Id "the earlier run in the table",
        "features" = Count "features with equal clock references",
        "of" = Count "features that were compared",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for [(earlier, along), (later, along_later)] in pairs_of_runs(ending) {
        let wrong = [earlier, later].iter().any(|summary| {
            let pipe = ending.survey.pipe(&summary.run.pipe);
            pipe.is_some_and(|pipe| direction_contradicts(pipe, &summary.run))
        });
        if wrong || earlier.run.direction == later.run.direction {
            continue;
        }
        let slack = along.slack.max(along_later.slack);
        let pairs = common_places(
            (earlier.digests(), along),
            (later.digests(), along_later),
            slack,
            |one, other| {
                one.code == other.code && one.reading().is_some() && other.reading().is_some()
            },
        );
        let seen: Vec<(&RowDigest, bool)> = pairs
            .into_iter()
            .filter_map(|(one, other)| {
                let (a, b) = (one.reading()?, other.reading()?);
                let mirrored = alike(a, b.mirrored()?);
                (alike(a, b) != mirrored).then_some((other, mirrored))
            })
            .collect();
        let equal = seen.iter().filter(|(_, mirrored)| !mirrored).count();
        let Some((first, _)) = seen.iter().find(|(_, mirrored)| !mirrored) else { continue };
        if equal * 2 <= seen.len() {
            continue;
        }
        let id = earlier.run.id.as_str();
        let (subject, message): (Subject, String) = if equal == 1 {
            let message = format!(
                "the same clock reference as in run {id:?}, which went the other way: left and right are exchanged there"
            );
            (later.subject(&format!("/observations/{}/clock", first.row)), message)
        } else {
            let message = format!(
                "{equal} features have the same clock references as in run {id:?}, which went the other way: left and right are exchanged there"
            );
            (later.subject("/observations"), message)
        };
        out.report(subject, message)
            .fact("other", id)
            .fact("features", equal)
            .fact("of", seen.len());
    }
}
