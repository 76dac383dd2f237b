//! See the rule's documentation below.

use super::locates_too_far_apart::wrong;
use crate::sink::Sink;
use crate::support::locating::{beyond_cable, comparable};
use crate::support::map_lengths::PositionRef;
use crate::support::run_extent::TURNED;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A locate is farther from where its run started, on the ground, than the cable reaches.
    ///
    /// # Exceptions
    /// - The place where the run started has no position: a structure, or for a run that begins at
    ///   the main the distance along that main at which the lateral joins it.
    /// - The run was launched and its counter was set at the centre of a structure, or the counter
    ///   seems to have been set to zero again.
    /// - The run contradicts its pipe (`direction-contradicts`, `run-structure-mismatch`,
    ///   `launched-contradicts`).
    /// - The reference system or the unit of lengths is in doubt, or a position is outside the area
    ///   of use.
    /// - `locate-past-run` or `locates-too-far-apart` reports the locate.
    ///
    /// # Exactly
    /// - *cable* is the counter's `offset` + `at` − *reads* − `transmitter_offset`, at least 0.
    /// - The distance is greater than *cable* + tolerance(`at` − *reads*) + `map` + `accuracy` of
    ///   the locate (or the limit `accuracy`); and 0.762 m more unless the counter states its
    ///   `offset` or was set at the centre of the structure.
    ///
    /// # Why it matters
    /// The position is that of another locate, or two digits are exchanged. An excavation there
    /// misses the pipe, or hits another service.
    ///
    /// # Source
    /// Geometry: a straight line is no longer than the cable. Tolerance (0.5 %, at least 1 ft):
    /// City of Sunny Isles Beach FL, Section 02762. The other limits: common practice, no published
    /// source.
    ///
    /// # Fails
    /// At `/locates/0/position`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/position", "value": [19623866, 322100]}, {"op": "remove", "path": "/locates/1"}]
    /// ```
    /// A kilometre away, without a path, at `/locates/0/position`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/position", "value": [19620600, 322100]}, {"op": "remove", "path": "/locates/1"},
    ///  {"op": "remove", "path": "/pipes/0/path"}]
    /// ```
    ///
    /// # Passes
    /// Nearer than the cable is long: the pipe bends.
    /// ```json
    /// [{"op": "replace", "path": "/locates/1/position", "value": [19623900, 322190]}, {"op": "remove", "path": "/locates/0"},
    ///  {"op": "replace", "path": "/pipes/0/path", "value": [[19623800, 322100], [19623900, 322190], [19624000, 322100]]}]
    /// ```
    /// The transmitter was far behind the camera head.
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/transmitter_offset", "value": 10}, {"op": "replace", "path": "/locates/0/position", "value": [19623840, 322100]}]
    /// ```
    ///
    /// # Fix
    /// Locate again before anybody digs, as local codes and licensed practice demand; correct the
    /// position, the distance or the run.
    name: "locate-beyond-cable", severity: Error, scope: Ending, since: "0.1", clause: "locates#position",
    needs: [Crs],
    uses: [locating],
    limits: {
        "map" = 3.0 "m"
            "how far the positions of a structure and of a locate may be off together; common practice, no published source",
        "accuracy" = 0.5 "m"
            "accuracy of a locate that states none; common practice, no published source",
    },
    facts: {
        "away" = Length "distance of the locate from where the run started, on the ground",
        "cable" = Length "*cable*",
    },
}

/// The limit `map`, for rules that leave a locate to this one.
pub(super) const MAP: f64 = 3.0;

/// The limit `accuracy`, likewise.
pub(super) const ACCURACY: f64 = 0.5;

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if !comparable(ending) {
        return;
    }
    let (map, accuracy) = (out.limit("map"), out.limit("accuracy"));
    let survey = ending.survey;
    let apart = wrong(ending, accuracy);
    for view in ending.locates() {
        let outlier = survey
            .map_lengths()
            .outliers
            .iter()
            .any(|(place, _)| *place == PositionRef::Locate(view.index));
        if outlier || apart.iter().any(|chord| chord.wrong == view.index) {
            continue;
        }
        let Some(found) = beyond_cable(&view, map, accuracy) else { continue };
        let [away, cable] = [found.away, found.cable].map(|metres| survey.format_metres(metres));
        let turned = if found.from_other_end { TURNED } else { "" };
        let message = format!(
            "{away} from where the run started, on the ground, but only {cable} along the cable{turned}"
        );
        out.report(view.subject("/position"), message)
            .fact("away", survey.in_units(found.away))
            .fact("cable", survey.in_units(found.cable));
    }
}
