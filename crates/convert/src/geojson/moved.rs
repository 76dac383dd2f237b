//! What to do when a geometry and the row that it was drawn from say different things, because
//! somebody has moved one or edited the other. Dropping either without a word would be the worst
//! answer, so there is a policy, and errors that name every feature concerned.

use obvert_geo::{Crs, CrsKind};
use obvert_model::number::{NumberError, Position};
use obvert_model::tables::{Document, Run};

use super::WHY;
use crate::map::geometry::{Geometry, LonLat, near};
use crate::map::network::{Map, Network, Placer, crs_of, has_positions};
use crate::{ConvertError, Location};

/// What a reader does with a geometry of a structure, pipe or locate that is not where the
/// properties say, beyond rounding.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Moved {
    /// Refuse to read, naming each.
    #[default]
    Refuse,
    /// Take the geometry over: turned back into the document's reference system it replaces
    /// `position` or `path`. Vertices of a path that were not moved keep their recorded numbers.
    /// Runs and observations follow their pipe.
    TakeGeometry,
    /// Take no notice of any geometry.
    KeepProperties,
}

impl Moved {
    /// The name of the option that says so.
    pub const OPTION: &str = "moved-geometry";
    /// What it can be, the default first.
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

    /// What has a name.
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

/// The geometries of a file, by table, one for each row.
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

    /// Those of one run: its own, then those of its observations.
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

/// A feature whose geometry is not where its row says.
struct Conflict {
    /// The feature, in words.
    what: String,
    /// How the geometry differs, in words.
    how: String,
    line: usize,
    column: usize,
    /// What makes the row say what the geometry says, where it is one that could.
    remedy: Option<String>,
}

/// Compares the geometries with the document and takes over what is to be taken over.
///
/// # Errors
/// When a geometry contradicts the document and the policy does not settle it.
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
        let message = "a position was drawn, but the document has no reference system to put it into; add \"crs\": \"OGC:CRS84\" to the \
                       member \"survey\" to record positions as longitude and latitude on WGS 84";
        return Err(at(file, first.line, first.column, message.to_owned()));
    }
    let crs = crs_of(&document.head, WHY)?;
    let take = moved == Moved::TakeGeometry;

    // What is not where the document as it stands has it.
    let network = Network::new(&document.head, WHY)?;
    let map = network.on(&document.head);
    let mut conflicts = Vec::new();
    let structures = points(&drawings.structures, |index| map.structure(index));
    let locates = points(&drawings.locates, |index| map.locate(index));
    let pipes: Vec<(usize, &Drawn)> = off(&drawings.pipes, |index| map.pipe(index)).collect();
    if !take {
        for (index, drawn) in &structures {
            let row = &document.head.structures[*index];
            if row.position.is_some() {
                let found = conflict(
                    format!("structure {:?}", row.id.as_str()),
                    drawn,
                    map.structure(*index),
                    "position",
                );
                let follow =
                    ", and set the geometries of the pipes, runs and observations there to null";
                conflicts
                    .push(Conflict { remedy: Some(placed(&crs, drawn, file) + follow), ..found });
            }
        }
        for (index, drawn) in &pipes {
            let (row, was) = (&document.head.pipes[*index], map.pipe(*index));
            if was.is_some() || !row.path.is_empty() {
                let kept =
                    if row.path.is_empty() { "straight line between its ends" } else { "path" };
                let remedy = format!(
                    "write its vertices into the property \"path\", in {crs}, and set the geometries of its runs and observations to null"
                );
                let found = conflict(format!("pipe {:?}", row.id.as_str()), drawn, was, kept);
                conflicts.push(Conflict { remedy: Some(remedy), ..found });
            }
        }
        for (index, drawn) in &locates {
            let row = &document.head.locates[*index];
            if row.position.is_some() {
                let found = conflict(
                    format!("locate {:?}", row.id.as_str()),
                    drawn,
                    map.locate(*index),
                    "position",
                );
                conflicts.push(Conflict { remedy: Some(placed(&crs, drawn, file)), ..found });
            }
        }
    }
    let seen = seen_elsewhere(map, &document.runs, drawings, |_, _| true);
    if !conflicts.is_empty() {
        conflicts.extend(seen.into_iter().map(|(_, _, conflict)| conflict));
        return refuse(file, conflicts);
    }
    let seen: Vec<(usize, Option<usize>)> =
        seen.into_iter().map(|(run, row, _)| (run, row)).collect();

    // Points first, since straight pipes follow them.
    for (index, drawn) in structures {
        document.head.structures[index].position = Some(point(&crs, drawn, file)?);
    }
    for (index, drawn) in locates {
        document.head.locates[index].position = Some(point(&crs, drawn, file)?);
    }
    if !pipes.is_empty() {
        let network = Network::new(&document.head, WHY)?;
        let map = network.on(&document.head);
        let mut paths = Vec::new();
        for (index, drawn) in pipes {
            if map.pipe(index).is_none_or(|line| !line.agrees(&drawn.geometry)) {
                paths.push((index, path(&crs, drawn, map.vertices(index), file)?));
            }
        }
        for (index, path) in paths {
            document.head.pipes[index].path = path;
        }
    }

    // Runs and observations may have stayed where they were or may have been moved with their pipe.
    if seen.is_empty() {
        return Ok(());
    }
    let network = Network::new(&document.head, WHY)?;
    let still = |run, row| seen.binary_search(&(run, row)).is_ok();
    let conflicts: Vec<_> =
        seen_elsewhere(network.on(&document.head), &document.runs, drawings, still)
            .into_iter()
            .map(|(.., c)| c)
            .collect();
    if conflicts.is_empty() { Ok(()) } else { refuse(file, conflicts) }
}

/// The drawn geometries of a table that are not where the rows have them.
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

fn points(
    drawings: &[Option<Drawn>],
    derived: impl Fn(usize) -> Option<Geometry>,
) -> Vec<(usize, &Drawn)> {
    off(drawings, derived).collect()
}

/// Whether a run and its observations lie where their distances are, as drawn.
pub(super) fn agrees(map: Map<'_>, run: &Run, drawings: &Drawings) -> bool {
    seen_elsewhere(map, std::slice::from_ref(run), drawings, |_, _| true).is_empty()
}

/// Runs and observations that are not where their distances are, of those that `which` names: run,
/// observation, conflict.
fn seen_elsewhere(
    map: Map<'_>,
    runs: &[Run],
    drawings: &Drawings,
    which: impl Fn(usize, Option<usize>) -> bool,
) -> Vec<(usize, Option<usize>, Conflict)> {
    let mut found = Vec::new();
    for (index, run) in runs.iter().enumerate() {
        let whole = drawings.runs.get(index).and_then(Option::as_ref);
        let rows = drawings.observations.get(index).map_or([].as_slice(), Vec::as_slice);
        if whole.is_none() && rows.iter().all(Option::is_none) {
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
        if let Some(drawn) = whole.filter(|_| which(index, None)) {
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
        Some(Some(metres)) => format!("lies {metres:.2} m from its {kept}"),
        Some(None) => format!("is another than its {kept}"),
        None => format!("has no {kept} to agree with"),
    };
    Conflict { what, how, line: drawn.line, column: drawn.column, remedy: None }
}

/// What makes a row have the position that was drawn.
fn placed(crs: &Crs, drawn: &Drawn, file: &str) -> String {
    match point(crs, drawn, file) {
        Ok(position) => {
            format!("make the property \"position\" [{}, {}]", position.x(), position.y())
        }
        Err(_) => format!("write its place into the property \"position\", in {crs}"),
    }
}

fn refuse(file: &str, mut conflicts: Vec<Conflict>) -> Result<(), ConvertError> {
    const NAMED: usize = 5;
    conflicts.sort_by_key(|conflict| (conflict.line, conflict.column));
    let Some(first) = conflicts.first() else { return Ok(()) };
    let mut message = format!("the geometry of {} {}", first.what, first.how);
    for (index, other) in conflicts.iter().enumerate().skip(1).take(NAMED - 1) {
        message.push_str(if index == 1 { "; so it is with " } else { ", " });
        message.push_str(&other.what);
    }
    if let Some(more @ 1..) = conflicts.len().checked_sub(NAMED) {
        message.push_str(&format!(" and {more} more"));
    }
    message.push_str(&match conflicts.iter().find_map(|conflict| Some((&conflict.what, conflict.remedy.as_ref()?))) {
        Some((what, remedy)) => format!(
            "; where the properties are right, set the geometry to null to have it drawn from them; where that of {what} is, {remedy}"
        ),
        None => {
            "; what was seen lies where its distance is: correct the distance, or set the geometry to null".to_owned()
        }
    });
    Err(at(file, first.line, first.column, message))
}

fn at(file: &str, line: usize, column: usize, message: String) -> ConvertError {
    ConvertError::Form {
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
            "the row has a position, so its geometry must be a point".to_owned(),
        ));
    };
    back(crs, lonlat, drawn, file)
}

/// A drawn line in the document's reference system. Vertices that stand where `known` ones do are
/// those.
fn path(
    crs: &Crs,
    drawn: &Drawn,
    known: &[[f64; 2]],
    file: &str,
) -> Result<Vec<Position>, ConvertError> {
    let refused = |message: &str| Err(at(file, drawn.line, drawn.column, message.to_owned()));
    if matches!(drawn.geometry, Geometry::Point(_)) {
        return refused("a pipe has a course, so its geometry must be a line");
    }
    let Some(line) = drawn.geometry.joined() else {
        return refused(
            "the geometry of a pipe is in several pieces; draw it as one line from its upstream to its downstream end",
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

/// A longitude and latitude in the document's reference system, to a tenth of a millimetre: more a
/// geometry does not hold.
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
            format!("the geometry cannot be taken into {crs}: {why}"),
        )),
    }
}
