//! The demands of a profile on media: which apply to an observation or a run, and whether they are
//! met.

use obvert_model::number::Grade;
use obvert_model::profile::{MediaDemand, MediaOf, Profile};
use obvert_model::tables::{Aspect, Media, MediaKind, MediaState};

use crate::finding::Finding;
use crate::views::RowView;

/// A set of kinds of media.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct MediaKinds(u16);

impl MediaKinds {
    /// Adds the kind of a file, unless the file is lost.
    pub(crate) fn add(&mut self, media: &Media) {
        if media.state != Some(MediaState::Lost) {
            self.0 |= 1 << media.kind as u16;
        }
    }

    /// Whether one of these kinds is in the set.
    pub(crate) fn has_one(self, kinds: &[MediaKind]) -> bool {
        kinds.iter().any(|kind| self.0 & (1 << *kind as u16) != 0)
    }
}

/// The demands on runs.
pub(crate) fn of_runs(profile: &Profile) -> impl Iterator<Item = &MediaDemand> {
    profile.media.iter().filter(|demand| demand.of == MediaOf::Run)
}

/// The demands on all observations, whatever their grades.
pub(crate) fn of_observations(profile: &Profile) -> impl Iterator<Item = &MediaDemand> {
    profile
        .media
        .iter()
        .filter(|demand| demand.of == MediaOf::Observation && demand.from_grade.is_none())
}

/// The demands for grades that apply to an observation, each with the grade that makes it apply.
pub(crate) fn graded<'p>(
    profile: &'p Profile,
    row: &RowView<'p>,
) -> impl Iterator<Item = (&'p MediaDemand, Aspect, Grade)> {
    profile.media.iter().filter(|demand| demand.of == MediaOf::Observation).filter_map(
        move |demand| {
            let (aspect, grade) = demanding_grade(demand, row)?;
            applies_to(demand, row).then_some((demand, aspect, grade))
        },
    )
}

/// The recorded or computed grade of an observation at or beyond the grade of a demand.
fn demanding_grade(demand: &MediaDemand, row: &RowView<'_>) -> Option<(Aspect, Grade)> {
    let from = demand.from_grade?;
    let grader = row.survey().grader.as_ref()?;
    let scale = &grader.scheme.scale;
    let bad = |grade: &Grade| {
        let reached = if scale.worst >= scale.best { *grade >= from } else { *grade <= from };
        reached && grader.on_scale(*grade)
    };
    let aspects =
        Aspect::ALL.iter().filter(|aspect| demand.aspect.is_none_or(|wanted| wanted == **aspect));
    aspects
        .flat_map(|aspect| {
            [row.recorded(*aspect), row.graded(*aspect)]
                .into_iter()
                .flatten()
                .map(|grade| (*aspect, grade))
        })
        .find(|(_, grade)| bad(grade))
}

/// Whether a demand applies to observations with this code.
pub(crate) fn applies_to(demand: &MediaDemand, row: &RowView<'_>) -> bool {
    (demand.codes.is_empty() || demand.codes.contains(&row.row.code))
        && (demand.roles.is_empty() || row.role().is_some_and(|role| demand.roles.contains(&role)))
}

/// The kinds of media of an observation; `None` if it refers to a file that the document does not
/// have, since another rule reports that.
pub(crate) fn kinds_of(row: &RowView<'_>) -> Option<MediaKinds> {
    let mut kinds = MediaKinds::default();
    for (_, media) in row.media() {
        kinds.add(media?);
    }
    Some(kinds)
}

/// The kinds of a demand in words: `photo or video`.
pub(crate) fn kinds_in_words(demand: &MediaDemand) -> String {
    let words: Vec<&str> = demand.kinds.iter().map(|kind| kind.as_str()).collect();
    words.join(" or ")
}

/// Adds the basis and the advice of a demand to a finding.
pub(crate) fn add_demand<'f>(finding: &'f mut Finding, demand: &MediaDemand) -> &'f mut Finding {
    finding.fact("kinds", demand.kinds.iter().map(|kind| kind.as_str()).collect::<Vec<_>>());
    if let Some(basis) = &demand.basis {
        finding.fact("basis", basis.as_str());
    }
    if let Some(help) = &demand.help {
        finding.help(help.as_str());
    }
    finding
}
