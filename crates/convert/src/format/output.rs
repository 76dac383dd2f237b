//! The output of a writer: a stream, a file, or the files of a folder.

use std::io::{self, Seek, Write};
use std::sync::{Arc, Mutex, PoisonError};

use crate::ConvertError;

/// A sink that can seek, such as a file.
pub trait WriteSeek: Write + Seek {}

impl<S: Write + Seek + ?Sized> WriteSeek for S {}

/// Creates the files of a folder.
pub trait CreateFile {
    /// Creates a file, which must not exist yet.
    ///
    /// # Errors
    /// When it cannot be created.
    fn create(&mut self, name: &str) -> io::Result<Box<dyn Write + Send>>;
}

/// A folder in memory.
///
/// ```
/// use obvert_convert::{CreateFile, MemoryFolder};
///
/// let mut folder = MemoryFolder::default();
/// folder.create("note.txt")?.write_all(b"hello")?;
/// assert_eq!(folder.into_files(), [("note.txt".to_owned(), b"hello".to_vec())]);
/// # Ok::<(), std::io::Error>(())
/// ```
#[derive(Debug, Default)]
pub struct MemoryFolder {
    files: Vec<(String, Shared)>,
}

/// The bytes of a file that its writer is still using.
type Shared = Arc<Mutex<Vec<u8>>>;

struct MemoryFile(Shared);

impl Write for MemoryFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).write(bytes)
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl MemoryFolder {
    /// The names and bytes of its files, in the order in which they were created.
    #[must_use]
    pub fn into_files(self) -> Vec<(String, Vec<u8>)> {
        let bytes = |file: Shared| {
            std::mem::take(&mut *file.lock().unwrap_or_else(PoisonError::into_inner))
        };
        self.files.into_iter().map(|(name, file)| (name, bytes(file))).collect()
    }
}

impl CreateFile for MemoryFolder {
    fn create(&mut self, name: &str) -> io::Result<Box<dyn Write + Send>> {
        let file = Shared::default();
        self.files.push((name.to_owned(), Arc::clone(&file)));
        Ok(Box::new(MemoryFile(file)))
    }
}

/// The destination of a survey.
///
/// The [capabilities](crate::Capabilities::container) of a format list what it needs: a folder, a
/// file that can seek, or only a stream.
pub enum Output<'o> {
    /// A stream: standard output, a connection.
    Stream(&'o mut dyn Write),
    /// A file.
    File(&'o mut dyn WriteSeek),
    /// A folder.
    Folder(&'o mut dyn CreateFile),
}

impl std::fmt::Debug for Output<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Stream(_) => "Stream(..)",
            Self::File(_) => "File(..)",
            Self::Folder(_) => "Folder(..)",
        })
    }
}

impl Output<'_> {
    /// The sink of a format that is one file.
    ///
    /// # Errors
    /// When this is a folder.
    pub fn sink(&mut self) -> Result<&mut dyn Write, ConvertError> {
        match self {
            Self::Stream(sink) => Ok(*sink),
            Self::File(sink) => Ok(sink),
            Self::Folder(_) => Err(ConvertError::Refused {
                message: "the format is one file, not a folder; name a file".to_owned(),
            }),
        }
    }

    /// The sink of a format whose writer has to seek.
    ///
    /// # Errors
    /// When this is a stream or a folder.
    pub fn seekable(&mut self) -> Result<&mut dyn WriteSeek, ConvertError> {
        match self {
            Self::File(sink) => Ok(*sink),
            _ => Err(ConvertError::Refused {
                message: "the format can only be written to a file; name a file".to_owned(),
            }),
        }
    }

    /// Creates the files of a format that is a folder.
    ///
    /// # Errors
    /// When this is not a folder.
    pub fn folder(&mut self) -> Result<&mut dyn CreateFile, ConvertError> {
        match self {
            Self::Folder(folder) => Ok(*folder),
            _ => Err(ConvertError::Refused {
                message: "the format is a folder, not a file; name a folder".to_owned(),
            }),
        }
    }
}
