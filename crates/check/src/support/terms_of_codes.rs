//! What a code means in the project's own terms.

use obvert_model::lists::Code;

/// The id of the project's own list.
const OWN: &str = "obvert-terms";

/// Whether a code, or a code of the project's own terms that it is linked to, begins with `term`.
pub(crate) fn means(code: &Code, term: &str) -> bool {
    code.code.starts_with(term)
        || code.same_as.iter().any(|link| *link.list == *OWN && link.code.starts_with(term))
}
