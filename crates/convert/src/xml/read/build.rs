//! From markup to a document, by the shape of the format. Problems are recorded with their location
//! and reading continues, so that all of them are reported at once.

use std::collections::BTreeSet;

use obvert_model::edit::token;
use obvert_model::read::{Problem, ProblemKind};
use obvert_model::shape;
use obvert_model::synonyms::nearest_key;
use obvert_model::text::nearest;
use serde_json::Value;

use super::super::text;
use super::tokens::{Start, Token, Tokens, short};
use crate::source::{Diagnosis, Locations, diagnosed};
use crate::{ConvertError, PlacedProblem, SourceMap, typed};

/// Every problem of a document, and the document as far as it can be read.
pub(super) fn diagnose(text: &str, name: &str) -> Result<Diagnosis, ConvertError> {
    let (Build { places, problems, judged, .. }, value) = Build::read(text, name)?;
    let read = diagnosed(typed(value, places));
    if problems.is_empty() {
        return read;
    }
    // The problems can be such that no value was read.
    let Ok(Diagnosis { value, locations, problems: more }) = read else {
        return Ok(Diagnosis { problems, ..Diagnosis::default() });
    };
    // A value with a problem was kept as it was, so the model reports it as well.
    let known = |pointer: &str| {
        let ends = pointer.match_indices('/').map(|(at, _)| at).chain([pointer.len()]);
        ends.into_iter().any(|end| judged.contains(&pointer[..end]))
    };
    let mut all = problems;
    all.extend(more.into_iter().filter(|placed| !known(&placed.problem.pointer)));
    let at = |placed: &PlacedProblem| {
        placed.place.as_ref().map_or((0, None), |place| (place.line, place.column))
    };
    all.sort_by_key(at);
    Ok(Diagnosis { value, locations, problems: all })
}

pub(super) struct Build<'t> {
    pub(super) tokens: Tokens<'t>,
    length: usize,
    pub(super) places: SourceMap,
    /// The file whose locations are recorded, if they are.
    pub(super) file: Option<u32>,
    problems: Vec<PlacedProblem>,
    /// Pointers of values that have a problem.
    pub(super) judged: BTreeSet<String>,
}

impl<'t> Build<'t> {
    pub(super) fn new(text: &'t str, name: &str, locations: Locations) -> Self {
        let mut places = SourceMap::default();
        let file = (locations == Locations::Kept).then(|| {
            let file = places.file(name);
            places.keep_text(file, text.as_bytes());
            file
        });
        let (tokens, length) = (Tokens::new(text, name), text.len());
        Self { tokens, length, places, file, problems: Vec::new(), judged: BTreeSet::new() }
    }

    /// Reads a whole document into a value.
    fn read(text: &'t str, name: &str) -> Result<(Self, Value), ConvertError> {
        let mut build = Self::new(text, name, Locations::Kept);
        let root = build.root()?;
        let value = build.object(shape::document(), &root, "")?;
        while !matches!(build.tokens.next()?, Token::Eof) {}
        Ok((build, value))
    }

    /// The start tag of the root.
    pub(super) fn root(&mut self) -> Result<Start<'t>, ConvertError> {
        loop {
            match self.tokens.next()? {
                Token::Start(start) => {
                    self.record("", start.offset);
                    self.attributes(&start, "", &[]);
                    return Ok(start);
                }
                // Only white space can come before the root, and a document without a root is
                // refused at its end.
                Token::Text { .. } | Token::End | Token::Eof => {}
            }
        }
    }

    /// Stops reading if a problem has been noted.
    pub(super) fn check_valid(&self) -> Result<(), ConvertError> {
        if self.problems.is_empty() { Ok(()) } else { Err(ConvertError::first_of(&self.problems)) }
    }

    pub(super) fn invalid(&mut self, offset: usize, message: impl Into<String>) -> ConvertError {
        ConvertError::invalid(Some(self.tokens.place(offset)), message)
    }

    pub(super) fn out_of_place(&mut self, start: &Start<'t>) -> ConvertError {
        self.invalid(
            start.offset,
            format!("the element <{}> is not allowed here; move or remove it", short(start.name)),
        )
    }

    /// Records where a table or a row starts. Values in it are located on request: a record of
    /// every element would take more memory than the document.
    pub(super) fn record(&mut self, pointer: &str, offset: usize) {
        let Some(file) = self.file else { return };
        let at = self.tokens.line_column(offset);
        self.places.place_element(pointer, file, at, offset..self.length);
    }

    pub(super) fn problem(
        &mut self,
        kind: ProblemKind,
        pointer: &str,
        offset: usize,
        message: String,
    ) {
        self.suggest(kind, pointer, offset, message, None);
    }

    pub(super) fn suggest(
        &mut self,
        kind: ProblemKind,
        pointer: &str,
        offset: usize,
        message: String,
        suggestion: Option<String>,
    ) {
        let place = self.tokens.place(offset);
        let problem = Problem { suggestion, ..Problem::new(kind, pointer, message) };
        self.problems.push(PlacedProblem { place: Some(place), problem });
    }

    /// Reports a problem of a value that is kept as it was. The typed reader's problem with the
    /// same value is left out.
    pub(super) fn judge(
        &mut self,
        kind: ProblemKind,
        pointer: &str,
        offset: usize,
        message: String,
    ) {
        self.judged.insert(pointer.to_owned());
        self.problem(kind, pointer, offset, message);
    }

    /// Reports every unknown attribute.
    pub(super) fn attributes(&mut self, start: &Start<'t>, pointer: &str, known: &[&str]) {
        for (name, _, offset) in &start.attributes {
            if known.contains(&name.as_str()) {
                continue;
            }
            let suggestion = nearest(name, known.iter().copied()).map(str::to_owned);
            let message =
                format!("unknown attribute {name:?} of <{}>; write values as elements", start.name);
            // No element has such a name.
            let below = format!("{pointer}/@{}", token(name));
            self.suggest(ProblemKind::UnknownKey, &below, *offset, message, suggestion);
        }
    }

    /// Skips the rest of an element whose start tag has been read.
    pub(super) fn skip(&mut self) -> Result<(), ConvertError> {
        let mut depth = 1;
        while depth > 0 {
            match self.tokens.next()? {
                Token::Start(_) => depth += 1,
                Token::End => depth -= 1,
                Token::Text { .. } => {}
                // The tokens report an end inside an element.
                Token::Eof => break,
            }
        }
        Ok(())
    }

    /// The next child of an element that contains only elements; `None` at its end.
    pub(super) fn child(
        &mut self,
        parent: &Start<'t>,
        pointer: &str,
    ) -> Result<Option<Start<'t>>, ConvertError> {
        let mut reported = false;
        loop {
            match self.tokens.next()? {
                Token::Start(start) => return Ok(Some(start)),
                Token::End | Token::Eof => return Ok(None),
                Token::Text { text: found, offset } => {
                    let found = text::trim(&found);
                    if !found.is_empty() && !reported {
                        reported = true;
                        let message = format!(
                            "text between the elements of <{}>: {:?}; put it into an element",
                            parent.name,
                            short(found)
                        );
                        let offset = self.tokens.past_space(offset);
                        self.problem(ProblemKind::WrongType, pointer, offset, message);
                    }
                }
            }
        }
    }

    /// Reports an unknown child of an element, and skips it. `only` means that a list has one kind
    /// of element.
    pub(super) fn unknown(
        &mut self,
        start: &Start<'t>,
        parent: &Start<'t>,
        pointer: &str,
        known: &[&str],
        only: bool,
    ) -> Result<(), ConvertError> {
        let name = short(start.name);
        let (message, suggestion) = match (start.foreign.as_deref(), known) {
            (Some(""), _) => {
                (format!("the element <{name}> has no namespace; use that of the format"), None)
            }
            (Some(other), _) => {
                let message = format!(
                    "the element <{name}> is in the namespace {:?}; use that of the format",
                    short(other)
                );
                (message, None)
            }
            (None, [item]) if only => (
                format!(
                    "unknown element <{name}> in <{}>, which contains <{item}> only",
                    parent.name
                ),
                None,
            ),
            (None, _) => {
                let message = format!(
                    "unknown element <{name}> in <{}>; put your own data into <extensions>",
                    parent.name
                );
                (message, nearest_key(pointer, start.name, known).map(str::to_owned))
            }
        };
        let below = format!("{pointer}/{}", token(start.name));
        self.suggest(ProblemKind::UnknownKey, &below, start.offset, message, suggestion);
        self.skip()
    }
}
