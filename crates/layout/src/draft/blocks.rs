//! Tables in blocks: a title, the headings, the rows of one run, and again for the next run. A
//! layout reads one table with one row of headings, so these lines are reported as a whole, not as
//! errors in each column.

use super::super::grid::GridRow;

/// The number of lines that are named.
const NAMED: usize = 3;

fn text(row: &GridRow, column: usize) -> &str {
    row.cells.get(column).map_or("", |cell| cell.text.trim())
}

fn filled(row: &GridRow) -> usize {
    row.cells.iter().filter(|cell| !cell.text.trim().is_empty()).count()
}

/// Whether a row repeats a row of headings exactly.
fn repeats(row: &GridRow, headings: &GridRow) -> bool {
    let wide = row.cells.len().max(headings.cells.len());
    filled(row) > 1 && (0..wide).all(|column| text(row, column) == text(headings, column))
}

/// The text of a title, with its line.
pub(super) fn title(row: &GridRow) -> String {
    let texts: Vec<&str> =
        row.cells.iter().map(|cell| cell.text.trim()).filter(|text| !text.is_empty()).collect();
    let short: String = texts.join(" ").chars().take(60).collect();
    format!("line {} has {short:?}", row.line)
}

/// The texts of the first titles.
pub(super) fn titles(rows: &[&GridRow]) -> String {
    let texts: Vec<String> = rows.iter().take(NAMED).map(|row| title(row)).collect();
    let more = if rows.len() > NAMED {
        format!(", and {} more", rows.len() - NAMED)
    } else {
        String::new()
    };
    format!("{}{more}", texts.join(", "))
}

/// Removes rows that repeat the headings, and the titles above them, from the rows below the first
/// headings, and reports them. `above` are the rows above those.
pub(super) fn take_out(
    rows: &mut Vec<&GridRow>,
    above: &[&GridRow],
    headings: &[GridRow],
    open: &mut Vec<String>,
) {
    let again: Vec<bool> =
        rows.iter().map(|row| headings.iter().any(|headings| repeats(row, headings))).collect();
    let lines: Vec<String> = rows
        .iter()
        .zip(&again)
        .filter(|(_, again)| **again)
        .map(|(row, _)| row.line.to_string())
        .collect();
    if lines.is_empty() {
        return;
    }
    // At most as many rows as above the first headings, and with at most as many cells: a row with
    // few cells may be an observation.
    let most = above.iter().map(|row| filled(row)).max().unwrap_or(0);
    let mut out = again.clone();
    for (index, _) in again.iter().enumerate().filter(|(_, again)| **again) {
        let before = rows[..index].iter().enumerate().rev().take(above.len());
        let titles: Vec<usize> =
            before.take_while(|(_, row)| filled(row) <= most).map(|(index, _)| index).collect();
        titles.into_iter().for_each(|title| out[title] = true);
    }
    let mut titled: Vec<&GridRow> = above.to_vec();
    titled.extend(
        rows.iter()
            .zip(&out)
            .zip(&again)
            .filter(|((_, out), again)| **out && !**again)
            .map(|((row, _), _)| *row),
    );
    let what = match lines.as_slice() {
        [line] => format!("line {line} repeats the headings"),
        [some @ .., last] if lines.len() <= 10 => {
            format!("lines {} and {last} repeat the headings", some.join(", "))
        }
        _ => format!(
            "{} lines repeat the headings, the first of them line {}",
            lines.len(),
            lines[0]
        ),
    };
    let titles = if titled.is_empty() {
        String::new()
    } else {
        format!(
            ", and the titles above headings are not read ({}): put their pipe or run into columns, in every row",
            titles(&titled)
        )
    };
    open.push(format!("{what}; keep the first headings, and remove the other lines{titles}"));
    let mut out = out.into_iter();
    rows.retain(|_| !out.next().unwrap_or(false));
}
