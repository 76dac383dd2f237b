//! From markup to a document, by the shape of the format. What is wrong is noted with its place and
//! reading goes on, so that everything is reported at once.

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::sync::Arc;

use obvert_model::edit::token;
use obvert_model::extension::Json;
use obvert_model::read::{IdWatch, Problem, ProblemKind, RunReader};
use obvert_model::shape::{self, Field, ObjectShape, Shape};
use obvert_model::tables::{Head, Run};
use obvert_model::text::nearest;
use serde_json::{Map, Value};

use super::super::{names, text};
use super::tokens::{Start, Token, Tokens, short};
use crate::source::{Diagnosis, Locations, Provenance, SurveyReader, diagnosed};
use crate::{ConvertError, LossReport, PlacedProblem, SourceMap, typed};

/// How many objects and lists JSON can have inside each other: what its reader allows. A deeper
/// extension could be read here and never again.
const JSON_DEPTH: usize = 127;

/// Everything that is wrong with a document, and the document as far as it can be read.
pub(super) fn diagnose(text: &str, name: &str) -> Result<Diagnosis, ConvertError> {
    let (Build { places, problems, judged, .. }, value) = Build::read(text, name)?;
    let read = diagnosed(typed(value, places));
    if problems.is_empty() {
        return read;
    }
    // Whatever is wrong can be such that it never came into the value.
    let Ok(Diagnosis { value, locations, problems: more }) = read else {
        return Ok(Diagnosis { problems, ..Diagnosis::default() });
    };
    // What has been judged here is in the value as it was found, and wrong there as well.
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

/// The runs of a document: each is typed, and its elements are dropped, before the next is read.
pub(super) struct XmlRuns<'t> {
    build: Build<'t>,
    head: Arc<Head>,
    root: Start<'t>,
    /// The list of runs, if there is one and it has not ended.
    list: Option<Runs<'t>>,
    ids: IdWatch,
    /// How many runs have been read.
    count: usize,
    ended: bool,
}

struct Runs<'t> {
    field: &'static Field,
    item: &'static Shape,
    start: Start<'t>,
}

impl<'t> XmlRuns<'t> {
    /// Reads the head. Elements are in the order of the schema, in which the runs are last.
    pub(super) fn new(
        text: &'t str,
        name: &str,
        locations: Locations,
    ) -> Result<Self, ConvertError> {
        let mut build = Build::new(text, name, locations);
        let root = build.root()?;
        let fields = &shape::document().fields;
        let mut row = Map::new();
        let mut last = None;
        let mut list = None;
        while let Some(start) = build.child(&root, "")? {
            let index = fields.iter().position(|field| names::element(&field.name) == start.name);
            let index = index
                .filter(|index| start.foreign.is_none() && last.is_none_or(|last| *index > last));
            let Some(index) = index else { return Err(build.out_of_place(&start)) };
            last = Some(index);
            let field = &fields[index];
            let pointer = format!("/{}", field.name);
            build.record(&pointer, start.offset);
            if let (Shape::List(item), "runs") = (&field.shape, field.name.as_str()) {
                build.attributes(&start, &pointer, &[]);
                list = Some(Runs { field, item, start });
                break;
            }
            let value = build.value(field, &field.shape, &start, &pointer)?;
            row.insert(field.name.clone(), value);
        }
        build.sound()?;
        let head = Head::deserialize(Value::Object(row));
        let head = head.map_err(|error| build.invalid(root.offset, error.to_string()))?;
        let mut ids = IdWatch::default();
        ids.head(&head);
        Ok(Self { build, head: Arc::new(head), root, list, ids, count: 0, ended: false })
    }

    fn read_next(&mut self) -> Result<Option<Run>, ConvertError> {
        let Some(Runs { field, item, start: parent }) = &self.list else { return self.end(false) };
        let build = &mut self.build;
        let Some(start) = build.child(parent, "/runs")? else { return self.end(true) };
        if start.foreign.is_some() || start.name != names::item(item) {
            return Err(build.out_of_place(&start));
        }
        let pointer = format!("/runs/{}", self.count);
        self.count += 1;
        build.record(&pointer, start.offset);
        let value = build.value(field, item, &start, &pointer)?;
        build.sound()?;
        let run = Run::deserialize(value)
            .map_err(|error| build.invalid(start.offset, error.to_string()))?;
        self.ids.run(&run);
        if self.ids.has_duplicates() {
            return Err(ConvertError::repeated_id(Some(build.tokens.place(start.offset))));
        }
        Ok(Some(run))
    }

    /// Reads what is behind the runs: the root ends there, unless it had no runs and has ended, and
    /// then the document.
    fn end(&mut self, ran: bool) -> Result<Option<Run>, ConvertError> {
        if ran && let Some(more) = self.build.child(&self.root, "")? {
            return Err(self.build.out_of_place(&more));
        }
        while !matches!(self.build.tokens.next()?, Token::Eof) {}
        self.build.sound()?;
        if self.ids.has_duplicates() { Err(ConvertError::repeated_id(None)) } else { Ok(None) }
    }
}

impl RunReader for XmlRuns<'_> {
    type Error = ConvertError;

    fn head(&self) -> &Head {
        &self.head
    }

    fn share_head(&self) -> Arc<Head> {
        Arc::clone(&self.head)
    }

    fn next_run(&mut self) -> Result<Option<Run>, ConvertError> {
        if self.ended {
            return Ok(None);
        }
        let run = self.read_next();
        self.ended = !matches!(run, Ok(Some(_)));
        run
    }
}

impl SurveyReader for XmlRuns<'_> {
    fn finish(self: Box<Self>) -> Provenance {
        let Build { places, file, .. } = self.build;
        Provenance { locations: file.map(|_| places), losses: LossReport::default() }
    }
}

struct Build<'t> {
    tokens: Tokens<'t>,
    length: usize,
    places: SourceMap,
    /// The file whose places are recorded, where they are.
    file: Option<u32>,
    problems: Vec<PlacedProblem>,
    /// Pointers of values that have been found wrong.
    judged: BTreeSet<String>,
}

impl<'t> Build<'t> {
    fn new(text: &'t str, name: &str, locations: Locations) -> Self {
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
    fn root(&mut self) -> Result<Start<'t>, ConvertError> {
        loop {
            match self.tokens.next()? {
                Token::Start(start) => {
                    self.record("", start.offset);
                    self.attributes(&start, "", &[]);
                    return Ok(start);
                }
                // Before the root there is nothing but white space, and a document without one is
                // refused at its end.
                Token::Text { .. } | Token::End | Token::Eof => {}
            }
        }
    }

    /// Stops where a problem has been noted.
    fn sound(&self) -> Result<(), ConvertError> {
        if self.problems.is_empty() { Ok(()) } else { Err(ConvertError::first_of(&self.problems)) }
    }

    fn invalid(&mut self, offset: usize, message: impl Into<String>) -> ConvertError {
        ConvertError::invalid(Some(self.tokens.place(offset)), message)
    }

    fn out_of_place(&mut self, start: &Start<'t>) -> ConvertError {
        self.invalid(
            start.offset,
            format!("the element <{}> does not belong there", short(start.name)),
        )
    }

    /// Records where a table or a row begins. What is below is looked for when it is asked for: a
    /// record of every element would outweigh the document.
    fn record(&mut self, pointer: &str, offset: usize) {
        let Some(file) = self.file else { return };
        let at = self.tokens.line_column(offset);
        self.places.place_element(pointer, file, at, offset..self.length);
    }

    fn problem(&mut self, kind: ProblemKind, pointer: &str, offset: usize, message: String) {
        self.suggest(kind, pointer, offset, message, None);
    }

    fn suggest(
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

    /// A problem with a value that goes into the document as it was found: the typed reader's own
    /// complaint about it is left out.
    fn judge(&mut self, kind: ProblemKind, pointer: &str, offset: usize, message: String) {
        self.judged.insert(pointer.to_owned());
        self.problem(kind, pointer, offset, message);
    }

    /// Reports every attribute but those that may stand there.
    fn attributes(&mut self, start: &Start<'t>, pointer: &str, known: &[&str]) {
        for (name, _, offset) in &start.attributes {
            if known.contains(&name.as_str()) {
                continue;
            }
            let suggestion = nearest(name, known.iter().copied()).map(str::to_owned);
            let message =
                format!("unknown attribute {name:?} of <{}>; values stand in elements", start.name);
            // No element has such a name.
            let below = format!("{pointer}/@{}", token(name));
            self.suggest(ProblemKind::UnknownKey, &below, *offset, message, suggestion);
        }
    }

    /// Passes over the rest of an element whose start has been read.
    fn skip(&mut self) -> Result<(), ConvertError> {
        let mut depth = 1;
        while depth > 0 {
            match self.tokens.next()? {
                Token::Start(_) => depth += 1,
                Token::End => depth -= 1,
                Token::Text { .. } => {}
                // The tokens report an end inside an element themselves.
                Token::Eof => break,
            }
        }
        Ok(())
    }

    /// The next child of an element that has only elements in it; `None` at its end.
    fn child(
        &mut self,
        parent: &Start<'t>,
        pointer: &str,
    ) -> Result<Option<Start<'t>>, ConvertError> {
        let mut said = false;
        loop {
            match self.tokens.next()? {
                Token::Start(start) => return Ok(Some(start)),
                Token::End | Token::Eof => return Ok(None),
                Token::Text { text: found, offset } => {
                    let found = text::trim(&found);
                    if !found.is_empty() && !said {
                        said = true;
                        let message = format!(
                            "text between the elements of <{}>: {:?}; it belongs into an element",
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

    /// Reports a child that an element cannot have, and passes over it. In a list `only` one kind
    /// of element may stand.
    fn unknown(
        &mut self,
        start: &Start<'t>,
        parent: &Start<'t>,
        pointer: &str,
        known: &[&str],
        only: bool,
    ) -> Result<(), ConvertError> {
        let name = short(start.name);
        let (message, suggestion) = match (start.foreign.as_deref(), known) {
            (Some(""), _) => (format!("the element <{name}> is in no namespace"), None),
            (Some(other), _) => {
                let message = format!(
                    "the element <{name}> is in the namespace {:?}, which is not the format's",
                    short(other)
                );
                (message, None)
            }
            (None, [item]) if only => (
                format!("unknown element <{name}> in <{}>, where each is an <{item}>", parent.name),
                None,
            ),
            (None, _) => {
                let message = format!(
                    "unknown element <{name}> in <{}>; data of your own goes into <extensions>",
                    parent.name
                );
                (message, nearest(start.name, known.iter().copied()).map(str::to_owned))
            }
        };
        let below = format!("{pointer}/{}", token(start.name));
        self.suggest(ProblemKind::UnknownKey, &below, start.offset, message, suggestion);
        self.skip()
    }

    fn object(
        &mut self,
        shape: &ObjectShape,
        parent: &Start<'t>,
        pointer: &str,
    ) -> Result<Value, ConvertError> {
        let known = || -> Vec<&str> {
            shape.fields.iter().map(|field| names::element(&field.name)).collect()
        };
        let mut row = Map::new();
        // The last one seen, since elements stand in the order of the schema.
        let mut last = 0;
        while let Some(start) = self.child(parent, pointer)? {
            let mut fields = shape.fields.iter().enumerate();
            let found = fields.find(|(_, field)| {
                start.foreign.is_none() && names::element(&field.name) == start.name
            });
            let Some((index, field)) = found else {
                self.unknown(&start, parent, pointer, &known(), false)?;
                continue;
            };
            let below = format!("{pointer}/{}", field.name);
            if row.contains_key(&field.name) {
                let message = format!(
                    "the element <{}> stands twice in <{}>; keep one",
                    start.name, parent.name
                );
                self.problem(ProblemKind::DuplicateKey, &below, start.offset, message);
                self.skip()?;
                continue;
            }
            if index < last {
                // Everything in a file of one maker is out of order in the same way: one report is
                // enough.
                let known = known();
                let after = known.get(last).copied().unwrap_or_default();
                let before = known.get(index + 1..).unwrap_or_default().join(", ");
                let message = format!(
                    "<{}> stands after <{after}>; elements stand in the order of the schema, where <{}> comes before {before}",
                    start.name, start.name
                );
                return Err(self.tokens.refuse(start.offset, message));
            }
            last = index;
            if pointer.is_empty() {
                self.record(&below, start.offset);
            }
            let value = self.value(field, &field.shape, &start, &below)?;
            row.insert(field.name.clone(), value);
        }
        Ok(Value::Object(row))
    }

    fn value(
        &mut self,
        field: &Field,
        shape: &Shape,
        start: &Start<'t>,
        pointer: &str,
    ) -> Result<Value, ConvertError> {
        let known: &[&str] = match shape {
            Shape::Text if field.pattern.is_none() => &[names::ENCODING],
            _ => &[],
        };
        self.attributes(start, pointer, known);
        match shape {
            Shape::Object(name) => self.object(shape::object(name), start, pointer),
            Shape::List(item) => self.list(field, item, start, pointer),
            Shape::Extensions => self.extensions(start, pointer),
            Shape::Text if field.pattern.is_none() => self.text(start, pointer),
            _ => {
                let found = self.content(start, pointer)?;
                self.leaf(shape, text::trim(&found), start, pointer)
            }
        }
    }

    fn list(
        &mut self,
        field: &Field,
        shape: &Shape,
        parent: &Start<'t>,
        pointer: &str,
    ) -> Result<Value, ConvertError> {
        let name = names::item(shape);
        let mut items = Vec::new();
        let table = pointer.matches('/').count() == 1 || field.name == "observations";
        // Elements that are no items are counted when one is looked for.
        let mut strange = false;
        let mut index = 0;
        while let Some(start) = self.child(parent, pointer)? {
            if start.foreign.is_some() || start.name != name {
                self.unknown(&start, parent, pointer, &[&name], true)?;
                strange = true;
                continue;
            }
            let below = format!("{pointer}/{index}");
            index += 1;
            if table || strange {
                self.record(&below, start.offset);
            }
            let item = self.value(field, shape, &start, &below)?;
            items.push(item);
        }
        Ok(Value::Array(items))
    }

    /// The text of an element that has nothing but text in it.
    fn content(&mut self, start: &Start<'t>, pointer: &str) -> Result<Cow<'t, str>, ConvertError> {
        let mut content = Cow::Borrowed("");
        loop {
            match self.tokens.next()? {
                Token::Text { text, .. } if content.is_empty() => content = text,
                Token::Text { text, .. } => content.to_mut().push_str(&text),
                Token::End | Token::Eof => return Ok(content),
                Token::Start(inner) => {
                    let message = format!(
                        "the element <{}> in <{}>, where text alone belongs",
                        short(inner.name),
                        start.name
                    );
                    self.judge(ProblemKind::WrongType, pointer, inner.offset, message);
                    self.skip()?;
                }
            }
        }
    }

    fn text(&mut self, start: &Start<'t>, pointer: &str) -> Result<Value, ConvertError> {
        let content = self.content(start, pointer)?;
        let found = text::trim(&content);
        let encoding = start.attributes.iter().find(|(name, ..)| name == names::ENCODING);
        let Some((_, encoding, offset)) = encoding else { return Ok(found.into()) };
        if text::trim(encoding) != names::JSON {
            let message =
                format!("unknown encoding {:?}; the only one is \"json\"", short(encoding));
            self.judge(ProblemKind::UnknownWord, pointer, *offset, message);
            return Ok(found.into());
        }
        match serde_json::from_str::<String>(found) {
            Ok(text) => Ok(text.into()),
            Err(_) => {
                let message = format!(
                    "with encoding=\"json\" a text stands as a JSON string, in double quotes; found {:?}",
                    short(found)
                );
                self.judge(ProblemKind::TextForm, pointer, start.offset, message);
                Ok(found.into())
            }
        }
    }

    /// A value that stands in an element as one piece of text.
    fn leaf(
        &mut self,
        shape: &Shape,
        found: &str,
        start: &Start<'t>,
        pointer: &str,
    ) -> Result<Value, ConvertError> {
        let value = match shape {
            Shape::Bool => match found {
                "true" => Some(Value::Bool(true)),
                "false" => Some(Value::Bool(false)),
                _ => None,
            },
            Shape::Number => number(found),
            Shape::Whole => {
                let digits = found.bytes().all(|byte| byte.is_ascii_digit())
                    && (found == "0" || !found.starts_with('0'));
                if digits { number(found) } else { None }
            }
            Shape::Position => {
                let numbers: Option<Vec<Value>> = found
                    .split(text::is_space)
                    .filter(|part| !part.is_empty())
                    .map(number)
                    .collect();
                numbers.filter(|numbers| numbers.len() == 2).map(Value::Array)
            }
            _ => Some(found.into()),
        };
        if let Some(value) = value {
            return Ok(value);
        }
        let wanted = match shape {
            Shape::Bool => "true or false",
            Shape::Whole => "a whole number without sign, point or leading zeros",
            Shape::Position => "two numbers with a space between, easting or longitude first",
            _ => "a number as JSON writes it, such as 0.5 or -12",
        };
        // An element that was found to hold another has been reported.
        if !self.judged.contains(pointer) {
            let message = format!("expected {wanted}; found {:?}", short(found));
            self.judge(ProblemKind::WrongType, pointer, start.offset, message);
        }
        Ok(found.into())
    }

    fn extensions(&mut self, parent: &Start<'t>, pointer: &str) -> Result<Value, ConvertError> {
        let mut entries = Map::new();
        while let Some(start) = self.child(parent, pointer)? {
            if start.foreign.is_some() || start.name != names::EXTENSION {
                self.unknown(&start, parent, pointer, &[names::EXTENSION], true)?;
                continue;
            }
            self.attributes(&start, pointer, &[names::EXTENSION_NAME]);
            let key = start.attributes.iter().find(|(name, ..)| name == names::EXTENSION_NAME);
            let Some((_, key, _)) = key else {
                let message = format!(
                    "<{}> without its {:?}, a reverse domain name",
                    start.name,
                    names::EXTENSION_NAME
                );
                self.judge(ProblemKind::MissingKey, pointer, start.offset, message);
                self.skip()?;
                continue;
            };
            let key = text::trim(key).to_owned();
            let below = format!("{pointer}/{}", token(&key));
            if entries.contains_key(&key) {
                let message = format!("the extension {:?} stands twice; keep one", short(&key));
                self.problem(ProblemKind::DuplicateKey, &below, start.offset, message);
                self.skip()?;
                continue;
            }
            let value = self.extension(&start, &below)?;
            entries.insert(key, value);
        }
        Ok(Value::Object(entries))
    }

    fn extension(&mut self, start: &Start<'t>, pointer: &str) -> Result<Value, ConvertError> {
        let content = self.content(start, pointer)?;
        // Through the model's own type, which refuses a key that stands twice.
        let message = match serde_json::from_str::<Json>(&content) {
            Ok(json) => {
                let above = pointer.matches('/').count();
                match serde_json::to_value(&json) {
                    Ok(value) if above + depth(&json) <= JSON_DEPTH => return Ok(value),
                    Ok(_) => {
                        format!(
                            "an extension nested more than {} deep, which no JSON reader takes",
                            JSON_DEPTH - above
                        )
                    }
                    Err(error) => error.to_string(),
                }
            }
            Err(error) if content.trim().is_empty() => {
                drop(error);
                "an extension without its value, which stands as JSON".to_owned()
            }
            Err(error) => format!(
                "the value of an extension stands as JSON: {error}; found {:?}",
                short(&content)
            ),
        };
        if !self.judged.contains(pointer) {
            self.judge(ProblemKind::WrongType, pointer, start.offset, message);
        }
        Ok(Value::Null)
    }
}

fn number(found: &str) -> Option<Value> {
    if !text::is_json_number(found) {
        return None;
    }
    // What is too large for a double is reported by the typed reader: it is beyond the format's
    // range.
    serde_json::from_str::<serde_json::Number>(found).ok().map(Value::Number)
}

fn depth(json: &Json) -> usize {
    match json {
        Json::Array(items) => 1 + items.iter().map(depth).max().unwrap_or(0),
        Json::Object(entries) => 1 + entries.values().map(depth).max().unwrap_or(0),
        _ => 0,
    }
}
