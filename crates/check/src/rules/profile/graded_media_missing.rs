//! See the rule's documentation below.

use crate::profile::{add_demand, graded, kinds_in_words, shown};
use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// Every observation whose grade, recorded or computed, is as bad as the office's profile says or worse has a media file of one
    /// of the kinds that it demands: a photo from grade 4 on. Which grades are worse follows from the grade scheme's scale. A file
    /// whose state is `lost` does not count.
    ///
    /// The rule stands back where the observation names a file that is not in the table of media.
    ///
    /// # Why it matters
    /// The worst grades are what money is spent on next, and whoever spends it wants to see why.
    ///
    /// # Profile
    /// ```json
    /// {"media": [{"of": "observation", "kinds": ["photo"], "from_grade": 4, "aspect": "structural"}]}
    /// ```
    ///
    /// # Fails
    /// At `/runs/1/observations/1`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/observations/1/media"}]
    /// ```
    /// The grade is not recorded but follows from the code, at `/runs/1/observations/1`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/observations/1/grades"},
    ///  {"op": "remove", "path": "/runs/1/observations/1/media"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/4/media"}]
    /// ```
    ///
    /// # Fix
    /// Add a still of it; one can be taken from the video.
    name: "graded-media-missing", severity: Error, scope: Observation, since: "0.1", clause: "profiles#media",
    needs: [Profile, Grades],
    concludes_from: ["media", "observation.media"],
    facts: {
        "kinds" = Words "the kinds of media that would do, in the order of the profile",
        "grade" = Grade "the grade, as recorded",
        "basis" = Text "what the demand rests on" if "the profile says so",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(profile) = row.survey().profile() else { return };
    for (demand, aspect, grade) in graded(profile, row) {
        let Some(kinds) = shown(row) else { return };
        if !kinds.has_one(&demand.kinds) {
            let subject = row.subject(if row.row.media.is_empty() { "" } else { "/media" });
            let from = demand.from_grade.map(|from| from.to_string()).unwrap_or_default();
            let message = format!(
                "{} has {aspect} grade {grade} but no {}, which the profile demands from grade {from} on",
                row.row.code,
                kinds_in_words(demand)
            );
            add_demand(out.report(subject, message), demand).fact("grade", grade.get());
        }
    }
}
