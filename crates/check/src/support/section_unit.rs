//! Finds in which unit the heights of pipes are plausible. A wrong unit in a column heading makes
//! every size wrong, so all heights are judged together.

use obvert_model::tables::{Material, MaterialClass, Pipe, SectionUnit, Shape};

use crate::support::map_lengths::four_in_five;
use crate::views::{PipeView, Survey};

/// The smallest and the largest pipe that is surveyed by camera, in millimetres; common practice,
/// no published source.
pub(crate) const PLAUSIBLE_HEIGHTS: std::ops::RangeInclusive<f64> = 40.0..=6000.0;

/// The outside diameters of wastes and condensate pipes, in millimetres; common practice, no
/// published source. As inches they are ordinary sewers.
const WASTES: std::ops::RangeInclusive<f64> = 25.0..=50.0;

/// The largest precast circular pipe, in inches: ASTM C76 (from memory).
const LARGEST_CIRCULAR: f64 = 144.0;

/// Nominal sizes in millimetres that can be mistaken for inches: the series DN/OD and DN/ID of EN
/// 476 (from memory).
const NOMINAL_MILLIMETRES: [f64; 4] = [150.0, 160.0, 200.0, 225.0];

/// Nominal sizes in inches that can be mistaken for millimetres: ASTM C76 (from memory).
const NOMINAL_INCHES: [f64; 2] = [42.0, 48.0];

/// In which unit the heights of all pipes are plausible.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct SectionUnitVotes {
    /// How many heights are plausible only in the unit that is not declared.
    pub(crate) other: usize,
    /// How many are plausible in only one of the two units.
    pub(crate) of: usize,
}

impl SectionUnitVotes {
    pub(crate) fn new(survey: &Survey<'_>) -> Self {
        let unit = survey.head.units.section;
        let other =
            survey.head.pipes.iter().filter(|pipe| fits_other_unit_only(unit, pipe)).count();
        let declared =
            survey.head.pipes.iter().filter(|pipe| fits_declared_unit_only(unit, pipe)).count();
        Self { other, of: other + declared }
    }

    /// Whether the declared unit is wrong, rather than some of the numbers.
    pub(crate) fn unit_is_wrong(self) -> bool {
        self.other >= 2 && four_in_five(self.other, self.of)
    }
}

/// The unit that is not declared.
pub(crate) fn other_unit(unit: SectionUnit) -> SectionUnit {
    match unit {
        SectionUnit::Inch => SectionUnit::Millimetre,
        SectionUnit::Millimetre => SectionUnit::Inch,
    }
}

/// Whether a pipe's height is implausible in the declared unit but plausible in the other one.
pub(crate) fn fits_other_unit_only(unit: SectionUnit, pipe: &Pipe) -> bool {
    let Some(height) = pipe.height.map(|height| height.get()) else { return false };
    let (here, there) = (height * unit.millimetres(), height * other_unit(unit).millimetres());
    if !PLAUSIBLE_HEIGHTS.contains(&there) {
        return false;
    }
    match unit {
        SectionUnit::Inch => {
            if here <= LARGEST_TUNNEL && may_be_tunnel(pipe) {
                return false;
            }
            let circular = pipe.shape.is_none_or(|shape| shape == Shape::Circular);
            here > *PLAUSIBLE_HEIGHTS.end()
                || circular && height > LARGEST_CIRCULAR && NOMINAL_MILLIMETRES.contains(&height)
        }
        SectionUnit::Millimetre => {
            (here < *PLAUSIBLE_HEIGHTS.start() || NOMINAL_INCHES.contains(&height))
                && !may_be_waste(pipe)
        }
    }
}

/// The largest tunnel that is walked or surveyed, in millimetres; common practice, no published
/// source.
const LARGEST_TUNNEL: f64 = 12_000.0;

/// Whether a pipe may be a tunnel: pipes of masonry and of corrugated metal are made on site, and
/// not as small as the sizes in millimetres that can be mistaken for inches.
fn may_be_tunnel(pipe: &Pipe) -> bool {
    pipe.material.is_some_and(|material| {
        material.class() == MaterialClass::Masonry || material == Material::CorrugatedMetal
    })
}

/// Whether a pipe may be a waste by its height in millimetres: pipes of fired clay, concrete,
/// masonry or corrugated metal are not made so small, nor in other shapes.
fn may_be_waste(pipe: &Pipe) -> bool {
    let large = match pipe.material {
        Some(Material::CorrugatedMetal | Material::DuctileIron | Material::BituminisedFibre) => {
            true
        }
        Some(material) => matches!(
            material.class(),
            MaterialClass::Clayware | MaterialClass::Concrete | MaterialClass::Masonry
        ),
        None => false,
    };
    !large
        && pipe.height.is_some_and(|height| WASTES.contains(&height.get()))
        && pipe.shape.is_none_or(|shape| shape == Shape::Circular)
}

fn fits_declared_unit_only(unit: SectionUnit, pipe: &Pipe) -> bool {
    let Some(height) = pipe.height.map(|height| height.get()) else { return false };
    PLAUSIBLE_HEIGHTS.contains(&(height * unit.millimetres()))
        && !PLAUSIBLE_HEIGHTS.contains(&(height * other_unit(unit).millimetres()))
}

/// Nominal sizes in centimetres: the series DN/ID and DN/OD of EN 476 (from memory), as an office
/// that works in centimetres writes them.
const NOMINAL_CENTIMETRES: [f64; 25] = [
    10.0, 11.0, 12.5, 15.0, 16.0, 20.0, 22.5, 25.0, 30.0, 31.5, 35.0, 40.0, 45.0, 50.0, 60.0, 63.0,
    70.0, 80.0, 90.0, 100.0, 110.0, 120.0, 140.0, 150.0, 160.0,
];

/// Whether a height that is too small in millimetres is a nominal size in centimetres.
pub(crate) fn may_be_centimetres(unit: SectionUnit, height: f64) -> bool {
    unit == SectionUnit::Millimetre
        && NOMINAL_CENTIMETRES.iter().any(|size| (size - height).abs() < 1e-9)
}

impl Survey<'_> {
    /// Whether every width is plausible in the unit that is not declared, as the heights are: then
    /// that unit may be declared without making a width wrong.
    pub(crate) fn widths_fit_other_unit(&self) -> bool {
        let meant = other_unit(self.head.units.section);
        self.head.pipes.iter().filter_map(|pipe| pipe.width.zip(pipe.height)).all(
            |(width, height)| {
                let ratio = width.get() / height.get();
                PLAUSIBLE_HEIGHTS.contains(&(width.get() * meant.millimetres()))
                    && (0.1..=10.0).contains(&ratio)
            },
        )
    }

    /// Whether every height is a nominal size in centimetres, so that a wrong unit need not be
    /// inches.
    pub(crate) fn sizes_may_be_centimetres(&self) -> bool {
        let unit = self.head.units.section;
        let heights = || self.head.pipes.iter().filter_map(|pipe| pipe.height);
        heights().next().is_some() && heights().all(|height| may_be_centimetres(unit, height.get()))
    }
}

impl PipeView<'_> {
    /// Whether the pipe's height is probably not in the declared unit. Rules do not conclude
    /// anything from the size of the pipe then; `size-unit-suspect` reports it.
    pub(crate) fn size_doubtful(&self) -> bool {
        self.survey.section_unit_votes().unit_is_wrong()
            || fits_other_unit_only(self.survey.head.units.section, self.pipe)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use obvert_model::tables::SectionUnit::{Inch, Millimetre};

    fn pipe(height: f64, shape: &str) -> Pipe {
        let row = serde_json::json!({"id": "P", "upstream": "A", "downstream": "B", "height": height, "shape": shape});
        serde_json::from_value(row).unwrap()
    }

    #[test]
    fn heights_make_sense_in_one_unit_or_in_both() {
        let cases = [
            // unit, height, shape, only in the other, only in the declared one
            (Inch, 8.0, "circular", false, true),
            (Inch, 144.0, "circular", false, false),
            (Inch, 200.0, "circular", true, false),
            (Inch, 200.0, "arch", false, false),
            (Inch, 204.0, "circular", false, false),
            (Inch, 600.0, "egg", true, false),
            (Inch, 0.4, "circular", false, false),
            (Millimetre, 200.0, "circular", false, false),
            (Millimetre, 300.0, "circular", false, true),
            (Millimetre, 8.0, "circular", true, false),
            (Millimetre, 40.0, "circular", false, false),
            (Millimetre, 48.0, "egg", true, false),
            (Millimetre, 48.0, "circular", false, false),
            (Millimetre, 32.0, "circular", false, false),
            (Millimetre, 24.0, "circular", true, false),
            (Millimetre, 0.2, "circular", false, false),
        ];
        for (unit, height, shape, there, here) in cases {
            let pipe = pipe(height, shape);
            assert_eq!(
                (fits_other_unit_only(unit, &pipe), fits_declared_unit_only(unit, &pipe)),
                (there, here),
                "{height} {unit} {shape}"
            );
        }
    }
}
