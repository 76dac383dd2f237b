//! Where `fix` and `migrate` write a changed file: in place, to another file, or nowhere.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use crate::commands::print;
use crate::input::Input;
use crate::{Failure, atomic_output};

#[derive(Debug, Args)]
pub(crate) struct Destination {
    /// Write the changed files in place.
    #[arg(long, conflicts_with = "output")]
    write: bool,
    /// Write the changed file to this file, or - for standard output.
    #[arg(short, long, value_name = "OUT")]
    output: Option<PathBuf>,
    /// Overwrite OUT if it exists.
    #[arg(long, requires = "output")]
    replace: bool,
}

impl Destination {
    /// Refuses, before any work, files that could not be written. `change` is what the command
    /// does to them, for the message.
    pub(crate) fn check(&self, files: &[PathBuf], change: &str) -> Result<(), Failure> {
        if self.output.is_some() && files.len() > 1 {
            return Err(format!(
                "--output takes one file, but {} were given; give --write to {change} files in \
                 place",
                files.len()
            )
            .into());
        }
        if self.write && files.iter().any(|file| file == Path::new("-")) {
            return Err("--write cannot write to standard input; give -o OUT".into());
        }
        match self.output.as_deref() {
            Some(out) if !self.is_standard_output() => atomic_output::may_write(out, self.replace),
            _ => Ok(()),
        }
    }

    /// Whether nothing is written.
    pub(crate) fn is_preview(&self) -> bool {
        !self.write && self.output.is_none()
    }

    /// Whether the changed file goes to standard output.
    fn is_standard_output(&self) -> bool {
        self.output.as_deref() == Some(Path::new("-"))
    }

    /// Writes a changed file, and returns where. A file without changes is written to OUT, but not
    /// in place.
    pub(crate) fn write(
        &self,
        path: &Path,
        source: &Input<'_>,
        bytes: &[u8],
    ) -> Result<Option<String>, Failure> {
        match self.output.as_deref() {
            Some(_) if self.is_standard_output() => {
                print(bytes)?;
                Ok(Some("standard output".into()))
            }
            Some(out) => {
                atomic_output::write_file(out, self.replace, |sink| Ok(sink.write_all(bytes)?))?;
                Ok(Some(out.display().to_string()))
            }
            None if self.write && bytes != source.bytes() => {
                atomic_output::rewrite(path, source.bytes(), bytes)?;
                Ok(Some(source.name().to_owned()))
            }
            None => Ok(None),
        }
    }

    /// Prints the log to standard output, or to standard error if the changed file goes to
    /// standard output.
    pub(crate) fn print_log(&self, text: &[u8]) -> Result<(), Failure> {
        let result = if self.is_standard_output() {
            anstream::stderr().lock().write_all(text)
        } else {
            let mut out = anstream::stdout().lock();
            out.write_all(text).and_then(|()| out.flush())
        };
        match result {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(error.into()),
            _ => Ok(()),
        }
    }
}
