//! Which pieces of equipment are cameras, and which of them a run was made with.

use obvert_model::tables::{EquipmentKind, Run};

use crate::views::Survey;

/// The cameras of a run, by their row in the table of equipment.
pub(crate) fn cameras<'r>(
    survey: &'r Survey<'_>,
    run: &'r Run,
) -> impl Iterator<Item = usize> + 'r {
    run.equipment.iter().filter_map(|id| {
        let index = survey.equipment_index(id)?;
        is_camera(survey.head.equipment[index].kind).then_some(index)
    })
}

/// Whether a piece of equipment is a camera.
pub(crate) fn is_camera(kind: EquipmentKind) -> bool {
    matches!(
        kind,
        EquipmentKind::PushRod
            | EquipmentKind::Crawler
            | EquipmentKind::Pole
            | EquipmentKind::Float
    )
}

/// Whether two runs were made with the same camera.
pub(crate) fn same_camera(survey: &Survey<'_>, a: &Run, b: &Run) -> bool {
    cameras(survey, a).any(|camera| cameras(survey, b).any(|other| other == camera))
}
