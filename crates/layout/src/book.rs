//! An office's own table in a workbook: the sheet that the layout names, or the first that has anything in it, its cells turned into the texts that the
//! layout's columns expect, so that a number, a date or a truth is read as what the column says; and back again, with numbers as
//! numbers.

use obvert_model::layout::{CellKind, Column, Layout, TableForm};
use obvert_model::tables::QuantityUnit;
use obvert_model::text::nearest;
use rust_xlsxwriter::{Format, Workbook, XlsxError};
use serde_json::{Value, json};

use super::forms::{self, Marks};
use super::grid::{Grid, GridCell, GridRow, Kept, headings};
use obvert_convert::xlsx::ZipLimits;
use obvert_convert::xlsx::sheets::{SheetCell, SheetMoment, Sheets};
use obvert_convert::{ConvertError, Location};

/// Whether a source is a workbook, or another zip archive, and no text.
pub(super) fn is_one(source: &[u8]) -> bool {
    source.starts_with(b"PK") || source.starts_with(b"\xD0\xCF\x11\xE0")
}

/// Reads the table in a workbook.
pub(super) fn read(source: &[u8], file: &str, layout: &Layout, table: &TableForm) -> Result<Grid, ConvertError> {
    let mut book = Sheets::open(source, file, ZipLimits::default())?;
    let mut found = None;
    let mut others = Vec::new();
    let sheets = match &table.sheet {
        Some(wanted) => vec![sheet_called(wanted, &book.names(), file, layout)?],
        None => book.names(),
    };
    for sheet in sheets {
        let rows = book.rows(&sheet)?;
        match &found {
            _ if rows.is_empty() => {}
            None => found = Some((sheet, rows)),
            Some(_) => others.push(sheet),
        }
    }
    let empty = || {
        let message = match &table.sheet {
            Some(wanted) => format!("{file}: the sheet {wanted:?} has nothing in it"),
            None => format!("{file}: no sheet has anything in it"),
        };
        ConvertError::Form { place: None, message }
    };
    let (sheet, rows) = found.ok_or_else(empty)?;
    // The columns are known once the headings are: those are texts whatever the columns hold.
    let first = table.heading_row.unwrap_or(1).max(1) as usize;
    let last = first + table.heading_rows.unwrap_or(1).max(1) as usize - 1;
    let above: Vec<GridRow> = (first..=last)
        .map(|line| {
            let row = rows.iter().find(|row| row.number == line);
            let texts = row.into_iter().flat_map(|row| &row.cells).map(|cell| shown(cell, None, layout));
            grid_row(line, texts.map(|shown| Shown { flaw: None, ..shown }))
        })
        .collect();
    let names = headings(&above);
    let column_of = |index: usize| {
        let name = names.get(index)?;
        layout.columns.iter().find(|column| *column.heading == **name)
    };
    // Blank rows count, as they do in a text.
    let mut all: Vec<GridRow> = Vec::new();
    for row in &rows {
        let number = row.number;
        while all.len() + 1 < number {
            all.push(GridRow { line: all.len() + 1, ..GridRow::default() });
        }
        let heading = (first..=last).contains(&number);
        let cells = row.cells.iter().enumerate().map(|(index, cell)| {
            let column = if heading { None } else { column_of(index) };
            shown(cell, column, layout)
        });
        let mut row = grid_row(number, cells);
        // A sheet does not keep the blank cells at the end of a row.
        for column in row.cells.len()..names.len() {
            row.cells.push(GridCell { line: number, column: column + 1, ..GridCell::default() });
        }
        all.push(row);
    }
    let place = Location { file: file.to_owned(), line: 1, column: None, heading: None };
    let mut grid =
        Grid::under_headings(all, table).map_err(|message| ConvertError::Form { place: Some(place), message })?;
    if table.sheet.is_some() {
        // Beside the sheet that was asked for only those are told of that have the same table.
        for other in book.names().into_iter().filter(|other| *other != sheet) {
            let rows = book.rows(&other)?;
            let cells = rows.iter().filter(|row| (first..=last).contains(&row.number)).flat_map(|row| &row.cells);
            let texts: Vec<String> = cells.map(|cell| shown(cell, None, layout).text.trim().to_owned()).collect();
            let has = |column: &&Column| column.heading.split('\n').all(|part| texts.iter().any(|text| text == part));
            if layout.columns.iter().filter(has).count() * 2 > layout.columns.len() {
                others.push(other);
            }
        }
    }
    grid.sheet = Some(sheet.clone());
    if !others.is_empty() {
        grid.notes.push(format!("the table was read from the sheet {sheet:?}; not from {}", others.join(", ")));
    }
    Ok(grid)
}

/// The sheet that a layout names. Spreadsheet programs do not tell cases apart in the names of sheets.
fn sheet_called(wanted: &str, sheets: &[String], file: &str, layout: &Layout) -> Result<String, ConvertError> {
    let same = |sheet: &&String| sheet.to_lowercase() == wanted.to_lowercase();
    let found = sheets.iter().find(|sheet| sheet.as_str() == wanted).or_else(|| sheets.iter().find(same));
    found.cloned().ok_or_else(|| {
        let near = nearest(wanted, sheets.iter().map(String::as_str));
        let near = near.map(|near| format!("; did you mean {near:?}?")).unwrap_or_default();
        let all: Vec<String> = sheets.iter().map(|sheet| format!("{sheet:?}")).collect();
        let message = format!(
            "{file}: there is no sheet {wanted:?}, which the layout {} names in table.sheet; the sheets are {}{near}",
            layout.id,
            all.join(", ")
        );
        ConvertError::Form { place: None, message }
    })
}

/// What a cell shows.
#[derive(Default)]
pub(super) struct Shown {
    text: String,
    percent: Option<f64>,
    /// The moment that it holds, where the text does not say all of it.
    whole: Option<String>,
    /// Why it cannot be trusted, where it cannot.
    flaw: Option<String>,
}

pub(super) fn grid_row(line: usize, cells: impl Iterator<Item = Shown>) -> GridRow {
    let (mut flaw, mut flawed) = (None, 0);
    let cells = cells.enumerate().map(|(index, Shown { text, percent, whole, flaw: own })| {
        if flaw.is_none() && own.is_some() {
            (flaw, flawed) = (own, index + 1);
        }
        let kept = (percent.is_some() || whole.is_some()).then(|| Box::new(Kept { percent, whole }));
        GridCell { text, line, column: index + 1, kept }
    });
    let cells = cells.collect();
    GridRow { line, cells, flaw, flawed }
}

/// What a cell says in the form of its column.
pub(super) fn shown(cell: &SheetCell, column: Option<&Column>, layout: &Layout) -> Shown {
    let plain = |text: String| Shown { text, ..Shown::default() };
    match cell {
        SheetCell::Empty => Shown::default(),
        SheetCell::Text(text) => plain(text.clone()),
        SheetCell::Bool(truth) => plain(if *truth { "TRUE" } else { "FALSE" }.to_owned()),
        SheetCell::Number(number) => plain(Marks::of(layout).write(*number, None)),
        SheetCell::Percent(number) => {
            let word = layout.units.iter().find(|word| word.unit == QuantityUnit::Percent);
            let word = word.map_or(" %", |word| word.text.as_str());
            let text = format!("{}{word}", Marks::of(layout).write(*number, None));
            Shown { text, percent: Some(*number), ..Shown::default() }
        }
        SheetCell::Moment(moment) => {
            let text = moment_of(*moment, column, layout);
            Shown { whole: beyond(*moment, column), ..plain(text) }
        }
        SheetCell::Error(error) => {
            let flaw = Some(format!("the cell holds the error {error}; correct it"));
            Shown { flaw, ..plain(error.clone()) }
        }
        SheetCell::Formula(formula) => {
            let text = format!("={formula}");
            let short: String = text.chars().take(40).collect();
            let why =
                format!("the cell holds the formula {short:?}; copy the cells and paste them in their place as values");
            Shown { flaw: Some(why), ..plain(text) }
        }
    }
}

/// The moment that a cell holds, where its column has no room for all of it: a day with a time of day in a column of dates, seconds
/// where the pattern has none.
fn beyond(moment: SheetMoment, column: Option<&Column>) -> Option<String> {
    let ((year, month, day), (hour, minute, second)) = (moment.date, moment.time);
    let is_day = moment.has_date;
    let column = column?;
    let seconds = second != 0 && !column.pattern.as_deref().is_some_and(|pattern| pattern.contains('s'));
    let more = match column.kind? {
        CellKind::Date => (hour, minute, second) != (0, 0, 0),
        CellKind::Time => is_day || seconds,
        CellKind::DateTime => seconds,
        _ => false,
    };
    let time = format!("{hour:02}:{minute:02}:{second:02}");
    more.then(|| if is_day { format!("{year:04}-{month:02}-{day:02} {time}") } else { time })
}

/// A date, a time of day or a span, in the form of its column; as ISO 8601 has it where the column is of another kind, and is then
/// judged as any other text.
fn moment_of(moment: SheetMoment, column: Option<&Column>, layout: &Layout) -> String {
    let ((year, month, day), (hour, minute, second)) = (moment.date, moment.time);
    let date = format!("{year:04}-{month:02}-{day:02}");
    let time = format!("{hour:02}:{minute:02}:{second:02}");
    let is_day = moment.has_date;
    let iso = match (is_day, (hour, minute, second) == (0, 0, 0)) {
        (true, true) => date.clone(),
        (true, false) => format!("{date} {time}"),
        (false, _) => time.clone(),
    };
    let value: Value = match column.and_then(|column| column.kind) {
        Some(CellKind::Date | CellKind::DateTime) if is_day => json!(format!("{date}T{time}Z")),
        // A time of day has no day, or one that nobody typed.
        Some(CellKind::Time) => json!(format!("1970-01-01T{time}Z")),
        Some(CellKind::Duration) => json!((moment.days * 86_400.0 * 1000.0).round() / 1000.0),
        _ => return iso,
    };
    column.and_then(|column| forms::write(&value, column, layout)).unwrap_or(iso)
}

/// Writes rows as a workbook with one sheet, numbers as numbers and everything else as text.
pub(super) fn write(headings: &[&str], rows: &[Vec<String>], layout: &Layout) -> Result<Vec<u8>, ConvertError> {
    let failed =
        |error: XlsxError| ConvertError::Refused { message: format!("the workbook cannot be written: {error}") };
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    if let Some(name) = layout.table.as_ref().and_then(|table| table.sheet.as_deref()) {
        sheet.set_name(name).map_err(failed)?;
    }
    let (bold, text) = (Format::new().set_bold().set_num_format("@"), Format::new().set_num_format("@"));
    let before = layout.table.as_ref().map_or(0, |table| table.heading_row.unwrap_or(1).saturating_sub(1));
    let deep = layout.table.as_ref().map_or(1, |table| table.heading_rows.unwrap_or(1).max(1));
    sheet.set_freeze_panes(before + deep, 0).map_err(failed)?;
    for ((number, heading), column) in (0_u16..).zip(headings).zip(&layout.columns) {
        for (line, part) in (before..before + deep).zip(heading.split('\n')) {
            if !part.is_empty() {
                sheet.write_string_with_format(line, number, part, &bold).map_err(failed)?;
            }
        }
        if column.kind != Some(CellKind::Number) {
            sheet.set_column_format(number, &text).map_err(failed)?;
        }
        let wide = rows.iter().filter_map(|row| row.get(usize::from(number))).map(|cell| cell.chars().count()).max();
        let wide = u32::try_from(wide.unwrap_or(0).max(heading.chars().count()) + 2).unwrap_or(u32::MAX);
        sheet.set_column_width(number, wide.clamp(8, 44)).map_err(failed)?;
    }
    let marks = Marks::of(layout);
    for (line, row) in (before + deep..).zip(rows) {
        for ((number, cell), column) in (0_u16..).zip(row).zip(&layout.columns) {
            let plain = column.kind == Some(CellKind::Number) && column.translate.is_empty() && column.digits.is_none();
            match marks.number(cell).filter(|_| plain) {
                _ if cell.is_empty() => continue,
                Some(value) => sheet.write_number(line, number, value),
                None => sheet.write_string(line, number, cell),
            }
            .map_err(failed)?;
        }
    }
    book.save_to_buffer().map_err(failed)
}
