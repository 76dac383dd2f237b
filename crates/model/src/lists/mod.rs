//! Code lists and grade schemes: what codes mean and how bad each is. Both are data, so that an office that is bound
//! to a list of its own brings it as a file.

mod code_list;
mod grade_scheme;

pub use code_list::{
    Characterisation, CharacterisationValue, ClockExtent, ClockRule, ClockUse, Code, CodeList, CodeListVersion, Family,
    JointUse, Labels, PercentOf, QuantityMeaning, Role, SameAs, StretchUse,
};
pub use grade_scheme::{
    Band, CodeListRef, GradeEntry, GradeScheme, GradeSchemeVersion, GradeStep, Rollup, Scale, SizeRange, Span,
};

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
