//! See the rule's documentation below.

use obvert_model::tables::{SectionUnit, Shape, SizeBasis};

use crate::sink::Sink;
use crate::support::section_unit::PLAUSIBLE_HEIGHTS;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A circular pipe has a nominal height that is not a nominal size.
    ///
    /// # Exceptions
    /// - `size_basis` is not `nominal`.
    /// - The shape is neither absent nor `circular`.
    /// - The height is outside 40 to 6000 mm, or in a doubtful unit (`size-unit-suspect`).
    ///
    /// # Exactly
    /// Nominal sizes:
    /// - In inches: 1.5, 2, 3, 4, 5, 6, 8, 10, 12, 14, 15, 16, 18, 20, 21, 24, 27, 30, 33, 36, 39,
    ///   and every multiple of 6 from 42 on.
    /// - In millimetres: 40, 63, 90, 110, 125, 140, 160, 180, 200, 250, 280, 315, 355, 400, 450,
    ///   500, 560, 630, 710, 800, 1000, and every multiple of 50 or of 75 from 50 on.
    ///
    /// # Why it matters
    /// A measured size was entered as nominal (8 in measures 203 mm); liners and plugs are ordered
    /// by nominal size.
    ///
    /// # Source
    /// In inches ASTM C76 (reinforced concrete), D3034 (PVC), A746 (ductile iron), C700 (clay) and
    /// A74 (cast iron); in millimetres DN/OD and DN/ID of EN 476 and the sizes of ASTM C76M. D3034
    /// and C76 up to 21 in: read; the others: from memory.
    ///
    /// # Fails
    /// At `/pipes/0/height`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 7.87}]
    /// ```
    /// At `/pipes/0/height`:
    /// ```json
    /// [{"op": "replace", "path": "/units/section", "value": "mm"}, {"op": "replace", "path": "/pipes/0/height", "value": 203},
    ///  {"op": "replace", "path": "/pipes/1/height", "value": 200}]
    /// ```
    ///
    /// # Passes
    /// Measured, and declared so.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 7.87}, {"op": "replace", "path": "/pipes/0/size_basis", "value": "inside"}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/units/section", "value": "mm"}, {"op": "replace", "path": "/pipes/0/height", "value": 160},
    ///  {"op": "replace", "path": "/pipes/1/height", "value": 525}]
    /// ```
    ///
    /// # Fix
    /// Write the nominal size, or state in `size_basis` how it was measured.
    name: "size-not-nominal", severity: Note, scope: Pipe, since: "0.1", clause: "pipes#size",
    facts: {
        "height" = Size "the height, as recorded",
        "nearest" = Size "the nearest whole number that is a nominal size; the smaller of two",
    },
}

/// Sizes up to 42 in: ASTM D3034, C76, A746, C700 and A74.
const INCHES: [f64; 21] = [
    1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 14.0, 15.0, 16.0, 18.0, 20.0, 21.0, 24.0, 27.0,
    30.0, 33.0, 36.0, 39.0,
];

/// Outside sizes of plastic pipes, in millimetres: EN 476 and the series of ISO 161.
const OUTSIDE: [f64; 21] = [
    40.0, 63.0, 90.0, 110.0, 125.0, 140.0, 160.0, 180.0, 200.0, 250.0, 280.0, 315.0, 355.0, 400.0,
    450.0, 500.0, 560.0, 630.0, 710.0, 800.0, 1000.0,
];

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let pipe = view.pipe;
    let circular = pipe.shape.is_none_or(|shape| shape == Shape::Circular);
    let nominal = circular && pipe.size_basis == Some(SizeBasis::Nominal);
    let Some(height) = pipe.height.filter(|_| nominal) else { return };
    if view.size_doubtful() || !PLAUSIBLE_HEIGHTS.contains(&view.survey.millimetres(height)) {
        return;
    }
    let unit = view.survey.head.units.section;
    if is_nominal(unit, height.get()) {
        return;
    }
    let (height_text, near) = (view.survey.format_section(height), nearest(unit, height.get()));
    out.report(
        view.subject("/height"),
        format!("{height_text} is not a nominal pipe size; the nearest is {near} {unit}"),
    )
    .fact("height", height.get())
    .fact("nearest", near);
}

fn is_nominal(unit: SectionUnit, size: f64) -> bool {
    match unit {
        SectionUnit::Inch => INCHES.contains(&size) || size >= 42.0 && size % 6.0 == 0.0,
        SectionUnit::Millimetre => {
            OUTSIDE.contains(&size) || size >= 50.0 && (size % 50.0 == 0.0 || size % 75.0 == 0.0)
        }
    }
}

/// The nearest whole number that is a nominal size; the smaller of two.
fn nearest(unit: SectionUnit, size: f64) -> f64 {
    let (mut below, mut above) = (size.floor(), size.ceil());
    while below > 0.0 && !is_nominal(unit, below) {
        below -= 1.0;
    }
    while above < 7000.0 && !is_nominal(unit, above) {
        above += 1.0;
    }
    if size - below <= above - size { below } else { above }
}

#[cfg(test)]
mod tests {
    use obvert_model::tables::SectionUnit::{Inch, Millimetre};

    use super::*;

    // The series are from memory, except ASTM D3034 and the small sizes of C76.
    #[test]
    fn sizes_of_every_series_are_nominal() {
        for size in [
            4.0, 6.0, 8.0, 10.0, 12.0, 15.0, 14.0, 21.0, 27.0, 33.0, 39.0, 42.0, 54.0, 66.0, 102.0,
            144.0,
        ] {
            assert!(is_nominal(Inch, size), "{size} in");
        }
        for size in [
            100.0, 110.0, 125.0, 150.0, 160.0, 200.0, 225.0, 315.0, 375.0, 525.0, 630.0, 825.0,
            1200.0, 3600.0,
        ] {
            assert!(is_nominal(Millimetre, size), "{size} mm");
        }
        for (unit, size, near) in [
            (Inch, 7.0, 6.0),
            (Inch, 11.5, 12.0),
            (Millimetre, 203.0, 200.0),
            (Millimetre, 305.0, 300.0),
        ] {
            assert!(!is_nominal(unit, size), "{size} {unit}");
            assert_eq!(nearest(unit, size), near, "{size} {unit}");
        }
    }

    /// The documentation states the numbers that the rule uses.
    #[test]
    fn the_text_has_every_number() {
        let text = RULE.section(crate::rule::Section::Exactly).replace('\n', " ");
        let (inches, millimetres) = text.split_once("In millimetres").unwrap();
        let has = |text: &str, size: f64| text.contains(&format!(" {size},"));
        assert!(INCHES.iter().all(|size| has(inches, *size)), "{inches}");
        assert!(OUTSIDE.iter().all(|size| has(millimetres, *size)), "{millimetres}");
    }
}
