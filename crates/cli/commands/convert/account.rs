//! The account of a conversion: every loss, with its location in IN.

use std::collections::HashMap;
use std::path::Path;

use obvert::convert::{Account, End, Location, LossReport};

use super::Converted;
use super::target::Target;
use crate::args::Convert;
use crate::input::Input;
use crate::{Failure, atomic_output};

/// Refuses a path that the account cannot be written to.
pub(super) fn may_write(arguments: &Convert, path: &Path) -> Result<(), Failure> {
    if atomic_output::is_same_file(path, &arguments.output) {
        return Err(format!(
            "{}: is named by --account and by -o; give each its own file",
            path.display()
        )
        .into());
    }
    atomic_output::may_write(path, arguments.replace)
}

/// Makes the account.
pub(super) fn of(
    arguments: &Convert,
    input: &mut Input<'_>,
    target: &Target<'_>,
    converted: &Converted,
    reports: &[LossReport],
) -> Result<Account, Failure> {
    let Converted { id, from, to, locations, .. } = converted;
    let from = End {
        file: input.name().to_owned(),
        format: input.format().name.to_owned(),
        code_list: from.clone(),
    };
    let file = arguments.output.display().to_string();
    let to = End { file, format: target.format.name.to_owned(), code_list: to.clone() };
    let pointers = reports.iter().flat_map(|report| {
        let losses = report.losses.iter().map(|loss| loss.pointer.as_str());
        losses.chain(report.notes.iter().map(|note| note.pointer.as_str()))
    });
    let pointers: Vec<&str> = pointers.collect();
    let found: Vec<Option<Location>> = match locations {
        Some(locations) => pointers.iter().map(|pointer| locations.place(pointer)).collect(),
        // A survey that is read run by run keeps no locations, so it is read again for them.
        None => input.locate(&pointers)?,
    };
    let found: HashMap<&str, Option<Location>> = pointers.iter().copied().zip(found).collect();
    Ok(Account::new(from, to, id, reports, |pointer| found.get(pointer).cloned().flatten()))
}
