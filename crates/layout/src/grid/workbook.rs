//! A table in a workbook, to a grid: the sheet that the layout names, or the first that is not
//! empty. Its cells become the text that the layout's columns expect, so that numbers, dates and
//! booleans are read as their column defines.

use std::ops::RangeInclusive;

use obvert_convert::ConvertError;
use obvert_convert::xlsx::ZipLimits;
use obvert_convert::xlsx::sheets::{SheetCell, SheetMoment, SheetRow, Sheets};
use obvert_model::layout::{CellKind, Layout, TableForm};
use obvert_model::tables::QuantityUnit;
use obvert_model::text::nearest;

use super::{Grid, GridCell, GridRow, Kept, headings, refuse};
use crate::cell::{CellValue, Marks};
use crate::plan::{ColumnBinding, Plan};

/// Whether a source is a workbook or another zip archive, not text.
pub(crate) fn is_one(source: &[u8]) -> bool {
    source.starts_with(b"PK") || source.starts_with(b"\xD0\xCF\x11\xE0")
}

/// Reads the table in a workbook.
pub(crate) fn read(
    source: &[u8],
    file: &str,
    plan: &Plan<'_>,
    table: &TableForm,
) -> Result<Grid, ConvertError> {
    let mut book = Sheets::open(source, file, ZipLimits::default())?;
    let Found { sheet, rows, mut others } = find(&mut book, file, plan.layout, table)?;
    let first = table.heading_row.unwrap_or(1).max(1) as usize;
    let lines = first..=first + table.heading_rows.unwrap_or(1).max(1) as usize - 1;
    let texts = Texts::of(plan.layout);
    let mut grid = Grid::under_headings(grid_rows(&rows, &lines, &texts, plan), table)
        .map_err(|message| refuse(file, 1, message))?;
    if table.sheet.is_some() {
        // If the layout names the sheet, only other sheets with the same table are reported.
        for other in book.names().into_iter().filter(|other| *other != sheet) {
            if has_headings(&book.rows(&other)?, &lines, &texts, plan) {
                others.push(other);
            }
        }
    }
    if !others.is_empty() {
        grid.notes.push(format!(
            "the table was read from the sheet {sheet:?}; not from {}",
            others.join(", ")
        ));
    }
    grid.sheet = Some(sheet);
    Ok(grid)
}

/// The sheet that a table is read from.
struct Found {
    sheet: String,
    rows: Vec<SheetRow>,
    /// The other sheets that are not empty.
    others: Vec<String>,
}

/// Finds the sheet that the layout names, or the first that is not empty.
fn find(
    book: &mut Sheets<'_>,
    file: &str,
    layout: &Layout,
    table: &TableForm,
) -> Result<Found, ConvertError> {
    let sheets = match &table.sheet {
        Some(wanted) => vec![sheet_called(wanted, &book.names(), file, layout)?],
        None => book.names(),
    };
    let mut found: Option<Found> = None;
    for sheet in sheets {
        let rows = book.rows(&sheet)?;
        match &mut found {
            _ if rows.is_empty() => {}
            None => found = Some(Found { sheet, rows, others: Vec::new() }),
            Some(found) => found.others.push(sheet),
        }
    }
    found.ok_or_else(|| {
        let message = match &table.sheet {
            Some(wanted) => {
                format!("{file}: the sheet {wanted:?} is empty; name another sheet in the layout")
            }
            None => format!("{file}: all sheets are empty; check that this is the right file"),
        };
        ConvertError::Format { place: None, message }
    })
}

/// The sheet that a layout names. Spreadsheet programs do not distinguish upper and lower case in
/// names of sheets.
fn sheet_called(
    wanted: &str,
    sheets: &[String],
    file: &str,
    layout: &Layout,
) -> Result<String, ConvertError> {
    let same = |sheet: &&String| sheet.to_lowercase() == wanted.to_lowercase();
    let found =
        sheets.iter().find(|sheet| sheet.as_str() == wanted).or_else(|| sheets.iter().find(same));
    found.cloned().ok_or_else(|| {
        let near = nearest(wanted, sheets.iter().map(String::as_str));
        let near = near.map(|near| format!("; did you mean {near:?}?")).unwrap_or_default();
        let all: Vec<String> = sheets.iter().map(|sheet| format!("{sheet:?}")).collect();
        let message = format!(
            "{file}: there is no sheet {wanted:?}, which table.sheet of the layout {} names; the sheets are {}{near}",
            layout.id,
            all.join(", ")
        );
        ConvertError::Format { place: None, message }
    })
}

/// The rows of a sheet as texts, including blank ones, which count as in a text. The columns are
/// known once the headings are; those are texts whatever the columns hold.
fn grid_rows(
    rows: &[SheetRow],
    lines: &RangeInclusive<usize>,
    texts: &Texts<'_>,
    plan: &Plan<'_>,
) -> Vec<GridRow> {
    let above: Vec<GridRow> = lines
        .clone()
        .map(|line| {
            let row = rows.iter().find(|row| row.number == line);
            let cells =
                row.into_iter().flat_map(|row| &row.cells).map(|cell| texts.of_cell(cell, None));
            grid_row(line, cells.map(|shown| Shown { flaw: None, ..shown }))
        })
        .collect();
    let columns: Vec<Option<&ColumnBinding<'_>>> =
        headings(&above).iter().map(|name| plan.column(name)).collect();
    let mut all: Vec<GridRow> = Vec::new();
    for SheetRow { number, cells, .. } in rows {
        fill_up(&mut all, *number);
        let is_heading = lines.contains(number);
        let column = |index: usize| columns.get(index).copied().flatten().filter(|_| !is_heading);
        let shown =
            cells.iter().enumerate().map(|(index, cell)| texts.of_cell(cell, column(index)));
        let mut row = grid_row(*number, shown);
        // A sheet does not store blank cells at the end of a row.
        for column in row.cells.len()..columns.len() {
            row.cells.push(GridCell { line: *number, column: column + 1, ..GridCell::default() });
        }
        all.push(row);
    }
    all
}

/// Adds blank rows up to a row number.
pub(crate) fn fill_up(rows: &mut Vec<GridRow>, number: usize) {
    while rows.len() + 1 < number {
        rows.push(GridRow { line: rows.len() + 1, ..GridRow::default() });
    }
}

/// Whether some of the rows have more than half of a layout's headings.
fn has_headings(
    rows: &[SheetRow],
    lines: &RangeInclusive<usize>,
    texts: &Texts<'_>,
    plan: &Plan<'_>,
) -> bool {
    let cells = rows.iter().filter(|row| lines.contains(&row.number)).flat_map(|row| &row.cells);
    let found: Vec<String> =
        cells.map(|cell| texts.of_cell(cell, None).text.trim().to_owned()).collect();
    let has =
        |heading: &&str| heading.split('\n').all(|part| found.iter().any(|text| text == part));
    let headings = plan.headings();
    headings.iter().copied().filter(has).count() * 2 > headings.len()
}

/// The content of a cell.
#[derive(Default)]
pub(crate) struct Shown {
    text: String,
    /// The number before the percent sign, for a percentage.
    percent: Option<f64>,
    /// The timestamp, if the text does not show all of it.
    timestamp: Option<String>,
    /// Why it is not reliable, if it is not.
    flaw: Option<String>,
}

pub(crate) fn grid_row(line: usize, cells: impl Iterator<Item = Shown>) -> GridRow {
    let (mut flaw, mut flawed) = (None, 0);
    let cells = cells.enumerate().map(|(index, Shown { text, percent, timestamp, flaw: own })| {
        if flaw.is_none() && own.is_some() {
            (flaw, flawed) = (own, index + 1);
        }
        let kept = (percent.is_some() || timestamp.is_some())
            .then(|| Box::new(Kept { percent, timestamp }));
        GridCell { text, line, column: index + 1, kept }
    });
    let cells = cells.collect();
    GridRow { line, cells, flaw, flawed }
}

/// How the cells of a sheet become texts.
pub(crate) struct Texts<'l> {
    marks: Marks<'l>,
    /// The text after the number of a percentage.
    percent: &'l str,
}

impl<'l> Texts<'l> {
    pub(crate) fn of(layout: &'l Layout) -> Self {
        let word = layout.units.iter().find(|word| word.unit == QuantityUnit::Percent);
        let percent = word.map(|word| word.text.as_str());
        let plain = Self::new(Marks::of(layout));
        Self { percent: percent.unwrap_or(plain.percent), ..plain }
    }

    /// With separators of numbers only.
    pub(crate) const fn new(marks: Marks<'l>) -> Self {
        Self { marks, percent: " %" }
    }

    /// The content of a cell, as its column expects it.
    pub(crate) fn of_cell(&self, cell: &SheetCell, column: Option<&ColumnBinding<'_>>) -> Shown {
        let plain = |text: String| Shown { text, ..Shown::default() };
        match cell {
            SheetCell::Empty => Shown::default(),
            SheetCell::Text(text) => plain(text.clone()),
            SheetCell::Bool(truth) => plain(if *truth { "TRUE" } else { "FALSE" }.to_owned()),
            SheetCell::Number(number) => plain(self.marks.write(*number, None)),
            SheetCell::Percent(number) => {
                let text = format!("{}{}", self.marks.write(*number, None), self.percent);
                Shown { percent: Some(*number), ..plain(text) }
            }
            SheetCell::Moment(moment) => {
                Shown { timestamp: beyond(*moment, column), ..plain(moment_text(*moment, column)) }
            }
            SheetCell::Error(error) => {
                let flaw = Some(format!("the cell has the error {error}; correct it"));
                Shown { flaw, ..plain(error.clone()) }
            }
            SheetCell::Formula(formula) => {
                let text = format!("={formula}");
                let short: String = text.chars().take(40).collect();
                let why = format!(
                    "the cell has the formula {short:?}; copy the cells and paste them as values"
                );
                Shown { flaw: Some(why), ..plain(text) }
            }
        }
    }
}

/// The date and the time of day of a timestamp, in ISO 8601.
fn iso(moment: SheetMoment) -> (String, String) {
    let ((year, month, day), (hour, minute, second)) = (moment.date, moment.time);
    (format!("{year:04}-{month:02}-{day:02}"), format!("{hour:02}:{minute:02}:{second:02}"))
}

/// The timestamp in a cell, if its column does not show all of it: a date with a time of day in a
/// column of dates, or seconds if the pattern has none.
fn beyond(moment: SheetMoment, column: Option<&ColumnBinding<'_>>) -> Option<String> {
    let column = column?.column;
    let (_, _, second) = moment.time;
    let has_seconds =
        second != 0 && !column.pattern.as_deref().is_some_and(|pattern| pattern.contains('s'));
    let is_more = match column.kind? {
        CellKind::Date => moment.time != (0, 0, 0),
        CellKind::Time => moment.has_date || has_seconds,
        CellKind::DateTime => has_seconds,
        _ => false,
    };
    let (date, time) = iso(moment);
    is_more.then(|| if moment.has_date { format!("{date} {time}") } else { time })
}

/// A date, a time of day or a duration, as its column expects it; in ISO 8601 if the column has
/// another kind, and then read like any other text.
fn moment_text(moment: SheetMoment, column: Option<&ColumnBinding<'_>>) -> String {
    let (date, time) = iso(moment);
    let plain = match (moment.has_date, moment.time == (0, 0, 0)) {
        (true, true) => date.clone(),
        (true, false) => format!("{date} {time}"),
        (false, _) => time.clone(),
    };
    let Some(column) = column else { return plain };
    let value = match column.column.kind {
        Some(CellKind::Date | CellKind::DateTime) if moment.has_date => {
            CellValue::Text(format!("{date}T{time}Z"))
        }
        // A time of day has no date, or a meaningless one.
        Some(CellKind::Time) => CellValue::Text(format!("1970-01-01T{time}Z")),
        Some(CellKind::Duration) => {
            CellValue::Number((moment.days * 86_400.0 * 1000.0).round() / 1000.0)
        }
        _ => return plain,
    };
    column.format.write_value(&value).unwrap_or(plain)
}
