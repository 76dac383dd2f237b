//! See the rule's documentation below.

use obvert_model::tables::{EquipmentKind, LocateMethod};

use crate::sink::Sink;
use crate::views::LocateView;

rule! {
    /// # What it checks
    /// The `transmitter_offset` of a locate differs from that of its run's transmitter by more than
    /// the limit.
    ///
    /// # Exceptions
    /// - The run names no transmitter, or one without a `transmitter_offset`.
    ///
    /// # Exactly
    /// The method is `inline-transmitter`, and the offset differs from that of each transmitter by
    /// more than `slack`.
    ///
    /// # Why it matters
    /// The mark is over the transmitter, and the picture is farther on by the offset: a dig misses
    /// by the error.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/locates/0/transmitter_offset`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/transmitter_offset", "value": 0.15}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/transmitter_offset", "value": 1.4}]
    /// ```
    ///
    /// # Fix
    /// Measure the offset and correct the one that is wrong.
    name: "transmitter-offset-contradicts", severity: Warning, scope: Locate, since: "0.1", clause: "locates#transmitter",
    limits: {
        "slack" = 0.15 "m" "greatest difference: half a foot; common practice, no published source",
    },
    facts: {
        "stated" = Length "`transmitter_offset` of the locate",
        "expected" = Length "`transmitter_offset` of the last transmitter that the run names",
    },
}

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    let survey = view.ending.survey;
    let Some(stated) = view
        .locate
        .transmitter_offset
        .filter(|_| view.locate.method == Some(LocateMethod::InlineTransmitter))
    else {
        return;
    };
    let Some(summary) = view.ending.run(&view.locate.run) else { return };
    let named = summary.run.equipment.iter().filter_map(|id| survey.equipment(id));
    let mut other = None;
    for transmitter in named.filter(|row| row.kind == EquipmentKind::Transmitter) {
        let Some(own) = transmitter.transmitter_offset else { return };
        if (survey.metres(stated) - survey.metres(own)).abs() <= out.limit("slack") {
            return;
        }
        other = Some((transmitter.id.as_str(), own));
    }
    if let Some((id, own)) = other {
        let [stated_text, own_text] = [stated, own].map(|offset| survey.format_length(offset));
        let message =
            format!("the transmitter offset is {stated_text}, but that of {id:?} is {own_text}");
        out.report(view.subject("/transmitter_offset"), message)
            .fact("stated", stated.get())
            .fact("expected", own.get());
    }
}
