//! Geometries that contradict the row that they were drawn from, because somebody has moved one or
//! edited the other. Ignoring either silently would be wrong, so there is a policy, and errors name
//! every feature concerned.

use obvert_geo::{Crs, CrsKind};
use obvert_model::number::{NumberError, Position};
use obvert_model::tables::{Document, Head, Run};

use super::WHY;
use crate::map::geometry::{Geometry, LonLat, near};
use crate::map::network::{Map, Network, Placer};
use crate::map::system::{crs_of, has_positions};
use crate::{ConvertError, Location};

/// What a reader does with the geometry of a structure, pipe or locate that contradicts its
/// properties by more than rounding.
#[non_exhaustive]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Moved {
    /// Refuse the file, and name each contradiction.
    #[default]
    Refuse,
    /// Use the geometry: transformed back into the document's reference system it replaces
    /// `position` or `path`. Vertices of a path that were not moved keep their recorded numbers.
    /// Runs and observations follow their pipe.
    TakeGeometry,
    /// Ignore all geometries.
    KeepProperties,
}

impl Moved {
    /// The name of the option.
    pub const OPTION: &str = "moved-geometry";
    /// The values of the option, the default first.
    pub const NAMES: [&str; 3] = ["refuse", "take", "keep-properties"];

    /// Its name.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Refuse => Self::NAMES[0],
            Self::TakeGeometry => Self::NAMES[1],
            Self::KeepProperties => Self::NAMES[2],
        }
    }

    /// The value with a name.
    pub(super) fn from_name(name: &str) -> Option<Self> {
        [Self::Refuse, Self::TakeGeometry, Self::KeepProperties]
            .into_iter()
            .find(|moved| moved.as_str() == name)
    }
}

/// A geometry as it is in a file.
#[derive(Clone, Debug)]
pub(super) struct Drawn {
    pub(super) geometry: Geometry,
    pub(super) line: usize,
    pub(super) column: usize,
}

/// The geometries of a file, by table, one per row.
#[derive(Debug, Default)]
pub(super) struct Drawings {
    structures: Vec<Option<Drawn>>,
    pipes: Vec<Option<Drawn>>,
    locates: Vec<Option<Drawn>>,
    runs: Vec<Option<Drawn>>,
    pub(super) observations: Vec<Vec<Option<Drawn>>>,
}

impl Drawings {
    pub(super) fn table(&mut self, name: &str) -> Option<&mut Vec<Option<Drawn>>> {
        match name {
            "structures" => Some(&mut self.structures),
            "pipes" => Some(&mut self.pipes),
            "locates" => Some(&mut self.locates),
            "runs" => Some(&mut self.runs),
            _ => None,
        }
    }

    /// The geometries of one run: its own, then those of its observations.
    pub(super) fn of_run(mut drawn: Vec<Option<Drawn>>) -> Self {
        let observations = drawn.split_off(1.min(drawn.len()));
        Self { runs: drawn, observations: vec![observations], ..Self::default() }
    }

    fn first(&self) -> Option<&Drawn> {
        let tables = [&self.structures, &self.pipes, &self.locates, &self.runs];
        tables
            .into_iter()
            .chain(&self.observations)
            .flatten()
            .flatten()
            .min_by_key(|drawn| (drawn.line, drawn.column))
    }
}

/// A feature whose geometry contradicts its row.
struct Conflict {
    /// The feature, in words.
    what: String,
    /// How the geometry differs, in words.
    how: String,
    line: usize,
    column: usize,
    /// How to change the row so that it agrees with the geometry, if that is possible.
    remedy: Option<String>,
}

/// Compares the geometries with the document, and applies the policy.
///
/// # Errors
/// When a geometry contradicts the document and the policy does not resolve it.
pub(super) fn settle(
    document: &mut Document,
    drawings: &Drawings,
    moved: Moved,
    file: &str,
) -> Result<(), ConvertError> {
    let Some(first) = drawings.first().filter(|_| moved != Moved::KeepProperties) else {
        return Ok(());
    };
    if document.head.crs.is_none() && !has_positions(&document.head) {
        let message = "the file has a new geometry, but the document has no reference system for its position; add \"crs\": \"OGC:CRS84\" to the \
                       member \"survey\" to record positions as longitude and latitude on WGS 84";
        return Err(at(file, first.line, first.column, message.to_owned()));
    }
    let crs = crs_of(&document.head, WHY)?;
    let take = moved == Moved::TakeGeometry;

    let network = Network::new(&document.head, WHY)?;
    let map = network.on(&document.head);
    let moved = MovedRows {
        structures: off(&drawings.structures, |index| map.structure(index)).collect(),
        locates: off(&drawings.locates, |index| map.locate(index)).collect(),
        pipes: off(&drawings.pipes, |index| map.pipe(index)).collect(),
    };
    let mut conflicts = match take {
        true => Vec::new(),
        false => moved.conflicts(&document.head, map, &crs, file),
    };
    let off_distance = off_distance(map, &document.runs, drawings, |_, _| true);
    if !conflicts.is_empty() {
        conflicts.extend(off_distance.into_iter().map(|(_, _, conflict)| conflict));
        return refuse(file, conflicts);
    }
    let off_distance_before: Vec<(usize, Option<usize>)> =
        off_distance.into_iter().map(|(run, row, _)| (run, row)).collect();
    moved.take(&mut document.head, &crs, file)?;
    if off_distance_before.is_empty() {
        return Ok(());
    }
    // Runs and observations may have been left where they were, or moved with their pipe.
    let network = Network::new(&document.head, WHY)?;
    let still = |run, row| off_distance_before.binary_search(&(run, row)).is_ok();
    let conflicts = self::off_distance(network.on(&document.head), &document.runs, drawings, still);
    refuse(file, conflicts.into_iter().map(|(.., conflict)| conflict).collect())
}

/// The rows of the head whose geometry contradicts them, each with its index.
struct MovedRows<'d> {
    structures: Vec<(usize, &'d Drawn)>,
    locates: Vec<(usize, &'d Drawn)>,
    pipes: Vec<(usize, &'d Drawn)>,
}

impl MovedRows<'_> {
    /// The contradictions in rows that have a position.
    fn conflicts(&self, head: &Head, map: Map<'_>, crs: &Crs, file: &str) -> Vec<Conflict> {
        let structures = self.structures.iter().filter_map(|(index, drawn)| {
            let row = &head.structures[*index];
            row.position.as_ref()?;
            let what = format!("structure {:?}", row.id.as_str());
            let found = conflict(what, drawn, map.structure(*index), "position");
            let follow =
                ", and set the geometries of the pipes, runs and observations there to null";
            Some(Conflict { remedy: Some(placed(crs, drawn, file) + follow), ..found })
        });
        let pipes = self.pipes.iter().filter_map(|(index, drawn)| {
            let (row, derived) = (&head.pipes[*index], map.pipe(*index));
            if derived.is_none() && row.path.is_empty() {
                return None;
            }
            let kept = if row.path.is_empty() { "straight line between its ends" } else { "path" };
            let remedy = format!(
                "write its vertices into the property \"path\", in {crs}, and set the geometries of its runs and observations to null"
            );
            let found = conflict(format!("pipe {:?}", row.id.as_str()), drawn, derived, kept);
            Some(Conflict { remedy: Some(remedy), ..found })
        });
        let locates = self.locates.iter().filter_map(|(index, drawn)| {
            let row = &head.locates[*index];
            row.position.as_ref()?;
            let what = format!("locate {:?}", row.id.as_str());
            let found = conflict(what, drawn, map.locate(*index), "position");
            Some(Conflict { remedy: Some(placed(crs, drawn, file)), ..found })
        });
        structures.chain(pipes).chain(locates).collect()
    }

    /// Replaces the positions and paths of the rows by their geometries.
    fn take(self, head: &mut Head, crs: &Crs, file: &str) -> Result<(), ConvertError> {
        // Points first, since straight pipes follow them.
        for (index, drawn) in self.structures {
            head.structures[index].position = Some(point(crs, drawn, file)?);
        }
        for (index, drawn) in self.locates {
            head.locates[index].position = Some(point(crs, drawn, file)?);
        }
        if self.pipes.is_empty() {
            return Ok(());
        }
        let network = Network::new(head, WHY)?;
        let map = network.on(head);
        let mut paths = Vec::new();
        for (index, drawn) in self.pipes {
            if map.pipe(index).is_none_or(|line| !line.agrees(&drawn.geometry)) {
                paths.push((index, path(crs, drawn, map.vertices(index), file)?));
            }
        }
        for (index, path) in paths {
            head.pipes[index].path = path;
        }
        Ok(())
    }
}

/// The geometries of a table that are not where the rows say.
fn off(
    drawings: &[Option<Drawn>],
    derived: impl Fn(usize) -> Option<Geometry>,
) -> impl Iterator<Item = (usize, &Drawn)> {
    let drawn =
        drawings.iter().enumerate().filter_map(|(index, drawn)| Some((index, drawn.as_ref()?)));
    drawn.filter(move |(index, drawn)| {
        derived(*index).is_none_or(|derived| !derived.agrees(&drawn.geometry))
    })
}

/// Whether the geometries of a run and its observations are where their distances are.
pub(super) fn agrees(map: Map<'_>, run: &Run, drawings: &Drawings) -> bool {
    off_distance(map, std::slice::from_ref(run), drawings, |_, _| true).is_empty()
}

/// Runs and observations that are not where their distances are, of those that `which` selects: run,
/// observation, conflict.
fn off_distance(
    map: Map<'_>,
    runs: &[Run],
    drawings: &Drawings,
    which: impl Fn(usize, Option<usize>) -> bool,
) -> Vec<(usize, Option<usize>, Conflict)> {
    let mut found = Vec::new();
    for (index, run) in runs.iter().enumerate() {
        let run_drawn = drawings.runs.get(index).and_then(Option::as_ref);
        let rows = drawings.observations.get(index).map_or([].as_slice(), Vec::as_slice);
        if run_drawn.is_none() && rows.iter().all(Option::is_none) {
            continue;
        }
        let line = map.line_of(run);
        let placer = line.as_ref().and_then(|line| map.placer(run, line));
        let mut compare = |row: Option<usize>,
                           what: String,
                           drawn: &Drawn,
                           derived: Option<Geometry>| {
            if derived.as_ref().is_none_or(|derived| !derived.agrees(&drawn.geometry)) {
                found.push((index, row, conflict(what, drawn, derived, "distance on the pipe")));
            }
        };
        if let Some(drawn) = run_drawn.filter(|_| which(index, None)) {
            let derived =
                placer.as_ref().and_then(|placer| placer.run(run)).map(|placed| placed.geometry);
            compare(None, format!("run {:?}", run.id.as_str()), drawn, derived);
        }
        for (row, (drawn, observation)) in rows.iter().zip(&run.observations).enumerate() {
            if let Some(drawn) = drawn.as_ref().filter(|_| which(index, Some(row))) {
                let place = |placer: &Placer<'_>| placer.observation(observation);
                let derived = placer.as_ref().and_then(place).map(|placed| placed.geometry);
                let what = format!(
                    "observation {:?} of run {:?}",
                    observation.id.as_str(),
                    run.id.as_str()
                );
                compare(Some(row), what, drawn, derived);
            }
        }
    }
    found
}

fn conflict(what: String, drawn: &Drawn, derived: Option<Geometry>, kept: &str) -> Conflict {
    let how = match derived.as_ref().map(|derived| derived.apart(&drawn.geometry)) {
        Some(Some(metres)) => format!("is {metres:.2} m from its {kept}"),
        Some(None) => format!("differs from its {kept}"),
        None => format!("has no {kept} to compare with"),
    };
    Conflict { what, how, line: drawn.line, column: drawn.column, remedy: None }
}

/// How to give a row the position of the geometry.
fn placed(crs: &Crs, drawn: &Drawn, file: &str) -> String {
    match point(crs, drawn, file) {
        Ok(position) => {
            format!("change the property \"position\" to [{}, {}]", position.x(), position.y())
        }
        Err(_) => format!("write its position into the property \"position\", in {crs}"),
    }
}

fn refuse(file: &str, mut conflicts: Vec<Conflict>) -> Result<(), ConvertError> {
    const NAMED: usize = 5;
    conflicts.sort_by_key(|conflict| (conflict.line, conflict.column));
    let Some(first) = conflicts.first() else { return Ok(()) };
    let mut message = format!("the geometry of {} {}", first.what, first.how);
    for (index, other) in conflicts.iter().enumerate().skip(1).take(NAMED - 1) {
        message.push_str(if index == 1 { "; the same applies to " } else { ", " });
        message.push_str(&other.what);
    }
    if let Some(more @ 1..) = conflicts.len().checked_sub(NAMED) {
        message.push_str(&format!(" and {more} more"));
    }
    message.push_str(&match conflicts.iter().find_map(|conflict| Some((&conflict.what, conflict.remedy.as_ref()?))) {
        Some((what, remedy)) => format!(
            "; if the properties are right, set the geometry to null; if the geometry of {what} is right, {remedy}"
        ),
        None => {
            "; correct the distance, which determines the geometry, or set the geometry to null".to_owned()
        }
    });
    Err(at(file, first.line, first.column, message))
}

fn at(file: &str, line: usize, column: usize, message: String) -> ConvertError {
    ConvertError::Format {
        place: Some(Location { file: file.to_owned(), line, column: Some(column), heading: None }),
        message,
    }
}

/// A drawn point in the document's reference system.
fn point(crs: &Crs, drawn: &Drawn, file: &str) -> Result<Position, ConvertError> {
    let Geometry::Point(lonlat) = drawn.geometry else {
        return Err(at(
            file,
            drawn.line,
            drawn.column,
            "the row has a position; draw its geometry as a point".to_owned(),
        ));
    };
    back(crs, lonlat, drawn, file)
}

/// A drawn line in the document's reference system. Vertices at the same place as one of `known`
/// become that one.
fn path(
    crs: &Crs,
    drawn: &Drawn,
    known: &[[f64; 2]],
    file: &str,
) -> Result<Vec<Position>, ConvertError> {
    let refused = |message: &str| Err(at(file, drawn.line, drawn.column, message.to_owned()));
    if matches!(drawn.geometry, Geometry::Point(_)) {
        return refused("the row is a pipe; draw its geometry as a line");
    }
    let Some(line) = drawn.geometry.joined() else {
        return refused(
            "the geometry of a pipe has several parts; draw it as one line from its upstream to its downstream end",
        );
    };
    let mut kept: Vec<(LonLat, [f64; 2])> =
        known.iter().filter_map(|vertex| Some((crs.to_wgs84(*vertex).ok()?, *vertex))).collect();
    kept.sort_by(|(a, _), (b, _)| a[0].total_cmp(&b[0]));
    line.into_iter()
        .map(|lonlat| {
            let from = kept.partition_point(|(known, _)| known[0] < lonlat[0] - 1e-6);
            let close = kept[from..].iter().take_while(|(known, _)| known[0] <= lonlat[0] + 1e-6);
            match close.into_iter().find(|(known, _)| near(*known, lonlat)) {
                Some((_, known)) => {
                    Position::try_from(*known).map_err(|error| out_of_range(drawn, file, &error))
                }
                None => back(crs, lonlat, drawn, file),
            }
        })
        .collect()
}

fn out_of_range(drawn: &Drawn, file: &str, error: &NumberError) -> ConvertError {
    at(file, drawn.line, drawn.column, error.to_string())
}

/// A longitude and latitude in the document's reference system, rounded to a tenth of a millimetre,
/// the precision of a geometry.
fn back(crs: &Crs, lonlat: LonLat, drawn: &Drawn, file: &str) -> Result<Position, ConvertError> {
    let scale = if crs.kind() == CrsKind::Geographic { 1e9 } else { 1e4 };
    match crs.from_wgs84(lonlat) {
        Ok(position) => {
            let [x, y] = position.map(|value| (value * scale).round() / scale + 0.0);
            Position::new(x, y).map_err(|error| out_of_range(drawn, file, &error))
        }
        Err(why) => Err(at(
            file,
            drawn.line,
            drawn.column,
            format!("the geometry cannot be transformed to {crs}: {why}"),
        )),
    }
}
