//! Tables in blocks: a title, the headings, the rows of one run, and all of it again for the next.
//! A layout reads one table under one row of headings, so that the lines between are told for what
//! they are and not for what each column makes of them.

use super::super::grid::GridRow;

/// So many lines are named.
const NAMED: usize = 3;

fn text(row: &GridRow, column: usize) -> &str {
    row.cells.get(column).map_or("", |cell| cell.text.trim())
}

fn filled(row: &GridRow) -> usize {
    row.cells.iter().filter(|cell| !cell.text.trim().is_empty()).count()
}

/// Whether a row says again what a row of headings does, and nothing else.
fn repeats(row: &GridRow, headings: &GridRow) -> bool {
    let wide = row.cells.len().max(headings.cells.len());
    filled(row) > 1 && (0..wide).all(|column| text(row, column) == text(headings, column))
}

/// What a title says, with its line.
pub(super) fn title(row: &GridRow) -> String {
    let said: Vec<&str> =
        row.cells.iter().map(|cell| cell.text.trim()).filter(|text| !text.is_empty()).collect();
    let short: String = said.join(" ").chars().take(60).collect();
    format!("line {} has {short:?}", row.line)
}

/// What titles say, the first of them.
pub(super) fn titles(rows: &[&GridRow]) -> String {
    let said: Vec<String> = rows.iter().take(NAMED).map(|row| title(row)).collect();
    let more = if rows.len() > NAMED {
        format!(", and {} more", rows.len() - NAMED)
    } else {
        String::new()
    };
    format!("{}{more}", said.join(", "))
}

/// Takes the rows that repeat the headings, and the titles above them, out of the rows below the
/// first headings, and says so. `above` is what stands above those.
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
    // As many as above the first headings, and with no more in them: a row of few cells can as well
    // be an observation.
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
            ", and the titles above headings, which are not read ({}): put what they say of a pipe or a run into columns, in every row",
            titles(&titled)
        )
    };
    open.push(format!("{what}; keep them once, and remove such lines{titles}"));
    let mut out = out.into_iter();
    rows.retain(|_| !out.next().unwrap_or(false));
}
