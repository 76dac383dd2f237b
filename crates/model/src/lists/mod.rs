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
mod grade_scheme;
mod problems;

pub use code_list::{
    Characterisation, CharacterisationValue, ClockExtent, ClockRule, ClockUse, Code, CodeList, CodeListVersion, Family,
    JointUse, Labels, PercentOf, QuantityMeaning, Role, SameAs, StretchUse,
};
pub use grade_scheme::{
    Band, CodeListRef, GradeEntry, GradeScheme, GradeSchemeVersion, GradeStep, Peak, PeakMethod, Rollup, Scale,
    SizeRange, Span,
};
pub use problems::{ListProblem, ListProblemKind};

use serde::de::{Deserializer, Error, MapAccess, Visitor};

use crate::text::{Language, Text};

/// Why a code list or a grade scheme could not be read.
#[derive(Debug, thiserror::Error)]
#[error("line {line}, column {column}: {message}")]
pub struct ListError {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// What is wrong.
    pub message: String,
}

impl From<serde_json::Error> for ListError {
    fn from(error: serde_json::Error) -> Self {
        let whole = error.to_string();
        let message = whole.rsplit_once(" at line ").map_or(whole.as_str(), |(message, _)| message).to_owned();
        Self { line: error.line(), column: error.column(), message }
    }
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
