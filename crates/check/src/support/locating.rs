//! Where a transmitter was along its pipe when it was located, and how far that can be from the two
//! ends of the pipe on the ground: a straight line is no longer than the pipe.

use obvert_geo::Fit;
use obvert_model::number::{Length, Position};
use obvert_model::tables::{CounterZero, Direction, Pipe, Run};

use crate::support::map_lengths::PositionRef;
use crate::support::run_extent::direction_contradicts;
use crate::views::{Ending, LocateView, PipeView, RunSummary, tolerance};

/// The parts of a document that this is concluded from.
pub(crate) const EVIDENCE: &[&str] = &[
    "structures",
    "structures.position",
    "pipes",
    "pipes.joins",
    "pipes.path",
    "runs",
    "runs.counter",
    "runs.launched",
    "runs.from",
    "locates",
    "locates.run",
    "locates.at",
    "locates.position",
    "locates.accuracy",
    "locates.transmitter_offset",
];

/// The length taken up by a structure, in metres: half of 5 ft. It counts if it is not known where
/// in its structure a counter was set. Common practice, no published source.
const STRUCTURE: f64 = 0.762;

/// Where the transmitter of a locate was along its pipe.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Transmitter<'d> {
    /// The run.
    pub(crate) summary: &'d RunSummary,
    /// The pipe.
    pub(crate) pipe: PipeView<'d>,
    /// Its distance from the start of the run, in metres: the centre of the start structure, or for
    /// a run that was launched the main.
    pub(crate) from_start: f64,
    /// How uncertain that is, in metres.
    pub(crate) slack: f64,
}

impl<'d> Transmitter<'d> {
    /// `None` if it is not known: the run or its pipe is missing, the distance is outside the run,
    /// its structures contradict its direction or its pipe, or the counter was reset.
    pub(crate) fn of(view: &LocateView<'d>) -> Option<Self> {
        let (locate, ending) = (view.locate, view.ending);
        let survey = ending.survey;
        let summary = ending.run(&locate.run)?;
        let index = survey.pipe_index(&summary.run.pipe)?;
        let pipe = PipeView { survey, pipe: &survey.head.pipes[index], index };
        let counter = summary.run.counter.as_ref();
        if summary.figures.marks.counter_reset
            || ending.lengths_doubtful()
            || direction_contradicts(pipe.pipe, &summary.run)
            || starts_elsewhere(pipe.pipe, &summary.run)
        {
            return None;
        }
        let unit = survey.head.units.length.metres();
        let of = |length: Option<Length>| length.map_or(0.0, Length::get) * unit;
        let (offset, reads) =
            counter.map_or((None, 0.0), |counter| (counter.offset, of(counter.reads)));
        let cable = survey.metres(locate.at) - reads;
        let end = summary.run.surveyed.map(|end| survey.metres(end) - reads);
        // `locate-past-run` reports the others.
        if cable < -tolerance(0.0) || end.is_some_and(|end| cable > end + tolerance(end)) {
            return None;
        }
        let zero = counter.map(|counter| counter.zero);
        let known = offset.is_some() || zero == Some(CounterZero::StructureCentre);
        let launched = summary.run.launched.is_some();
        if launched && zero == Some(CounterZero::StructureCentre) {
            return None;
        }
        Some(Self {
            summary,
            pipe,
            from_start: of(offset) + cable - of(locate.transmitter_offset),
            slack: tolerance(cable) + if known { 0.0 } else { STRUCTURE },
        })
    }

    /// The two ends of the run on the map: where it started, and where it was going. The lower end
    /// of a lateral is where it joins its main.
    pub(crate) fn ends(&self) -> [Option<Position>; 2] {
        let upper = self.pipe.upstream().and_then(|row| self.right(&row.id, row.position));
        let lower = match self.pipe.downstream() {
            Some(row) => self.right(&row.id, row.position),
            None => self.mouth(),
        };
        match self.summary.run.direction {
            Direction::Downstream => [upper, lower],
            Direction::Upstream => [lower, upper],
        }
    }

    /// A position, unless it is outside the area of use.
    fn right(&self, id: &str, position: Option<Position>) -> Option<Position> {
        let survey = self.pipe.survey;
        let wrong = survey.map_lengths().outliers.iter().any(|(place, _)| match *place {
            PositionRef::Structure(row) => *survey.head.structures[row].id == *id,
            PositionRef::Vertex(..) | PositionRef::Locate(_) => false,
        });
        position.filter(|_| !wrong)
    }

    /// Where a lateral joins its main, by the distance along the main.
    fn mouth(&self) -> Option<Position> {
        let survey = self.pipe.survey;
        let joins = self.pipe.pipe.joins.as_ref()?;
        // `launched-contradicts` reports a difference.
        if let Some((from, at)) = self.launched_at().zip(joins.at) {
            let (from, at) = (survey.metres(from), survey.metres(at));
            if (from - at).abs() > 2.0 * tolerance(from.max(at)) {
                return None;
            }
        }
        let index = survey.pipe_index(&joins.pipe)?;
        let main = PipeView { survey, pipe: &survey.head.pipes[index], index };
        let (course, length) = (main.course()?, main.metres().filter(|metres| *metres > 0.0)?);
        let outlier = survey.map_lengths().length_on_map(index).is_none();
        let path = survey.crs.as_ref()?.path(&course).ok().filter(|_| !outlier)?;
        let [x, y] = path.at_stated(survey.metres(joins.at?), length).ok()?;
        Position::new(x, y).ok()
    }

    fn launched_at(&self) -> Option<Length> {
        self.summary.run.launched.as_ref()?.at
    }

    /// How far the transmitter was from the other end of the pipe, in metres; `None` if the length of
    /// the pipe is unknown.
    pub(crate) fn to_end(self) -> Option<f64> {
        let length = self.pipe.metres().filter(|metres| *metres > 0.0)?;
        (self.from_start <= length + tolerance(length)).then(|| (length - self.from_start).max(0.0))
    }
}

/// Whether a run names a start structure that its pipe does not have.
fn starts_elsewhere(pipe: &Pipe, run: &Run) -> bool {
    let (Some(from), Some(lower)) = (&run.from, &pipe.downstream) else { return false };
    pipe.upstream != *from && lower != from
}

/// Whether positions of the document can be compared with lengths along its pipes.
pub(crate) fn comparable(ending: &Ending<'_>) -> bool {
    let map_lengths = ending.survey.map_lengths();
    !ending.lengths_doubtful()
        && !map_lengths.exchanged
        && map_lengths.wrong_unit.is_none()
        && map_lengths.fit == Some(Fit::Inside)
}

/// A locate that is farther from where its run started than the cable reaches.
pub(crate) struct BeyondCable {
    /// How far it is on the ground, in metres.
    pub(crate) away: f64,
    /// The cable to the transmitter, in metres.
    pub(crate) cable: f64,
    /// Whether the cable reaches it from the other end of the pipe.
    pub(crate) from_other_end: bool,
}

/// Whether a locate is farther from the start of its run than the cable allows. `map` is how far
/// two positions on the map may be off, and `accuracy` that of a locate that states none, both in
/// metres.
pub(crate) fn beyond_cable(view: &LocateView<'_>, map: f64, accuracy: f64) -> Option<BeyondCable> {
    let survey = view.ending.survey;
    let position = view.locate.position?;
    let transmitter = Transmitter::of(view)?;
    let start = transmitter.ends()[0]?;
    let crs = survey.crs.as_ref()?;
    let away = survey.map_lengths().distance(crs, start, position)?;
    let accuracy = view.locate.accuracy.map_or(accuracy, |accuracy| survey.metres(accuracy));
    let cable = transmitter.from_start.max(0.0);
    let reach = cable + transmitter.slack + accuracy + map;
    let other = || survey.map_lengths().distance(crs, transmitter.ends()[1]?, position);
    (away > reach).then(|| BeyondCable {
        away,
        cable,
        from_other_end: other().is_some_and(|away| away <= reach),
    })
}

/// `locate-off-path` reports a locate that is farther from the path than this, in metres, and its
/// accuracy.
pub(crate) const OFF_PATH: f64 = 5.0;

/// Whether another rule reports the length of the pipe, or an end of its path.
pub(crate) fn unfit_length(pipe: &PipeView<'_>, length: f64) -> bool {
    let map_lengths = pipe.survey.map_lengths();
    let ratio = map_lengths.length_on_map(pipe.index).map(|on_map| on_map / length);
    let off = |gap: &Option<f64>| gap.is_some_and(|gap| gap > OFF_PATH);
    ratio.is_some_and(|ratio| !(0.9..=1.1).contains(&ratio))
        || map_lengths.end_gaps(pipe).iter().any(off)
}
