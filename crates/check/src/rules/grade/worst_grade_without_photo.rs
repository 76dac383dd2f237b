//! See the rule's documentation below.

use obvert_model::tables::{Aspect, MediaKind};

use crate::profile::graded;
use crate::sink::Sink;
use crate::support::column_votes::causes_of_grade;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// An observation whose recorded grade is the worst of the scale has no photo or scan.
    ///
    /// # Exceptions
    /// - The observation names a file that is not in the media table (`unknown-media`).
    /// - The run has no photos, and the observation has a time in a video.
    /// - The office's profile requires a photo of it (`graded-media-missing`).
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// A grade in either aspect is on the scale, less than `steps` from `worst`. A photo counts in
    /// any `state`.
    ///
    /// # Why it matters
    /// It calls for action at once, and the decision needs a picture.
    ///
    /// # Source
    /// Common practice, no published source. An office that wants photos of further grades raises
    /// the limit.
    ///
    /// # Fails
    /// At `/runs/1/observations/1`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/1/observations/1/media"}]
    /// ```
    /// A video is not a photo. At `/runs/1/observations/1/media`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/observations/1/media", "value": [{"id": "M-2", "offset": 300}]}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media", "value": [{"id": "M-2", "offset": 300}]}]
    /// ```
    ///
    /// An unfolded scan.
    /// ```json
    /// [{"op": "replace", "path": "/media/2/kind", "value": "scan"}]
    /// ```
    /// A run with a video only.
    /// ```json
    /// [{"op": "replace", "path": "/media/2", "value": {"id": "M-3", "file": "videos/r102.mp4", "kind": "video", "type": "video/mp4", "duration": 420, "run": "R-102"}},
    ///  {"op": "replace", "path": "/runs/1/observations/1/media", "value": [{"id": "M-3", "offset": 300}]}]
    /// ```
    ///
    /// # Fix
    /// Add a still; it can be taken from the video.
    name: "worst-grade-without-photo", severity: Warning, scope: Observation, since: "0.1", clause: "observations#media",
    needs: [Grades],
    concludes_from: ["media", "observation.media"],
    limits: {
        "steps" = 1.0 "grades" "how many grades, from the worst one on, need a photo; common practice",
    },
    facts: { "grade" = Grade "the grade, as recorded; the structural one if both need a photo" },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    if row.row.grades.is_none() {
        return;
    }
    let (Some(grader), steps) = (&row.survey().grader, out.limit("steps")) else { return };
    let worst = f64::from(grader.scheme.scale.worst.get());
    let bad = |aspect: &Aspect| {
        let grade = row.recorded(*aspect).filter(|grade| grader.on_scale(*grade))?;
        ((f64::from(grade.get()) - worst).abs() < steps).then_some((*aspect, grade))
    };
    let Some((aspect, grade)) = Aspect::ALL.iter().find_map(bad) else { return };
    let demanded =
        |profile| graded(profile, row).any(|(demand, ..)| demand.kinds.contains(&MediaKind::Photo));
    if row.survey().profile().is_some_and(demanded) {
        return;
    }
    let mut filmed = false;
    for (shown, media) in row.media() {
        match media {
            None => return,
            Some(media) if matches!(media.kind, MediaKind::Photo | MediaKind::Scan) => return,
            Some(media) => filmed |= media.kind == MediaKind::Video && shown.offset.is_some(),
        }
    }
    if filmed && !row.run.media_kinds().has_one(&[MediaKind::Photo]) {
        return;
    }
    let finding = out.report_unless(
        causes_of_grade(row, aspect, grade),
        row.subject(if row.row.media.is_empty() { "" } else { "/media" }),
        format!("{} has {aspect} grade {grade} but no photo", row.row.code),
    );
    finding.fact("grade", grade.get());
    if let Some(caution) = row.caution() {
        finding.help(format!("add a still, which can be taken from the video; caution: {caution}"));
    }
}
