//! Cells with file names, one or several, and their separator.

const PICTURES: &[&str] = &["jpg", "jpeg", "png", "bmp", "tif", "tiff", "gif", "webp", "heic"];
const RECORDINGS: &[&str] =
    &["mp4", "mpg", "mpeg", "avi", "mov", "wmv", "mkv", "m4v", "webm", "ts", "vob"];
/// Possible separators of file names, with white space around them first.
const BETWEEN: &[&[&str]] = &[&["; ", ";"], &[", ", ","], &[" | ", "|"], &[" "]];

fn ending(text: &str, endings: &[&str]) -> bool {
    text.rsplit_once('.').is_some_and(|(name, ending)| {
        !name.is_empty() && endings.contains(&ending.to_ascii_lowercase().as_str())
    })
}

pub(crate) fn is_recording(text: &str) -> bool {
    ending(text, RECORDINGS)
}

/// Whether a text names one picture: no part of it before white space or a separator is itself one.
fn is_picture(text: &str) -> bool {
    let mut before = text
        .rsplit(|letter: char| letter.is_whitespace() || [';', ',', '|'].contains(&letter))
        .skip(1);
    ending(text, PICTURES) && !before.any(|part| ending(part, PICTURES))
}

/// Whether a layout with that separator, or none, reads the pictures in a cell; it trims white
/// space around each.
pub(crate) fn are_cut(text: &str, between: Option<&str>) -> bool {
    let Some(between) = between else { return is_picture(text) };
    let mark = if between == " " { between } else { between.trim() };
    let mut parts = text.split(mark).map(str::trim).filter(|part| !part.is_empty()).peekable();
    parts.peek().is_some() && parts.all(is_picture)
}

/// Whether a cell names pictures: one, or several with the same separator.
pub(crate) fn are_pictures(text: &str) -> bool {
    is_picture(text) || bare().any(|mark| are_cut(text, Some(mark)))
}

fn bare() -> impl Iterator<Item = &'static str> {
    BETWEEN.iter().filter_map(|all| all.last().copied())
}

/// The separator in most of the cells that name several pictures, with the white space that all of
/// them have around it. `times` is how often each value occurs.
pub(crate) fn between(values: &[(String, usize)], times: &[usize]) -> Option<&'static str> {
    let with = |mark: &'static str| {
        values
            .iter()
            .map(|(value, _)| value)
            .zip(times)
            .filter(move |(value, _)| value.contains(mark) && are_cut(value, Some(mark)))
    };
    let cells = |mark| with(mark).map(|(_, times)| times).sum::<usize>();
    // If two are used equally often, the first.
    let all = BETWEEN
        .iter()
        .rev()
        .filter_map(|all| Some((cells(all.last()?), all)))
        .filter(|(cells, _)| *cells > 0);
    let (_, written) = all.max_by_key(|(cells, _)| *cells)?;
    let bare = written.last()?;
    let so = |written: &&&str| {
        with(bare).all(|(value, _)| {
            value.split(**written).all(|part| part == part.trim() && is_picture(part))
        })
    };
    written.iter().find(so).or(Some(bare)).copied()
}
