//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// `laid` is before 1600.
    ///
    /// # Why it matters
    /// The pipe counts as the oldest of the network.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/0/laid`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/laid", "value": 31}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/laid", "value": 1852}]
    /// ```
    ///
    /// # Fix
    /// Write the year with four digits.
    name: "year-laid-implausible", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#identity",
    facts: { "laid" = Year "the year, as recorded" },
}

/// No pipe that is surveyed today was laid before this year.
pub(super) const EARLIEST: u16 = 1600;

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    if let Some(laid) = view.pipe.laid.filter(|laid| laid.get() < EARLIEST) {
        let message = format!("the pipe was laid in the year {laid}, before {EARLIEST}");
        out.report(view.subject("/laid"), message).fact("laid", laid.get());
    }
}
