//! See the rule's documentation below.

use obvert_geo::Fit;

use super::locate_beyond_cable::{ACCURACY, MAP};
use super::locates_too_far_apart::wrong;
use crate::sink::Sink;
use crate::support::locating::beyond_cable;
use crate::support::map_lengths::PositionRef;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A locate is farther from the path of its pipe than its accuracy and the limit allow.
    ///
    /// # Exceptions
    /// - The pipe has no `path`: it may bend anywhere.
    /// - The reference system or the unit of lengths is in doubt, or the position is outside the
    ///   area of use.
    /// - `locates-too-far-apart` or `locate-beyond-cable` reports the locate.
    ///
    /// # Exactly
    /// The distance is greater than `slack` + `accuracy` of the locate, or the limit `accuracy`
    /// without one.
    ///
    /// # Why it matters
    /// Either the mark is not over the pipe or the map is wrong; anyone who digs must know which.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/locates/0/position`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/position", "value": [19623850, 322125]}, {"op": "remove", "path": "/locates/1"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/position", "value": [19623850, 322110]}]
    /// ```
    ///
    /// # Fix
    /// Locate again before anybody digs, as local codes and licensed practice demand; correct the
    /// path if the map is wrong.
    name: "locate-off-path", severity: Warning, scope: Ending, since: "0.1", clause: "locates#position",
    needs: [Crs],
    limits: {
        "slack" = 5.0 "m" "tolerance of a path on the map; common practice, no published source",
        "accuracy" = 0.5 "m"
            "accuracy of a locate that states none; common practice, no published source",
    },
    facts: { "distance" = Length "distance of the locate from the path" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let (Some(crs), map_lengths) = (&survey.crs, survey.map_lengths()) else { return };
    if ending.lengths_doubtful()
        || map_lengths.exchanged
        || map_lengths.wrong_unit.is_some()
        || map_lengths.fit != Some(Fit::Inside)
    {
        return;
    }
    let wrong = wrong(ending, out.limit("accuracy"));
    for view in ending.locates() {
        let (Some(position), Some(summary)) = (view.locate.position, ending.run(&view.locate.run))
        else {
            continue;
        };
        let Some(row) = survey.pipe_index(&summary.run.pipe) else { continue };
        let path: Vec<[f64; 2]> =
            survey.head.pipes[row].path.iter().map(|vertex| (*vertex).into()).collect();
        let outside_area = map_lengths.outliers.iter().any(|(place, _)| match *place {
            PositionRef::Locate(index) => index == view.index,
            PositionRef::Vertex(pipe, _) => pipe == row,
            PositionRef::Structure(_) => false,
        });
        if outside_area
            || wrong.iter().any(|chord| chord.wrong == view.index)
            || beyond_cable(&view, MAP, ACCURACY).is_some()
        {
            continue;
        }
        let Ok(path) = crs.path(&path) else { continue };
        let Ok(nearest) = path.nearest(position.into()) else { continue };
        let accuracy =
            view.locate.accuracy.map_or(out.limit("accuracy"), |accuracy| survey.metres(accuracy));
        if nearest.offset_metres > out.limit("slack") + accuracy {
            let (off, pipe) =
                (survey.format_metres(nearest.offset_metres), summary.run.pipe.as_str());
            out.report(
                view.subject("/position"),
                format!("located {off} from the path of {pipe:?} on the map"),
            )
            .fact("distance", survey.in_units(nearest.offset_metres));
        }
    }
}
