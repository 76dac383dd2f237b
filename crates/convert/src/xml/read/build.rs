//! From markup to a document, by the shape of the format. What is wrong is noted with its place and reading goes on,
//! so that everything is reported at once.

use std::borrow::Cow;
use std::collections::BTreeSet;

use obvert_model::edit::token;
use obvert_model::extension::Json;
use obvert_model::read::{IdWatch, Problem, ProblemKind, Runs, twice};
use obvert_model::shape::{self, Field, ObjectShape, Shape};
use obvert_model::tables::{Document, Head, Run};
use serde_json::{Map, Value};

use super::super::{names, text};
use super::tokens::{Start, Token, Tokens, short};
use crate::{ConvertError, PlacedProblem, Problems, SourceMap, Survey, Unsound, typed};

/// How many objects and lists the JSON form can have inside each other: what its reader allows. A deeper extension
/// could be read here and never again.
const JSON_DEPTH: usize = 127;

/// Reads a whole document. First on the fast road: every run is typed and its value dropped before the next is read.
/// Where that meets anything wrong the source is read again, as one value, to find everything that is.
pub(super) fn survey(text: &str, name: &str) -> Result<Survey, ConvertError> {
    let (Build { places, runs, problems, .. }, mut value) = Build::read(text, name, Some(Vec::new()))?;
    if let (true, Some(runs)) = (problems.is_empty(), runs) {
        if let Some(head) = value.as_object_mut() {
            head.remove("runs");
        }
        if let Ok(head) = serde_json::from_value::<Head>(value) {
            let document = Document { head, runs };
            if twice(&document).is_empty() {
                return Ok(Survey { document, places });
            }
        }
    }
    let (Build { places, problems, judged, .. }, value) = Build::read(text, name, None)?;
    let read = typed(value, places);
    if problems.is_empty() {
        return read;
    }
    let mut all = problems;
    let rest = match read {
        // Whatever is wrong never came into the value.
        Ok(Survey { document, places }) => {
            Some(Unsound { value: serde_json::to_value(&document).unwrap_or_default(), places })
        }
        Err(ConvertError::Structure(more)) => {
            let (more, value) = more.into_parts();
            // What has been judged here is in the value as it was found, and wrong there as well.
            let known = |pointer: &str| {
                let ends = pointer.match_indices('/').map(|(at, _)| at).chain([pointer.len()]);
                ends.into_iter().any(|end| judged.contains(&pointer[..end]))
            };
            all.extend(more.into_iter().filter(|placed| !known(&placed.problem.pointer)));
            value
        }
        Err(_) => None,
    };
    let at = |placed: &PlacedProblem| placed.place.as_ref().map_or((0, None), |place| (place.line, place.column));
    all.sort_by_key(at);
    Err(ConvertError::Structure(Problems::new(all, rest)))
}

/// Reads a document a run at a time. `None` where the whole has to be read: to say what is wrong, or since something stands
/// behind the runs.
pub(super) fn stream<T>(text: &str, name: &str, work: &mut dyn FnMut(&Head, &mut dyn Runs) -> T) -> Option<T> {
    let (tokens, length) = (Tokens::new(text, name), text.len());
    let places = SourceMap::default();
    let mut build =
        Build { tokens, length, places, file: None, runs: None, problems: Vec::new(), judged: BTreeSet::new() };
    let root = loop {
        match build.tokens.next().ok()? {
            Token::Start(start) => break start,
            Token::Text { .. } => {}
            Token::End | Token::Eof => return None,
        }
    };
    build.attributes(&root, "", &[]);
    let fields = &shape::document().fields;
    let mut row = Map::new();
    let mut last = None;
    let list = loop {
        let Some(start) = build.child(&root, "").ok()? else { break None };
        let index = fields.iter().position(|field| names::element(&field.name) == start.name)?;
        if start.foreign.is_some() || last.is_some_and(|last| index <= last) {
            return None;
        }
        last = Some(index);
        let field = &fields[index];
        if field.name == "runs" {
            build.attributes(&start, "/runs", &[]);
            break Some((field, start));
        }
        let value = build.value(field, &field.shape, &start, &format!("/{}", field.name)).ok()?;
        row.insert(field.name.clone(), value);
    };
    let head = Head::deserialize(Value::Object(row)).ok()?;
    let mut ids = IdWatch::default();
    ids.head(&head);
    let ran = list.is_some();
    let mut runs = Pull { build, list, ids, failed: false };
    let result = work(&head, &mut runs);
    while runs.next_run().is_some() {}
    let Pull { mut build, ids, failed, .. } = runs;
    // The root ends behind its runs, unless it had none and has ended already; behind it there is nothing.
    let over = !failed && (!ran || build.child(&root, "").is_ok_and(|more| more.is_none()));
    let end = over && matches!(build.tokens.next(), Ok(Token::Eof));
    (end && build.problems.is_empty() && !ids.seen_twice()).then_some(result)
}

/// The runs of a document, pulled out of their list.
struct Pull<'t> {
    build: Build<'t>,
    /// The list as long as it has not ended.
    list: Option<(&'static Field, Start<'t>)>,
    ids: IdWatch,
    failed: bool,
}

impl Pull<'_> {
    fn run(&mut self) -> Result<Option<Run>, ()> {
        let Some((field, parent)) = &self.list else { return Ok(None) };
        let Shape::List(item) = &field.shape else { return Err(()) };
        let Some(start) = self.build.child(parent, "/runs").map_err(drop)? else {
            self.list = None;
            return Ok(None);
        };
        if start.foreign.is_some() || start.name != names::item(item) {
            return Err(());
        }
        // Where exactly nobody asks: what is wrong is told by whoever reads the whole.
        let value = self.build.value(field, item, &start, "/runs/0").map_err(drop)?;
        let run = Run::deserialize(value).map_err(drop)?;
        if self.build.problems.is_empty() { Ok(Some(run)) } else { Err(()) }
    }
}

impl Runs for Pull<'_> {
    fn next_run(&mut self) -> Option<Run> {
        if self.failed {
            return None;
        }
        match self.run() {
            Ok(run) => {
                if let Some(run) = &run {
                    self.ids.run(run);
                }
                run
            }
            Err(()) => {
                self.failed = true;
                None
            }
        }
    }
}

struct Build<'t> {
    tokens: Tokens<'t>,
    length: usize,
    places: SourceMap,
    /// The file whose places are recorded, where they are.
    file: Option<u32>,
    /// The runs, as long as the fast road is open.
    runs: Option<Vec<Run>>,
    problems: Vec<PlacedProblem>,
    /// Pointers of values that have been found wrong.
    judged: BTreeSet<String>,
}

impl<'t> Build<'t> {
    fn read(text: &'t str, name: &str, runs: Option<Vec<Run>>) -> Result<(Self, Value), ConvertError> {
        let mut places = SourceMap::default();
        let file = places.file(name);
        places.keep_text(file, text.as_bytes());
        let (tokens, length) = (Tokens::new(text, name), text.len());
        let mut build =
            Self { tokens, length, places, file: Some(file), runs, problems: Vec::new(), judged: BTreeSet::new() };
        let value = loop {
            match build.tokens.next()? {
                Token::Start(start) => {
                    build.record("", start.offset);
                    build.attributes(&start, "", &[]);
                    break build.object(shape::document(), &start, "")?;
                }
                // Before the root there is nothing but white space, and a document without one is refused at its end.
                Token::Text { .. } | Token::End | Token::Eof => {}
            }
        };
        while !matches!(build.tokens.next()?, Token::Eof) {}
        Ok((build, value))
    }

    /// Records where a table or a row begins. What is below is looked for when it is asked for: a record of every
    /// element would outweigh the document.
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

    /// A problem with a value that goes into the document as it was found: the typed reader's own complaint about it is
    /// left out.
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
            let suggestion = names::nearest(name, known.iter().copied());
            let message = format!("unknown attribute {name:?} of <{}>; values stand in elements", start.name);
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
    fn child(&mut self, parent: &Start<'t>, pointer: &str) -> Result<Option<Start<'t>>, ConvertError> {
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

    /// Reports a child that an element cannot have, and passes over it. In a list `only` one kind of element may stand.
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
                let message =
                    format!("the element <{name}> is in the namespace {:?}, which is not the format's", short(other));
                (message, None)
            }
            (None, [item]) if only => {
                (format!("unknown element <{name}> in <{}>, where each is an <{item}>", parent.name), None)
            }
            (None, _) => {
                let message =
                    format!("unknown element <{name}> in <{}>; data of your own goes into <extensions>", parent.name);
                (message, names::nearest(start.name, known.iter().copied()))
            }
        };
        let below = format!("{pointer}/{}", token(start.name));
        self.suggest(ProblemKind::UnknownKey, &below, start.offset, message, suggestion);
        self.skip()
    }

    fn object(&mut self, shape: &ObjectShape, parent: &Start<'t>, pointer: &str) -> Result<Value, ConvertError> {
        let known = || -> Vec<&str> { shape.fields.iter().map(|field| names::element(&field.name)).collect() };
        let mut row = Map::new();
        // The last one seen, since elements stand in the order of the schema.
        let mut last = 0;
        while let Some(start) = self.child(parent, pointer)? {
            let mut fields = shape.fields.iter().enumerate();
            let found = fields.find(|(_, field)| start.foreign.is_none() && names::element(&field.name) == start.name);
            let Some((index, field)) = found else {
                self.unknown(&start, parent, pointer, &known(), false)?;
                continue;
            };
            let below = format!("{pointer}/{}", field.name);
            if row.contains_key(&field.name) {
                let message = format!("the element <{}> stands twice in <{}>; keep one", start.name, parent.name);
                self.problem(ProblemKind::DuplicateKey, &below, start.offset, message);
                self.skip()?;
                continue;
            }
            if index < last {
                // Everything in a file of one maker is out of order in the same way: one report is enough.
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

    fn value(&mut self, field: &Field, shape: &Shape, start: &Start<'t>, pointer: &str) -> Result<Value, ConvertError> {
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

    fn list(&mut self, field: &Field, shape: &Shape, parent: &Start<'t>, pointer: &str) -> Result<Value, ConvertError> {
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
            if pointer != "/runs" {
                items.push(item);
            } else if let Some(runs) = &mut self.runs {
                match serde_json::from_value::<Run>(item) {
                    Ok(run) => runs.push(run),
                    Err(_) => self.runs = None,
                }
            } else {
                items.push(item);
            }
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
                    let message =
                        format!("the element <{}> in <{}>, where text alone belongs", short(inner.name), start.name);
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
            let message = format!("unknown encoding {:?}; the only one is \"json\"", short(encoding));
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
    fn leaf(&mut self, shape: &Shape, found: &str, start: &Start<'t>, pointer: &str) -> Result<Value, ConvertError> {
        let value = match shape {
            Shape::Bool => match found {
                "true" => Some(Value::Bool(true)),
                "false" => Some(Value::Bool(false)),
                _ => None,
            },
            Shape::Number => number(found),
            Shape::Whole => {
                let digits =
                    found.bytes().all(|byte| byte.is_ascii_digit()) && (found == "0" || !found.starts_with('0'));
                if digits { number(found) } else { None }
            }
            Shape::Position => {
                let numbers: Option<Vec<Value>> =
                    found.split(text::is_space).filter(|part| !part.is_empty()).map(number).collect();
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
                let message =
                    format!("<{}> without its {:?}, a reverse domain name", start.name, names::EXTENSION_NAME);
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
                        format!("an extension nested more than {} deep, which no JSON reader takes", JSON_DEPTH - above)
                    }
                    Err(error) => error.to_string(),
                }
            }
            Err(error) if content.trim().is_empty() => {
                drop(error);
                "an extension without its value, which stands as JSON".to_owned()
            }
            Err(error) => format!("the value of an extension stands as JSON: {error}; found {:?}", short(&content)),
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
    // What is too large for a double is reported by the typed reader: it is beyond the format's range.
    serde_json::from_str::<serde_json::Number>(found).ok().map(Value::Number)
}

fn depth(json: &Json) -> usize {
    match json {
        Json::Array(items) => 1 + items.iter().map(depth).max().unwrap_or(0),
        Json::Object(entries) => 1 + entries.values().map(depth).max().unwrap_or(0),
        _ => 0,
    }
}
