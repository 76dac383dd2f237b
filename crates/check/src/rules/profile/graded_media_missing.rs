//! See the rule's documentation below.

use crate::profile::{add_demand, graded, kinds_in_words, kinds_of};
use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation with a grade as bad as the office's profile states, or worse, has no media
    /// file of a kind that the profile requires.
    ///
    /// # Exceptions
    /// - The observation names a file that is not in the media table (`unknown-media`).
    ///
    /// # Exactly
    /// The grade may be recorded or computed. Which grades are worse follows from the grade
    /// scheme's scale. A file with the state `lost` does not count.
    ///
    /// # Why it matters
    /// Money is spent on the worst grades first, and the decision needs a picture.
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
    /// Add a still; it can be taken from the video.
    name: "graded-media-missing", severity: Error, scope: Observation, since: "0.1", clause: "profiles#media",
    needs: [Profile, Grades],
    concludes_from: ["media", "observation.media"],
    facts: {
        "kinds" = Words "the kinds of media that are accepted, in the order of the profile",
        "grade" = Grade "the grade, recorded or computed",
        "basis" = Text "the basis of the demand" if "the profile states one",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(profile) = row.survey().profile() else { return };
    for (demand, aspect, grade) in graded(profile, row) {
        let Some(kinds) = kinds_of(row) else { return };
        if !kinds.has_one(&demand.kinds) {
            let subject = row.subject(if row.row.media.is_empty() { "" } else { "/media" });
            let from = demand.from_grade.map(|from| from.to_string()).unwrap_or_default();
            let message = format!(
                "{} has {aspect} grade {grade} but no {}, which the profile requires from grade {from} on",
                row.row.code,
                kinds_in_words(demand)
            );
            add_demand(out.report(subject, message), demand).fact("grade", grade.get());
        }
    }
}
