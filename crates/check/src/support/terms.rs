//! What a row means in the project's own terms (`obvert-terms`), whatever list it is coded in.
//! Rules about particular defects know them by these terms, and follow the links of other lists.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use obvert_model::lists::{Code, CodeList, Lost};
use obvert_model::text::Text;

use crate::views::{RowView, Survey};

/// The code of a row in the project's own terms, and its first characterisation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Term<'r> {
    /// The code: `deposit.settled`.
    pub(crate) code: &'r str,
    /// The first word of its characterisation: `fine`.
    pub(crate) kind: Option<&'r str>,
}

impl Term<'_> {
    /// The part of the code before the first point: `deposit`.
    pub(crate) fn group(&self) -> &str {
        group(self.code)
    }
}

/// The part of a code before its first point.
pub(crate) fn group(code: &str) -> &str {
    code.split_once('.').map_or(code, |(group, _)| group)
}

/// The term that a row of another code list has a link to, unless it could be one of several.
pub(crate) fn translated(row: &RowView<'_>) -> Option<Term<'static>> {
    let crosswalk = row.survey().crosswalk.as_ref()?;
    let translated = crosswalk.translate(&row.code?.code, &row.row.characterisation, &[]).ok()?;
    if translated.lost.iter().any(|lost| matches!(lost, Lost::Choice(_))) {
        return None;
    }
    let code = own_codes().get(translated.code.code.as_str())?;
    let kind = translated.characterisation.first().and_then(|kind| {
        let values = &code.characterisation.first()?.values;
        values.iter().map(|known| known.value.as_str()).find(|known| *known == kind.as_str())
    });
    Some(Term { code: code.code.as_str(), kind })
}

/// The project's own terms by code.
fn own_codes() -> &'static BTreeMap<&'static str, &'static Code> {
    static CODES: OnceLock<BTreeMap<&str, &Code>> = OnceLock::new();
    CODES.get_or_init(|| CodeList::obvert_terms().by_code())
}

impl<'r> RowView<'r> {
    /// What the row means in the project's own terms; `None` if its code is unknown or has no link
    /// to them.
    pub(crate) fn term(&self) -> Option<Term<'r>> {
        let code: &'r Code = self.code?;
        if self.survey().list?.id == CodeList::obvert_terms().id {
            let kind = self.row.characterisation.first().map(Text::as_str);
            return Some(Term { code: code.code.as_str(), kind });
        }
        *self.run.terms().get(self.index)?
    }
}

/// The id of the list of the project's own terms.
const TERMS: &str = "obvert-terms";

/// The term for a row; `None` if there is none.
pub(crate) fn term<'r>(row: &RowView<'r>) -> Option<&'r str> {
    row.term().map(|term| term.code)
}

/// Whether the document's code list has a code for one of these terms, or for terms that begin with
/// one of them and a full stop.
pub(crate) fn can_record(survey: &Survey<'_>, terms: &[&str]) -> bool {
    survey.list.is_some_and(|list| list.codes.iter().any(|code| means(code, terms)))
}

/// Whether a code, or one that it is linked to, is one of these terms or begins with one of them
/// and a full stop.
pub(crate) fn means(code: &Code, terms: &[&str]) -> bool {
    let links = code.same_as.iter().filter(|link| link.list.as_str() == TERMS);
    is_one_of(code.code.as_str(), terms)
        || links.into_iter().any(|link| is_one_of(link.code.as_str(), terms))
}

/// Whether a term is one of these, or begins with one of them and a full stop.
pub(crate) fn is_one_of(term: &str, terms: &[&str]) -> bool {
    terms.iter().any(|known| {
        term.strip_prefix(known).is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
    })
}

#[cfg(test)]
mod tests {
    use super::is_one_of;

    #[test]
    fn a_term_includes_all_that_begin_with_it() {
        assert!(is_one_of("roots.fine", &["collapse", "roots"]));
        assert!(is_one_of("collapse", &["collapse", "roots"]));
        assert!(!is_one_of("joint.open", &["joint.displaced"]));
        assert!(!is_one_of("infiltration", &["in"]));
    }
}
