//! Several values in one cell.

use obvert_model::layout::Target;

use crate::plan::ColumnBinding;

/// The values in a cell, which may have a separator, each with its index.
pub(super) fn parts<'c>(
    cell: &'c str,
    column: &ColumnBinding<'_>,
    target: Target,
) -> Vec<(usize, &'c str)> {
    let separator = column.column.separator.as_deref();
    match separator.filter(|_| matches!(target, Target::MEDIA_FILE | Target::CHARACTERISATION)) {
        Some(separator) => {
            let parts = split(cell, separator);
            // Files have no places of their own; a characterisation does.
            if target == Target::MEDIA_FILE {
                return parts.filter(|part| !part.is_empty()).enumerate().collect();
            }
            parts.enumerate().filter(|(_, part)| !part.is_empty()).collect()
        }
        None => vec![(0, cell)],
    }
}

/// The parts of a cell. White space around the separator is ignored.
pub(super) fn split<'c>(cell: &'c str, separator: &str) -> impl Iterator<Item = &'c str> {
    let mark = if separator.trim().is_empty() { separator } else { separator.trim() };
    cell.split(mark).map(str::trim)
}

/// Whether a text that no separator splits names several files: each part of it, between commas for
/// example, has a file extension.
pub(super) fn names_several(text: &str) -> bool {
    let is_file = |part: &str| {
        let ending = part.trim().rsplit_once('.').map_or("", |(_, ending)| ending);
        (2..=5).contains(&ending.len()) && ending.bytes().all(|byte| byte.is_ascii_alphanumeric())
    };
    [',', ';', '|', '\n', ' ']
        .iter()
        .any(|mark| text.contains(*mark) && text.split(*mark).all(is_file))
}
