//! See the rule's documentation below.

use obvert_model::tables::{EquipmentKind, LocateMethod};

use crate::sink::Sink;
use crate::views::LocateView;

rule! {
    /// # What it checks
    /// A transmitter was located in a run, but the run's equipment has none.
    ///
    /// # Exceptions
    /// - The run names no equipment.
    /// - One piece has a `frequency`, is of the kind `other`, or is not in the table.
    ///
    /// # Exactly
    /// No equipment of the run is of the kind `transmitter`.
    ///
    /// # Why it matters
    /// How deep a transmitter can be located, and how far it is behind the picture, depends on the
    /// transmitter.
    ///
    /// # Fails
    /// At `/locates/0`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/equipment/1"}]
    /// ```
    ///
    /// # Passes
    /// The run names no equipment.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/equipment"}]
    /// ```
    ///
    /// # Fix
    /// Name the transmitter in the run, or correct the `method` of the locate.
    name: "locate-without-transmitter", severity: Note, scope: Locate, since: "0.1", clause: "locates#transmitter",
    concludes_from: ["equipment"],
}

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    if view.locate.method != Some(LocateMethod::InlineTransmitter) {
        return;
    }
    let Some(summary) = view.ending.run(&view.locate.run) else { return };
    let survey = view.ending.survey;
    let equipment = &summary.run.equipment;
    // A camera with a frequency has a built-in transmitter.
    let sends = |id: &_| {
        survey.equipment(id).is_none_or(|row| {
            row.frequency.is_some()
                || matches!(row.kind, EquipmentKind::Transmitter | EquipmentKind::Other)
        })
    };
    if !equipment.is_empty() && !equipment.iter().any(|id| sends(id.as_str())) {
        let run = summary.run.id.as_str();
        out.report(
            view.subject(""),
            format!("a transmitter was located, but the equipment of run {run:?} has none"),
        );
    }
}
