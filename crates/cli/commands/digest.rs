//! `obvert digest`: the digest by which another document refers to a survey.

use obvert::model::{versions, write};

use super::{convert, print};
use crate::args::Digest;
use crate::input::{self, Input};
use crate::{Failure, Status, render};

/// Prints the digest of every file, or the canonical form of one.
pub(crate) fn run(arguments: &Digest) -> Result<Status, Failure> {
    if arguments.canonical && arguments.files.len() > 1 {
        return Err(format!(
            "--canonical takes one survey, but {} were given; name one",
            arguments.files.len()
        )
        .into());
    }
    let mut failed = false;
    for path in &input::in_folders(&arguments.files) {
        let input = input::open(path, arguments.from, None);
        let bytes = input.and_then(|mut input| output(&mut input, arguments.canonical));
        match bytes {
            Ok(Some(bytes)) => {
                print(&bytes)?;
            }
            Ok(None) => failed = true,
            Err(error) => {
                failed = true;
                render::failure(&*error);
            }
        }
    }
    Ok(if failed { Status::Failed } else { Status::Success })
}

/// The output for one survey; `None` if it is not valid, which has been reported. The canonical
/// form has no final newline, because the digest covers exactly these bytes.
fn output(input: &mut Input<'_>, canonical: bool) -> Result<Option<Vec<u8>>, Failure> {
    let name = input.name().to_owned();
    if input.is_older() {
        // Other documents refer to the file as it is, not to its migrated content.
        let fail =
            |error: versions::MigrateError| format!("{name}: {}", render::with_causes(&error));
        if canonical {
            return Ok(Some(versions::canonical(input.bytes()).map_err(fail)?));
        }
        let digest = versions::digest(input.bytes()).map_err(fail)?;
        return Ok(Some(format!("{digest}  {name}\n").into_bytes()));
    }
    let Some(document) = convert::document(input)? else { return Ok(None) };
    if canonical {
        return Ok(Some(write::canonical(&document)?));
    }
    Ok(Some(format!("{}  {name}\n", write::digest(&document)?).into_bytes()))
}
