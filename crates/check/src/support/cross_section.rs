//! The cross-section at an observation: the owner's record of the pipe, changed by the rows that
//! record a change of material, size or shape.

use obvert_model::lists::Role;
use obvert_model::tables::{Material, MaterialClass, QuantityUnit, Shape};

use crate::grading::amount;
use crate::views::RowView;

/// What a cross-section is concluded from.
pub(crate) const EVIDENCE: &[&str] =
    &["run.observations", "run.observations.characterisation", "run.observations.quantities"];

/// Plausible heights in millimetres. Outside this range the unit is probably wrong (inches read as
/// millimetres, or the reverse), so the height is not used. Common practice, no source.
const PLAUSIBLE_MILLIMETRES: std::ops::RangeInclusive<f64> = 50.0..=3657.6;

/// A cross-section, as far as it is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct CrossSection {
    /// The class of the wall's material.
    pub(crate) class: Option<MaterialClass>,
    /// The height in millimetres; `None` also if the recorded one is not plausible.
    pub(crate) height: Option<f64>,
    /// The shape.
    pub(crate) shape: Option<Shape>,
}

impl CrossSection {
    /// The cross-section at a row: that of the last change before the row, or else that of the pipe's
    /// record.
    ///
    /// If the first change is to the recorded value, the record describes the pipe after the change,
    /// and the value before it is unknown.
    #[must_use]
    pub(crate) fn at(row: &RowView<'_>) -> Self {
        let survey = row.survey();
        let recorded = row.run.pipe.map_or_else(Self::default, |view| Self {
            class: view.pipe.material.map(Material::class),
            height: view
                .pipe
                .height
                .map(|height| survey.millimetres(height))
                .filter(|mm| PLAUSIBLE_MILLIMETRES.contains(mm)),
            shape: view.pipe.shape,
        });
        if row.run.changes.is_empty() {
            return recorded;
        }
        let changes = |role: Role| {
            row.run
                .changes
                .iter()
                .map(|index| row.run.row(*index))
                .filter(move |change| change.role() == Some(role))
        };
        let is_before = |change: &RowView<'_>| change.index <= row.index;
        let mut section = recorded;
        for (number, change) in changes(Role::MaterialChange).enumerate() {
            let to = word(&change).and_then(|word| word.parse::<MaterialClass>().ok());
            if is_before(&change) {
                section.class = to;
            } else if number == 0 && to == recorded.class {
                section.class = None;
            }
        }
        for (number, change) in changes(Role::ShapeChange).enumerate() {
            let to = word(&change).and_then(|word| word.parse::<Shape>().ok());
            if is_before(&change) {
                section.shape = to;
            } else if number == 0 && to == recorded.shape {
                section.shape = None;
            }
        }
        for (number, change) in changes(Role::SizeChange).enumerate() {
            let to = new_height(&change);
            if is_before(&change) {
                section.height = to.filter(|mm| PLAUSIBLE_MILLIMETRES.contains(mm));
            } else if number == 0
                && to.zip(recorded.height).is_some_and(|(to, was)| (to - was).abs() < 1.0)
            {
                section.height = None;
            }
        }
        section
    }
}

/// The new value of a change, if its characterisation is a word of the format.
fn word<'r>(change: &RowView<'r>) -> Option<&'r str> {
    change.row.characterisation.first().map(|word| word.as_str())
}

/// The new height of a change of size, in millimetres.
pub(crate) fn new_height(change: &RowView<'_>) -> Option<f64> {
    let code = change.code?;
    let mut amounts = code.amounts(&change.row.characterisation).enumerate();
    let (place, meaning) = amounts.find(|(_, meaning)| *meaning.name == *"height")?;
    Some(amount(code, change.row, place)? * meaning.unit.factor_to(QuantityUnit::Millimetre)?)
}
