//! The meaning of a row in the project's own terms, whatever code list the document uses, by the
//! links of its code.

use obvert_model::lists::{Code, CodeList};
use obvert_model::text::Text;

use crate::views::{RowView, Survey};

/// The id of the list of the project's own terms.
const TERMS: &str = "obvert-terms";

/// The term for a row: its code, or the code that it is linked to; `None` if there is none.
pub(crate) fn term<'r>(row: &RowView<'r>) -> Option<&'r str> {
    let code = row.code?;
    if row.survey().list?.id.as_str() == TERMS {
        return Some(code.code.as_str());
    }
    let applies = |when: &[Text]| {
        when.len() <= row.row.characterisation.len()
            && when.iter().zip(&row.row.characterisation).all(|(asked, is)| asked == is)
    };
    let links = code.same_as.iter().filter(|link| link.list.as_str() == TERMS);
    let best = links.filter(|link| applies(&link.when)).max_by_key(|link| link.when.len());
    best.map(|link| link.code.as_str())
}

/// Whether the document's code list has a code for one of these terms, or for terms that begin with
/// one of them and a full stop.
pub(crate) fn can_record(survey: &Survey<'_>, terms: &[&str]) -> bool {
    let own = |list: &CodeList, code: &Code| {
        if list.id.as_str() == TERMS {
            return is_one_of(code.code.as_str(), terms);
        }
        let links = code.same_as.iter().filter(|link| link.list.as_str() == TERMS);
        links.into_iter().any(|link| is_one_of(link.code.as_str(), terms))
    };
    survey.list.is_some_and(|list| list.codes.iter().any(|code| own(list, code)))
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
    fn a_word_stands_for_all_that_begin_with_it() {
        assert!(is_one_of("roots.fine", &["collapse", "roots"]));
        assert!(is_one_of("collapse", &["collapse", "roots"]));
        assert!(!is_one_of("joint.open", &["joint.displaced"]));
        assert!(!is_one_of("infiltration", &["in"]));
    }
}
