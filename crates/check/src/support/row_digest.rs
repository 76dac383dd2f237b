//! What is kept of the rows of a run after they are dropped, so that runs can be compared with each
//! other: features of the pipe, but not the start, the end, water levels, photos and remarks.

use std::hash::{Hash, Hasher};

use obvert_model::lists::{Family, Role};
use obvert_model::number::{ClockHour, Grade, Length};
use obvert_model::tables::{Aspect, ClockReading, Direction, LengthBetween, Observation, Run};
use rustc_hash::FxHasher;

use crate::support::run_extent::pipe_with_length;
use crate::views::{Ending, Marks, RowView, RunSummary, RunView, Survey, tolerance};

/// A row of a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RowDigest {
    /// Its row in the run.
    pub(crate) row: u32,
    /// Its distance from the zero point, in metres.
    pub(crate) at: f32,
    /// Where it ends, in metres from the zero point; infinite if it is an open stretch.
    pub(crate) end: f32,
    /// A hash of code and characterisation.
    pub(crate) code: u32,
    /// A hash of what was seen, without where along the run.
    pub(crate) seen: u32,
    /// A hash of what was seen and where.
    pub(crate) same: u32,
    /// The first amount of a connection in tenths of a millimetre; 0 if none is recorded.
    size: u16,
    /// The clock reference in half hours; 0 if there is none.
    clock: [u8; 2],
    /// Its grades by aspect, recorded or else computed.
    grades: [Option<Grade>; 2],
    /// Whether it is a connection.
    pub(crate) connection: bool,
    /// Whether it is a defect.
    pub(crate) defect: bool,
    /// Whether its code is not in the code list.
    pub(crate) unknown: bool,
}

impl RowDigest {
    fn new(row: &RowView<'_>) -> Option<Self> {
        let (role, family) = row.code.map_or((None, None), |code| (code.role, Some(code.family)));
        let of_the_run = matches!(
            role,
            Some(
                Role::Start
                    | Role::Finish
                    | Role::Stopped
                    | Role::Level
                    | Role::Photo
                    | Role::Remark
            )
        );
        if of_the_run || matches!(family, Some(Family::Level | Family::Housekeeping)) {
            return None;
        }
        let survey = row.survey();
        let from_zero = |at: f64| (at - row.run.reads()) * survey.head.units.length.metres();
        let open = row.row.is_stretch() && row.row.to.is_none();
        let connection = role == Some(Role::Connection);
        // The structure at which the run starts.
        let built = family == Some(Family::Construction) && !connection;
        if built && row.row.at.get() <= row.run.reads() {
            return None;
        }
        let (code_hash, seen, same) = hashes(row.row);
        let size = row.amount(0).filter(|_| connection).map_or(0.0, |size| size * 10.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        Some(Self {
            row: u32::try_from(row.index).ok()?,
            at: from_zero(row.row.at.get()) as f32,
            end: if open { f32::INFINITY } else { from_zero(row.row.end().get()) as f32 },
            code: code_hash,
            seen,
            same,
            size: size.clamp(0.0, f64::from(u16::MAX)) as u16,
            clock: clock(row.row),
            grades: [Aspect::Structural, Aspect::Operational]
                .map(|aspect| row.recorded(aspect).or_else(|| row.graded(aspect))),
            connection,
            defect: matches!(family, Some(Family::Structural | Family::Operational)),
            unknown: row.code.is_none(),
        })
    }

    /// Its clock reference, if it has a valid one.
    pub(crate) fn reading(&self) -> Option<ClockReading> {
        let hour = |halves: u8| ClockHour::new(f64::from(halves) / 2.0).ok();
        match self.clock {
            [0, _] => None,
            [at, 0] => hour(at).map(ClockReading::Point),
            [from, to] => Some(ClockReading::Arc(hour(from)?, hour(to)?)),
        }
    }

    /// The height of a connection in millimetres, if it is recorded.
    pub(crate) fn connection_height(&self) -> Option<f64> {
        (self.size > 0).then(|| f64::from(self.size) / 10.0)
    }

    /// Its grade in an aspect, recorded or else computed.
    pub(crate) fn grade(&self, aspect: Aspect) -> Option<Grade> {
        self.grades[aspect as usize]
    }

    /// Whether it is at one distance.
    pub(crate) fn is_point(&self) -> bool {
        self.end <= self.at
    }
}

fn clock(row: &Observation) -> [u8; 2] {
    let reading = row.clock.as_ref().and_then(|clock| clock.reading());
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let halves = |hour: ClockHour| (hour.get() * 2.0) as u8;
    match reading {
        Some(ClockReading::Point(at)) if at.is_valid() => [halves(at), 0],
        Some(ClockReading::Arc(from, to)) if from.is_valid() && to.is_valid() => {
            [halves(from), halves(to)]
        }
        _ => [0, 0],
    }
}

/// The hashes of the code, of what was seen, and of what was seen and where.
fn hashes(row: &Observation) -> (u32, u32, u32) {
    let mut hasher = FxHasher::default();
    row.code.as_str().hash(&mut hasher);
    row.characterisation.iter().for_each(|word| word.as_str().hash(&mut hasher));
    #[allow(clippy::cast_possible_truncation)]
    let short = |hasher: &FxHasher| (hasher.finish() >> 16) as u32;
    let code = short(&hasher);
    clock(row).hash(&mut hasher);
    for quantity in &row.quantities {
        quantity.value.get().to_bits().hash(&mut hasher);
        quantity.unit.as_str().hash(&mut hasher);
    }
    let seen = short(&hasher);
    row.at.get().to_bits().hash(&mut hasher);
    row.to.map(|to| to.get().to_bits()).hash(&mut hasher);
    (code, seen, short(&hasher))
}

/// The rows of a run, in order.
pub(crate) fn digests(view: &RunView<'_>) -> Box<[RowDigest]> {
    view.rows().filter_map(|row| RowDigest::new(&row)).collect()
}

/// The rows of the laterals, in the table of pipes, that the rows of a run name.
pub(crate) fn laterals(view: &RunView<'_>) -> Box<[usize]> {
    let named = view.run.observations.iter().filter_map(|row| row.joins.as_ref());
    named.filter_map(|id| view.survey.pipe_index(id)).collect()
}

/// Where the distances of a run are along its pipe, in metres from the centre of the upstream
/// structure.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Along {
    offset: f64,
    length: f64,
    pub(crate) upstream: bool,
    /// How far the distances of two runs may differ for one place.
    pub(crate) slack: f64,
}

impl Along {
    /// `None` if the length of the pipe is unknown, or if the distances of the run cannot be placed
    /// on it: it was launched, or its counter was reset.
    pub(crate) fn of(survey: &Survey<'_>, run: &Run, marks: Marks) -> Option<Self> {
        let (pipe, length) = pipe_with_length(survey, run)?;
        if run.launched.is_some() || marks.counter_reset {
            return None;
        }
        let counter = run.counter.as_ref();
        let offset = counter.and_then(|counter| counter.offset);
        let between = if pipe.length_between == Some(LengthBetween::Centres) { 0.0 } else { WALLS };
        Some(Self {
            offset: offset.map_or(0.0, Length::get) * survey.head.units.length.metres(),
            length,
            upstream: run.direction == Direction::Upstream,
            slack: 2.0 * tolerance(length) + if offset.is_some() { 0.0 } else { between },
        })
    }

    /// How far a place is from the centre of the start structure, in metres.
    pub(crate) fn after_start(&self, place: f64) -> f64 {
        if self.upstream { self.length - place } else { place }
    }

    /// The place of a distance from the zero point.
    pub(crate) fn place(&self, from_zero: f32) -> f64 {
        let far = self.offset + f64::from(from_zero);
        if self.upstream { self.length - far } else { far }
    }
}

/// The length taken up by the two structures of a pipe, in metres: 5 ft. Common practice, no
/// published source.
const WALLS: f64 = 1.524;

/// The pairs of rows at one place of a pipe that two runs have seen, each row at most once: `fits`
/// says whether two rows can be the same feature. A row with two candidates is left out.
pub(crate) fn common_places<'r>(
    (a, along_a): (&'r [RowDigest], Along),
    (b, along_b): (&'r [RowDigest], Along),
    slack: f64,
    fits: impl Fn(&RowDigest, &RowDigest) -> bool,
) -> Vec<(&'r RowDigest, &'r RowDigest)> {
    let placed = |rows: &'r [RowDigest], along: Along| -> Vec<(f64, &'r RowDigest)> {
        let points = rows.iter().filter(|row| row.is_point());
        let mut rows: Vec<_> = points.map(|row| (along.place(row.at), row)).collect();
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        rows
    };
    let (rows_a, rows_b) = (placed(a, along_a), placed(b, along_b));
    let only = |place: f64, rows: &[(f64, &'r RowDigest)], like: &dyn Fn(&RowDigest) -> bool| {
        let from = rows.partition_point(|(at, _)| *at < place - slack);
        let near = rows[from..].iter().take_while(|(at, _)| *at <= place + slack);
        let mut near = near.filter(|(_, row)| like(row));
        near.next().copied().filter(|_| near.next().is_none())
    };
    let mut pairs = Vec::new();
    for (place, row) in &rows_a {
        let Some((there, other)) = only(*place, &rows_b, &|other| fits(row, other)) else {
            continue;
        };
        if only(there, &rows_a, &|own| fits(own, other)).is_some() {
            pairs.push((*row, other));
        }
    }
    pairs
}

/// How many runs of one pipe are compared with each other, so that the time stays linear.
pub(crate) const MAX_RUNS: usize = 8;

/// The pairs of runs of one pipe that can be placed on it, the earlier one in the document first.
pub(crate) fn pairs_of_runs<'d>(ending: &'d Ending<'d>) -> Vec<[(&'d RunSummary, Along); 2]> {
    let mut pairs = Vec::new();
    for view in ending.survey.pipes() {
        let runs: Vec<(&RunSummary, Along)> = ending
            .runs_of(&view.pipe.id)
            .take(MAX_RUNS)
            .filter_map(|summary| {
                Some((summary, Along::of(ending.survey, &summary.run, summary.figures.marks)?))
            })
            .collect();
        for (index, later) in runs.iter().enumerate().skip(1) {
            pairs.extend(runs[..index].iter().map(|earlier| [*earlier, *later]));
        }
    }
    pairs
}
