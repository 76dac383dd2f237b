//! Reading files: which form a source has, standard streams, and how its values are placed in messages.

use std::cell::Cell;
use std::fs;
use std::io::{self, Read};
use std::path::Path;
use std::sync::Arc;

use obvert::convert::{
    ConvertError, LossReport, PlacedProblem, SourceMap, Survey, csv, geojson, geopackage, hand_over, xlsx, xml,
};
use obvert::layout;
use obvert::model::layout::Layout;
use obvert::model::lists::CodeList;
use obvert::model::read::{ReadError, Runs};
use obvert::model::tables::Head;
use obvert::model::versions::{self, MigrateError, Migrated};

use crate::Failure;
use crate::args::Form;

/// What is said of a form that cannot be read.
const WRITTEN_ONLY: &str =
    "this form is written only, since it leaves out most of a survey; convert from the file that it was made of";

/// A source as it was read.
pub(crate) struct Source {
    /// How it is named in messages.
    pub(crate) name: String,
    /// Its form.
    pub(crate) form: Form,
    /// Its files by name; one with an empty name unless it is a folder.
    pub(crate) files: Vec<(String, Vec<u8>)>,
    /// What an office's own table is read by.
    pub(crate) layout: Option<Arc<ByLayout>>,
    /// A JSON document of an older version, brought to this one; or why it could not be.
    older: Option<Box<Result<Migrated, MigrateError>>>,
    /// Whether that has been said.
    told: Cell<bool>,
    /// The archive that it is a line of, and how many lines stand before it there.
    pub(crate) line_of: Option<(String, usize)>,
}

/// What reading a survey gave, what was lost by it, and the places of all values where they are known.
pub(crate) type Streamed<T> = Result<(T, LossReport, Option<SourceMap>), ConvertError>;

/// A layout, and the code lists beside the built-in ones that its table may be coded in.
pub(crate) struct ByLayout {
    pub(crate) layout: Layout,
    pub(crate) lists: Vec<CodeList>,
}

impl ByLayout {
    /// The form that the names of its files look like.
    pub(crate) fn form(&self) -> Form {
        if self.layout.xml.is_some() { Form::Xml } else { Form::Csv }
    }
}

impl Source {
    /// A source that is one file.
    pub(crate) fn of_file(name: String, form: Form, bytes: Vec<u8>) -> Self {
        Self {
            name,
            form,
            files: vec![(String::new(), bytes)],
            layout: None,
            older: None,
            told: Cell::new(false),
            line_of: None,
        }
    }

    /// A line of an archive, by the archive's name: a JSON document of any version.
    pub(crate) fn of_line(archive: &str, number: usize, bytes: Vec<u8>) -> Self {
        let source = Self::of_file(format!("{archive}:{number}"), Form::Json, bytes);
        Self { line_of: Some((archive.to_owned(), number.saturating_sub(1))), ..source }.up_to_date()
    }

    /// The bytes of a source that is one file.
    pub(crate) fn bytes(&self) -> &[u8] {
        self.files.first().map_or(&[], |(_, bytes)| bytes)
    }

    /// The bytes of a JSON document in this version of the format: its own, unless it is of an older one, which is said. Lines
    /// are the same.
    ///
    /// # Errors
    /// When a document of an older version is none by that version's schema.
    pub(crate) fn current(&self) -> Result<&[u8], &MigrateError> {
        match self.older.as_deref() {
            None => Ok(self.bytes()),
            Some(Ok(migrated)) => {
                if !self.told.replace(true) {
                    let (from, to) = (migrated.from, migrated.to);
                    crate::render::note(&format!(
                        "{}: of version {from} of the format, read as {to} and with its paths; obvert migrate shows the steps",
                        self.name
                    ));
                }
                Ok(migrated.text.as_bytes())
            }
            Some(Err(error)) => Err(error),
        }
    }

    /// Whether it is a document of an older version.
    pub(crate) fn is_older(&self) -> bool {
        self.older.is_some()
    }

    /// The document of an older version, brought to this one.
    pub(crate) fn migrated(&self) -> Option<&Migrated> {
        self.older.as_deref().and_then(|older| older.as_ref().ok())
    }

    /// Brings a JSON document of an older version to this one, in memory.
    fn up_to_date(mut self) -> Self {
        if self.form != Form::Json {
            return self;
        }
        let Some(version) = versions::stated(self.bytes()) else { return self };
        // One that nobody knows is refused by whoever reads it.
        if version == versions::CURRENT || !versions::KNOWN.contains(&version.as_str()) {
            return self;
        }
        self.older = Some(Box::new(versions::migrate(self.bytes(), versions::CURRENT)));
        self
    }

    /// The survey, where the form is another than JSON; `None` for JSON, which has readers of its own.
    pub(crate) fn survey(&self) -> Option<Result<Survey, ConvertError>> {
        Some(self.survey_with_losses()?.map(|(survey, report)| {
            if !self.told.replace(true) {
                for note in &report.notes {
                    crate::render::note(&format!("{}: {}", self.name, note.message));
                }
                // Whether anybody reads this does not decide about the survey.
                let losses = LossReport { notes: Vec::new(), ..report };
                let _ = crate::render::losses::say(&[losses], Some(&self.name), Some(&survey.places), None);
            }
            survey
        }))
    }

    /// The survey as [`survey`](Self::survey) gives it, with what the form could not carry over when it was read.
    pub(crate) fn survey_with_losses(&self) -> Option<Result<(Survey, LossReport), ConvertError>> {
        let name = &self.name;
        let survey = match self.form {
            Form::Json => return None,
            Form::Layout => {
                return Some(match &self.layout {
                    Some(by) => layout::read(self.bytes(), name, &by.layout, &by.lists),
                    None => Err(ConvertError::Refused { message: "give the layout of the table with --layout".into() }),
                });
            }
            Form::Xml => xml::read(self.bytes(), name),
            Form::Geojson => geojson::read(self.bytes(), name),
            Form::CsvZip => csv::read_zip(self.bytes(), name),
            Form::Xlsx => xlsx::read(self.bytes(), name),
            Form::Geopackage => geopackage::read(self.bytes(), name),
            Form::Kml | Form::Geoparquet => Err(ConvertError::Refused { message: WRITTEN_ONLY.to_owned() }),
            Form::Csv => csv::read(&self.files, name),
        };
        Some(survey.map(|survey| (survey, LossReport::default())))
    }

    /// Reads the survey a run at a time where its form allows that: calls `work` with the head and the runs to be taken from it,
    /// again where the first road did not lead to the end, and what it gave before is void. With what it gave in the end comes
    /// what was lost in reading, and the places of all values where they are known anyway. `None` for JSON, which has readers of
    /// its own.
    pub(crate) fn stream<T>(&self, work: &mut dyn FnMut(&Head, &mut dyn Runs) -> T) -> Option<Streamed<T>> {
        let (name, bytes) = (&self.name, self.bytes());
        let result = match self.form {
            Form::Json => return None,
            Form::Xml => xml::read_stream(bytes, name, work),
            Form::Geojson => geojson::read_stream(bytes, name, work),
            Form::CsvZip => csv::read_zip_stream(bytes, name, work),
            Form::Csv => csv::read_stream(&self.files, name, work),
            Form::Xlsx => xlsx::read_stream(bytes, name, work),
            Form::Geopackage => geopackage::read_stream(bytes, name, work),
            Form::Kml | Form::Geoparquet | Form::Layout => {
                return Some(
                    self.survey_with_losses()?
                        .map(|(survey, losses)| (hand_over(survey.document, work), losses, Some(survey.places))),
                );
            }
        };
        Some(result.map(|result| (result, LossReport::default(), None)))
    }

    /// Why it could not be read, with its name once.
    pub(crate) fn failure(&self, error: &ConvertError) -> Failure {
        let start = &self.bytes()[..self.bytes().len().min(4096)];
        let namespace = xml::NAMESPACE.as_bytes();
        if self.form == Form::Xml && !start.windows(namespace.len()).any(|window| window == namespace) {
            return format!("{error}; if this is an office's own file, give its --layout").into();
        }
        match error {
            // The places in these errors name the file already.
            ConvertError::Form { place: Some(_), .. } => self.inside(&error.to_string()).into(),
            _ => {
                // Some name the file themselves.
                let (error, named) = (error.to_string(), format!("{}: ", self.name));
                if error.starts_with(&named) { error.into() } else { format!("{named}{error}").into() }
            }
        }
    }

    /// Whether it is made of tables, in which a row and a column tell where something stands.
    pub(crate) const fn is_tabular(&self) -> bool {
        matches!(self.form, Form::Layout | Form::Csv | Form::CsvZip | Form::Xlsx | Form::Geopackage)
    }

    /// A problem as it is told: in a table by row and column alone, since whoever mends it sees no document.
    pub(crate) fn problem(&self, placed: &PlacedProblem) -> String {
        let problem = &placed.problem;
        self.inside(&match (&placed.place, &problem.suggestion) {
            (Some(place), Some(near)) if self.is_tabular() => {
                format!("{place}: {}; did you mean {near:?}?", problem.message)
            }
            (Some(place), None) if self.is_tabular() => format!("{place}: {}", problem.message),
            _ => placed.to_string(),
        })
    }

    /// A text that begins with the name of one of its files, with the folder or zip that the file is in before it; sheets of a
    /// workbook and tables of a GeoPackage are named as files in it are.
    pub(crate) fn inside(&self, text: &str) -> String {
        match self.form {
            Form::Csv | Form::CsvZip | Form::Xlsx | Form::Geopackage => {
                format!("{}/{text}", self.name.trim_end_matches('/'))
            }
            _ => text.to_owned(),
        }
    }

    /// The text of one of its files, by the name that a place has.
    pub(crate) fn text_of(&self, file: &str) -> Option<&[u8]> {
        let of = |name: &str| name == file || (!name.is_empty() && Path::new(file).ends_with(name));
        match self.files.as_slice() {
            _ if matches!(self.form, Form::Xlsx | Form::Geopackage) => None,
            [(name, bytes)] if name.is_empty() => Some(bytes.as_slice()),
            files => files.iter().find(|(name, _)| of(name)).map(|(_, bytes)| bytes.as_slice()),
        }
    }
}

/// How a file, or standard input for `-`, is named in messages, and its bytes.
pub(crate) fn bytes(path: &Path) -> Result<(String, Vec<u8>), Failure> {
    let standard = path == Path::new("-");
    let name = if standard { "standard input".to_owned() } else { path.display().to_string() };
    let mut bytes = Vec::new();
    let read = if standard {
        io::stdin().lock().read_to_end(&mut bytes)
    } else {
        crate::pending::note_read(path);
        fs::File::open(path).and_then(|mut file| file.read_to_end(&mut bytes))
    };
    read.map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => format!("{name}: there is no such file"),
        _ => format!("{name}: {error}"),
    })?;
    Ok((name, bytes))
}

/// Reads a source that may be an office's own table: one whose name and content tell no other form is read by the layout.
pub(crate) fn read_by(path: &Path, form: Option<Form>, layout: Option<&Arc<ByLayout>>) -> Result<Source, Failure> {
    let Some(by) = layout else { return read(path, form) };
    let standard = path == Path::new("-");
    let own = by.form();
    let other = match form {
        Some(form) => form != Form::Layout,
        None => {
            // A table may stand in a workbook.
            let is_own = |form| form == own || form == Form::Xlsx && own == Form::Csv;
            !standard && (path.is_dir() || by_name(path).is_some_and(|form| !is_own(form)))
        }
    };
    if other {
        return read(path, form);
    }
    let (name, bytes) = bytes(path)?;
    if matches!(bytes.trim_ascii_start().first(), Some(b'{' | b'[')) {
        return Err(format!("{name}: is JSON; an office's own table is CSV, a workbook or XML").into());
    }
    if form.is_none() && by_name(path) == Some(Form::Xlsx) && xlsx::is_survey(&bytes) {
        return Ok(Source::of_file(name, Form::Xlsx, bytes));
    }
    // XML of this format says so itself.
    let namespace = xml::NAMESPACE.as_bytes();
    let start = &bytes[..bytes.len().min(4096)];
    if form.is_none() && own == Form::Xml && start.windows(namespace.len()).any(|window| window == namespace) {
        return Ok(Source::of_file(name, Form::Xml, bytes));
    }
    Ok(Source { layout: Some(Arc::clone(by)), ..Source::of_file(name, Form::Layout, bytes) })
}

/// Reads a source: a file, a folder of tables, or standard input for `-`.
pub(crate) fn read(path: &Path, form: Option<Form>) -> Result<Source, Failure> {
    if form == Some(Form::Layout) {
        return Err(
            format!("{}: an office's own table is read by its layout; give it with --layout", path.display()).into()
        );
    }
    if path == Path::new("-") {
        let mut bytes = Vec::new();
        io::stdin().lock().read_to_end(&mut bytes).map_err(|error| format!("standard input: {error}"))?;
        let form = form.map_or_else(|| by_content(&bytes), Ok).map_err(|why| format!("standard input: {why}"))?;
        return Ok(Source::of_file("standard input".into(), form, bytes).up_to_date());
    }
    let name = path.display().to_string();
    let fail = |error: io::Error| match error.kind() {
        io::ErrorKind::NotFound => format!("{name}: there is no such file"),
        _ => format!("{name}: {error}"),
    };
    crate::pending::note_read(path);
    if fs::metadata(path).map_err(fail)?.is_dir() {
        if let Some(form) = form.filter(|form| *form != Form::Csv) {
            let form = word(form);
            return Err(format!("{name}: a folder; only CSV tables are read from one, and --from says {form}").into());
        }
        let mut files = Vec::new();
        for entry in fs::read_dir(path).map_err(fail)? {
            let entry = entry.map_err(fail)?;
            let file = entry.file_name().to_string_lossy().into_owned();
            let table = [".csv", ".json"].iter().any(|ending| file.to_ascii_lowercase().ends_with(ending));
            if entry.path().is_file() && table {
                files.push((file, fs::read(entry.path()).map_err(fail)?));
            }
        }
        files.sort();
        for missing in missing_of(&files) {
            crate::render::note(&format!(
                "{name}: there is no {missing}, which its datapackage.json names; it is read without it"
            ));
        }
        if !files.iter().any(|(file, _)| file.to_ascii_lowercase().ends_with(".csv")) {
            let parquet = |path: &Path| by_name(path) == Some(Form::Geoparquet);
            let layers = fs::read_dir(path).map_err(fail)?.flatten().any(|entry| parquet(&entry.path()));
            let why = if layers {
                format!("GeoParquet: {WRITTEN_ONLY}")
            } else {
                "there is no CSV table in this folder".to_owned()
            };
            return Err(format!("{name}: {why}").into());
        }
        return Ok(Source { files, ..Source::of_file(name, Form::Csv, Vec::new()) });
    }
    if form.is_none() && path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("jsonl")) {
        return Err(format!(
            "{name}: is an archive of surveys; obvert archive unpack writes each to a file of its own"
        )
        .into());
    }
    let bytes = fs::read(path).map_err(fail)?;
    if let (Some(told), Ok(seen)) = (form, by_content(&bytes)) {
        let same = told == seen || told == Form::Csv && seen == Form::CsvZip;
        if !same {
            return Err(format!("{name}: looks like {}, but --from says {}", word(seen), word(told)).into());
        }
    }
    let form = match form.or_else(|| by_name(path)) {
        // A file of CSV tables is the zip of them; one table alone is no survey.
        Some(Form::Csv) if bytes.starts_with(b"PK") => Form::CsvZip,
        Some(Form::Csv) => {
            return Err(
                format!("{name}: one CSV table is no survey; give the folder with all of them, or their zip, or for an office's own table its --layout").into()
            );
        }
        // .json says little: GeoJSON has that ending as well.
        Some(Form::Json) => by_content(&bytes).unwrap_or(Form::Json),
        Some(form) => form,
        None => by_content(&bytes).map_err(|why| format!("{name}: {why}"))?,
    };
    if form == Form::Json && is_layout(&bytes) {
        return Err(format!(
            "{name}: is a layout, and no survey; give it with --layout, and here the table that it is of"
        )
        .into());
    }
    Ok(Source::of_file(name, form, bytes).up_to_date())
}

/// The tables that the description of a package names and that are not there. Nothing else is taken from it: the tables say everything.
fn missing_of(files: &[(String, Vec<u8>)]) -> Vec<String> {
    let described = files.iter().find(|(file, _)| file == "datapackage.json");
    let package = described.and_then(|(_, bytes)| serde_json::from_slice::<serde_json::Value>(bytes).ok());
    let resources = package.as_ref().and_then(|package| package["resources"].as_array());
    let paths = resources.into_iter().flatten().filter_map(|resource| resource["path"].as_str());
    let table = |path: &&str| !path.contains('/') && path.to_ascii_lowercase().ends_with(".csv");
    paths.filter(table).filter(|path| !files.iter().any(|(file, _)| file == path)).map(str::to_owned).collect()
}

/// Whether a JSON document is the layout of an office's own table: it says so in its first keys, as a survey does.
fn is_layout(bytes: &[u8]) -> bool {
    let start = String::from_utf8_lossy(&bytes[..bytes.len().min(1024)]);
    let key = |key: &str| start.contains(&format!("\"{key}\""));
    key("layout")
        && !key("obvert")
        && serde_json::from_slice::<serde_json::Map<String, serde_json::Value>>(bytes)
            .is_ok_and(|keys| keys.contains_key("layout") && !keys.contains_key("obvert"))
}

/// The structural problems of a document of an older version, by its own schema.
pub(crate) fn problems_before(error: &MigrateError) -> &[obvert::model::read::Problem] {
    match error {
        MigrateError::Before { source: ReadError::Structure(problems), .. } => problems,
        _ => &[],
    }
}

/// The form that a file's name tells.
pub(crate) fn by_name(path: &Path) -> Option<Form> {
    match path.extension()?.to_str()?.to_ascii_lowercase().as_str() {
        "json" => Some(Form::Json),
        "geojson" => Some(Form::Geojson),
        "xml" => Some(Form::Xml),
        "zip" => Some(Form::CsvZip),
        "csv" => Some(Form::Csv),
        "xlsx" => Some(Form::Xlsx),
        "gpkg" => Some(Form::Geopackage),
        "kml" => Some(Form::Kml),
        "parquet" => Some(Form::Geoparquet),
        _ => None,
    }
}

fn by_content(bytes: &[u8]) -> Result<Form, &'static str> {
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let start = text.iter().position(|byte| !byte.is_ascii_whitespace()).map_or(&[][..], |at| &text[at..]);
    let beginning = &start[..start.len().min(4096)];
    let holds = |needle: &[u8]| beginning.windows(needle.len()).any(|window| window == needle);
    match start {
        [b'<', ..] => Ok(Form::Xml),
        [b'P', b'K', ..] if is_workbook(start) => Ok(Form::Xlsx),
        [b'P', b'K', ..] => Ok(Form::CsvZip),
        _ if start.starts_with(b"SQLite format 3\0") => Ok(Form::Geopackage),
        [b'{', ..] if holds(b"\"FeatureCollection\"") => Ok(Form::Geojson),
        [b'{', ..] => Ok(Form::Json),
        [] => Err("the source is empty"),
        // The compound files of older office programs.
        [0xD0, 0xCF, 0x11, 0xE0, ..] => {
            Err("is an old workbook or office document; save it as .xlsx, or as CSV, and give that")
        }
        _ if start.starts_with(b"%PDF") => Err("is a PDF, which has no data to read; ask for the survey as data"),
        _ if start.starts_with(b"PAR1") => Err(WRITTEN_ONLY),
        _ => Err("cannot tell which form this is; say so with --from"),
    }
}

/// How the name of a file of a form ends.
pub(crate) fn ending(form: Form) -> &'static str {
    match form {
        Form::Json => ".obvert.json",
        Form::Xml => ".xml",
        Form::Geojson => ".geojson",
        Form::CsvZip => ".zip",
        Form::Geopackage => ".gpkg",
        Form::Kml => ".kml",
        Form::Csv | Form::Geoparquet | Form::Layout => "",
        Form::Xlsx => ".xlsx",
    }
}

/// Whether a zip archive is a workbook, by a name that stands in its directory at the end, or at the start in most.
fn is_workbook(zip: &[u8]) -> bool {
    const REACH: usize = 1 << 16;
    let name = b"xl/workbook.xml";
    let parts = [&zip[..zip.len().min(REACH)], &zip[zip.len().saturating_sub(REACH)..]];
    parts.into_iter().any(|part| part.windows(name.len()).any(|window| window == name))
}

/// A form's word on the command line.
pub(crate) fn word(form: Form) -> String {
    use clap::ValueEnum;
    form.to_possible_value().map(|value| value.get_name().to_owned()).unwrap_or_default()
}
