//! Help for people who fill in a workbook: the first sheet, and for each column its meaning and the
//! values to choose from.

use obvert_model::lists::CodeList;
use obvert_model::tables::Head;
use rust_xlsxwriter::{
    DataValidation, DataValidationErrorStyle, Format, FormatAlign, Formula, Worksheet, XlsxError,
};

use super::{CHOICES, GUIDE};
use crate::tables::keys;
use crate::tables::plan::{Column, ID, Kind, Moment, Plan, Table};

/// The number of empty rows below the last one that offer values to choose from.
const ROOM: u32 = 5_000;
/// The longest list in the cells themselves, in characters, including commas (a limit of
/// spreadsheet programs).
const INLINE: usize = 255;
/// The longest text that is shown next to a cell (another limit).
const SHOWN: usize = 255;
/// The longest title of such a text.
const TITLE: usize = 32;

const LINES: &[&str] = &[
    "This workbook is one pipe inspection survey in the obvert format. Each sheet is a table, each row one of its entries.",
    "Fill in the sheet \"document\" first: it has one row, with the fields of the whole survey (units, reference system, code list). \
     Then parties, structures, pipes, media, runs, and the observations of each run.",
    "A dark heading marks a required column. All others may be empty; an empty cell means that the value is not known.",
    "Click on a cell to see what it is for. If an arrow appears, choose from the list.",
    "Rows refer to each other by id: the column \"run\" of an observation has the id of a row of the sheet \"runs\". Rows may \
     be in any order, but observations of a run in the order of their distance. A column \"order\" numbers the rows of a list: 1, 2, 3.",
    "Type numbers without units and without thousands separators. Times are text with their offset from UTC: \
     2026-05-06T09:31:00-05:00. Days are 2026-05-06.",
    "If a cell takes several items, separate them by semicolons: A;B.",
    "Formulas are not read: copy the cells and paste them as values. Your own columns and sheets are not read either; keep them in \
     another workbook, or put your own data into \"extensions\" as JSON.",
    "Check the workbook as it is (obvert check THIS.xlsx), then convert it (obvert convert THIS.xlsx -o survey.obvert.json). Every \
     finding names sheet, row and column.",
    "This sheet and the hidden one named \"choices\" are not read.",
];

/// The first sheet. It is the first to use the format of text cells, so that this format is number
/// 1 in the workbook.
pub(super) fn sheet(text_cells: &Format) -> Result<Worksheet, XlsxError> {
    let mut sheet = Worksheet::new();
    sheet.set_column_format(1, text_cells)?;
    sheet.set_name(GUIDE)?.set_column_width(0, 100)?;
    let text = Format::new().set_text_wrap().set_align(FormatAlign::Top);
    sheet.write_string_with_format(
        0,
        0,
        "How to fill in this workbook",
        &Format::new().set_bold(),
    )?;
    for (row, line) in (1..).zip(LINES) {
        sheet.write_string_with_format(row, 0, *line, &text)?;
    }
    Ok(sheet)
}

/// The hidden sheet of values to choose from, one list per column.
pub(super) struct Choices {
    sheet: Worksheet,
    lists: Vec<(Vec<String>, String)>,
}

impl Choices {
    pub(super) fn new() -> Result<Self, XlsxError> {
        let mut sheet = Worksheet::new();
        sheet.set_name(CHOICES)?.set_hidden(true);
        Ok(Self { sheet, lists: Vec::new() })
    }

    /// The range of a list, which is written if it is new.
    fn range(&mut self, items: &[String]) -> Result<String, XlsxError> {
        if let Some((_, range)) = self.lists.iter().find(|(list, _)| list == items) {
            return Ok(range.clone());
        }
        let column = u16::try_from(self.lists.len()).unwrap_or(u16::MAX);
        for (row, item) in (0..).zip(items) {
            self.sheet.write_string(row, column, item)?;
        }
        let letters = rust_xlsxwriter::utility::column_number_to_name(column);
        let range = format!("={CHOICES}!${letters}$1:${letters}${}", items.len());
        self.lists.push((items.to_vec(), range.clone()));
        Ok(range)
    }

    pub(super) fn into_sheet(self) -> Worksheet {
        self.sheet
    }
}

/// Adds help and values to choose from to the cells below the headings of a sheet. `rows` has the
/// number of the last row of each table.
pub(super) fn help(
    sheet: &mut Worksheet,
    (plan, table): (&Plan, &Table),
    head: &Head,
    rows: &[u32],
    choices: &mut Choices,
) -> Result<(), XlsxError> {
    let last = |index: usize| rows.get(index).copied().unwrap_or_default() + ROOM;
    let own = plan.tables.iter().position(|other| other.name == table.name).unwrap_or_default();
    let ids = |name: &str| {
        let index = plan.tables.iter().position(|other| other.name == name)?;
        let column = plan.tables[index].headings().position(|heading| heading == ID)?;
        let letters = rust_xlsxwriter::utility::column_number_to_name(u16::try_from(column).ok()?);
        Some(format!("={name}!${letters}$2:${letters}${}", last(index)))
    };
    let mut number = 0;
    let mut add = |validation: DataValidation| {
        let added =
            sheet.add_data_validation(1, number, last(own), number, &validation).map(|_| ());
        number += 1;
        added
    };
    // The rows that contain a row, from the outermost on: the run of an observation, that
    // observation.
    let mut holders = Vec::new();
    let mut above = plan.parent(table);
    while let Some(holder) = above.filter(|holder| holder.parent.is_some()) {
        holders.insert(0, holder);
        above = plan.parent(holder);
    }
    for (key, holder) in table.keys.iter().zip(holders) {
        let message = format!("Required. The {} that this row belongs to, by its id.", key.heading);
        // Ids of observations are unique in their run only; a list of all would have duplicates.
        let range = ids(&holder.name).filter(|_| holder.keys.is_empty());
        add(validation(&key.heading, &message, range.map(Offer::Range))?)?;
    }
    if table.ordered {
        add(validation("order", "Required. The position of this row in its list, from 1.", None)?)?;
    }
    for column in &table.columns {
        let offer = match &column.kind {
            Kind::Word(words) => Some(Offer::Words(words.clone())),
            Kind::Bool => Some(Offer::Words(vec!["TRUE".to_owned(), "FALSE".to_owned()])),
            _ if table.name == "observations" && column.heading == "code" => {
                let list = CodeList::built_in(&head.coding.list, &head.coding.version);
                list.map(|list| {
                    Offer::Codes(list.codes.iter().map(|code| code.code.to_string()).collect())
                })
            }
            _ => keys::reference(&table.name, &column.heading).and_then(ids).map(Offer::Range),
        };
        let offer = match offer {
            Some(Offer::Words(words)) if words.join(",").len() > INLINE => {
                Some(Offer::Long(choices.range(&words)?))
            }
            Some(Offer::Codes(codes)) => Some(Offer::Range(choices.range(&codes)?)),
            offer => offer,
        };
        add(validation(&column.heading, &meaning(column), offer)?)?;
    }
    Ok(())
}

/// The values to choose from for a cell.
enum Offer {
    /// Only these words.
    Words(Vec<String>),
    /// Only the words in a range.
    Long(String),
    /// Codes, which have yet to be written to a range.
    Codes(Vec<String>),
    /// The values in a range, and other values after a warning.
    Range(String),
}

fn validation(
    title: &str,
    message: &str,
    offer: Option<Offer>,
) -> Result<DataValidation, XlsxError> {
    let validation = match offer {
        None | Some(Offer::Codes(_)) => DataValidation::new().allow_any_value(),
        Some(Offer::Words(words)) => DataValidation::new().allow_list_strings(&words)?,
        Some(Offer::Long(range)) => DataValidation::new().allow_list_formula(Formula::new(range)),
        Some(Offer::Range(range)) => DataValidation::new()
            .allow_list_formula(Formula::new(range))
            .set_error_style(DataValidationErrorStyle::Warning),
    };
    validation.set_input_title(cut(title, TITLE))?.set_input_message(cut(message, SHOWN))
}

/// The meaning of a column, as short as the text next to a cell has to be.
fn meaning(column: &Column) -> String {
    let required = if column.required { "Required. " } else { "" };
    let spelling = match (&column.kind, column.moment()) {
        (_, Some(Moment::Time)) => "Text, such as 2026-05-06T09:31:00-05:00. ",
        (_, Some(Moment::Day)) => "Such as 2026-05-06. ",
        (Kind::List(_), _) => "Several items are separated by semicolons. ",
        (Kind::Extensions, _) => "JSON. ",
        _ => "",
    };
    format!("{required}{spelling}{}", column.description)
}

fn cut(text: &str, longest: usize) -> String {
    if text.encode_utf16().count() <= longest {
        return text.to_owned();
    }
    let mut short = String::new();
    for character in text.chars() {
        if short.encode_utf16().count() + character.len_utf16() >= longest {
            break;
        }
        short.push(character);
    }
    short.push('…');
    short
}
