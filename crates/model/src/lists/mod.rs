//! Code lists and grade schemes: what codes mean and how bad each is. Both are data, so that an office that is bound
//! to a list of its own brings it as a file.
//!
//! ```
//! use obvert_model::lists::{CodeList, GradeScheme};
//! let list = CodeList::obvert_terms();
//! let codes = list.by_code();
//! assert_eq!(codes["crack.longitudinal"].name(), "longitudinal crack");
//!
//! // A list of one's own is read from a file and looked at before it is used.
//! let own = CodeList::read(br#"{
//!   "code_list": "0.1", "id": "larkmoor-terms", "version": "1", "title": "Terms of the town of Larkmoor",
//!   "codes": [ { "code": "roots", "family": "operational", "label": { "en": "roots" },
//!     "clock": { "use": "optional" }, "continuous": "allowed", "joint": "allowed" } ]
//! }"#)?;
//! assert!(own.problems().is_empty());
//! // The built-in scheme is none for it: it grades another list.
//! assert!(!GradeScheme::obvert_grades().problems(&own).is_empty());
//! # Ok::<(), obvert_model::lists::ListError>(())
//! ```

mod code_list;
mod crosswalk;
mod grade_scheme;
mod link_problems;
mod list_problems;
mod problems;

pub use code_list::{
    Characterisation, CharacterisationValue, ClockExtent, ClockRule, ClockUse, Code, CodeList, CodeListVersion, Family,
    Fit, JointUse, Labels, PercentOf, QuantityMeaning, Role, SameAmount, SameAs, Standing, StretchUse,
};
pub use crosswalk::{Carried, Crosswalk, Link, Lost, NoEquivalent, ORIGINAL};
pub use grade_scheme::{
    Band, CodeListRef, GradeEntry, GradeScheme, GradeSchemeVersion, GradeStep, Peak, PeakMethod, Rollup, Scale,
    SizeRange, Span,
};
pub use problems::{ListProblem, ListProblemKind};

use serde::de::{DeserializeOwned, Deserializer, Error, MapAccess, Visitor};

use crate::read::{Problem, ReadError, Subject, explain_as};
use crate::text::{Language, Text};

/// Why a code list, a grade scheme or a profile could not be read.
#[derive(Clone, Debug, thiserror::Error)]
#[error("line {line}, column {column}: {message}")]
pub struct ListError {
    /// Line, from 1.
    pub line: usize,
    /// Column, in characters from 1.
    pub column: usize,
    /// What is wrong; of several problems of structure, the first.
    pub message: String,
    /// Every problem of structure; empty where the source is not JSON.
    pub problems: Vec<Problem>,
}

impl From<ReadError> for ListError {
    fn from(error: ReadError) -> Self {
        let (line, column, message) = match &error {
            ReadError::Empty => (1, 1, "the source is empty".to_owned()),
            ReadError::Encoding { line, hint } => (*line, 1, format!("not UTF-8 text ({hint}); save it as UTF-8")),
            ReadError::Syntax { line, column, message } => (*line, *column, format!("not JSON: {message}")),
            ReadError::Structure(problems) => problems.first().map_or((1, 1, String::new()), |first| {
                let placeless = Problem { line: 0, ..first.clone() };
                (first.line, first.column, placeless.to_string())
            }),
        };
        let problems = match error {
            ReadError::Structure(problems) => problems,
            _ => Vec::new(),
        };
        Self { line, column, message, problems }
    }
}

/// Reads a list or a profile in one pass, or says everything that is wrong with it.
pub(crate) fn read<T: DeserializeOwned>(source: &[u8], subject: Subject) -> Result<T, ListError> {
    let text = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
    serde_json::from_slice(text).map_err(|first| explain_as(text, &first, subject).into())
}

/// Reads texts by language; a plain map would keep the last of two names in one language silently.
fn labels<'de, D: Deserializer<'de>>(source: D) -> Result<Labels, D::Error> {
    struct ByLanguage;
    impl<'de> Visitor<'de> for ByLanguage {
        type Value = Labels;
        fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
            f.write_str("an object of texts by language tag")
        }
        fn visit_map<A: MapAccess<'de>>(self, mut source: A) -> Result<Labels, A::Error> {
            let mut labels = Labels::new();
            while let Some((language, text)) = source.next_entry::<Language, Text>()? {
                if let Some(earlier) = labels.insert(language, text) {
                    return Err(A::Error::custom(format_args!("a second name beside {earlier:?} in one language")));
                }
            }
            Ok(labels)
        }
    }
    source.deserialize_map(ByLanguage)
}
