//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The reference system is not known to the checker or cannot be computed with. Positions are
    /// then not checked.
    ///
    /// # Why it matters
    /// Usually the code is mistyped; otherwise the receiving office may not know the system either.
    ///
    /// # Source
    /// The systems of the EPSG dataset that need no grid file.
    ///
    /// # Fails
    /// At `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:999999"}]
    /// ```
    /// A vertical system, at `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:5703"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:6494"}]
    /// ```
    ///
    /// # Fix
    /// Correct the code, or deliver the positions in a current EPSG system.
    name: "crs-unknown", severity: Warning, scope: Document, since: "0.1", clause: "document#reference-systems",
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    if let Some(why) = &survey.crs_error {
        out.report(Subject::at("/crs"), format!("the positions cannot be checked: {why}"));
    }
}
