//! Checks that a layout makes sense, before the first table is read: a column that maps to a field
//! that does not exist would be missing in every survey.

use std::collections::BTreeMap;

use super::{CellKind, Column, Layout, Record, Target, Template, TemplateError};
use crate::profile::{FieldPath, FieldPathError};
use crate::text::Text;
use crate::text::nearest;

mod kinds;

use kinds::{kind_problems, value_problem};

/// One problem of a layout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LayoutProblem {
    /// Where, as a JSON Pointer (RFC 6901) into the layout.
    pub pointer: String,
    /// What is wrong and what to do: lower case, no full stop.
    pub message: String,
}

impl std::fmt::Display for LayoutProblem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.pointer, self.message)
    }
}

#[derive(Default)]
pub(super) struct Problems(Vec<LayoutProblem>);

impl Problems {
    pub(super) fn add(&mut self, pointer: impl Into<String>, message: impl Into<String>) {
        self.0.push(LayoutProblem { pointer: pointer.into(), message: message.into() });
    }

    /// The field of a path, or a problem if there is none.
    fn target(&mut self, pointer: &str, path: &FieldPath) -> Option<Target> {
        Target::resolve(path).map_err(|error| self.path(pointer, error)).ok()
    }

    fn path(&mut self, pointer: &str, error: FieldPathError) {
        let near = error.near.map(|near| format!("; did you mean {near:?}?")).unwrap_or_default();
        self.add(pointer, format!("{}{near}", error.message));
    }
}

/// The most common encodings of table files, for suggestions.
const ENCODINGS: [&encoding_rs::Encoding; 14] = [
    encoding_rs::UTF_8,
    encoding_rs::UTF_16LE,
    encoding_rs::UTF_16BE,
    encoding_rs::WINDOWS_1250,
    encoding_rs::WINDOWS_1251,
    encoding_rs::WINDOWS_1252,
    encoding_rs::WINDOWS_1253,
    encoding_rs::WINDOWS_1254,
    encoding_rs::ISO_8859_2,
    encoding_rs::ISO_8859_15,
    encoding_rs::SHIFT_JIS,
    encoding_rs::GBK,
    encoding_rs::BIG5,
    encoding_rs::EUC_KR,
];

impl Layout {
    /// What does not make sense in the layout, in the order of its keys; empty if all is well.
    #[must_use]
    pub fn problems(&self) -> Vec<LayoutProblem> {
        let mut problems = Problems::default();
        self.table_problems(&mut problems);
        self.column_problems(&mut problems);
        self.repeat_problems(&mut problems);
        self.code_problems(&mut problems);
        if let Some(stretches) = &self.stretches {
            self.heading("/stretches/column", &stretches.column, &mut problems);
            let marks = [("start", &stretches.start), ("finish", &stretches.finish)];
            for (key, text) in marks.iter().filter(|(_, text)| text.matches('#').count() != 1) {
                let message =
                    format!("{text:?} must contain one #, the place of the number of the stretch");
                problems.add(format!("/stretches/{key}"), message);
            }
            if stretches.start == stretches.finish {
                problems.add("/stretches/finish", "the same as the mark of the start; use another");
            }
        }
        for (index, fixed) in self.fixed.iter().enumerate() {
            if let Some(target) = problems.target(&format!("/fixed/{index}/to"), &fixed.to) {
                value_problem(
                    &format!("/fixed/{index}/value"),
                    &target.field().shape,
                    &fixed.value,
                    &mut problems,
                );
            }
        }
        for (index, made) in self.made.iter().enumerate() {
            let pointer = format!("/made/{index}");
            let to = problems.target(&format!("{pointer}/to"), &made.to);
            if made.text.contains(Template::DIGEST) && to != Some(Target::ID) {
                let message = "{digest} is for the id of the document only; use other fields";
                problems.add(format!("{pointer}/text"), message);
            }
            template_problems(&format!("{pointer}/text"), &made.text, &mut problems);
        }
        if let Some(video) = &self.video {
            if video.contains(Template::DIGEST) {
                problems.add("/video", "{digest} is for the id of the document only");
            }
            template_problems("/video", video, &mut problems);
        }
        self.requirement_problems(&mut problems);
        problems.0
    }

    fn table_problems(&self, problems: &mut Problems) {
        let (table, marks) = match (&self.table, &self.xml) {
            (Some(table), None) => (table, ("table", &table.decimal_mark, &table.thousands_mark)),
            (None, Some(xml)) => {
                let marks = ("xml", &xml.decimal_mark, &xml.thousands_mark);
                mark_problems(marks, problems);
                self.path_problems(&xml.rows, problems);
                return;
            }
            _ => {
                problems
                    .add("", "set either table (how cells are written) or xml (how elements nest)");
                return;
            }
        };
        mark_problems(marks, problems);
        if !(table.delimiter.len() == 1
            && table.delimiter.is_ascii()
            && !table.delimiter.contains(['"', '\r', '\n']))
        {
            problems.add(
                "/table/delimiter",
                "expected one ASCII character, such as a comma, a semicolon or a tab",
            );
        }
        if let Some(encoding) = table.encoding.as_ref().filter(|encoding| !encoding.is_known()) {
            let known = ENCODINGS.iter().map(|known| known.name());
            let near = nearest(encoding, known).map(|near| near.to_ascii_lowercase());
            let near = near.map(|near| format!("; did you mean {near:?}?")).unwrap_or_default();
            problems.add(
                "/table/encoding",
                format!("{encoding:?} is not a label of an encoding{near}"),
            );
        }
        // Names that spreadsheet programs refuse for a sheet.
        let no_sheet = |name: &Text| {
            name.chars().count() > 31
                || name.contains(['[', ']', ':', '*', '?', '/', '\\'])
                || name.trim_matches('\'') != name.as_str()
        };
        if table.sheet.as_ref().is_some_and(no_sheet) {
            let message = "not a name of a sheet: at most 31 characters, none of []:*?/\\, and no apostrophe at either end";
            problems.add("/table/sheet", message);
        }
        for (key, count) in
            [("heading_row", table.heading_row), ("heading_rows", table.heading_rows)]
        {
            if count == Some(0) {
                problems.add(format!("/table/{key}"), "rows are counted from 1");
            }
        }
        let rows = table.heading_rows.unwrap_or(1) as usize;
        for (index, column) in self.columns.iter().enumerate() {
            let mut headings = std::iter::once(&column.heading).chain(&column.repeats);
            if let Some(heading) = headings.find(|heading| heading.split('\n').count() > rows) {
                let message = format!(
                    "{heading:?} has more lines than the {rows} of the headings; set their number in table.heading_rows"
                );
                problems.add(format!("/columns/{index}/heading"), message);
            }
        }
    }

    /// Checks the paths of XML: a row's element, and for each column an attribute or element inside
    /// or around it.
    fn path_problems(&self, rows: &str, problems: &mut Problems) {
        if !rows.split('/').all(is_name) {
            let message = "expected the names of elements from the root to the row's, such as Works/Line/Note";
            problems.add("/xml/rows", message);
        }
        let root = rows.split('/').next().unwrap_or_default();
        for (index, column) in self.columns.iter().enumerate() {
            let (path, attribute) = match column.heading.rsplit_once("/@") {
                Some((path, attribute)) => (path, Some(attribute)),
                None => (column.heading.as_str(), None),
            };
            let named = path.split('/').all(is_name) && attribute.is_none_or(is_name);
            let inside =
                path == root || path.strip_prefix(root).is_some_and(|rest| rest.starts_with('/'));
            let around = attribute.is_none()
                && rows.strip_prefix(path).is_some_and(|rest| rest.starts_with('/'));
            if !named || !inside || around {
                let message = format!(
                    "expected the path of an attribute, such as {rows}/@name, or of an element with a text, such as {rows}/Name"
                );
                problems.add(format!("/columns/{index}/heading"), message);
            }
        }
    }

    fn heading(&self, pointer: &str, heading: &str, problems: &mut Problems) {
        if !self.columns.iter().any(|column| &*column.heading == heading) {
            let near = nearest(heading, self.columns.iter().map(|column| column.heading.as_str()))
                .map(str::to_owned);
            let near = near.map(|near| format!("; did you mean {near:?}?")).unwrap_or_default();
            problems.add(pointer, format!("the layout has no column {heading:?}{near}"));
        }
    }

    fn column_problems(&self, problems: &mut Problems) {
        let mut headings = BTreeMap::new();
        for (index, column) in self.columns.iter().enumerate() {
            let pointer = format!("/columns/{index}");
            if let Some(earlier) = headings.insert(column.heading.as_str(), index) {
                let message = format!(
                    "the heading {:?} is also that of /columns/{earlier}; headings must differ",
                    column.heading
                );
                problems.add(format!("{pointer}/heading"), message);
            }
            let elsewhere =
                self.codes.as_ref().is_some_and(|codes| codes.columns.contains(&column.heading))
                    || self
                        .stretches
                        .as_ref()
                        .is_some_and(|stretches| stretches.column == column.heading);
            let ways = usize::from(elsewhere)
                + usize::from(column.to.is_some())
                + usize::from(column.drop.is_some());
            if ways != 1 {
                let what = if ways == 0 { "has no field" } else { "has more than one field" };
                let message = format!(
                    "{:?} {what}; set `to` to its field, or `drop` to the reason for skipping it",
                    column.heading
                );
                problems.add(&pointer, message);
            }
            let Some(to) = &column.to else { continue };
            let at = format!("{pointer}/to");
            let kind = column.kind.unwrap_or(CellKind::Text);
            let Some(target) = problems.target(&at, to) else { continue };
            self.clash_problem(index, target, problems);
            let of_row = matches!(
                target.record(),
                Record::Document | Record::Pipe | Record::Run | Record::Observation
            );
            if !of_row || target.is_unlisted() {
                let message = format!(
                    "{to} is not a field of a pipe, a run, an observation or the document; use fixed or made"
                );
                problems.add(&at, message);
            }
            if of_row && target.is_in_unknown_list() {
                let message = format!(
                    "{to} is a list, or in one, which the columns of a row cannot fill; drop the column, or map it to extensions"
                );
                problems.add(&at, message);
            }
            if target.is_extensions() && target.keys().len() > 1 {
                let record = target.record().list();
                let dot = if record.is_empty() { "" } else { "." };
                let message = format!(
                    "columns keep their texts in the extensions of a record; use {record}{dot}extensions"
                );
                problems.add(&at, message);
            }
            if target.is_extensions() && self.extension.is_none() {
                problems.add(&at, "extensions need a key; set it in extension");
            }
            kind_problems(&pointer, column, kind, target, self, problems);
        }
    }

    /// Reports an earlier column for the same value: the two cells of a row would contradict each
    /// other.
    fn clash_problem(&self, index: usize, target: Target, problems: &mut Problems) {
        let Some((column, earlier)) = self.columns.get(index).zip(self.columns.get(..index)) else {
            return;
        };
        let at = format!("/columns/{index}/to");
        let clash = earlier.iter().position(|other| {
            let own = other.target();
            own == Some(target) && same_value(other, column, target)
                || own.is_some_and(|own| own != target && (own.holds(target) || target.holds(own)))
        });
        let Some(clash) = clash else { return };
        let to = column.to.as_deref().unwrap_or_default();
        let advice = match self.columns.get(clash).and_then(Column::target) {
            Some(other) if other != target => {
                format!("; {other} and {to} contain each other, so use one of them")
            }
            _ if is_moment(target) => {
                "; a date and a time of day can share it, each with its kind and pattern".to_owned()
            }
            _ if target.has_places() => "; give each its place".to_owned(),
            _ => "; a row has one value of it, so drop one of them, or give further observations rows of their own".to_owned(),
        };
        problems.add(at, format!("/columns/{clash} already maps to {to}{advice}"));
    }

    fn code_problems(&self, problems: &mut Problems) {
        let Some(codes) = &self.codes else { return };
        for (index, heading) in codes.columns.iter().enumerate() {
            if let Some(earlier) = codes.columns[..index].iter().position(|own| own == heading) {
                let message = format!("duplicate of /codes/columns/{earlier}; keep one");
                problems.add(format!("/codes/columns/{index}"), message);
            }
            self.heading(&format!("/codes/columns/{index}"), heading, problems);
        }
        let mut seen = BTreeMap::new();
        for (index, entry) in codes.words.iter().enumerate() {
            let pointer = format!("/codes/words/{index}/words");
            if entry.words.is_empty() || entry.words.len() > codes.columns.len() {
                let message = format!(
                    "expected a word for each of the {} columns, or fewer",
                    codes.columns.len()
                );
                problems.add(&pointer, message);
            }
            if let Some(earlier) = seen.insert(&entry.words, index) {
                problems.add(&pointer, format!("duplicate of /codes/words/{earlier}; keep one"));
            }
        }
    }

    /// Checks that the layout gives what every survey needs.
    fn requirement_problems(&self, problems: &mut Problems) {
        for target in SURVEY_FIELDS.into_iter().filter(|target| !self.maps_to(*target)) {
            problems.add(
                "/fixed",
                format!(
                    "every survey needs {target}; add a column for it, or set it in fixed or made"
                ),
            );
        }
        for target in ROW_FIELDS.into_iter().filter(|target| !self.maps_to(*target)) {
            problems.add("/columns", format!("every survey needs {target}; add a column for it"));
        }
        if self.codes.is_none() && !self.maps_to(Target::CODE) {
            let code = Target::CODE;
            problems.add(
                "/columns",
                format!("every survey needs {code}; add a column for it, or several in codes"),
            );
        }
        let ends = |one: Target, other: Target| self.maps_to(one) && self.maps_to(other);
        if !ends(Target::RUN_FROM, Target::RUN_TO)
            && !ends(Target::PIPE_UPSTREAM, Target::PIPE_DOWNSTREAM)
        {
            let message = format!(
                "every survey needs both ends: {} and {} in the direction of travel, or {} and {} in the direction of flow",
                Target::RUN_FROM,
                Target::RUN_TO,
                Target::PIPE_UPSTREAM,
                Target::PIPE_DOWNSTREAM
            );
            problems.add("/columns", message);
        }
        let timed = |column: &Column| column.kind.is_some_and(CellKind::is_moment);
        let zone = self.zone.as_ref().map(|zone| is_offset(zone));
        if zone == Some(false) {
            problems.add("/zone", "expected an offset from UTC, such as -05:00");
        } else if zone.is_none() && self.columns.iter().any(timed) {
            problems.add("/columns", "dates and times need their offset from UTC; set it in zone");
        }
        let names =
            |column: &Column| column.target() == Some(Target::MEDIA_FILE) && column.is_recording();
        if self.video.is_none()
            && self.maps_to(Target::MEDIA_OFFSET)
            && !self.columns.iter().any(names)
        {
            let message = "offsets into a recording need its file; name it in a column or in video";
            problems.add("/columns", message);
        }
    }
}

/// Fields that a survey has once.
const SURVEY_FIELDS: [Target; 7] = [
    Target::ID,
    Target::ISSUED,
    Target::LENGTH_UNIT,
    Target::SECTION_UNIT,
    Target::CODE_LIST,
    Target::CODE_LIST_VERSION,
    Target::STRUCTURE_KIND,
];

/// Fields that every row has, from its cells or from the layout.
const ROW_FIELDS: [Target; 4] =
    [Target::PIPE_ID, Target::RUN_ID, Target::DIRECTION, Target::DISTANCE];

/// Whether two columns that map to one field hold the same value of it.
fn same_value(one: &Column, other: &Column, target: Target) -> bool {
    let parts = (one.kind, other.kind);
    let date_and_time = [
        (Some(CellKind::Date), Some(CellKind::Time)),
        (Some(CellKind::Time), Some(CellKind::Date)),
    ];
    let place = |column: &Column| column.place.unwrap_or(1);
    match target {
        _ if target.is_extensions() || date_and_time.contains(&parts) => false,
        // Files without a place are in the order of their columns.
        Target::MEDIA_FILE => {
            one.place.is_some() && one.place == other.place && one.media == other.media
        }
        Target::AMOUNT => place(one) == place(other) && one.unit == other.unit,
        _ => !target.has_places() || place(one) == place(other),
    }
}

/// Whether a field is a date with a time of day.
fn is_moment(target: Target) -> bool {
    target.field().form.as_deref().is_some_and(|form| form.starts_with("a date, time"))
}

fn mark_problems(
    (form, decimal, thousands): (&str, &Option<Text>, &Option<Text>),
    problems: &mut Problems,
) {
    for (key, mark) in [("decimal_mark", decimal), ("thousands_mark", thousands)] {
        let wrong =
            |mark: &Text| mark.chars().count() != 1 || mark.contains(|c: char| c.is_ascii_digit());
        if mark.as_ref().is_some_and(wrong) {
            problems.add(format!("/{form}/{key}"), "expected one character that is not a digit");
        }
    }
    if thousands.as_deref() == Some(decimal.as_deref().unwrap_or(".")) {
        let message = "the same as the decimal mark; use another";
        problems.add(format!("/{form}/thousands_mark"), message);
    }
}

/// Whether a text can be the name of an element or attribute. Letters beyond ASCII are accepted, as
/// XML 1.0 does for almost all of them.
fn is_name(text: &str) -> bool {
    text.starts_with(|c: char| c.is_alphabetic() || c == '_')
        && text.chars().all(|c| c.is_alphanumeric() || matches!(c, '_' | '-' | '.' | ':'))
}

fn template_problems(pointer: &str, text: &Text, problems: &mut Problems) {
    for error in Template::parse(text).err().into_iter().flatten() {
        match error {
            TemplateError::Path(error) => problems.path(pointer, error),
            TemplateError::Brace => problems.add(
                pointer,
                format!("{text:?} has a brace without the path of a field, such as {{pipes.id}}"),
            ),
        }
    }
}

/// Whether a text is an offset of RFC 3339.
fn is_offset(text: &str) -> bool {
    let number = |part: &str, below: u8| {
        part.len() == 2 && part.parse::<u8>().is_ok_and(|number| number < below)
    };
    text == "Z"
        || text
            .strip_prefix(['+', '-'])
            .and_then(|rest| rest.split_once(':'))
            .is_some_and(|(hours, minutes)| number(hours, 24) && number(minutes, 60))
}

#[cfg(test)]
mod tests;
