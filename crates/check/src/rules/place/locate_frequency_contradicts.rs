//! See the rule's documentation below.

use obvert_model::tables::{EquipmentKind, LocateMethod};

use crate::sink::Sink;
use crate::views::LocateView;

rule! {
    /// # What it checks
    /// A locate's frequency is not that of a transmitter of its run.
    ///
    /// # Exceptions
    /// - The run names no transmitter, or one without a `frequency`.
    ///
    /// # Exactly
    /// The method is `inline-transmitter`, and the frequency differs from that of each transmitter
    /// by more than 1 % of the transmitter's.
    ///
    /// # Why it matters
    /// A receiver set to another frequency picks up a cable in the street.
    ///
    /// # Source
    /// Receiver and transmitter frequency must match: locator manuals.
    ///
    /// # Fails
    /// At `/locates/0/frequency`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/frequency", "value": 33000}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/equipment/1/frequency"}, {"op": "replace", "path": "/locates/0/frequency", "value": 33000}]
    /// ```
    ///
    /// # Fix
    /// Correct the frequency, or name the transmitter that was used.
    name: "locate-frequency-contradicts", severity: Warning, scope: Locate, since: "0.1", clause: "locates#transmitter",
    facts: {
        "frequency" = Hertz "frequency of the locate",
        "expected" = Hertz "frequency of the last transmitter that the run names",
    },
}

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    let Some(used) = view
        .locate
        .frequency
        .filter(|_| view.locate.method == Some(LocateMethod::InlineTransmitter))
    else {
        return;
    };
    let Some(summary) = view.ending.run(&view.locate.run) else { return };
    let named = summary.run.equipment.iter().filter_map(|id| view.ending.survey.equipment(id));
    let mut other = None;
    for transmitter in named.filter(|row| row.kind == EquipmentKind::Transmitter) {
        let Some(own) = transmitter.frequency else { return };
        if (used.get() / own.get() - 1.0).abs() <= 0.01 {
            return;
        }
        other = Some((transmitter.id.as_str(), own));
    }
    if let Some((id, own)) = other {
        let message =
            format!("located at {used} Hz, but the run's transmitter {id:?} sends at {own} Hz");
        out.report(view.subject("/frequency"), message)
            .fact("frequency", used.get())
            .fact("expected", own.get());
    }
}
