//! What a command reads: a file, a folder or standard input, in any format of any version, or an
//! office's own table by its layout.

use std::cell::Cell;
use std::fs;
use std::io::{self, Read};
use std::ops::{Deref, DerefMut};
use std::path::Path;

use obvert::Opened;
use obvert::convert::{
    self, ConvertError, Detection, Format, FormatError, Locations, LossReport, Provenance, Sample,
    SourceMap, Survey, SurveyReader, json,
};
use obvert::model::layout::Layout;
use obvert::model::lists::CodeList;
use obvert::open::LAYOUT;

use crate::formats::{formats, refusal};
use crate::render::findings::Texts;
use crate::{Failure, Status, atomic_output, render};

/// A survey that was opened.
pub(crate) struct Input<'l> {
    opened: Opened<'l>,
    /// The archive that it is a line of, and how many lines are before it there.
    pub(crate) line_of: Option<(String, usize)>,
    /// Whether the version that it was migrated from has been reported.
    reported: Cell<bool>,
}

/// A layout, and the code lists beside the built-in ones that its table may be coded in.
pub(crate) struct ByLayout {
    pub(crate) layout: Layout,
    pub(crate) lists: Vec<CodeList>,
}

impl ByLayout {
    /// How the names of its files end.
    pub(crate) fn extensions(&self) -> &'static [&'static str] {
        if self.layout.xml.is_some() { &["xml"] } else { &["csv", "xlsx"] }
    }

    /// Whether a format has files that end as those of the layout do.
    pub(crate) fn shares(&self, format: &Format) -> bool {
        self.extensions().iter().any(|ending| format.extensions.contains(ending))
    }

    /// How the names of its files end, as a list.
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

    /// A line of an archive, by the archive's name: a JSON document of any version.
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

    /// The bytes of a JSON document as they are in the file.
    pub(crate) fn bytes(&self) -> &[u8] {
        self.text(self.name()).unwrap_or_default()
    }

    /// Whether it is a document of an older version of the format.
    pub(crate) fn is_older(&self) -> bool {
        self.migration().is_some()
    }

    /// Reports once that a document of an older version was migrated, and what is worth knowing
    /// about what was opened.
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
                "{}: of version {from} of the format, read as {to} and with its paths; obvert migrate shows the steps",
                self.name()
            ));
        }
    }

    /// The whole survey. What reading it lost is reported.
    pub(crate) fn whole(&mut self) -> Result<Survey, Failure> {
        self.report_notes();
        let survey = self.survey()?;
        self.report_losses()?;
        Ok(survey)
    }

    /// Reports what reading the survey lost.
    pub(crate) fn report_losses(&self) -> Result<(), Failure> {
        let Provenance { locations, losses } = self.provenance();
        report_losses(self.name(), losses, locations.as_ref())
    }

    /// Starts to read it run by run.
    pub(crate) fn runs(&mut self) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        self.report_notes();
        self.read(Locations::Skipped)
    }

    /// An error of reading it. Everything that is wrong is printed if it is not valid.
    pub(crate) fn failed(&mut self, error: ConvertError) -> Result<Status, Failure> {
        match self.source().explain(error) {
            ConvertError::Structure(problems) => {
                for line in render::problems::lines(&problems, self) {
                    render::failure(&*Failure::from(line));
                }
                Ok(Status::Failed)
            }
            error => Err(self.error(error).into()),
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

/// Reports what reading a survey of a name lost.
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
    render::losses::say(&[losses], Some(name), locations, None)
}

/// A file, or standard input for `-`: how messages call it, and its bytes.
pub(crate) fn read_file(path: &Path) -> Result<(String, Vec<u8>), Failure> {
    let mut bytes = Vec::new();
    if path == Path::new("-") {
        let name = "standard input".to_owned();
        io::stdin().lock().read_to_end(&mut bytes).map_err(|error| format!("{name}: {error}"))?;
        return Ok((name, bytes));
    }
    atomic_output::note_read(path);
    let read = fs::File::open(path).and_then(|mut file| file.read_to_end(&mut bytes));
    read.map_err(|error| unreadable(path, &error))?;
    Ok((path.display().to_string(), bytes))
}

/// Why a file cannot be read.
pub(crate) fn unreadable(path: &Path, error: &io::Error) -> Failure {
    let name = path.display();
    match error.kind() {
        io::ErrorKind::NotFound => format!("{name}: there is no such file").into(),
        _ => format!("{name}: {error}").into(),
    }
}

/// Opens a survey: a file, a folder of tables, or standard input for `-`. With a layout, what is no
/// survey of any format is an office's own table.
pub(crate) fn open<'l>(
    path: &Path,
    stated: Option<&'static Format>,
    layout: Option<&'l ByLayout>,
) -> Result<Input<'l>, Failure> {
    match layout {
        Some(by) if may_be_table(path, stated, by) => open_table(path, stated, by),
        _ => open_survey(path, stated),
    }
}

/// Whether a file may be an office's own table: by what was stated, and by its name.
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
        return Err(
            format!("{name}: is JSON; an office's own table is CSV, a workbook or XML").into()
        );
    }
    // A survey of a format says so itself: nothing else opens as one.
    if stated.is_none()
        && let Ok(format) = formats().by_content(&Sample::File(&bytes))
        && format.source(convert::Input::file(name.as_str(), bytes.as_slice())).is_ok()
    {
        return Ok(Input::new(Opened::in_format(convert::Input::file(name, bytes), format)?));
    }
    Ok(Input::new(Opened::by_layout(bytes, &name, &by.layout, &by.lists)))
}

fn open_survey<'l>(path: &Path, stated: Option<&'static Format>) -> Result<Input<'l>, Failure> {
    let name = path.display();
    if stated == Some(&LAYOUT) {
        return Err(format!(
            "{name}: an office's own table is read by its layout; give it with --layout"
        )
        .into());
    }
    if path.is_dir() {
        return open_folder(path, stated);
    }
    if stated.is_none() && is_archive(path) {
        return Err(format!(
            "{name}: is an archive of surveys; obvert archive unpack writes each to a file of its own"
        )
        .into());
    }
    let (name, bytes) = read_file(path)?;
    let is_possible =
        |format: &Format| (format.detect)(&Sample::File(&bytes)) == Detection::Possible;
    let format = formats().detect(&convert::Input::file(name.as_str(), bytes.as_slice()), stated);
    let format = format.map_err(|error| refusal(&name, &error))?;
    // Files of other vocabularies look alike.
    let foreign = is_possible(format) && LAYOUT.extensions.contains(&format.extensions[0]);
    if format == &json::FORMAT && is_layout(&bytes) {
        return Err(format!(
            "{name}: is a layout, and no survey; give it with --layout, and here the table that it is of"
        )
        .into());
    }
    match Opened::in_format(convert::Input::file(name, bytes), format) {
        Ok(opened) => Ok(Input::new(opened)),
        Err(error) if foreign => {
            Err(format!("{error}; if this is an office's own file, give its --layout").into())
        }
        Err(error) => Err(error.into()),
    }
}

/// Opens a folder of tables. Of the files in it, only those are read that the format reads.
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
    let format = formats().detect_folder(&known, stated).map_err(|error| refusal(&name, &error))?;
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

/// Whether a file is an archive by its name.
pub(crate) fn is_archive(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("jsonl"))
}

/// The format that a file's name tells.
pub(crate) fn by_name(path: &Path) -> Option<&'static Format> {
    formats().by_name(&path.file_name()?.to_string_lossy())
}

/// Whether a JSON document is the layout of an office's own table: it says so in its first keys, as
/// a survey does.
fn is_layout(bytes: &[u8]) -> bool {
    let start = String::from_utf8_lossy(&bytes[..bytes.len().min(1024)]);
    let key = |key: &str| start.contains(&format!("\"{key}\""));
    key("layout")
        && !key("obvert")
        && serde_json::from_slice::<serde_json::Map<String, serde_json::Value>>(bytes)
            .is_ok_and(|keys| keys.contains_key("layout") && !keys.contains_key("obvert"))
}
