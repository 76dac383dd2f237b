//! What is written to: a stream, a file, or the files of a folder.

use std::io::{self, Seek, Write};
use std::sync::{Arc, Mutex, PoisonError};

use crate::ConvertError;

/// A sink that a writer can go back in, such as a file.
pub trait WriteSeek: Write + Seek {}

impl<S: Write + Seek + ?Sized> WriteSeek for S {}

/// Makes the files of a folder.
pub trait CreateFile {
    /// Makes a file of a name, which must not be there yet.
    ///
    /// # Errors
    /// When it cannot be made.
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

/// The bytes of a file that its writer still has.
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
    /// The names and bytes of its files, in the order in which they were made.
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

/// Where a survey is written to.
///
/// What a format needs is in its [capabilities](crate::Capabilities::container): a folder, a file
/// in which the writer can go back, or no more than a stream.
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
    /// A sink for a format that is one file.
    ///
    /// # Errors
    /// When it is a folder.
    pub fn sink(&mut self) -> Result<&mut dyn Write, ConvertError> {
        match self {
            Self::Stream(sink) => Ok(*sink),
            Self::File(sink) => Ok(sink),
            Self::Folder(_) => Err(ConvertError::Refused {
                message: "the format is one file and no folder".to_owned(),
            }),
        }
    }

    /// A sink for a format whose writer goes back in its file.
    ///
    /// # Errors
    /// When it is a stream or a folder.
    pub fn seekable(&mut self) -> Result<&mut dyn WriteSeek, ConvertError> {
        match self {
            Self::File(sink) => Ok(*sink),
            _ => Err(ConvertError::Refused {
                message: "the format is written to a file, and to nothing else".to_owned(),
            }),
        }
    }

    /// What makes the files of a format that is a folder.
    ///
    /// # Errors
    /// When it is no folder.
    pub fn folder(&mut self) -> Result<&mut dyn CreateFile, ConvertError> {
        match self {
            Self::Folder(folder) => Ok(*folder),
            _ => Err(ConvertError::Refused {
                message: "the format is a folder and no file".to_owned(),
            }),
        }
    }
}
