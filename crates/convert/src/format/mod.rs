//! Formats: their names and capabilities, and how they are recognised, read and written. Each
//! format is one [`Format`] in its own module. [`Formats`] is the registry of all formats; the
//! command, help texts and messages are derived from it.

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
#[doc(alias = "file format")]
#[doc(alias = "file type")]
#[derive(Debug)]
pub struct Format {
    /// Its name on the command line, in reports, accounts and profiles: lower case with hyphens.
    pub name: &'static str,
    /// Its name in a sentence: "GeoJSON".
    pub title: &'static str,
    /// What it is, in one sentence.
    pub description: &'static str,
    /// The extensions of its files, without the leading dot. Files are written with the first one.
    pub extensions: &'static [&'static str],
    /// The media type of a file (RFC 6838); if the format is a folder, that of one of its files.
    pub media_type: &'static str,
    /// Its capabilities.
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

/// The capabilities of a format.
#[derive(Clone, Copy, Debug)]
pub struct Capabilities {
    /// Whether it holds everything, so that a document does not change when it is written and read
    /// again.
    pub lossless: bool,
    /// One file, or a folder of files.
    pub container: Container,
    /// Whether its locations are rows and columns of named tables, not lines and characters of a
    /// text.
    pub tabular: bool,
    /// The options of its reader.
    pub options: &'static [FormatOption],
}

/// One file, or a folder of files.
#[derive(Clone, Copy, Debug)]
pub enum Container {
    /// One file.
    File {
        /// Whether the writer needs a sink that can seek ([`Output::File`]). For a stream, the file
        /// is built in memory.
        seekable: bool,
    },
    /// A folder of files.
    Folder(Folder),
}

/// The description of a format that is a folder of files.
#[derive(Clone, Copy, Debug)]
pub struct Folder {
    /// The format, as a sentence: "CSV tables are a folder".
    pub sentence: &'static str,
    /// The name of one of its files: "CSV table".
    pub file: &'static str,
    /// The names of the files that are written.
    pub names: fn() -> Vec<String>,
    /// Whether a file with this name is read.
    pub reads: fn(&str) -> bool,
    /// The name of the format that packs the same files into one, if there is one.
    pub packed: Option<&'static str>,
}

/// An option of the reader of a format, set by [`Input::with_option`].
#[derive(Clone, Copy, Debug)]
pub struct FormatOption {
    /// Its name.
    pub name: &'static str,
    /// What it controls.
    pub description: &'static str,
    /// Its values, the default first.
    pub values: &'static [&'static str],
}

/// A sample of the content by which a format is recognised.
#[derive(Clone, Copy, Debug)]
pub enum Sample<'s> {
    /// The bytes of a file.
    File(&'s [u8]),
    /// The names of the files in a folder.
    Folder(&'s [&'s str]),
}

impl<'s> Sample<'s> {
    /// The start of a text, after a byte-order mark and white space; empty for a folder.
    #[must_use]
    pub fn start(&self) -> &'s [u8] {
        const ENOUGH: usize = 4096;
        let Self::File(bytes) = self else { return &[] };
        let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes).trim_ascii_start();
        &text[..text.len().min(ENOUGH)]
    }

    /// Whether the start of a file contains a text.
    #[must_use]
    pub fn start_has(&self, needle: &str) -> bool {
        self.start().windows(needle.len()).any(|window| window == needle.as_bytes())
    }
}

/// How certain it is that a file or folder is in a format.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Detection {
    /// It is not in the format.
    No,
    /// It may be: it looks like other files of that kind, for example like any JSON.
    Possible,
    /// It is: no other format starts like this.
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

    /// The folder; `None` if the format is one file.
    #[must_use]
    pub const fn folder(&self) -> Option<&Folder> {
        match &self.capabilities.container {
            Container::Folder(folder) => Some(folder),
            Container::File { .. } => None,
        }
    }

    /// Whether the name of a file has an extension of the format.
    #[must_use]
    pub fn is_named(&self, name: &str) -> bool {
        let name = name.to_ascii_lowercase();
        self.extensions
            .iter()
            .any(|ending| name.strip_suffix(ending).is_some_and(|stem| stem.ends_with('.')))
    }

    /// Opens a file or folder in this format.
    ///
    /// # Errors
    /// When the format is write-only, has no such option, or the source is not in the format.
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
                format!("{} has no {name} {value:?}; use {}", self.title, option.values.join(", "))
            }
            None => format!("{} has no option {name:?}", self.title),
        }
    }

    /// Writes a survey. The report lists the values that the format cannot hold. If writing, or
    /// reading the survey, fails, discard what was written.
    ///
    /// # Errors
    /// When the survey turns out to be invalid, the format cannot hold it or is read-only, or
    /// writing fails.
    pub fn write(
        &self,
        survey: &mut dyn RunReader<Error = ConvertError>,
        output: Output<'_>,
    ) -> Result<LossReport, ConvertError> {
        let Some(create) = self.create else {
            return Err(ConvertError::Refused {
                message: format!("{} is read-only; choose another format", self.title),
            });
        };
        match (output, self.capabilities.container) {
            (Output::Stream(sink), Container::File { seekable: true }) => {
                let mut held = std::io::Cursor::new(Vec::new());
                let losses = create(survey, &mut Output::File(&mut held))?;
                sink.write_all(held.get_ref())?;
                Ok(losses)
            }
            (Output::Folder(_), Container::File { .. }) => Err(ConvertError::Refused {
                message: format!("{} is one file, not a folder; name a file", self.title),
            }),
            (Output::Stream(_) | Output::File(_), Container::Folder(folder)) => {
                Err(ConvertError::Refused { message: folder.sentence.to_owned() })
            }
            (mut output, _) => create(survey, &mut output),
        }
    }
}

impl PartialEq for Format {
    /// The registry has one format per name.
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

/// Why a write-only format is not read.
const WRITE_ONLY: &str = "this format is write-only, since it leaves out most of a survey; convert the file that it was made from";
