//! What a format is: its names, what it can hold, how it is recognised, read and written. Each
//! format is one [`Format`] in a module of its own; [`Formats`] is the registry of all of them,
//! from which the command, help texts and messages are made.

mod input;
mod output;
mod registry;

pub use input::Input;
pub use output::{CreateFile, MemoryFolder, Output, WriteSeek};
pub use registry::{FormatError, Formats};

use obvert_model::read::RunReader;

use crate::source::Source;
use crate::{ConvertError, LossReport};

/// A format in which a survey is read or written.
///
/// ```
/// use obvert_convert::Formats;
///
/// let formats = Formats::built_in();
/// let json = formats.get("json").expect("JSON is always there");
/// assert_eq!(json.extensions, ["obvert.json", "json"]);
/// assert!(json.capabilities.lossless && json.is_read() && json.is_written());
/// ```
#[derive(Debug)]
pub struct Format {
    /// Its name on the command line, in reports, accounts and profiles: lower case with hyphens.
    pub name: &'static str,
    /// Its name in a sentence: "GeoJSON".
    pub title: &'static str,
    /// What it is, in one sentence.
    pub description: &'static str,
    /// How the names of its files end, without the dot before it. The first is that of files that
    /// are written.
    pub extensions: &'static [&'static str],
    /// The media type of a file (RFC 6838); that of one of its files if it is a folder.
    pub media_type: &'static str,
    /// What it can do.
    pub capabilities: Capabilities,
    /// Recognises a file or folder by its content.
    pub detect: fn(&Sample<'_>) -> Detection,
    /// Opens a file or folder for reading; `None` for a format that is written only.
    pub open: Option<Open>,
    /// Writes a survey; `None` for a format that is read only.
    pub create: Option<Create>,
}

/// Opens a file or folder. See [`Format::source`].
pub type Open = for<'a> fn(Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError>;

/// Writes a survey. See [`Format::write`].
pub type Create = fn(
    &mut dyn RunReader<Error = ConvertError>,
    &mut Output<'_>,
) -> Result<LossReport, ConvertError>;

/// What a format can do.
#[derive(Clone, Copy, Debug)]
pub struct Capabilities {
    /// Whether it holds everything, so that a document that is written and read again has not
    /// changed.
    pub lossless: bool,
    /// One file, or a folder of files.
    pub container: Container,
    /// Whether its locations are rows and columns of tables, each with the name of its table, and
    /// not lines and characters of a text.
    pub tabular: bool,
    /// What a reader of it can be told.
    pub options: &'static [FormatOption],
}

/// One file, or a folder of files.
#[derive(Clone, Copy, Debug)]
pub enum Container {
    /// One file.
    File {
        /// Whether it can be written only where the writer can go back ([`Output::File`]). It is
        /// held in memory for a stream.
        seekable: bool,
    },
    /// A folder of files.
    Folder(Folder),
}

/// What a folder of files is like.
#[derive(Clone, Copy, Debug)]
pub struct Folder {
    /// What it is, as a sentence: "CSV tables are a folder".
    pub sentence: &'static str,
    /// What one of its files is called: "CSV table".
    pub file: &'static str,
    /// The names of the files that are written.
    pub names: fn() -> Vec<String>,
    /// Whether a file of a name is read.
    pub reads: fn(&str) -> bool,
    /// The name of the format that holds the same files in one, if there is one.
    pub packed: Option<&'static str>,
}

/// Something that a reader of a format can be told, by [`Input::with_option`].
#[derive(Clone, Copy, Debug)]
pub struct FormatOption {
    /// Its name.
    pub name: &'static str,
    /// What it decides.
    pub description: &'static str,
    /// What it can be, the default first.
    pub values: &'static [&'static str],
}

/// What a format is recognised by.
#[derive(Clone, Copy, Debug)]
pub enum Sample<'s> {
    /// The bytes of a file.
    File(&'s [u8]),
    /// The names of the files in a folder.
    Folder(&'s [&'s str]),
}

impl<'s> Sample<'s> {
    /// The beginning of a text, without a byte-order mark and white space before it; empty for a
    /// folder.
    #[must_use]
    pub fn start(&self) -> &'s [u8] {
        const ENOUGH: usize = 4096;
        let Self::File(bytes) = self else { return &[] };
        let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes).trim_ascii_start();
        &text[..text.len().min(ENOUGH)]
    }

    /// Whether the beginning of a file has a text in it.
    #[must_use]
    pub fn start_has(&self, needle: &str) -> bool {
        self.start().windows(needle.len()).any(|window| window == needle.as_bytes())
    }
}

/// How sure it is that a file or folder is of a format.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Detection {
    /// It is not.
    No,
    /// It may be: it looks like all files of its kind, such as any JSON.
    Possible,
    /// It is: no other format begins like this.
    Certain,
}

impl Format {
    /// Whether the format can be read.
    #[must_use]
    pub const fn is_read(&self) -> bool {
        self.open.is_some()
    }

    /// Whether the format can be written.
    #[must_use]
    pub const fn is_written(&self) -> bool {
        self.create.is_some()
    }

    /// The folder that it is; `None` for one file.
    #[must_use]
    pub const fn folder(&self) -> Option<&Folder> {
        match &self.capabilities.container {
            Container::Folder(folder) => Some(folder),
            Container::File { .. } => None,
        }
    }

    /// Whether the name of a file ends as those of the format do.
    #[must_use]
    pub fn is_named(&self, name: &str) -> bool {
        let name = name.to_ascii_lowercase();
        self.extensions
            .iter()
            .any(|ending| name.strip_suffix(ending).is_some_and(|stem| stem.ends_with('.')))
    }

    /// Opens a file or folder of the format.
    ///
    /// # Errors
    /// When the format is written only, has no such option, or it is not of the format.
    pub fn source<'a>(&self, input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
        let Some(open) = self.open else {
            return Err(ConvertError::Refused {
                message: format!("{}: {WRITE_ONLY}", input.name()),
            });
        };
        for (name, value) in input.options() {
            let known = self.capabilities.options.iter().find(|option| option.name == name);
            if !known.is_some_and(|option| option.values.contains(&value)) {
                return Err(ConvertError::Refused { message: self.wrong_option(name, value) });
            }
        }
        open(input)
    }

    fn wrong_option(&self, name: &str, value: &str) -> String {
        match self.capabilities.options.iter().find(|option| option.name == name) {
            Some(option) => {
                format!(
                    "{} has no {name} {value:?}; expected {}",
                    self.title,
                    option.values.join(", ")
                )
            }
            None => format!("{} has no option {name:?}", self.title),
        }
    }

    /// Writes a survey. What is not in the format is in the report; nothing of what was written is
    /// to be kept if writing, or reading the survey, fails.
    ///
    /// # Errors
    /// When the survey turns out to be invalid, the format cannot hold it or is read only, or
    /// writing fails.
    pub fn write(
        &self,
        survey: &mut dyn RunReader<Error = ConvertError>,
        output: Output<'_>,
    ) -> Result<LossReport, ConvertError> {
        let Some(create) = self.create else {
            return Err(ConvertError::Refused { message: format!("{} is read only", self.title) });
        };
        match (output, self.capabilities.container) {
            (Output::Stream(sink), Container::File { seekable: true }) => {
                let mut held = std::io::Cursor::new(Vec::new());
                let losses = create(survey, &mut Output::File(&mut held))?;
                sink.write_all(held.get_ref())?;
                Ok(losses)
            }
            (Output::Folder(_), Container::File { .. }) => Err(ConvertError::Refused {
                message: format!("{} is one file and no folder", self.title),
            }),
            (Output::Stream(_) | Output::File(_), Container::Folder(folder)) => {
                Err(ConvertError::Refused { message: folder.sentence.to_owned() })
            }
            (mut output, _) => create(survey, &mut output),
        }
    }
}

impl PartialEq for Format {
    /// The registry has one format of each name.
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Eq for Format {}

impl std::fmt::Display for Format {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name)
    }
}

/// Why a format that is written only is not read.
const WRITE_ONLY: &str = "this format is written only, since it leaves out most of a survey; convert from the file that it was made of";
