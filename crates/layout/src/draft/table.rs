//! A draft from a table, as text or in a sheet of a workbook: finds its headings and analyses its
//! columns.

use obvert_convert::ConvertError;
use obvert_model::layout::LineEnd;

use super::analysis::{Analysis, FileKind, Merged};
use super::choice::{Column, Level, sizes};
use super::headings::{HeadingRows, complete_rows, named_columns, usual_width};
use super::repeats::Repeats;
use super::statistics::{ColumnStatistics, Marks, NumberMarks};
use super::{Draft, ENOUGH, blocks, construct, is_american, refuse, vocabulary};
use crate::encoding::Charset;
use crate::grid::GridRow;

/// A table as rows of cells.
pub(super) struct Table<'s> {
    pub(super) name: &'s str,
    pub(super) rows: Vec<GridRow>,
    pub(super) delimiter: char,
    /// How its lines end, if not with CR and LF.
    pub(super) line_end: Option<LineEnd>,
    pub(super) charset: Option<Charset>,
    /// The separators of its numbers and the reason, if they are known in advance.
    pub(super) marks: Option<NumberMarks>,
    /// Whether blank cells at the end of a row are left out.
    pub(super) open_ended: bool,
    /// The cells that are merged over several rows.
    pub(super) merged: &'s [Merged],
}

impl Table<'_> {
    /// Drafts a layout; `guesses` are the assumptions so far.
    pub(super) fn draft(mut self, mut guesses: Vec<String>) -> Result<Draft, ConvertError> {
        let known = self.marks.take();
        let place = self.heading_rows()?;
        let mut open = Vec::new();
        let headings = place.read(&self.rows);
        let body = self.body(place, headings.len(), &mut guesses, &mut open)?;
        let (repeats, all) = (Repeats::of(&headings), headings.clone());
        let long: Vec<GridRow>;
        let (headings, body, merged) = match &repeats {
            Some(repeats) => {
                guesses.push(repeats.guess());
                long = repeats.rows(&body);
                (repeats.headings(&headings), long.iter().collect(), [].as_slice())
            }
            None => (headings, body, self.merged),
        };
        let values = body.iter().flat_map(|row| &row.cells).map(|cell| cell.text.as_str());
        let american = is_american(values.clone());
        let NumberMarks { marks, reasons, unsettled } =
            known.unwrap_or_else(|| NumberMarks::of(values, self.delimiter != ','));
        guesses.extend(reasons);
        let cells = named_columns(&headings, &mut open);
        let mut columns: Vec<Column> = cells
            .iter()
            .map(|cell| column(&headings[*cell], *cell, &body, marks, american))
            .collect();
        let choices = sizes::settle(&mut columns, &cells, &body);
        let HeadingRows { first, deep } = place;
        let analysis = Analysis {
            columns: &columns,
            choices: &choices,
            cells: &cells,
            rows: &body,
            form: FileKind::Table {
                charset: self.charset,
                delimiter: self.delimiter,
                line_end: self.line_end,
                first,
                deep,
            },
            marks,
            unsettled,
            american,
            merged,
        };
        let mut draft = construct::draft(&analysis, guesses, open)?;
        if let Some(repeats) = &repeats {
            repeats.complete(&mut draft.layout, &all, &mut draft.open);
        }
        Ok(draft)
    }

    /// Finds the rows of headings.
    ///
    /// # Errors
    /// When there are none, or no rows below them.
    fn heading_rows(&self) -> Result<HeadingRows, ConvertError> {
        let (name, rows) = (self.name, &self.rows);
        let wide = usual_width(rows);
        if wide < 2 {
            let why = "its rows have one cell each; use a table with several columns";
            return Err(refuse(name, 1, why));
        }
        let place = HeadingRows::find(rows, wide).ok_or_else(|| {
            let why = "no row looks like headings, since each has a number in it; add a row of headings, since layouts \
                       find columns by them";
            refuse(name, 1, why)
        })?;
        if rows.len() <= place.end() {
            let line = rows[place.first].line;
            return Err(refuse(
                name,
                line,
                "there are no rows below the headings; use a table with some",
            ));
        }
        Ok(place)
    }

    /// The complete rows below the headings, as many as are analysed.
    fn body(
        &self,
        place: HeadingRows,
        wide: usize,
        guesses: &mut Vec<String>,
        open: &mut Vec<String>,
    ) -> Result<Vec<&GridRow>, ConvertError> {
        let HeadingRows { first, deep } = place;
        let above: Vec<&GridRow> =
            self.rows[..first].iter().filter(|row| !row.is_blank()).collect();
        let below =
            self.rows[place.end()..].iter().filter(|row| row.flaw.is_some() || !row.is_blank());
        let mut below: Vec<&GridRow> = below.collect();
        blocks::take_out(&mut below, &above, &self.rows[first..place.end()], open);
        let mut body = complete_rows(&below, wide, self.open_ended, open);
        if body.is_empty() {
            let why = format!(
                "no row below the headings has {wide} cells, as many as there are headings; correct the rows"
            );
            return Err(refuse(self.name, self.rows[first].line, why));
        }
        if body.len() > ENOUGH {
            guesses.push(format!("based on the first {ENOUGH} of {} rows", body.len()));
            body.truncate(ENOUGH);
        }
        if first > 0 || deep > 1 {
            let rows = if deep > 1 { format!(" and {deep} rows deep") } else { String::new() };
            let titles = if above.is_empty() {
                String::new()
            } else {
                format!("; the lines above are skipped: {}", blocks::titles(&above))
            };
            guesses.push(format!("headings in row {}{rows}{titles}", first + 1));
        }
        Ok(body)
    }
}

/// The analysis of a column.
fn column(heading: &str, cell: usize, rows: &[&GridRow], marks: Marks, american: bool) -> Column {
    let values = rows
        .iter()
        .map(|row| (row.cells.get(cell).map_or("", |cell| cell.text.as_str()), row.line));
    // If a heading has several rows, its lowest row alone is a weaker hint.
    let lowest = heading.rsplit('\n').next().filter(|lowest| *lowest != heading);
    Column {
        heading: heading.to_owned(),
        words: std::iter::once(heading).chain(lowest).map(vocabulary::words).collect(),
        statistics: ColumnStatistics::of(values, marks, american),
        level: Level::Any,
        several: None,
        varies: None,
    }
}
