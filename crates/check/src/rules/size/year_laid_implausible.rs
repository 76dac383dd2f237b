//! See the rule's documentation below.

use obvert_model::tables::{Material, MaterialClass};

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// `laid` is before 1600; in a pipe of brick or stone, or of the material `other`, before 100.
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
    /// An abbey drain.
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/laid", "value": 1195}, {"op": "replace", "path": "/pipes/0/material", "value": "stone"}]
    /// ```
    ///
    /// # Fix
    /// Write the year with four digits.
    name: "year-laid-implausible", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#identity",
    facts: { "laid" = Year "the year, as recorded" },
}

/// No pipe of a manufactured material that is surveyed today was laid before this year.
pub(super) const EARLIEST: u16 = 1600;

/// Drains of masonry and wood are older. A year of two digits lacks its century.
const OLDEST: u16 = 100;

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let built = matches!(
        view.pipe.material.map(Material::class),
        Some(MaterialClass::Masonry | MaterialClass::Other)
    );
    let earliest = if built { OLDEST } else { EARLIEST };
    if let Some(laid) = view.pipe.laid.filter(|laid| laid.get() < earliest) {
        let message = format!("the pipe was laid in the year {laid}, before {earliest}");
        out.report(view.subject("/laid"), message).fact("laid", laid.get());
    }
}
