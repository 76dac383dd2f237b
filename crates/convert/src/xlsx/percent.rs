//! Cells that show a percentage. A spreadsheet that shows 8 % stores 0.08, so a reader that takes
//! the number alone would read a hundredth of what the author sees.

use std::collections::HashSet;
use std::io::{Read, Seek};

use calamine::{Xlsx, XlsxError};

/// The cells of a sheet that are formatted as percentages, by row and column from 0. A workbook
/// without such a format is not searched.
pub(super) fn cells<S: Read + Seek>(
    book: &mut Xlsx<S>,
    sheet: &str,
) -> Result<HashSet<(u32, u32)>, XlsxError> {
    let mut found = HashSet::new();
    let mut cells = book.worksheet_cells_reader(sheet)?;
    let styles = cells.styles().iter();
    let shows: Vec<bool> = styles
        .map(|style| {
            style.number_format.as_ref().is_some_and(|format| is_percentage(&format.format_code))
        })
        .collect();
    if !shows.contains(&true) {
        return Ok(found);
    }
    while let Some((cell, style)) = cells.next_cell_with_style_id()? {
        if shows.get(style) == Some(&true) {
            found.insert(cell.get_position());
        }
    }
    Ok(found)
}

/// Whether a number format (ECMA-376 part 1, 18.8.31) shows percentages: it has a percent sign that
/// is neither quoted nor escaped.
fn is_percentage(format: &str) -> bool {
    let (mut quoted, mut letters) = (false, format.chars());
    while let Some(letter) = letters.next() {
        match letter {
            '"' => quoted = !quoted,
            _ if quoted => {}
            // The character after these is shown, skipped or repeated as it is.
            '\\' | '_' | '*' => {
                letters.next();
            }
            '%' => return true,
            _ => {}
        }
    }
    false
}

/// A number times a hundred, calculated on its decimal digits, so that 0.07 becomes 7 and not
/// 7.000000000000001.
pub(super) fn hundredths(number: f64) -> f64 {
    let written = format!("{number:e}");
    let shifted = written.split_once('e').and_then(|(digits, exponent)| {
        let exponent = exponent.parse::<i32>().ok()? + 2;
        format!("{digits}e{exponent}").parse().ok()
    });
    shifted.unwrap_or(number * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ECMA-376 part 1, 18.8.30 (formats 9 and 10) and 18.8.31; the others are common practice.
    #[test]
    fn a_percentage_is_distinguished_from_a_percent_sign() {
        for format in ["0%", "0.00%", "0.0 %", "#,##0%;[Red]-#,##0%", "\\~0%", "\"about \"0%"] {
            assert!(is_percentage(format), "{format}");
        }
        for format in ["General", "0.00", "0\" %\"", "0\\%", "0_%", "@", "0\"a\\%\""] {
            assert!(!is_percentage(format), "{format}");
        }
    }

    #[test]
    fn hundredths_have_no_noise() {
        for whole in 0..=10_000_i32 {
            let (held, shown) =
                (format!("{}.{:04}", whole / 10_000, whole % 10_000), f64::from(whole) / 100.0);
            assert_eq!(hundredths(held.parse().unwrap()).to_string(), shown.to_string(), "{held}");
        }
        assert_eq!((hundredths(1.4), hundredths(-0.08), hundredths(0.0)), (140.0, -8.0, 0.0));
    }
}
