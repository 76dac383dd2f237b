//! The inputs of a command: a file, a folder or standard input, in any format of any version, or an
//! office's own table with its layout.

use std::cell::Cell;
use std::fs;
use std::io::{self, Read};
use std::ops::{Deref, DerefMut};
use std::path::{Path, PathBuf};

use obvert::check::{Checker, Location, Report};
use obvert::convert::{
    self, ConvertError, Detection, Format, FormatError, Locations, LossReport, Provenance, Sample,
    SourceMap, SurveyReader, json,
};
use obvert::model::layout::Layout;
use obvert::model::lists::CodeList;
use obvert::model::read::ReadError;
use obvert::open::LAYOUT;
use obvert::{OpenError, Opened};

use crate::formats::{formats, refusal};
use crate::kinds::{Kind, kind_of};
use crate::render::excerpt::Texts;
use crate::{Failure, Status, advice, atomic_output, render};

/// A survey that was opened.
pub(crate) struct Input<'l> {
    opened: Opened<'l>,
    /// The archive that it is a line of, and the number of lines before it.
    pub(crate) line_of: Option<(String, usize)>,
    /// Whether its notes have been reported.
    reported: Cell<bool>,
}

/// A layout, and the code lists besides the built-in ones that its table may use.
pub(crate) struct ByLayout {
    pub(crate) layout: Layout,
    pub(crate) lists: Vec<CodeList>,
}

impl ByLayout {
    /// The extensions of its files.
    pub(crate) fn extensions(&self) -> &'static [&'static str] {
        if self.layout.xml.is_some() { &["xml"] } else { &["csv", "xlsx"] }
    }

    /// Whether a format has an extension of the layout.
    pub(crate) fn shares(&self, format: &Format) -> bool {
        self.extensions().iter().any(|ending| format.extensions.contains(ending))
    }

    /// The extensions of its files, as a list.
    pub(crate) fn endings(&self) -> String {
        self.extensions().iter().map(|ending| format!(".{ending}")).collect::<Vec<_>>().join(" or ")
    }
}

impl<'l> Deref for Input<'l> {
    type Target = Opened<'l>;
    fn deref(&self) -> &Self::Target {
        &self.opened
    }
}

impl DerefMut for Input<'_> {
    fn deref_mut(&mut self) -> &mut Self::Target {
        &mut self.opened
    }
}

impl<'l> Input<'l> {
    fn new(opened: Opened<'l>) -> Self {
        Self { opened, line_of: None, reported: Cell::new(false) }
    }

    /// A line of an archive: a JSON document of any version.
    pub(crate) fn of_line(archive: &str, number: usize, text: Vec<u8>) -> Result<Self, Failure> {
        let line = convert::Input::file(format!("{archive}:{number}"), text);
        let opened = Opened::in_format(line, &json::FORMAT)?;
        Ok(Self {
            line_of: Some((archive.to_owned(), number.saturating_sub(1))),
            ..Self::new(opened)
        })
    }

    /// Whether it is an office's own table.
    pub(crate) fn is_by_layout(&self) -> bool {
        self.format() == &LAYOUT
    }

    /// Whether it is a JSON document.
    pub(crate) fn is_json(&self) -> bool {
        self.format() == &json::FORMAT
    }

    /// The bytes of the file, for a JSON document.
    pub(crate) fn bytes(&self) -> &[u8] {
        self.text(self.name()).unwrap_or_default()
    }

    /// Whether it is a document of an older version of the format.
    pub(crate) fn is_older(&self) -> bool {
        self.migration().is_some()
    }

    /// Reports, once, the notes on what was opened, and that a document of an older version was
    /// migrated.
    pub(crate) fn report_notes(&self) {
        if self.reported.replace(true) {
            return;
        }
        for note in self.notes() {
            render::note(&format!("{}: {note}", self.name()));
        }
        if let Some(Ok(migrated)) = self.migration() {
            let (from, to) = (migrated.from, migrated.to);
            render::note(&format!(
                "{}: has version {from} of the format and was read as {to}, whose paths are \
                 reported; run obvert \
                 migrate to see the steps",
                self.name()
            ));
        }
    }

    /// Reports what reading the survey lost.
    pub(crate) fn report_losses(&self) -> Result<(), Failure> {
        let Provenance { locations, losses } = self.provenance();
        report_losses(self.name(), losses, locations.as_ref())
    }

    /// Checks it.
    pub(crate) fn check(&mut self, checker: &Checker) -> Result<Report, Failure> {
        let checked = self.opened.check(checker);
        checked.map_err(|error| self.in_line(&error))
    }

    /// An error of reading it, with the line that it is about.
    fn in_line(&self, error: &OpenError) -> Failure {
        advice::with_line(self, error.place(), error.to_string())
    }

    /// Starts to read it run by run.
    pub(crate) fn runs(&mut self) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        self.report_notes();
        self.read(Locations::Skipped)
    }

    /// Handles an error of reading it. If the survey is not valid, all its problems are printed.
    pub(crate) fn failed(&mut self, error: ConvertError) -> Result<Status, Failure> {
        match self.source().explain(error) {
            ConvertError::Structure(problems) => {
                for line in render::problems::lines(&problems, self) {
                    render::failure(&*Failure::from(line));
                }
                Ok(Status::Failed)
            }
            error => Err(self.in_line(&self.error(error))),
        }
    }
}

impl Texts for Input<'_> {
    fn text_of(&self, file: &str) -> Option<&[u8]> {
        self.text(file)
    }

    fn lines_before(&self) -> usize {
        self.line_of.as_ref().map_or(0, |(_, before)| *before)
    }
}

/// Reports what reading a survey lost.
pub(crate) fn report_losses(
    name: &str,
    losses: &LossReport,
    locations: Option<&SourceMap>,
) -> Result<(), Failure> {
    for note in &losses.notes {
        render::note(&format!("{name}: {}", note.message));
    }
    let mut losses = losses.clone();
    losses.notes.clear();
    render::losses::report(&[losses], Some(name), locations, None)
}

/// Reads a file, or standard input for `-`: its name in messages, and its bytes.
pub(crate) fn read_file(path: &Path) -> Result<(String, Vec<u8>), Failure> {
    let mut bytes = Vec::new();
    if path == Path::new("-") {
        let name = "standard input".to_owned();
        let read = io::stdin().lock().read_to_end(&mut bytes);
        read.map_err(|error| format!("{name}: cannot be read: {}", advice::system(&error)))?;
        return Ok((name, bytes));
    }
    atomic_output::note_read(path);
    let read = fs::File::open(path).and_then(|mut file| file.read_to_end(&mut bytes));
    read.map_err(|error| unreadable(path, &error))?;
    Ok((path.display().to_string(), bytes))
}

/// The error for a file that cannot be read.
pub(crate) fn unreadable(path: &Path, error: &io::Error) -> Failure {
    let name = path.display();
    match error.kind() {
        io::ErrorKind::NotFound => format!("{name}: there is no such file").into(),
        io::ErrorKind::IsADirectory => format!("{name}: {}", advice::system(error)).into(),
        _ => format!("{name}: cannot be read: {}", advice::system(error)).into(),
    }
}

/// Opens a survey: a file, a folder of tables, or standard input for `-`. With a layout, a file
/// that is not a survey in any format is an office's own table.
pub(crate) fn open<'l>(
    path: &Path,
    stated: Option<&'static Format>,
    layout: Option<&'l ByLayout>,
) -> Result<Input<'l>, Failure> {
    match layout {
        Some(by) if may_be_table(path, stated, by) => open_table(path, stated, by),
        _ => open_survey(path, stated, &["survey"]),
    }
}

/// Opens a survey or a profile.
pub(crate) fn open_survey_or_profile(path: &Path) -> Result<Input<'static>, Failure> {
    open_survey(path, None, &["survey", "profile"])
}

/// Whether a file may be an office's own table, by the stated format and its name.
fn may_be_table(path: &Path, stated: Option<&'static Format>, by: &ByLayout) -> bool {
    match stated {
        Some(stated) => stated == &LAYOUT,
        None if path == Path::new("-") => true,
        None => !path.is_dir() && by_name(path).is_none_or(|format| by.shares(format)),
    }
}

fn open_table<'l>(
    path: &Path,
    stated: Option<&'static Format>,
    by: &'l ByLayout,
) -> Result<Input<'l>, Failure> {
    let (name, bytes) = read_file(path)?;
    if matches!(bytes.trim_ascii_start().first(), Some(b'{' | b'[')) {
        return Err(format!(
            "{name}: is JSON, but an office's own table is CSV, a workbook or XML; name the table"
        )
        .into());
    }
    // Only a survey opens as one.
    if stated.is_none()
        && let Ok(format) = formats().by_content(&Sample::File(&bytes))
        && format.source(convert::Input::file(name.as_str(), bytes.as_slice())).is_ok()
    {
        return Ok(Input::new(Opened::in_format(convert::Input::file(name, bytes), format)?));
    }
    Ok(Input::new(Opened::by_layout(bytes, &name, &by.layout, &by.lists)))
}

/// Opens a survey, or another kind of JSON file that is expected.
fn open_survey<'l>(
    path: &Path,
    stated: Option<&'static Format>,
    expected: &[&str],
) -> Result<Input<'l>, Failure> {
    let name = path.display();
    if stated == Some(&LAYOUT) {
        return Err(format!(
            "{name}: an office's own table needs a layout; {}",
            advice::for_table()
        )
        .into());
    }
    if path.is_dir() {
        return open_folder(path, stated);
    }
    if stated.is_none() && is_archive(path) {
        return Err(format!(
            "{name}: is an archive of surveys; unpack it first with obvert archive unpack"
        )
        .into());
    }
    let (name, bytes) = read_file(path)?;
    let is_possible =
        |format: &Format| (format.detect)(&Sample::File(&bytes)) == Detection::Possible;
    let format = formats().detect(&convert::Input::file(name.as_str(), bytes.as_slice()), stated);
    let format = format.map_err(|error| refusal(&name, &error))?;
    // An office's own CSV or XML may look like one of the formats.
    let may_be_table = is_possible(format) && LAYOUT.extensions.contains(&format.extensions[0]);
    if format == &json::FORMAT
        && let Some(kind) = kind_of(&bytes).filter(|kind| !expected.contains(&kind.name))
    {
        return Err(other_kind(&name, kind));
    }
    match Opened::in_format(convert::Input::file(name, bytes), format) {
        Ok(opened) => Ok(Input::new(opened)),
        Err(error) if may_be_table => {
            let how = advice::for_table();
            Err(format!("{error}; if this is an office's own table, {how}").into())
        }
        Err(error) => Err(error.into()),
    }
}

/// Opens a folder of tables. Files that do not belong to the format are not read.
fn open_folder<'l>(path: &Path, stated: Option<&'static Format>) -> Result<Input<'l>, Failure> {
    let name = path.display().to_string();
    let fail = |error: io::Error| unreadable(path, &error);
    atomic_output::note_read(path);
    let mut names = Vec::new();
    for entry in fs::read_dir(path).map_err(fail)? {
        let entry = entry.map_err(fail)?;
        if entry.path().is_file() {
            names.push(entry.file_name().to_string_lossy().into_owned());
        }
    }
    names.sort();
    let known: Vec<&str> = names.iter().map(String::as_str).collect();
    let format = match formats().detect_folder(&known, stated) {
        Ok(format) => format,
        Err(error) => {
            return Err(match surveys_in(path).as_slice() {
                [only] if only == path => refusal(&name, &error),
                [survey] => {
                    format!("{name}: is a folder; name the survey in it, {survey:?}").into()
                }
                surveys => format!(
                    "{name}: is a folder with {} surveys, but one is read here; name one",
                    surveys.len()
                )
                .into(),
            });
        }
    };
    let Some(folder) = format.folder() else {
        return Err(refusal(&name, &FormatError::NoFolder(format)));
    };
    let mut files = Vec::new();
    for file in names.into_iter().filter(|file| (folder.reads)(file)) {
        let bytes = fs::read(path.join(&file)).map_err(fail)?;
        files.push((file, bytes));
    }
    Ok(Input::new(Opened::in_format(convert::Input::folder(name, files), format)?))
}

/// The surveys that are named on the command line, each once: files, and those in folders. A folder
/// without surveys stays, so that opening it says so.
pub(crate) fn surveys(paths: &[PathBuf]) -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> = Vec::new();
    for survey in in_folders(paths) {
        if all.iter().any(|known| atomic_output::is_same_file(known, &survey)) {
            render::note(&format!("{}: is named more than once, and read once", survey.display()));
        } else {
            all.push(survey);
        }
    }
    all
}

/// The surveys that are named on the command line: files, and those in folders.
pub(crate) fn in_folders(paths: &[PathBuf]) -> Vec<PathBuf> {
    paths.iter().flat_map(|path| surveys_in(path)).collect()
}

/// The surveys at a path: the path itself, or the surveys in the folder if it holds any.
fn surveys_in(path: &Path) -> Vec<PathBuf> {
    if !path.is_dir() || is_tables(path) {
        return vec![path.to_owned()];
    }
    let is_survey = |entry: &PathBuf| {
        if entry.is_dir() {
            is_tables(entry)
        } else {
            is_archive(entry) || by_name(entry).is_some_and(Format::is_read)
        }
    };
    let mut found: Vec<PathBuf> =
        file_names(path).into_iter().map(|name| path.join(name)).filter(is_survey).collect();
    found.sort();
    if found.is_empty() { vec![path.to_owned()] } else { found }
}

/// Whether a folder holds the tables of one survey.
fn is_tables(folder: &Path) -> bool {
    let names = file_names(folder);
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    formats().detect_folder(&names, None).is_ok()
}

fn file_names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect()
}

/// Whether a file is an archive, by its name.
pub(crate) fn is_archive(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("jsonl"))
}

/// The format that a file's name implies.
pub(crate) fn by_name(path: &Path) -> Option<&'static Format> {
    formats().by_name(&path.file_name()?.to_string_lossy())
}

/// The error for a JSON file that is not a survey.
fn other_kind(name: &str, kind: &Kind) -> Failure {
    let hint = match (kind.name, kind.option) {
        ("layout", _) if advice::has("layout") => {
            "give it with --layout, and name the table here".to_owned()
        }
        (_, Some(option)) if advice::has(option.trim_start_matches('-')) => {
            format!("name the survey here, and give this file with {option}")
        }
        _ => "name the survey here".to_owned(),
    };
    format!("{name}: is a {}, not a survey; {hint}", kind.name).into()
}

/// Where an error of reading JSON is.
pub(crate) fn place(name: &str, error: &ReadError) -> Option<Location> {
    if matches!(error, ReadError::Empty) {
        return None;
    }
    let (line, column) = error.line_and_column();
    Some(Location { file: name.to_owned(), line, column: Some(column), heading: None })
}

/// An error of reading JSON, with its location.
pub(crate) fn located(name: &str, error: &ReadError) -> String {
    match place(name, error) {
        Some(place) => format!("{place}: {}", error.message()),
        None => format!("{name}: {error}"),
    }
}
