//! See the rule's documentation below.

use obvert_model::tables::{Carries, Shape, StructureKind};

use crate::sink::Sink;
use crate::support::elevations::{any_invert_mismatch, exceeds};
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A circular sanitary or combined sewer of a listed size falls less than a public sewer code
    /// requires, or a house drain less than is usual for it.
    ///
    /// # Exceptions
    /// - The pipe rises (`gradient-uphill`).
    /// - An end is below its structure or above its ground (`invert-outside-structure`,
    ///   `invert-above-ground`).
    /// - The size is in a doubtful unit (`size-unit-suspect`).
    ///
    /// # Exactly
    /// A pipe is compared if it `carries` `sanitary` or `combined`, is `circular`, and has a
    /// height, a length above 0 and a recorded invert at both ends.
    ///
    /// A house drain is a pipe of 75 mm to 175 mm that has `joins`, whose upper structure is a
    /// `cleanout` or `building-trap`, or that is not above 125 mm. Its least fall is 1 to its height in
    /// millimetres (1 % for DN 100).
    ///
    /// The size of any other pipe is the first that its height differs from by no more than 3 % (DN
    /// 200 is 8 in); without one it is not compared. Least fall in percent of the length by size in
    /// inches: 6: 0.6, 8: 0.4, 10: 0.28, 12:
    /// 0.22, 14: 0.17, 15: 0.15, 16: 0.14, 18: 0.12, 21: 0.1, 24: 0.08, 30: 0.058, 36: 0.046. There
    /// is a finding if length × least fall − fall exceeds 0.02 m.
    ///
    /// # Why it matters
    /// Solids settle in a flatter pipe, so it needs more cleaning; or an invert is slightly
    /// mistyped.
    ///
    /// # Source
    /// Village of Waverly OH, 937.10(e), for sewers. House drains: the rule of EN 752 for small
    /// drains, and 1/8 in in a foot of the International Plumbing Code for 3 to 6 in, are close to
    /// it; both from memory. The slack is 1 cm at each end, the accuracy of levels that Tauranga
    /// City Council (QA-3.7) requires.
    ///
    /// # Fails
    /// 200 ft of 8 in should fall by 0.8 ft, at `/pipes/0/inverts`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 640.1}]
    /// ```
    /// A house drain of 4 in at 0.5 %, at `/pipes/0/inverts`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 4}, {"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 639.5}]
    /// ```
    ///
    /// # Passes
    /// Exactly the minimum.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 639.7}]
    /// ```
    /// A house drain of 4 in at 1 %.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 4}, {"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 638.5}]
    /// ```
    /// A storm drain.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/inverts/downstream", "value": 640.1}, {"op": "replace", "path": "/pipes/0/carries", "value": "storm"}]
    /// ```
    ///
    /// # Fix
    /// Correct the invert if it is mistyped. If the pipe is that flat, change nothing.
    name: "gradient-below-minimum", severity: Note, scope: Pipe, since: "0.1", clause: "pipes#gradient",
    facts: {
        "percent" = Percent "the gradient, fall over length",
        "least" = Percent "the least fall of a sewer of this size",
    },
}

/// Sizes in inches, each with its minimum gradient in percent.
#[rustfmt::skip]
const MINIMA: [(f64, f64); 12] = [
    (6.0, 0.6), (8.0, 0.4), (10.0, 0.28), (12.0, 0.22), (14.0, 0.17), (15.0, 0.15),
    (16.0, 0.14), (18.0, 0.12), (21.0, 0.1), (24.0, 0.08), (30.0, 0.058), (36.0, 0.046),
];

/// The sizes of house drains, and what is smaller than sewers, in mm; common practice, no source.
const HOUSE_DRAINS: std::ops::RangeInclusive<f64> = 75.0..=175.0;
const SMALLER_THAN_SEWERS: f64 = 125.0;

/// The error allowed in a fall for the levels at its two ends, in metres.
const SLACK: f64 = 0.02;

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let (pipe, survey) = (view.pipe, view.survey);
    let sewer = matches!(pipe.carries, Some(Carries::Sanitary | Carries::Combined));
    let circular = pipe.shape == Some(Shape::Circular);
    let (Some(height), Some(length), Some(own)) = (pipe.height, view.metres(), &pipe.inverts)
    else {
        return;
    };
    let (Some(upper), Some(lower)) = (own.upstream, own.downstream) else { return };
    if !sewer || !circular || length <= 0.0 || view.size_doubtful() {
        return;
    }
    let millimetres = survey.millimetres(height);
    let house = is_house_drain(view, millimetres);
    let listed = |(size, _): &&(f64, f64)| (millimetres / 25.4 / size - 1.0).abs() <= 0.03;
    let least = match house {
        true => Some(100.0 / millimetres),
        false => MINIMA.iter().find(listed).map(|(_, least)| *least),
    };
    let Some(least) = least else { return };
    let drop = survey.metres(upper) - survey.metres(lower);
    if drop < 0.0 || !exceeds(length * least / 100.0 - drop, SLACK) || any_invert_mismatch(view) {
        return;
    }
    let percent = drop / length * 100.0;
    let rounded = (percent * 100.0).round() / 100.0;
    let (kind, size) = (if house { "house drain" } else { "sewer" }, survey.format_section(height));
    let shown = (least * 1000.0).round() / 1000.0;
    let message = format!(
        "the gradient of {rounded} % is below the minimum of {shown} % for a {kind} of {size}"
    );
    out.report(view.subject("/inverts"), message).fact("percent", percent).fact("least", least);
}

/// Whether a pipe drains one building: sewers have other minimums.
fn is_house_drain(view: &PipeView<'_>, millimetres: f64) -> bool {
    let from_building = view.upstream().is_some_and(|upper| {
        matches!(upper.kind, StructureKind::Cleanout | StructureKind::BuildingTrap)
    });
    HOUSE_DRAINS.contains(&millimetres)
        && (view.pipe.joins.is_some() || from_building || millimetres <= SMALLER_THAN_SEWERS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rule::Section;

    /// The documentation states the numbers that the rule uses.
    #[test]
    fn the_text_has_every_number() {
        let text = RULE.section(Section::Exactly).replace('\n', " ");
        for (size, least) in MINIMA {
            assert!(text.contains(&format!("{size}: {least}")), "{size}: {least}");
        }
        let (least, most) = (HOUSE_DRAINS.start(), HOUSE_DRAINS.end());
        assert!(text.contains(&format!("exceeds {SLACK} m")));
        assert!(text.contains(&format!("{least} mm to {most} mm")));
        assert!(text.contains(&format!("not above {SMALLER_THAN_SEWERS} mm")));
    }
}
