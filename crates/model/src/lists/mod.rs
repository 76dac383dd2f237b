//! Code lists and grade schemes: what codes mean and how each is graded. Both are data, so an
//! office that must use its own list supplies it as a file.
//!
//! ```
//! use obvert_model::lists::{CodeList, GradeScheme};
//! let list = CodeList::obvert_terms();
//! let codes = list.by_code();
//! assert_eq!(codes["crack.longitudinal"].name(), "longitudinal crack");
//!
//! // Check your own list before you use it.
//! let own = CodeList::read(br#"{
//!   "code_list": "0.1", "id": "larkmoor-terms", "version": "1", "title": "Terms of the town of Larkmoor",
//!   "codes": [ { "code": "roots", "family": "operational", "label": { "en": "roots" },
//!     "clock": { "use": "optional" }, "continuous": "allowed", "joint": "allowed" } ]
//! }"#)?;
//! assert!(own.problems().is_empty());
//! // The built-in scheme does not fit: it grades another list.
//! assert!(!GradeScheme::obvert_grades().problems(&own).is_empty());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod code_list;
mod crosswalk;
mod grade_scheme;
mod link_problems;
mod list_problems;
mod problems;

pub use code_list::{
    Characterisation, CharacterisationValue, ClockExtent, ClockRule, ClockUse, Code, CodeList,
    CodeListVersion, Family, Fit, JointUse, Labels, PercentOf, QuantityMeaning, Role, SameAmount,
    SameAs, Standing, StretchUse,
};
pub use crosswalk::{Crosswalk, Link, Lost, NoEquivalent, ORIGINAL, Translated};
pub use grade_scheme::{
    Band, CodeListRef, GradeEntry, GradeScheme, GradeSchemeVersion, GradeStep, Peak, PeakMethod,
    Rollup, Scale, SizeRange, Span,
};
pub use problems::{ListProblem, ListProblemKind};

use serde::de::{DeserializeOwned, Deserializer, Error, MapAccess, Visitor};

use crate::read::{ReadError, Subject, explain_as};
use crate::text::{Language, Text};

file_error! {
    /// Why a code list could not be read. Its [`source`](std::error::Error::source) has the
    /// details.
    pub CodeListError of "code list"
}

file_error! {
    /// Why a grade scheme could not be read. Its [`source`](std::error::Error::source) has the
    /// details.
    pub GradeSchemeError of "grade scheme"
}

/// Reads a list or a profile in one pass, or reports all of its problems.
pub(crate) fn read<T: DeserializeOwned>(source: &[u8], subject: Subject) -> Result<T, ReadError> {
    let text = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
    serde_json::from_slice(text).map_err(|first| explain_as(text, &first, subject))
}

/// Reads texts by language. A map would silently keep the last of two texts in one language.
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
                    return Err(A::Error::custom(format_args!(
                        "two names in one language, the first is {earlier:?}"
                    )));
                }
            }
            Ok(labels)
        }
    }
    source.deserialize_map(ByLanguage)
}
