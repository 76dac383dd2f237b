//! The fields that a layout's paths refer to. A path is looked up once in the shape of the format
//! and is a number from then on: cheap to copy, compare and match.

use std::cmp::Ordering;
use std::collections::{BTreeMap, HashMap};
use std::fmt;
use std::sync::OnceLock;

use serde_json::{Map, Value};

use crate::profile::{FieldPath, FieldPathError};
use crate::shape::{self, Field, ObjectShape, Shape};

/// A field of the format, by its path in a layout: keys without the indexes of lists.
///
/// ```
/// use obvert_model::layout::{Record, Target};
///
/// let path = "runs.observations.clock.at".parse()?;
/// let target = Target::resolve(&path)?;
/// assert_eq!(target, Target::CLOCK_AT);
/// assert_eq!((target.path(), target.record()), ("runs.observations.clock.at", Record::Observation));
///
/// let error = Target::resolve(&"runs.observations.clok".parse()?).unwrap_err();
/// assert_eq!(error.near.as_deref(), Some("runs.observations.clock"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Target(u16);

/// The fields that layouts treat specially. Only here are their paths written out; a test checks
/// that the format has them all.
macro_rules! targets {
    ($($(#[$doc:meta])+ $name:ident = $path:literal;)+) => {
        #[allow(non_camel_case_types, clippy::upper_case_acronyms)]
        #[repr(u16)]
        enum Number { $($name),+ }
        impl Target { $($(#[$doc])+ pub const $name: Self = Self(Number::$name as u16);)+ }
        const NAMED: &[&str] = &[$($path),+];
    };
}

targets! {
    /// The id of the document.
    ID = "id";
    /// When the record was issued.
    ISSUED = "issued";
    /// The language of the texts.
    LANGUAGE = "language";
    /// The horizontal reference system.
    CRS = "crs";
    /// The vertical reference system.
    VERTICAL = "vertical";
    /// The grade scheme.
    GRADING = "grading";
    /// The id of the grade scheme.
    GRADE_SCHEME = "grading.scheme";
    /// The version of the grade scheme.
    GRADE_SCHEME_VERSION = "grading.version";
    /// The ratings of pipes.
    RATINGS = "ratings";
    /// The unit of lengths.
    LENGTH_UNIT = "units.length";
    /// The unit of sizes of cross-sections.
    SECTION_UNIT = "units.section";
    /// The code list.
    CODE_LIST = "coding.list";
    /// The version of the code list.
    CODE_LIST_VERSION = "coding.version";
    /// The owner of the pipes, a party.
    OWNER = "assignment.owner";
    /// The number of the contract.
    CONTRACT = "assignment.contract";
    /// The pipes.
    PIPES = "pipes";
    /// The id of a pipe.
    PIPE_ID = "pipes.id";
    /// The upstream end of a pipe.
    PIPE_UPSTREAM = "pipes.upstream";
    /// The downstream end of a pipe.
    PIPE_DOWNSTREAM = "pipes.downstream";
    /// The length of a pipe.
    PIPE_LENGTH = "pipes.length";
    /// The shape of a pipe's cross-section.
    PIPE_SHAPE = "pipes.shape";
    /// The height of a pipe's cross-section.
    PIPE_HEIGHT = "pipes.height";
    /// The width of a pipe's cross-section.
    PIPE_WIDTH = "pipes.width";
    /// The runs.
    RUNS = "runs";
    /// The id of a run.
    RUN_ID = "runs.id";
    /// The pipe that a run is in.
    RUN_PIPE = "runs.pipe";
    /// The structure at which the camera started.
    RUN_FROM = "runs.from";
    /// The structure that the camera went towards.
    RUN_TO = "runs.to";
    /// The direction of travel.
    DIRECTION = "runs.direction";
    /// Who operated the camera, a party.
    OPERATOR = "runs.operator";
    /// When a run started.
    STARTED = "runs.started";
    /// The run that this run completes from the other end.
    REVERSE_OF = "runs.reverse_of";
    /// How a run ended.
    OUTCOME = "runs.outcome";
    /// The surveyed length of a run.
    SURVEYED = "runs.surveyed";
    /// The observations of a run.
    OBSERVATIONS = "runs.observations";
    /// The id of an observation.
    OBSERVATION_ID = "runs.observations.id";
    /// The distance of an observation.
    DISTANCE = "runs.observations.at";
    /// Where a continuous observation ends.
    DISTANCE_TO = "runs.observations.to";
    /// Whether an observation is continuous.
    CONTINUOUS = "runs.observations.continuous";
    /// The code of an observation.
    CODE = "runs.observations.code";
    /// The characterisation of an observation, a list of texts.
    CHARACTERISATION = "runs.observations.characterisation";
    /// The amounts of an observation, each with value and unit.
    AMOUNTS = "runs.observations.quantities";
    /// One amount of an observation; its unit is in the cell, in the column or follows from the
    /// code.
    AMOUNT = "runs.observations.quantities.value";
    /// The unit of an amount, if it has a column of its own.
    AMOUNT_UNIT = "runs.observations.quantities.unit";
    /// The grades of an observation. A column has one; its aspect follows from the code.
    GRADES = "runs.observations.grades";
    /// The clock reference of an observation: one position, or two.
    CLOCK = "runs.observations.clock";
    /// The one position of a clock reference.
    CLOCK_AT = "runs.observations.clock.at";
    /// The first of two positions.
    CLOCK_FROM = "runs.observations.clock.from";
    /// The remark on an observation.
    REMARK = "runs.observations.remark";
    /// The media that an observation refers to.
    MEDIA_REFERENCES = "runs.observations.media";
    /// The file of a medium that an observation refers to.
    MEDIA_FILE = "runs.observations.media.id";
    /// The offset of an observation in a recording.
    MEDIA_OFFSET = "runs.observations.media.offset";
    /// The media.
    MEDIA = "media";
    /// The role of a party.
    PARTY_ROLE = "parties.role";
    /// The kind of a structure.
    STRUCTURE_KIND = "structures.kind";
}

/// The record that has a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Record {
    /// The document itself.
    Document,
    /// A medium.
    Media,
    /// A party.
    Party,
    /// A pipe.
    Pipe,
    /// A run.
    Run,
    /// An observation.
    Observation,
    /// A structure.
    Structure,
}

impl Record {
    /// The records that are in lists, an inner list before its outer list.
    const LISTED: [Self; 6] =
        [Self::Observation, Self::Run, Self::Pipe, Self::Structure, Self::Media, Self::Party];

    /// The path of the list of such records; empty for the document.
    #[must_use]
    pub const fn list(self) -> &'static str {
        match self {
            Self::Document => "",
            Self::Media => "media",
            Self::Party => "parties",
            Self::Pipe => "pipes",
            Self::Run => "runs",
            Self::Observation => "runs.observations",
            Self::Structure => "structures",
        }
    }

    /// The name of such a record in messages.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Document => "document",
            Self::Media => "picture or recording",
            Self::Party => "party",
            Self::Pipe => "pipe",
            Self::Run => "run",
            Self::Observation => "observation",
            Self::Structure => "structure",
        }
    }

    /// The record of a path, and the rest of the path.
    fn of(path: &str) -> (Self, &str) {
        let below = |record: &Self| {
            path.strip_prefix(record.list())?.strip_prefix('.').map(|rest| (*record, rest))
        };
        Self::LISTED.iter().find_map(below).unwrap_or((Self::Document, path))
    }
}

impl Target {
    /// The field of a path.
    ///
    /// # Errors
    /// If the format has no such field, with the nearest one.
    pub fn resolve(path: &FieldPath) -> Result<Self, FieldPathError> {
        path.resolve()?;
        let none =
            || FieldPathError { message: format!("the format has no field {path}"), near: None };
        Self::named(path).ok_or_else(none)
    }

    /// The field of a path; `None` if the format has none.
    #[must_use]
    pub fn named(path: &str) -> Option<Self> {
        catalogue().by_path.get(path).copied()
    }

    /// The field of a key inside this one.
    #[must_use]
    pub fn child(self, key: &str) -> Option<Self> {
        Self::named(&format!("{}.{key}", self.path()))
    }

    /// Every field of the format, by path.
    pub fn all() -> impl Iterator<Item = Self> {
        let mut all: Vec<Self> = catalogue().by_path.values().copied().collect();
        all.sort_unstable();
        all.into_iter()
    }

    fn entry(self) -> &'static Entry {
        static NONE: Entry = Entry::none();
        catalogue().entries.get(usize::from(self.0)).unwrap_or(&NONE)
    }

    /// Its path.
    #[must_use]
    pub fn path(self) -> &'static str {
        &self.entry().path
    }

    /// The record that has it.
    #[must_use]
    pub fn record(self) -> Record {
        self.entry().record
    }

    /// Its keys from its record.
    #[must_use]
    pub fn keys(self) -> &'static [String] {
        &self.entry().keys
    }

    /// Where it is in its record, as a JSON Pointer.
    #[must_use]
    pub fn pointer(self) -> &'static str {
        &self.entry().pointer
    }

    /// The field as the format declares it.
    #[must_use]
    pub fn field(self) -> &'static Field {
        self.entry().field
    }

    /// The shape of its value; for a list, of each item.
    #[must_use]
    pub fn shape(self) -> &'static Shape {
        match &self.field().shape {
            Shape::List(item) => item,
            other => other,
        }
    }

    /// For a length, the field with its unit: [`Target::LENGTH_UNIT`] or [`Target::SECTION_UNIT`].
    #[must_use]
    pub fn measured_in(self) -> Option<Self> {
        self.field().measures().and_then(Self::named)
    }

    /// Whether it belongs to a list without a [`Record`], such as the equipment.
    #[must_use]
    pub fn is_unlisted(self) -> bool {
        self.entry().unlisted
    }

    /// Whether its value is one item of a list of an observation, or a part of such an item, so that
    /// several columns can hold several items.
    #[must_use]
    pub fn has_places(self) -> bool {
        [Self::CHARACTERISATION, Self::AMOUNT, Self::AMOUNT_UNIT, Self::MEDIA_FILE].contains(&self)
    }

    /// Whether it is a list, or in a list, that a column cannot fill: all but those of an
    /// observation that layouts know.
    #[must_use]
    pub fn is_in_unknown_list(self) -> bool {
        if self.has_places() || self == Self::MEDIA_OFFSET {
            return false;
        }
        let record = self.record().list();
        let is_list = |path: &str| {
            let target = Self::named(path);
            target.is_some_and(|target| matches!(target.field().shape, Shape::List(_)))
        };
        let path = self.path();
        let ends = path.match_indices('.').map(|(end, _)| end).chain([path.len()]);
        ends.map(|end| &path[..end]).any(|above| above.len() > record.len() && is_list(above))
    }

    /// Whether it is the extensions of a record.
    #[must_use]
    pub fn is_extensions(self) -> bool {
        self.field().shape == Shape::Extensions
    }

    /// Whether another field is this one or inside it.
    #[must_use]
    pub fn holds(self, other: Self) -> bool {
        self == other
            || other.path().strip_prefix(self.path()).is_some_and(|rest| rest.starts_with('.'))
    }

    /// Its value in a record.
    #[must_use]
    pub fn get(self, record: &Value) -> Option<&Value> {
        self.keys().iter().try_fold(record, |value, key| value.get(key))
    }

    /// Its value in the fields of a record.
    #[must_use]
    pub fn get_in(self, record: &Map<String, Value>) -> Option<&Value> {
        let (first, rest) = self.keys().split_first()?;
        rest.iter().try_fold(record.get(first)?, |value, key| value.get(key))
    }

    /// Sets its value in the fields of a record. Missing parent objects are created.
    pub fn put(self, record: &mut Map<String, Value>, value: Value) {
        let Some((last, above)) = self.keys().split_last() else { return };
        let mut holder = record;
        for key in above {
            let below = holder.entry(key.clone()).or_insert_with(|| Value::Object(Map::new()));
            let Some(below) = below.as_object_mut() else { return };
            holder = below;
        }
        holder.insert(last.clone(), value);
    }
}

impl From<Target> for FieldPath {
    fn from(target: Target) -> Self {
        Self::of_field(target.path())
    }
}

/// Fields are in the order of their paths.
impl Ord for Target {
    fn cmp(&self, other: &Self) -> Ordering {
        self.entry().rank.cmp(&other.entry().rank)
    }
}

impl PartialOrd for Target {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl fmt::Debug for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Target({})", self.path())
    }
}

impl fmt::Display for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.path())
    }
}

struct Entry {
    path: String,
    record: Record,
    keys: Vec<String>,
    pointer: String,
    field: &'static Field,
    /// Whether it belongs to a list without a [`Record`].
    unlisted: bool,
    rank: u16,
}

/// The entry for a path that the format does not have.
static NO_FIELD: Field = Field {
    name: String::new(),
    required: false,
    description: String::new(),
    pattern: None,
    form: None,
    unit: None,
    bounds: None,
    id_of: None,
    shape: Shape::Text,
};

impl Entry {
    const fn none() -> Self {
        Self {
            path: String::new(),
            record: Record::Document,
            keys: Vec::new(),
            pointer: String::new(),
            field: &NO_FIELD,
            unlisted: false,
            rank: 0,
        }
    }

    fn new(path: &str, (field, in_list): (&'static Field, bool), rank: u16) -> Self {
        let (record, below) = Record::of(path);
        let unlisted = in_list && record == Record::Document;
        let keys: Vec<String> = below.split('.').map(str::to_owned).collect();
        let pointer = format!("/{}", keys.join("/"));
        Self { path: path.to_owned(), record, keys, pointer, field, unlisted, rank }
    }
}

struct Catalogue {
    /// Fields with a constant first, in the order of the constants.
    entries: Vec<Entry>,
    by_path: HashMap<String, Target>,
}

fn catalogue() -> &'static Catalogue {
    static CATALOGUE: OnceLock<Catalogue> = OnceLock::new();
    CATALOGUE.get_or_init(|| {
        let mut fields = BTreeMap::new();
        collect(shape::document(), "", false, &mut fields);
        let ranks: HashMap<&str, u16> = fields.keys().map(String::as_str).zip(0..).collect();
        let others = fields.keys().map(String::as_str).filter(|path| !NAMED.contains(path));
        let entry = |path: &str| {
            let field = fields.get(path).copied().unwrap_or((&NO_FIELD, false));
            Entry::new(path, field, ranks.get(path).copied().unwrap_or(u16::MAX))
        };
        let entries: Vec<Entry> = NAMED.iter().copied().chain(others).map(entry).collect();
        let known = entries.iter().zip(0..).filter(|(entry, _)| fields.contains_key(&entry.path));
        let by_path = known.map(|(entry, number)| (entry.path.clone(), Target(number))).collect();
        Catalogue { entries, by_path }
    })
}

/// A field, and whether the object that has it is in a list.
type Found = (&'static Field, bool);

/// The fields of an object and of everything inside it, by path.
fn collect(
    object: &'static ObjectShape,
    above: &str,
    in_list: bool,
    fields: &mut BTreeMap<String, Found>,
) {
    for field in &object.fields {
        let path =
            if above.is_empty() { field.name.clone() } else { format!("{above}.{}", field.name) };
        let mut shape = &field.shape;
        while let Shape::List(item) = shape {
            shape = item;
        }
        if let Shape::Object(name) = shape {
            let is_list = matches!(field.shape, Shape::List(_));
            collect(shape::object(name), &path, in_list || is_list, fields);
        }
        fields.insert(path, (field, in_list));
    }
}

#[cfg(test)]
mod tests;
