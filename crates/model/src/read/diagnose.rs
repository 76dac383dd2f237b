//! The diagnostic path for a source that is invalid. It parses the source again, into a value, and
//! reports every structural problem with its location and the nearest valid spelling.

#[cfg(feature = "diagnose")]
use serde_json::Value;

use super::error::{Problem, ProblemKind, ReadError};
use super::stopped;
#[cfg(feature = "diagnose")]
use super::{any, fix, huge, ids, partial, remains, schema, span};

/// The kind of a source. Each has its own schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Subject {
    #[cfg(feature = "diagnose")]
    Document,
    /// A document of version 0.1, by its own schema.
    #[cfg(feature = "diagnose")]
    Document0_1,
    CodeList,
    GradeScheme,
    Profile,
    Layout,
}

/// Every structural problem of a document, and the document as a value.
///
/// ```
/// let source = br#"{ "obvert": "0.2", "id": "d", "issued": "2026-05-06T16:20:00-05:00",
///   "units": { "length": "ft", "section": "in" }, "coding": { "list": "obvert-terms", "version": "1" },
///   "pipes": [ { "id": "L-101", "upstream": "LM-014", "length": "long" } ] }"#;
/// let diagnosis = obvert_model::read::diagnose(source)?;
/// assert_eq!(diagnosis.problems[0].pointer, "/pipes/0/length");
/// assert_eq!(diagnosis.value["pipes"][0]["length"], "long");
/// // The rest of the document, without the invalid length.
/// let remains = diagnosis.into_remains().expect("a document");
/// assert_eq!(remains.document.head.pipes[0].length, None);
/// # Ok::<(), obvert_model::read::ReadError>(())
/// ```
#[cfg(feature = "diagnose")]
#[derive(Clone, Debug, PartialEq)]
pub struct Diagnosis {
    /// Every structural problem, in the order of the source; none if the document is valid.
    pub problems: Vec<Problem>,
    /// The document that the problems refer to. A duplicate key has its last value; a number too
    /// large for a double is replaced by a smaller one that is out of range too.
    pub value: Value,
}

#[cfg(feature = "diagnose")]
impl Diagnosis {
    /// Diagnoses a document that the reader of another format has as a value. The problems have no
    /// locations.
    #[must_use]
    pub fn of_value(value: Value) -> Self {
        Self { problems: value_problems(&value), value }
    }

    /// The part of the document that can be read; `None` if there is none, for example if the units
    /// are invalid.
    #[must_use]
    pub fn into_remains(self) -> Option<remains::Remains> {
        remains::remains(self.value, &self.problems)
    }
}

/// Finds every structural problem of a document.
///
/// This parses the whole source into a value, which is several times slower than reading and needs
/// a multiple of the source in memory. Call it when reading has failed.
///
/// # Errors
/// If the source is empty, not UTF-8 or not JSON.
#[cfg(feature = "diagnose")]
pub fn diagnose(source: &[u8]) -> Result<Diagnosis, ReadError> {
    let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
    let mut diagnosis = diagnose_as(source, Subject::Document)?;
    if diagnosis.problems.is_empty() {
        // The typed reader decides what is valid.
        if let Err(error) = serde_json::from_slice::<crate::tables::Document>(source) {
            match stopped::error(&String::from_utf8_lossy(source), 0, &error) {
                ReadError::Structure(problems) => diagnosis.problems = problems,
                error => return Err(error),
            }
        }
    }
    Ok(diagnosis)
}

/// Every structural problem of a document that is a value, without locations; none if it is valid.
#[cfg(feature = "diagnose")]
#[must_use]
pub fn value_problems(value: &Value) -> Vec<Problem> {
    problems_as(value, Subject::Document)
}

/// Replaces the problem at which a reader stopped by all problems of the document.
pub(super) fn explain(source: &[u8], first: ReadError) -> ReadError {
    let ids_only = !first.problems().is_empty()
        && first.problems().iter().all(|p| p.kind == ProblemKind::DuplicateId);
    if ids_only || matches!(first, ReadError::Empty | ReadError::Encoding { .. }) {
        return first;
    }
    #[cfg(feature = "diagnose")]
    match document_problems(source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source)) {
        Ok(problems) if problems.is_empty() => first,
        Ok(problems) => ReadError::Structure(problems),
        Err(error) => error,
    }
    #[cfg(not(feature = "diagnose"))]
    {
        let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
        // The rest of the source has not been parsed and may not be JSON.
        match serde_json::from_slice::<serde::de::IgnoredAny>(source) {
            Err(error) if matches!(first, ReadError::Structure(_)) => {
                stopped::syntax(source, 0, &error)
            }
            _ => first,
        }
    }
}

/// Every structural problem of a document.
#[cfg(feature = "diagnose")]
fn document_problems(source: &[u8]) -> Result<Vec<Problem>, ReadError> {
    match partial::all_problems(source)? {
        Some(problems) => Ok(problems),
        None => diagnose_as(source, Subject::Document).map(|diagnosis| diagnosis.problems),
    }
}

/// Explains why a source could not be read as its subject, starting from the error of the typed
/// reader.
pub(crate) fn explain_as(source: &[u8], first: &serde_json::Error, subject: Subject) -> ReadError {
    let only_this = || {
        ReadError::Structure(vec![Problem {
            line: first.line(),
            column: first.column(),
            ..Problem::new(ProblemKind::WrongType, "", first.to_string())
        }])
    };
    #[cfg(feature = "diagnose")]
    match diagnose_as(source, subject) {
        Ok(diagnosis) if diagnosis.problems.is_empty() => only_this(),
        Ok(diagnosis) => ReadError::Structure(diagnosis.problems),
        Err(error) => error,
    }
    #[cfg(not(feature = "diagnose"))]
    {
        let _ = subject;
        if let Some(error) = not_text(source) {
            return error;
        }
        match serde_json::from_slice::<serde::de::IgnoredAny>(source) {
            Err(error) => stopped::syntax(source, 0, &error),
            Ok(_) if first.is_data() => only_this(),
            Ok(_) => stopped::syntax(source, 0, first),
        }
    }
}

pub(super) fn not_text(source: &[u8]) -> Option<ReadError> {
    match source.iter().all(u8::is_ascii_whitespace) {
        true => Some(ReadError::Empty),
        false => stopped::encoding(source),
    }
}

/// The value of a source that is valid by the schema of its subject.
#[cfg(feature = "diagnose")]
pub(crate) fn validated(source: &[u8], subject: Subject) -> Result<Value, ReadError> {
    let diagnosis = diagnose_as(source, subject)?;
    if diagnosis.problems.is_empty() {
        Ok(diagnosis.value)
    } else {
        Err(ReadError::Structure(diagnosis.problems))
    }
}

/// The value of a source, and every problem of it by the schema of its subject.
#[cfg(feature = "diagnose")]
fn diagnose_as(source: &[u8], subject: Subject) -> Result<Diagnosis, ReadError> {
    if let Some(error) = not_text(source) {
        return Err(error);
    }
    let (tame, tokens) = huge::replace(source);
    let (value, duplicates) =
        any::noting_duplicates(&tame).map_err(|error| stopped::syntax(source, 0, &error))?;
    let mut problems = problems_as(&value, subject);
    problems.splice(0..0, duplicates.into_iter().map(repeated_key));
    keep_version_only(&mut problems, subject);
    deduplicate(&mut problems);
    if subject == Subject::Document {
        fix::add_fixes(&value, &mut problems);
    }
    let places = span::locate_all(source, problems.iter().map(|p| p.pointer.as_str()));
    place(&mut problems, &places, &tokens, (1, 1));
    sort(&mut problems);
    Ok(Diagnosis { problems, value })
}

/// Sorts problems by their locations.
#[cfg(feature = "diagnose")]
pub(super) fn sort(problems: &mut [Problem]) {
    problems.sort_by(|a, b| {
        (a.line, a.column, a.kind, &a.pointer).cmp(&(b.line, b.column, b.kind, &b.pointer))
    });
}

/// The problem of a key that an object has twice.
#[cfg(feature = "diagnose")]
pub(super) fn repeated_key(pointer: String) -> Problem {
    Problem::new(ProblemKind::DuplicateKey, pointer, "duplicate key in one object; keep one")
}

/// The problems of a document that is a part of a source, with fixes. `duplicates` are the pointers
/// of its duplicate keys, below `holder`.
#[cfg(feature = "diagnose")]
pub(super) fn problems_of(part: &Value, duplicates: Vec<String>, holder: &str) -> Vec<Problem> {
    let duplicates = duplicates.into_iter().map(|pointer| format!("{holder}{pointer}"));
    let mut problems: Vec<Problem> = duplicates.map(repeated_key).collect();
    problems.extend(problems_as(part, Subject::Document));
    keep_version_only(&mut problems, Subject::Document);
    deduplicate(&mut problems);
    fix::add_fixes(part, &mut problems);
    problems
}

/// Gives problems their locations, in a part of a source that begins at a line and column, and the
/// numbers of the source instead of placeholders.
#[cfg(feature = "diagnose")]
pub(super) fn place(
    problems: &mut [Problem],
    places: &span::Spans,
    tokens: &rustc_hash::FxHashMap<usize, String>,
    base: (usize, usize),
) {
    for problem in problems {
        let value = places.get(&problem.pointer);
        if let Some(token) = tokens.get(&value.offset) {
            problem.message = problem.message.replace(&huge::placeholder(token).to_string(), token);
        }
        let place = if problem.kind.is_of_key() { places.key(&problem.pointer) } else { value };
        let column = if place.line == 1 { base.1 + place.column - 1 } else { place.column };
        (problem.line, problem.column) = (base.0 + place.line - 1, column);
    }
}

#[cfg(feature = "diagnose")]
fn problems_as(value: &Value, subject: Subject) -> Vec<Problem> {
    let mut problems = schema::problems(value, subject);
    if matches!(subject, Subject::Document | Subject::Document0_1) {
        problems.extend(
            ids::duplicates_in(value)
                .into_iter()
                .map(|duplicate| duplicate.problem(span::Span::default())),
        );
    }
    keep_version_only(&mut problems, subject);
    deduplicate(&mut problems);
    problems
}

/// Keeps only the problem of an unknown version, if a document has one. What is wrong by this
/// version's schema may be right by that of the other.
#[cfg(feature = "diagnose")]
fn keep_version_only(problems: &mut Vec<Problem>, subject: Subject) {
    if subject == Subject::Document && problems.iter().any(is_of_version) {
        problems.retain(is_of_version);
    }
}

/// Whether a problem is that the version of the document is not known.
#[cfg(feature = "diagnose")]
pub(super) fn is_of_version(problem: &Problem) -> bool {
    problem.kind == ProblemKind::UnknownWord && problem.pointer == "/obvert"
}

/// Keeps one problem of each kind and pointer, since one value can violate several keywords of the
/// schema: a word of the wrong type violates both `type` and `enum`. One object can lack several
/// keys.
#[cfg(feature = "diagnose")]
fn deduplicate(problems: &mut Vec<Problem>) {
    let mut seen = rustc_hash::FxHashSet::default();
    problems
        .retain(|p| p.kind == ProblemKind::MissingKey || seen.insert((p.kind, p.pointer.clone())));
}
