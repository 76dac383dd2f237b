//! What a workbook tells the people who fill it in: the first sheet, and for each column what
//! belongs into it and what can be chosen.

use obvert_model::lists::CodeList;
use obvert_model::tables::Head;
use rust_xlsxwriter::{
    DataValidation, DataValidationErrorStyle, Format, FormatAlign, Formula, Worksheet, XlsxError,
};

use super::{CHOICES, GUIDE};
use crate::tables::keys;
use crate::tables::plan::{Column, ID, Kind, Moment, Plan, Table};

/// How far below the last row of a sheet cells offer what can be chosen.
const ROOM: u32 = 5_000;
/// The longest list that stands in the cells themselves, in characters, commas included (a limit of
/// the spreadsheet programs).
const INLINE: usize = 255;
/// The longest text that is shown beside a cell (another one).
const SHOWN: usize = 255;
/// The longest title of it.
const TITLE: usize = 32;

const LINES: &[&str] = &[
    "This workbook is one pipe inspection survey in the obvert format. Each sheet is a table, each row one of its entries.",
    "Fill in the sheet \"document\" first: it has one row, with what holds for the whole survey (units, reference system, code list). \
     Then parties, structures, pipes, media, runs, and the observations of each run.",
    "A dark heading marks a column that every row must have. All others may stay empty; an empty cell says that something is not known.",
    "Click on a cell to see what belongs into it. Where an arrow appears, choose from the list.",
    "Rows belong together by id: what stands in the column \"run\" of an observation is the id of a row of the sheet \"runs\". Rows may \
     stand in any order, but observations of a run in the order of their distance. A column \"order\" numbers rows that belong together: 1, 2, 3.",
    "Numbers are numbers: no units beside them, no marks between thousands. Times are text with their offset from UTC: \
     2026-05-06T09:31:00-05:00. Days are 2026-05-06.",
    "Where a cell takes several items, put a semicolon between them: A;B.",
    "Formulas are not read: copy the cells and paste them as values. Columns and sheets of your own are not read either; keep them in \
     another workbook, or put what is yours into \"extensions\" as JSON.",
    "Check the workbook as it is (obvert check THIS.xlsx), then convert it (obvert convert THIS.xlsx -o survey.obvert.json). Every \
     finding names sheet, row and column.",
    "This sheet and the hidden one named \"choices\" are not read.",
];

/// The first sheet.
pub(super) fn sheet() -> Result<Worksheet, XlsxError> {
    let mut sheet = Worksheet::new();
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

/// The hidden sheet of what can be chosen, a list a column.
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

    /// The range of a list, written where it is not there yet.
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

/// What the cells below the headings of a table's sheet tell and offer. `rows` are the numbers of
/// rows of all tables.
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
    // The holders of a row, from the outermost on: the run of an observation, that observation.
    let mut holders = Vec::new();
    let mut above = plan.parent(table);
    while let Some(holder) = above.filter(|holder| holder.parent.is_some()) {
        holders.insert(0, holder);
        above = plan.parent(holder);
    }
    for (key, holder) in table.keys.iter().zip(holders) {
        let message = format!("Required. The {} that this row belongs to, by its id.", key.heading);
        // Ids of observations are their run's own; a list of all would offer one many times.
        let range = ids(&holder.name).filter(|_| holder.keys.is_empty());
        add(validation(&key.heading, &message, range.map(Offer::Range))?)?;
    }
    if table.ordered {
        add(validation(
            "order",
            "Required. The place of this row among those that belong together, from 1.",
            None,
        )?)?;
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

/// What can be chosen for a cell.
enum Offer {
    /// These words and no others.
    Words(Vec<String>),
    /// The words in a range and no others.
    Long(String),
    /// Codes, which still have to be put into a range.
    Codes(Vec<String>),
    /// What stands in a range, and, after a question, something else.
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

/// What a column means, in as many words as are shown beside a cell.
fn meaning(column: &Column) -> String {
    let required = if column.required { "Required. " } else { "" };
    let spelling = match (&column.kind, column.moment()) {
        (_, Some(Moment::Time)) => "Text, such as 2026-05-06T09:31:00-05:00. ",
        (_, Some(Moment::Day)) => "Such as 2026-05-06. ",
        (Kind::List(_), _) => "Several with a semicolon between them. ",
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
