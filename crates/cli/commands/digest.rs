//! `obvert digest`: what a later document names this one by.

use obvert::model::{versions, write};

use super::print;
use crate::args::Digest;
use crate::files::{self, Source};
use crate::{Failure, Status, render};

/// Prints the digest of every file, or the canonical form of one.
pub(crate) fn run(arguments: &Digest) -> Result<Status, Failure> {
    if arguments.canonical && arguments.files.len() > 1 {
        return Err("--canonical prints the canonical form of one survey; name one file".into());
    }
    let mut failed = false;
    for path in &arguments.files {
        let bytes = files::read(path, arguments.from).and_then(|source| output(&source, arguments.canonical));
        match bytes {
            Ok(bytes) => {
                print(&bytes)?;
            }
            Err(error) => {
                failed = true;
                render::failure(&*error);
            }
        }
    }
    Ok(if failed { Status::Failed } else { Status::Good })
}

/// What is printed for a source. The canonical form ends without a newline, since the digest is taken over these bytes.
fn output(source: &Source, canonical: bool) -> Result<Vec<u8>, Failure> {
    let name = &source.name;
    if source.is_older() {
        // Others name it by what it is, and not by what it would be in this version.
        let fail = |error| format!("{name}: {error}");
        if canonical {
            return Ok(versions::canonical(source.bytes()).map_err(fail)?);
        }
        return Ok(format!("{}  {name}\n", versions::digest(source.bytes()).map_err(fail)?).into_bytes());
    }
    let document = match source.survey() {
        None => obvert::read(source.bytes()).map_err(|error| format!("{name}: {error}"))?,
        Some(survey) => survey.map_err(|error| source.failure(&error))?.document,
    };
    if canonical {
        return Ok(write::canonical(&document)?);
    }
    Ok(format!("{}  {name}\n", write::digest(&document)?).into_bytes())
}
