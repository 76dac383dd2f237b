//! The codes of a draft: those in the table if it has codes of a list, or the words of the table
//! with their probable codes.

use obvert_convert::ConvertError;
use obvert_model::layout::{CodeColumns, CodeWords};
use obvert_model::lists::CodeList;

use super::super::analysis::Analysis;
use super::super::choice::{codes, reason};
use super::super::statistics::{CellPattern, Sample};
use super::super::vocabulary::Role;
use super::text;

/// The codes of a file.
pub(super) struct Coding {
    /// The words of the file with their codes; `None` if it has codes.
    pub(super) words: Option<CodeColumns>,
    /// The list of the codes.
    pub(super) list: &'static CodeList,
}

impl Coding {
    pub(super) fn of(
        analysis: &Analysis<'_>,
        open: &mut Vec<String>,
    ) -> Result<Self, ConvertError> {
        let (terms, standard) = (CodeList::obvert_terms(), CodeList::en_13508_2());
        let Some(column) = analysis.column_with(Role::Codes) else {
            return Ok(Self { words: None, list: terms });
        };
        if let Some(list) =
            [terms, standard].into_iter().find(|list| is_of(analysis, column, list, open))
        {
            return Ok(Self { words: None, list });
        }
        // A code of three letters that is not in the list is an error of the table as well.
        if analysis.statistics(column).has(&CellPattern::StandardCode) {
            return Ok(Self { words: None, list: standard });
        }
        Ok(Self { words: Some(words(analysis, column, open)?), list: terms })
    }
}

/// Whether most values of a column are codes of a list. The others are errors of the table, which
/// the checker finds, and are reported.
fn is_of(analysis: &Analysis<'_>, column: usize, list: &CodeList, open: &mut Vec<String>) -> bool {
    let own = &analysis.columns[column];
    let values = &own.statistics.distinct;
    let is_code = |value: &str| list.codes.iter().any(|code| &*code.code == value);
    let strange: Vec<Sample> =
        values.iter().filter(|(value, _)| !is_code(value)).cloned().collect();
    let is_of = !values.is_empty() && strange.len() * 3 <= values.len();
    if is_of && !strange.is_empty() {
        let (heading, id) = (&own.heading, &list.id);
        open.push(format!(
            "{heading:?}: the codes are read as those of {id}, and {}",
            reason::lines(&strange)
        ));
    }
    is_of
}

/// For how many unknown words codes are suggested.
const SHOWN: usize = 20;

/// The words of a file for codes, with their probable codes.
fn words(
    analysis: &Analysis<'_>,
    column: usize,
    open: &mut Vec<String>,
) -> Result<CodeColumns, ConvertError> {
    let detail = analysis.column_with(Role::CodeDetail);
    let mut seen: Vec<(Vec<&str>, usize)> = Vec::new();
    for row in analysis.rows {
        let mut words = vec![analysis.text(row, column)];
        words.extend(
            detail.map(|detail| analysis.text(row, detail)).filter(|text| !text.is_empty()),
        );
        if !words[0].is_empty() && !seen.iter().any(|(other, _)| *other == words) {
            seen.push((words, row.line));
        }
    }
    let mut codes = CodeColumns::new();
    for column in std::iter::once(column).chain(detail) {
        codes.columns.push(text(&analysis.columns[column].heading)?);
    }
    let mut unknown = 0;
    for (words, line) in seen {
        let Some((code, characterisation)) = codes::meant(&words.join(" ")) else {
            // Each costs a comparison with all words.
            unknown += 1;
            let is_shown = unknown <= SHOWN;
            let likely = if is_shown { codes::alternatives(&words.join(" ")) } else { Vec::new() };
            let may = match likely.as_slice() {
                [] => String::new(),
                some => format!(", which may be {}", some.join(" or ")),
            };
            open.push(format!(
                "line {line}: no code is known for {:?}{may}; add one to codes.words",
                words.join(", ")
            ));
            continue;
        };
        let mut entry = CodeWords::new(code.code.clone());
        entry.words = words.into_iter().map(text).collect::<Result<_, _>>()?;
        entry.characterisation =
            characterisation.into_iter().map(text).collect::<Result<_, _>>()?;
        codes.words.push(entry);
    }
    Ok(codes)
}
