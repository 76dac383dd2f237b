//! See the rule's documentation below.

use obvert_model::number::Position;
use obvert_model::tables::{Direction, LengthBetween};

use super::locate_beyond_cable::MAP;
use super::locates_too_far_apart::wrong;
use crate::sink::Sink;
use crate::support::locating::{OFF_PATH, Transmitter, beyond_cable, comparable, unfit_length};
use crate::support::map_lengths::PositionRef;
use crate::support::run_extent::TURNED;
use crate::views::{Ending, LocateView, tolerance};

rule! {
    /// # What it checks
    /// A locate is not where the pipe is at its distance: it is away from that point of the pipe's
    /// path, or, without a path, farther from the far end of the pipe than what remains of the pipe
    /// is long.
    ///
    /// # Exceptions
    /// - The length of the pipe is unknown or a tenth off that of its path, or the transmitter was
    ///   beyond it; or an end of the path is off its structure (`path-end-mismatch`).
    /// - The end has no position. The lower end of a lateral is where it joins its main.
    /// - The exceptions of `locate-beyond-cable`.
    /// - `locate-beyond-cable`, `locates-too-far-apart`, `locate-past-run` or `locate-off-path`
    ///   reports the locate.
    ///
    /// # Exactly
    /// *cable* as in `locate-beyond-cable`, *L* the pipe's `length`, *slack* the sum of
    /// tolerance(`at` − *reads*), tolerance(*L*), `map`, `accuracy` of the locate (or the limit
    /// `accuracy`), 0.762 m unless the counter states its `offset` or was set at the centre of the
    /// structure, and 1.524 m unless `length_between` is `centres`.
    ///
    /// - With a path: the distance from the point at *cable* ∕ *L* of the path, from the end at
    ///   which the run started, is greater than *slack*. Off the path itself by more than 5 m, it
    ///   is a case of `locate-off-path`.
    /// - Without a path: the distance from the far end is greater than *L* − *cable* + *slack*.
    ///
    /// # Why it matters
    /// The mark is on the pipe, or beside it, but not over the defect: the excavation misses it.
    ///
    /// # Source
    /// Geometry: a straight line is no longer than the pipe. Tolerance (0.5 %, at least 1 ft): City
    /// of Sunny Isles Beach FL, Section 02762. The other limits: common practice, no published
    /// source.
    ///
    /// # Fails
    /// Back along the pipe, at `/locates/1/position`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/1/position", "value": [19623915, 322100]}]
    /// ```
    /// Without a path, at `/locates/1/position`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/1/position", "value": [19623915, 322100]}, {"op": "remove", "path": "/pipes/0/path"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/locates/1/position", "value": [19623943, 322100]}]
    /// ```
    /// The transmitter was far behind the camera head.
    /// ```json
    /// [{"op": "replace", "path": "/locates/1/position", "value": [19623915, 322100]}, {"op": "replace", "path": "/locates/1/transmitter_offset", "value": 34}]
    /// ```
    ///
    /// # Fix
    /// Locate again before anybody digs, as local codes and licensed practice demand; correct the
    /// position or the distance.
    name: "locate-off-course", severity: Warning, scope: Ending, since: "0.1", clause: "locates#position",
    needs: [Crs],
    uses: [locating],
    limits: {
        "map" = 3.0 "m"
            "how far the positions of a structure and of a locate may be off together; common practice, no published source",
        "accuracy" = 0.5 "m"
            "accuracy of a locate that states none; common practice, no published source",
    },
    facts: {
        "away" = Length "distance of the locate from the point of the path, or from the far end",
        "remains" = Length "*L* − *cable*" if "the pipe has no path",
    },
}

/// How much longer than from wall to wall a pipe is from centre to centre, in metres: 5 ft.
const STRUCTURES: f64 = 1.524;

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if !comparable(ending) {
        return;
    }
    let (map, accuracy) = (out.limit("map"), out.limit("accuracy"));
    let apart = wrong(ending, accuracy);
    for view in ending.locates() {
        let outliers = &ending.survey.map_lengths().outliers;
        let outlier = outliers.iter().any(|(place, _)| *place == PositionRef::Locate(view.index));
        if outlier
            || apart.iter().any(|chord| chord.wrong == view.index)
            || beyond_cable(&view, MAP, accuracy).is_some()
        {
            continue;
        }
        compare(&view, map, accuracy, out);
    }
}

fn compare(view: &LocateView<'_>, map: f64, accuracy: f64, out: &mut Sink<'_>) -> Option<()> {
    let survey = view.ending.survey;
    let (crs, position) = (survey.crs.as_ref()?, view.locate.position?);
    let transmitter = Transmitter::of(view)?;
    let (remains, length) = (transmitter.to_end()?, transmitter.pipe.metres()?);
    if unfit_length(&transmitter.pipe, length) {
        return None;
    }
    let pipe = transmitter.pipe.pipe;
    let centres = pipe.length_between == Some(LengthBetween::Centres);
    let accuracy = view.locate.accuracy.map_or(accuracy, |accuracy| survey.metres(accuracy));
    let ends = tolerance(length) + if centres { 0.0 } else { STRUCTURES };
    let slack = transmitter.slack + ends + map + accuracy;
    let id = pipe.id.as_str();
    if pipe.path.len() >= 2 {
        let vertices: Vec<[f64; 2]> = pipe.path.iter().map(|vertex| (*vertex).into()).collect();
        let path = crs.path(&vertices).ok()?;
        survey.map_lengths().length_on_map(transmitter.pipe.index)?;
        let upstream = transmitter.summary.run.direction == Direction::Upstream;
        let along = if upstream { remains } else { (length - remains).max(0.0) };
        let away_from = |[x, y]: [f64; 2]| {
            let point = Position::new(x, y).ok()?;
            survey.map_lengths().distance(crs, point, position)
        };
        let away = away_from(path.at_stated(along, length).ok()?)?;
        let off = path.nearest(position.into()).ok()?.offset_metres;
        if away > slack && off <= OFF_PATH + accuracy {
            let far = survey.format_metres(away);
            let mirrored = away_from(path.at_stated((length - along).max(0.0), length).ok()?)?;
            let turned = if mirrored <= slack { TURNED } else { "" };
            let message =
                format!("located {far} from where {id:?} is at this distance on the map{turned}");
            out.report(view.subject("/position"), message).fact("away", survey.in_units(away));
        }
        return Some(());
    }
    let away = survey.map_lengths().distance(crs, transmitter.ends()[1]?, position)?;
    if away > remains + slack {
        let [far, left] = [away, remains].map(|metres| survey.format_metres(metres));
        let message = format!(
            "{far} from the far end of {id:?}, on the ground, but only {left} of the pipe remain"
        );
        out.report(view.subject("/position"), message)
            .fact("away", survey.in_units(away))
            .fact("remains", survey.in_units(remains));
    }
    Some(())
}
