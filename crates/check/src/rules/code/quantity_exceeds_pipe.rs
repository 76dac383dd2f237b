//! See the rule's documentation below.

use obvert_model::lists::{Code, JointUse, Role};
use obvert_model::tables::{Dimension, QuantityUnit};

use crate::grading::in_range;
use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::support::run_extent::exceeds;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A quantity that is measured across the pipe, or a hole in its wall, is larger than the pipe
    /// there: than its height, or its width if that is larger.
    ///
    /// # Exceptions
    /// - The code records a change of size.
    /// - The code list does not allow the quantity (`quantity-range`).
    /// - The size is in a doubtful unit (`size-unit-suspect`).
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// By the height of the *cross-section* at the row (Code lists). Quantities measured across the
    /// pipe have a unit of length and the name `height`, `width`, `depth`, `offset`, `drop`,
    /// `bulge` or `size`; the gap between a connection and its opening (the name `gap`, not at a
    /// joint) is one as well.
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
    /// A hole wider than its pipe. At `/runs/0/observations/2/quantities/0/value`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2", "value":
    ///   {"id": "3", "at": 12.4, "code": "hole", "quantities": [{"value": 400, "unit": "mm"}],
    ///    "clock": {"at": 11}, "grades": {"structural": 5}, "media": [{"id": "M-1"}]}}]
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
    limits: {
        "factor" = 1.1 "of the height"
            "greatest multiple; common practice, no published source",
    },
    facts: { "millimetres" = Millimetres "the quantity, converted" },
}

/// Names of quantities that are measured across the pipe.
const ACROSS: [&str; 7] = ["height", "width", "depth", "offset", "drop", "bulge", "size"];

/// Whether a quantity is measured across the pipe.
fn is_across(code: &Code, name: &str) -> bool {
    ACROSS.contains(&name) || name == "gap" && code.joint == JointUse::Never
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| code.role != Some(Role::SizeChange)) else { return };
    let amounts = code.amounts(&row.row.characterisation);
    for (place, (quantity, meaning)) in row.row.quantities.iter().zip(amounts).enumerate() {
        if meaning.unit.dimension() != Dimension::Length || !is_across(code, &meaning.name) {
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
        if !exceeds(amount * factor, height * out.limit("factor"))
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
        let column = Causes::default()
            .with(Cause::ConnectionUnit, code.role == Some(Role::Connection))
            .with(Cause::Shifted, row.run.is_shifted(row.index));
        out.report_unless(column, row.subject(&format!("/quantities/{place}/value")), message)
            .fact("millimetres", amount * factor);
    }
}
