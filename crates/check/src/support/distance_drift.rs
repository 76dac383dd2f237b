//! Cameras whose runs are longer or shorter than their pipes by the same share. The cause is the
//! counter, so that is one finding and not one for every run.

use obvert_model::tables::{CounterZero, LengthBetween, OutcomeKind, Run};
use rustc_hash::FxHashMap;

use crate::support::cameras::cameras;
use crate::support::map_lengths::four_in_five;
use crate::support::run_extent::{far_position, slope_length};
use crate::views::{Ending, RunSummary};

/// How many runs must agree.
const MIN_RUNS: usize = 4;

/// Minimum length of a pipe, in metres. In a shorter pipe the ends of the two measurements have too
/// much weight.
const MIN_LENGTH: f64 = 20.0;

/// The smallest share that counts as drift: twice what a counter may be off, see `tolerance`.
pub(crate) const MIN_SHARE: f64 = 0.01;

/// The largest share that a slipping wheel explains.
const MAX_SHARE: f64 = 0.1;

/// A camera whose runs are all too long, or all too short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Drift {
    /// Its row in the table of equipment; `None` for runs that name no camera.
    pub(crate) camera: Option<usize>,
    /// How much too long the runs are, as a share; negative if they are too short.
    pub(crate) share: f64,
    /// How many runs agree.
    pub(crate) agree: usize,
    /// How many runs were compared.
    pub(crate) of: usize,
}

/// The camera that a run was made with.
pub(crate) fn camera_of(ending: &Ending<'_>, run: &Run) -> Option<usize> {
    cameras(ending.survey, run).next()
}

/// The cameras that drift. `length` gives the length in metres of the pipe of a run that reached
/// the far structure.
pub(crate) fn drifting_cameras(
    ending: &Ending<'_>,
    least: f64,
    length: impl Fn(&RunSummary) -> Option<f64>,
) -> Vec<Drift> {
    let mut by_camera: FxHashMap<Option<usize>, Vec<(f64, f64)>> = FxHashMap::default();
    for summary in
        ending.runs.iter().filter(|summary| summary.outcome() == Some(OutcomeKind::Reached))
    {
        if !measured_from_centre(&summary.run) {
            continue;
        }
        let Some(length) = length(summary).filter(|metres| *metres >= MIN_LENGTH) else { continue };
        let Some(far) = far_position(ending.survey, &summary.run, summary.figures.marks) else {
            continue;
        };
        // The counter measures along the slope, and owners often on plan.
        let slope = slope_length(ending.survey, &summary.run.pipe, length);
        let length = if (length..=slope).contains(&far) { far } else { length };
        by_camera.entry(camera_of(ending, &summary.run)).or_default().push((far, length));
    }
    let mut found: Vec<Drift> = by_camera
        .into_iter()
        .filter_map(|(camera, runs)| {
            let (share, agree) = common_share(&runs, least)?;
            Some(Drift { camera, share, agree, of: runs.len() })
        })
        .collect();
    found.sort_by_key(|drift| drift.camera);
    found
}

/// The share by which most runs are too long, and how many runs that is. A run is its far position
/// and the length of its pipe.
fn common_share(runs: &[(f64, f64)], least: f64) -> Option<(f64, usize)> {
    // The median ignores a run that ended at another structure.
    let mut shares: Vec<f64> = runs.iter().map(|(far, length)| far / length - 1.0).collect();
    shares.sort_by(f64::total_cmp);
    let share = *shares.get(shares.len() / 2)?;
    let agree = shares.iter().filter(|one| (0.5..=1.5).contains(&(**one / share))).count();
    ((least..=MAX_SHARE).contains(&share.abs())
        && agree >= MIN_RUNS
        && four_in_five(agree, shares.len()))
    .then_some((share, agree))
}

/// Whether a run's distances are measured from the centre of its structure.
fn measured_from_centre(run: &Run) -> bool {
    run.counter
        .as_ref()
        .is_some_and(|c| c.zero == CounterZero::StructureCentre || c.offset.is_some())
}

/// The recorded length of a run's pipe between the centres of its structures, in metres.
pub(crate) fn stated_length(ending: &Ending<'_>, summary: &RunSummary) -> Option<f64> {
    let pipe = ending.survey.pipe(&summary.run.pipe)?;
    let between = pipe.length_between.is_none_or(|between| between == LengthBetween::Centres);
    pipe.length.filter(|_| between).map(|length| ending.survey.metres(length))
}

#[cfg(test)]
mod tests {
    use super::common_share;

    #[test]
    fn most_runs_must_be_off_by_one_share() {
        let runs = |shares: &[f64]| {
            shares.iter().map(|share| (100.0 * (1.0 + share), 100.0)).collect::<Vec<_>>()
        };
        let cases: [(&[f64], Option<usize>); 7] = [
            (&[0.02, 0.021, 0.019, 0.022], Some(4)),
            (&[-0.03, -0.028, -0.03, -0.04, 0.0], Some(4)),
            // Three are too few.
            (&[0.02, 0.02, 0.02], None),
            // Half a per cent is what a counter may be off.
            (&[0.005, 0.005, 0.005, 0.005], None),
            // As far to one side as to the other.
            (&[0.03, -0.03, 0.03, -0.03, 0.03], None),
            // A wrong unit.
            (&[2.28, 2.28, 2.28, 2.28], None),
            // Bends that the record does not have make each run long in its own way.
            (&[0.001, 0.012, 0.04, 0.09, 0.02], None),
        ];
        for (shares, agree) in cases {
            assert_eq!(common_share(&runs(shares), 0.01).map(|found| found.1), agree, "{shares:?}");
        }
    }
}
