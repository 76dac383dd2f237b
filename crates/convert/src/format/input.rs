//! The input of a reader: a file, or the files of a folder.

use std::borrow::Cow;

use crate::ZipLimits;

/// A file, or the files of a folder, to read a survey from.
///
/// ```
/// use obvert_convert::Input;
///
/// let file = Input::file("survey.xml", b"<survey/>");
/// let folder = Input::folder("tables", [("runs.csv", b"id,pipe,direction\r\n")]);
/// assert!(!file.is_folder() && folder.is_folder());
/// ```
#[derive(Clone, Debug)]
pub struct Input<'a> {
    name: String,
    /// One file with an empty name unless it is a folder.
    files: Vec<(String, Cow<'a, [u8]>)>,
    folder: bool,
    options: Vec<(String, String)>,
    limits: ZipLimits,
}

impl<'a> Input<'a> {
    /// One file. Messages and locations call it `name`.
    #[must_use]
    pub fn file(name: impl Into<String>, bytes: impl Into<Cow<'a, [u8]>>) -> Self {
        Self {
            files: vec![(String::new(), bytes.into())],
            folder: false,
            ..Self::empty(name.into())
        }
    }

    /// The files of a folder, each with its own name.
    #[must_use]
    pub fn folder<N: Into<String>, B: Into<Cow<'a, [u8]>>>(
        name: impl Into<String>,
        files: impl IntoIterator<Item = (N, B)>,
    ) -> Self {
        let files = files.into_iter().map(|(name, bytes)| (name.into(), bytes.into())).collect();
        Self { files, ..Self::empty(name.into()) }
    }

    const fn empty(name: String) -> Self {
        Self {
            name,
            files: Vec::new(),
            folder: true,
            options: Vec::new(),
            limits: ZipLimits::DEFAULT,
        }
    }

    /// Sets one of the [options](crate::Capabilities::options) of the format.
    #[must_use]
    pub fn with_option(mut self, name: impl Into<String>, value: impl Into<String>) -> Self {
        self.options.push((name.into(), value.into()));
        self
    }

    /// Limits how far an archive is unpacked.
    #[must_use]
    pub const fn with_limits(mut self, limits: ZipLimits) -> Self {
        self.limits = limits;
        self
    }

    /// Its name in messages and locations.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether it is a folder.
    #[must_use]
    pub const fn is_folder(&self) -> bool {
        self.folder
    }

    /// The bytes of a file; none of a folder.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        match self.files.as_slice() {
            [(_, bytes)] if !self.folder => bytes,
            _ => &[],
        }
    }

    /// The bytes of a file, as they were given; none of a folder.
    #[must_use]
    pub fn into_bytes(mut self) -> Cow<'a, [u8]> {
        match self.files.pop() {
            Some((_, bytes)) if !self.folder => bytes,
            _ => Cow::Borrowed(&[]),
        }
    }

    /// The names and bytes of the files of a folder; a file has an empty name.
    pub fn files(&self) -> impl Iterator<Item = (&str, &[u8])> {
        self.files.iter().map(|(name, bytes)| (name.as_str(), &**bytes))
    }

    /// A file of a folder, by its index.
    #[cfg(feature = "csv")]
    pub(crate) fn file_at(&self, index: usize) -> Option<(&str, &[u8])> {
        self.files.get(index).map(|(name, bytes)| (name.as_str(), &**bytes))
    }

    /// The text of the file in a location: the file itself, or one in the folder.
    #[must_use]
    pub fn text(&self, file: &str) -> Option<&[u8]> {
        if !self.folder {
            return Some(self.bytes());
        }
        let of = |name: &str| name == file || std::path::Path::new(file).ends_with(name);
        self.files().find(|(name, _)| of(name)).map(|(_, bytes)| bytes)
    }

    /// The value of an option.
    #[must_use]
    pub fn option(&self, name: &str) -> Option<&str> {
        self.options().filter(|(known, _)| *known == name).last().map(|(_, value)| value)
    }

    /// All options that were set.
    pub fn options(&self) -> impl Iterator<Item = (&str, &str)> {
        self.options.iter().map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// The limits for unpacking an archive.
    #[must_use]
    pub const fn limits(&self) -> ZipLimits {
        self.limits
    }

    /// The names of the files in a folder.
    pub(super) fn names(&self) -> Vec<&str> {
        self.files.iter().map(|(name, _)| name.as_str()).collect()
    }
}
