//! See the rule's documentation below.

use obvert_model::lists::Role;
use obvert_model::tables::{Dimension, QuantityUnit};

use crate::grading::in_range;
use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A quantity that is measured across the pipe is more than 1.1 times the pipe's height there,
    /// or its width if that is larger.
    ///
    /// # Exceptions
    /// - The code records a change of size.
    /// - The code list does not allow the quantity (`quantity-range`).
    /// - The size is in a doubtful unit (`size-unit-suspect`).
    ///
    /// # Exactly
    /// Quantities measured across the pipe have a unit of length and the name `height`, `depth`,
    /// `offset`, `drop` or `bulge`.
    ///
    /// # Why it matters
    /// Usually the unit is wrong: 4 in became 4 ft, or 150 mm became 150 in.
    ///
    /// # Source
    /// Nominal sizes may be a tenth off what is measured: common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/quantities/0/value`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/quantities/0/value", "value": 12}]
    /// ```
    /// At `/runs/0/observations/4/quantities/0/value`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/quantities/0", "value": {"value": 300, "unit": "mm"}}, {"op": "replace", "path": "/runs/0/observations/4/grades/structural", "value": 5}]
    /// ```
    ///
    /// # Passes
    /// As large as the pipe.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/quantities/0/value", "value": 8}]
    /// ```
    ///
    /// An opening in the roof of a low, wide box.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/3/quantities/0/value", "value": 12},
    ///  {"op": "replace", "path": "/pipes/0/shape", "value": "rectangular"}, {"op": "add", "path": "/pipes/0/width", "value": 24}]
    /// ```
    ///
    /// # Fix
    /// Correct the quantity or its unit, or the size of the pipe.
    name: "quantity-exceeds-pipe", severity: Warning, scope: Observation, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    facts: { "millimetres" = Millimetres "the quantity, converted" },
}

/// Names of quantities that are measured across the pipe.
const ACROSS: [&str; 5] = ["height", "depth", "offset", "drop", "bulge"];

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| code.role != Some(Role::SizeChange)) else { return };
    let amounts = code.amounts(&row.row.characterisation);
    for (place, (quantity, meaning)) in row.row.quantities.iter().zip(amounts).enumerate() {
        if meaning.unit.dimension() != Dimension::Length || !ACROSS.contains(&meaning.name.as_str())
        {
            continue;
        }
        let (Some(amount), Some(factor)) =
            (row.amount(place), meaning.unit.factor_to(QuantityUnit::Millimetre))
        else {
            continue;
        };
        let Some(high) = row.cross_section().height else { return };
        // What is in the roof or the invert of a wide pipe is limited by its width.
        let wide = row.run.pipe.and_then(|view| view.pipe.width);
        let wide = wide.map_or(0.0, |width| row.survey().millimetres(width));
        let height = high.max(wide);
        // A measured size may differ from the nominal one.
        if amount * factor <= height * 1.1
            || !in_range(meaning, amount)
            || row.run.pipe.is_some_and(|view| view.size_doubtful())
        {
            continue;
        }
        let (name, value, unit) = (meaning.name.as_str(), quantity.value, quantity.unit);
        let side = if wide > high { "width" } else { "height" };
        let high = (height / row.survey().head.units.section.millimetres() * 10.0).round() / 10.0;
        let message = format!(
            "the {name} of {value} {unit} is more than the pipe's {side} of {high} {}",
            row.survey().head.units.section
        );
        out.report(row.subject(&format!("/quantities/{place}/value")), message)
            .fact("millimetres", amount * factor);
    }
}
