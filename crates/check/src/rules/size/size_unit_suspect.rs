//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::tables::SectionUnit;

use crate::sink::Sink;
use crate::support::section_unit::{fits_other_unit_only, may_be_centimetres, other_unit};
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The height of a pipe is impossible in the document's section unit and ordinary in the other
    /// one (*Doubtful units* in Checking). If most heights are, the unit itself is wrong, and there
    /// is one finding for the document.
    ///
    /// # Exceptions
    /// - A circular pipe of 25 mm to 50 mm that is not of clay, concrete, masonry, ductile iron,
    ///   corrugated metal or bituminised fibre, may be a waste, and does not count.
    /// - A pipe of masonry or corrugated metal of at most 12 m, in a document in inches, may be a
    ///   tunnel, and does not count.
    ///
    /// # Exactly
    /// One finding is at `/units/section`, others at `height`.
    ///
    /// # Why it matters
    /// Liners are ordered and grades computed by these sizes; 200 mm as 200 in is 25 times too
    /// large.
    ///
    /// # Source
    /// The largest size of ASTM C76 is 144 in (from memory); nominal sizes in millimetres: EN 476
    /// (from memory). 40 mm and 6 m: common practice, no published source.
    ///
    /// # Fails
    /// Every height is in millimetres, at `/units/section`:
    /// ```json
    /// [{"op": "replace", "path": "/units/section", "value": "mm"}]
    /// ```
    /// One height is in millimetres, at `/pipes/0/height`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 200}]
    /// ```
    ///
    /// # Passes
    /// The largest precast pipe.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 144}]
    /// ```
    /// A large culvert that was cast in place.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 150},
    ///  {"op": "replace", "path": "/pipes/0/shape", "value": "arch"},
    ///  {"op": "add", "path": "/pipes/0/width", "value": 180}]
    /// ```
    ///
    /// A copper waste.
    /// ```json
    /// [{"op": "replace", "path": "/units/section", "value": "mm"}, {"op": "replace", "path": "/pipes/1/height", "value": 200},
    ///  {"op": "replace", "path": "/pipes/0/height", "value": 42}, {"op": "replace", "path": "/pipes/0/material", "value": "other"},
    ///  {"op": "add", "path": "/pipes/0/material_text", "value": "copper"}]
    /// ```
    ///
    /// # Fix
    /// Convert the size to the declared section unit (1 in = 25.4 mm).
    name: "size-unit-suspect", severity: Error, scope: Document, since: "0.1", clause: "document#units",
    facts: {
        "pipes" = Count "pipes whose height makes sense in `fits` only" if "the unit is wrong",
        "of" = Count "pipes whose height makes sense in one unit only" if "the unit is wrong",
        "height" = Size "the height, as recorded" if "a single height is wrong",
        "fits" = Unit "the other section unit",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let unit = survey.head.units.section;
    let meant = other_unit(unit);
    let section_unit_votes = survey.section_unit_votes();
    if section_unit_votes.unit_is_wrong() {
        let message = format!(
            "of {} pipe heights that fit one unit only, {} fit {meant} and not {unit}",
            section_unit_votes.of, section_unit_votes.other
        );
        let finding = out
            .report(Subject::at("/units/section"), message)
            .fact("pipes", section_unit_votes.other)
            .fact("of", section_unit_votes.of)
            .fact("fits", meant.as_str())
            .help(format!(
                "declare {meant} as the section unit if all sizes are in it; otherwise convert them to {unit}"
            ));
        if survey.sizes_may_be_centimetres() {
            finding.help(format!(
                "the sizes are ordinary in centimetres as well as in {meant}: ask which it is, then \
                 convert centimetres to {unit}, or declare {meant}"
            ));
            return;
        }
        if !survey.widths_fit_other_unit() {
            return;
        }
        finding.fix_if_confirmed(
            format!("every height and width of a pipe is in {meant}"),
            vec![Edit::replace("/units/section", meant.as_str())],
        );
        return;
    }
    for view in survey.pipes().filter(|view| fits_other_unit_only(unit, view.pipe)) {
        let Some(height) = view.pipe.height else { continue };
        let size = match unit {
            SectionUnit::Inch => format!(" ({:.1} m)", survey.millimetres(height) / 1000.0),
            SectionUnit::Millimetre => String::new(),
        };
        let centimetres = if may_be_centimetres(unit, height.get()) { " or cm" } else { "" };
        let message = format!(
            "the height of {}{size} is not a pipe size, but {height} {meant}{centimetres} is",
            survey.format_section(height)
        );
        let finding = out
            .report(view.subject("/height"), message)
            .fact("height", height.get())
            .fact("fits", meant.as_str());
        if let Some(near) = near_in_centimetres(survey, height.get()) {
            finding.help(format!(
                "other pipes are {near} {unit} high: the size may be in centimetres, or a digit is missing; look it up"
            ));
        }
    }
}

/// The height of another pipe that a height in centimetres comes near to.
fn near_in_centimetres(survey: &Survey<'_>, height: f64) -> Option<f64> {
    if survey.head.units.section != SectionUnit::Millimetre {
        return None;
    }
    let near = |other: &f64| (other - height * 10.0).abs() <= other * 0.05;
    survey.head.pipes.iter().filter_map(|pipe| pipe.height.map(|height| height.get())).find(near)
}
