//! The positions of everything in a survey. Structures and locates have positions of their own. A
//! pipe has a path, or is straight between its ends. An observation has only a reading of a
//! distance counter, and is placed along the line of the pipe in proportion.
//!
//! All positions are derived from the document only: the reader derives the same geometries again
//! to check whether somebody has moved one.

use std::borrow::Cow;
use std::collections::HashMap;

use obvert_geo::{Crs, DatumShift, Path};
use obvert_model::number::Position;
use obvert_model::tables::{CounterZero, Direction, Head, LengthBetween, Observation, Pipe, Run};

use super::geometry::{Geometry, LonLat};
use super::system::{Why, check_usable, crs_of, has_positions, positions};
use crate::{ConvertError, Note};

/// The lines of the pipes of one survey, and other values that are calculated once. It does not
/// borrow the head, so that readers and writers of runs can own both; [`on`](Self::on) combines
/// them.
pub(crate) struct Network {
    /// `None` if the document has no positions, so that nothing has a geometry; or if positions are
    /// not transformed and the system is not known, so that nothing can be measured along a line.
    crs: Option<Crs>,
    /// Whether lines must be on the globe.
    globe: bool,
    structures: HashMap<Box<str>, usize>,
    pipes: HashMap<Box<str>, usize>,
    lines: Vec<Option<Line>>,
    notes: Vec<Note>,
}

/// The map of one survey: a network and its head.
#[derive(Clone, Copy)]
pub(crate) struct Map<'m> {
    network: &'m Network,
    head: &'m Head,
}

/// The line of a pipe, from its upstream to its downstream end, in the document's reference system.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    vertices: Vec<[f64; 2]>,
}

/// What was placed.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Placed {
    pub(crate) geometry: Geometry,
    /// How far the recorded distance is beyond the end of the pipe where the geometry was drawn, in
    /// length units; 0 on the pipe.
    pub(crate) beyond: f64,
}

/// Converts readings of a run's counter to positions.
pub(crate) struct Placer<'n> {
    crs: &'n Crs,
    path: Path<'n>,
    /// The pipe's length in length units: as stated, or measured on the map.
    length: f64,
    /// Added to a reading, it gives the distance from the end where the run started.
    shift: f64,
    against_flow: bool,
}

impl Network {
    /// Finds the lines of all pipes.
    ///
    /// # Errors
    /// When there are positions and no reference system, or one that cannot be transformed to WGS
    /// 84.
    pub(crate) fn new(head: &Head, why: Why) -> Result<Self, ConvertError> {
        let crs = if has_positions(head) { Some(crs_of(head, why)?) } else { None };
        if let Some(crs) = &crs {
            check_usable(crs, head, why)?;
        }
        let mut network = Self::with(head, crs, true);
        network.find_lines(head);
        network.notes = network.on(head).what_is_missing();
        Ok(network)
    }

    /// The same in the document's own reference system, which may be unknown.
    #[cfg(feature = "geopackage")]
    pub(crate) fn in_its_own_system(head: &Head) -> Self {
        let crs = head.crs.as_ref().and_then(|code| Crs::parse(code).ok());
        let mut network = Self::with(head, crs, false);
        network.find_lines(head);
        network
    }

    fn with(head: &Head, crs: Option<Crs>, globe: bool) -> Self {
        Self {
            structures: head
                .structures
                .iter()
                .enumerate()
                .map(|(i, row)| (row.id.as_str().into(), i))
                .collect(),
            pipes: head
                .pipes
                .iter()
                .enumerate()
                .map(|(i, row)| (row.id.as_str().into(), i))
                .collect(),
            lines: vec![None; head.pipes.len()],
            notes: Vec::new(),
            crs,
            globe,
        }
    }

    /// The map of the head that the network was made from.
    pub(crate) fn on<'m>(&'m self, head: &'m Head) -> Map<'m> {
        Map { network: self, head }
    }

    /// Notes about the map.
    pub(crate) fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Finds the lines of all pipes. The line of a lateral may depend on that of another, in chains
    /// of any length and, in an invalid document, in cycles, so the chain is followed with an
    /// explicit stack.
    fn find_lines(&mut self, head: &Head) {
        if self.crs.is_none() && self.globe {
            return;
        }
        let mut known = vec![false; self.lines.len()];
        let mut chain = Vec::new();
        for start in 0..self.lines.len() {
            chain.push(start);
            while let Some(&pipe) = chain.last() {
                let main = self.on(head).joined(pipe).filter(|main| !known[*main]);
                known[pipe] = true;
                if let Some(main) = main {
                    chain.push(main);
                    continue;
                }
                chain.pop();
                if self.lines[pipe].is_none() {
                    self.lines[pipe] = self.on(head).find_line(pipe);
                }
            }
        }
    }
}

impl<'m> Map<'m> {
    /// The geometry of a structure.
    pub(crate) fn structure(self, index: usize) -> Option<Geometry> {
        self.point(self.head.structures.get(index)?.position?)
    }

    /// The geometry of a locate.
    pub(crate) fn locate(self, index: usize) -> Option<Geometry> {
        self.point(self.head.locates.get(index)?.position?)
    }

    /// The geometry of a pipe.
    pub(crate) fn pipe(self, index: usize) -> Option<Geometry> {
        let line = self.network.lines.get(index)?.as_ref()?;
        on_the_globe(self.network.crs.as_ref()?, &line.vertices)
    }

    /// The vertices of a pipe's line in the document's reference system; empty if it has no line.
    pub(crate) fn vertices(self, index: usize) -> &'m [[f64; 2]] {
        self.network.lines.get(index).and_then(Option::as_ref).map_or(&[], |line| &line.vertices)
    }

    /// The pipe that a run was in.
    #[cfg_attr(not(any(feature = "kml", feature = "geoparquet")), allow(dead_code))]
    pub(crate) fn pipe_of(self, run: &Run) -> Option<&'m Pipe> {
        self.head.pipes.get(*self.network.pipes.get(run.pipe.as_str())?)
    }

    /// Why a row is not on the map although it has a position; `None` if it has none.
    #[cfg_attr(not(feature = "kml"), allow(dead_code))]
    pub(crate) fn off_the_map(self, position: Option<Position>) -> Option<String> {
        let (_, crs) = (position?, self.network.crs.as_ref()?);
        Some(format!(
            "its position cannot be transformed by {crs}; check its order, its unit and the reference system"
        ))
    }

    /// Why a pipe is not on the map.
    pub(crate) fn no_line(self, pipe: &Pipe) -> &'static str {
        let known = |structure: &str| self.position_of(structure).is_some();
        match (pipe.path.len(), &pipe.downstream, &pipe.joins) {
            (2.., ..) => "a vertex of its path cannot be transformed",
            (_, Some(down), _) if known(&pipe.upstream) && known(down) => {
                "it has no path, and the position of one of its two structures cannot be transformed"
            }
            (_, Some(_), _) => "it has no path, and one of its two structures has no position",
            (_, None, Some(_))
                if self
                    .position_of(&pipe.upstream)
                    .is_some_and(|position| !self.can_be_transformed(position)) =>
            {
                "it has no path, and the position of its structure cannot be transformed"
            }
            (_, None, Some(_)) => {
                "it has no path, and its structure or its connection point has no position"
            }
            (_, None, None) => "it has no path and only one end",
        }
    }

    /// The line of a run: that of its pipe, or the straight line from where the camera entered a
    /// lateral.
    pub(crate) fn line_of(self, run: &Run) -> Option<Cow<'m, Line>> {
        let index = *self.network.pipes.get(run.pipe.as_str())?;
        if let Some(line) = self.network.lines[index].as_ref() {
            return Some(Cow::Borrowed(line));
        }
        let (launched, pipe) = (run.launched.as_ref()?, self.head.pipes.get(index)?);
        let main = *self.network.pipes.get(launched.pipe.as_str())?;
        let ends = [self.position_of(&pipe.upstream)?, self.along(main, launched.at?.get())?];
        Some(Cow::Owned(Line { vertices: ends.to_vec() }))
    }

    /// Converts readings to positions for a run along a line from [`line_of`](Self::line_of).
    /// `None` if the line has no length.
    pub(crate) fn placer(self, run: &Run, line: &'m Line) -> Option<Placer<'m>> {
        let crs = self.network.crs.as_ref()?;
        let pipe = self.head.pipes.get(*self.network.pipes.get(run.pipe.as_str())?)?;
        let path = crs.path(&line.vertices).ok()?;
        let length = self.length_of(pipe, &path);
        let against_flow = run.direction == Direction::Upstream;
        Some(Placer { crs, path, length, shift: shift(pipe, run), against_flow })
    }

    /// Whether a position can be transformed.
    fn can_be_transformed(self, position: [f64; 2]) -> bool {
        self.network
            .crs
            .as_ref()
            .is_some_and(|crs| crs.to_wgs84(position).is_ok_and(is_on_the_globe))
    }

    fn point(self, position: Position) -> Option<Geometry> {
        let lonlat = self.network.crs.as_ref()?.to_wgs84(position.into()).ok()?;
        is_on_the_globe(lonlat).then(|| Geometry::point(lonlat))
    }

    fn position_of(self, structure: &str) -> Option<[f64; 2]> {
        let position =
            self.head.structures.get(*self.network.structures.get(structure)?)?.position?;
        Some(position.into())
    }

    /// A pipe's length in length units: as stated, or that of its line.
    fn length_of(self, pipe: &Pipe, path: &Path<'_>) -> f64 {
        let stated = pipe.length.map(|length| length.get()).filter(|length| *length > 0.0);
        stated.unwrap_or_else(|| path.length_metres() / self.head.units.length.metres())
    }

    /// The position on a pipe at a distance from its upstream structure, or at the nearer end.
    fn along(self, pipe: usize, distance: f64) -> Option<[f64; 2]> {
        let path = self
            .network
            .crs
            .as_ref()?
            .path(&self.network.lines.get(pipe)?.as_ref()?.vertices)
            .ok()?;
        let length = self.length_of(self.head.pipes.get(pipe)?, &path);
        path.at_stated_clamped(distance, length).ok().map(|placed| placed.position)
    }

    /// The main that a pipe's line depends on.
    fn joined(self, pipe: usize) -> Option<usize> {
        let pipe = self.head.pipes.get(pipe)?;
        let hangs = pipe.path.len() < 2 && pipe.downstream.is_none();
        self.network.pipes.get(pipe.joins.as_ref().filter(|_| hangs)?.pipe.as_str()).copied()
    }

    fn find_line(self, index: usize) -> Option<Line> {
        let pipe = self.head.pipes.get(index)?;
        let vertices: Vec<[f64; 2]> = if pipe.path.len() >= 2 {
            pipe.path.iter().map(|vertex| (*vertex).into()).collect()
        } else {
            let down = match (&pipe.downstream, &pipe.joins) {
                (Some(structure), _) => self.position_of(structure)?,
                (None, Some(joins)) => self.along(self.joined(index)?, joins.at?.get())?,
                (None, None) => return None,
            };
            vec![self.position_of(&pipe.upstream)?, down]
        };
        let drawn =
            !self.network.globe || on_the_globe(self.network.crs.as_ref()?, &vertices).is_some();
        drawn.then_some(Line { vertices })
    }

    /// Notes on what the map leaves out, and on its accuracy.
    fn what_is_missing(self) -> Vec<Note> {
        // A reader of the map would miss what an alarm reports, and cannot find it out from the
        // survey.
        let Some(crs) = &self.network.crs else {
            return vec![Note::alarm(
                "",
                "the document has no position, so no feature has a geometry",
            )];
        };
        let mut notes = Vec::new();
        let shift = |(_, position): (_, [f64; 2])| {
            crs.datum_shift_at(crs.to_geographic(position).ok()?).ok()
        };
        if let Some(metres) =
            positions(self.head).find_map(shift).and_then(DatumShift::accuracy_metres)
            && metres > 0.1
        {
            notes.push(Note::new(
                "/crs",
                format!("{crs} becomes WGS 84 with a stated accuracy of {metres} m"),
            ));
        }
        let outside = |position: Option<Position>| {
            let position = position?;
            crs.to_wgs84(position.into()).err().map(|error| error.to_string())
        };
        let single = |table: &str, index: usize, position: Option<Position>| {
            let why = outside(position)?;
            Some(Note::alarm(
                format!("/{table}/{index}/position"),
                format!("{why}; the feature has no geometry"),
            ))
        };
        let structures = self.head.structures.iter().enumerate();
        notes.extend(
            structures.filter_map(|(index, row)| single("structures", index, row.position)),
        );
        let pipes = self.head.pipes.iter().enumerate();
        for (index, pipe) in pipes.filter(|(index, _)| self.network.lines[*index].is_none()) {
            let what = "the pipe, its runs and their observations have no geometry";
            let vertex = pipe.path.iter().find_map(|vertex| outside(Some(*vertex)));
            notes.push(match vertex.filter(|_| pipe.path.len() >= 2) {
                Some(why) => Note::alarm(format!("/pipes/{index}/path"), format!("{why}; {what}")),
                None => {
                    Note::new(format!("/pipes/{index}"), format!("{what}: {}", self.no_line(pipe)))
                }
            });
        }
        let locates = self.head.locates.iter().enumerate();
        notes.extend(locates.filter_map(|(index, row)| single("locates", index, row.position)));
        notes
    }
}

impl Placer<'_> {
    /// The part of the pipe that a run covered: from the zero of its counter to its last reading.
    pub(crate) fn run(&self, run: &Run) -> Option<Placed> {
        self.placed(self.run_line(run)?)
    }

    /// The same in the document's reference system.
    pub(crate) fn run_line(&self, run: &Run) -> Option<(Vec<[f64; 2]>, f64)> {
        let began =
            run.counter.as_ref().and_then(|counter| counter.reads).map_or(0.0, |reads| reads.get());
        let last = run.observations.iter().map(|row| row.end().get()).reduce(f64::max);
        self.stretch(began, run.surveyed.map(|length| length.get()).or(last)?)
    }

    /// The position of an observation, or the part of the pipe that it covers.
    pub(crate) fn observation(&self, observation: &Observation) -> Option<Placed> {
        self.placed(self.observation_line(observation)?)
    }

    fn placed(&self, (line, beyond): (Vec<[f64; 2]>, f64)) -> Option<Placed> {
        Some(Placed { geometry: on_the_globe(self.crs, &line)?, beyond })
    }

    /// The same in the document's reference system: the line, and the distance beyond the end of
    /// the pipe.
    pub(crate) fn observation_line(
        &self,
        observation: &Observation,
    ) -> Option<(Vec<[f64; 2]>, f64)> {
        self.stretch(observation.at.get(), observation.end().get())
    }

    /// The part of the pipe between two readings, in the direction of travel.
    fn stretch(&self, from: f64, to: f64) -> Option<(Vec<[f64; 2]>, f64)> {
        let (first, last) = (self.share(from.min(to)), self.share(from.max(to)));
        let line = if self.against_flow {
            let mut line = self.path.sub_line(last.0, first.0).ok()?;
            line.reverse();
            line
        } else {
            self.path.sub_line(first.0, last.0).ok()?
        };
        let beyond = if last.1.abs() >= first.1.abs() { last.1 } else { first.1 };
        Some((line, beyond))
    }

    /// The fraction of the pipe's line at a reading, from the upstream end, limited to the nearer
    /// end; and how far beyond that end the reading is, positive past the far end and negative
    /// before the near one.
    fn share(&self, reading: f64) -> (f64, f64) {
        let distance = reading + self.shift;
        let inside = distance.clamp(0.0, self.length);
        let share = inside / self.length;
        // Readings are decimal fractions; their sums may miss an end by the last bit of a double.
        let beyond = if (distance - inside).abs() <= 1e-9 * self.length.max(1.0) {
            0.0
        } else {
            distance - inside
        };
        (if self.against_flow { 1.0 - share } else { share }, beyond)
    }
}

/// The number that is added to a run's readings to get distances along its pipe.
///
/// A pipe's length is measured between the centres of its structures, unless it is stated to be
/// between walls or ends. Then a counter that was set at the wall or the end has its zero where the
/// length starts, and `offset` is outside. If the two do not match, the unknown part is less than
/// half the width of a structure.
fn shift(pipe: &Pipe, run: &Run) -> f64 {
    let Some(counter) = &run.counter else { return 0.0 };
    let reads = counter.reads.map_or(0.0, |reads| reads.get());
    let offset = counter.offset.map_or(0.0, |offset| offset.get());
    let clear = matches!(pipe.length_between, Some(LengthBetween::Walls | LengthBetween::Ends));
    let set_there = matches!(counter.zero, CounterZero::StructureWall | CounterZero::PipeEnd);
    if clear && set_there { -reads } else { offset - reads }
}

/// A line in the document's reference system as a geometry on WGS 84.
fn on_the_globe(crs: &Crs, vertices: &[[f64; 2]]) -> Option<Geometry> {
    let line: Option<Vec<LonLat>> = vertices
        .iter()
        .map(|vertex| crs.to_wgs84(*vertex).ok().filter(|lonlat| is_on_the_globe(*lonlat)))
        .collect();
    Geometry::line(line?)
}

fn is_on_the_globe([lon, lat]: LonLat) -> bool {
    (-180.0..=180.0).contains(&lon) && (-90.0..=90.0).contains(&lat)
}
