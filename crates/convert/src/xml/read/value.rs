//! From elements to values, by the shape of the format.

use std::borrow::Cow;

use obvert_model::edit::token;
use obvert_model::extension::Json;
use obvert_model::read::ProblemKind;
use obvert_model::shape::{self, Field, ObjectShape, Shape};
use serde_json::{Map, Value};

use super::super::{names, text};
use super::build::Build;
use super::tokens::{Start, Token, short};
use crate::ConvertError;

/// How deep JSON can be nested: the limit of its reader. A deeper extension could be read here, but
/// not from JSON.
const JSON_DEPTH: usize = 127;

impl<'t> Build<'t> {
    pub(super) fn object(
        &mut self,
        shape: &ObjectShape,
        parent: &Start<'t>,
        pointer: &str,
    ) -> Result<Value, ConvertError> {
        let known = || -> Vec<&str> {
            shape.fields.iter().map(|field| names::element(&field.name)).collect()
        };
        let mut row = Map::new();
        // The index of the last element, since elements are in the order of the schema.
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
                    "the element <{}> is duplicated in <{}>; keep one",
                    start.name, parent.name
                );
                self.problem(ProblemKind::DuplicateKey, &below, start.offset, message);
                self.skip()?;
                continue;
            }
            if index < last {
                // All elements of a file from one program are out of order in the same way, so one
                // report is enough.
                let known = known();
                let after = known.get(last).copied().unwrap_or_default();
                let before = known.get(index + 1..).unwrap_or_default().join(", ");
                let message = format!(
                    "<{}> is after <{after}>; put elements in the order of the schema, where <{}> is before {before}",
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

    pub(super) fn value(
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
        // If there are elements that are not items, a search by index would count them.
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

    /// The text of an element that contains only text.
    fn content(&mut self, start: &Start<'t>, pointer: &str) -> Result<Cow<'t, str>, ConvertError> {
        let mut content = Cow::Borrowed("");
        loop {
            match self.tokens.next()? {
                Token::Text { text, .. } if content.is_empty() => content = text,
                Token::Text { text, .. } => content.to_mut().push_str(&text),
                Token::End | Token::Eof => return Ok(content),
                Token::Start(inner) => {
                    let message = format!(
                        "the element <{}> is in <{}>, which contains text only; remove the tags",
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
                format!("unknown encoding {:?}; use \"json\" or no encoding", short(encoding));
            self.judge(ProblemKind::UnknownWord, pointer, *offset, message);
            return Ok(found.into());
        }
        match serde_json::from_str::<String>(found) {
            Ok(text) => Ok(text.into()),
            Err(_) => {
                let message = format!(
                    "with encoding=\"json\" the text must be a JSON string in double quotation marks; found {:?}",
                    short(found)
                );
                self.judge(ProblemKind::TextForm, pointer, start.offset, message);
                Ok(found.into())
            }
        }
    }

    /// A value whose element contains one piece of text.
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
            Shape::Position => "two numbers separated by a space, easting or longitude first",
            _ => "a number as JSON writes it, such as 0.5 or -12",
        };
        // An element that contains another one has been reported.
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
                    "<{}> has no {:?}; add it, a reverse domain name",
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
                let message = format!("the extension {:?} is duplicated; keep one", short(&key));
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
        let message = match extension_value(&content, pointer.matches('/').count()) {
            Ok(value) => return Ok(value),
            Err(message) => message,
        };
        if !self.judged.contains(pointer) {
            self.judge(ProblemKind::WrongType, pointer, start.offset, message);
        }
        Ok(Value::Null)
    }
}

/// The value of an extension. `above` is the number of objects and lists that contain it.
fn extension_value(content: &str, above: usize) -> Result<Value, String> {
    if content.trim().is_empty() {
        return Err("an extension has no value; write it as JSON".to_owned());
    }
    // The model's type refuses duplicate keys.
    let json = serde_json::from_str::<Json>(content).map_err(|error| {
        format!("the value of an extension is not JSON: {error}; found {:?}", short(content))
    })?;
    if above + depth(&json) > JSON_DEPTH {
        let most = JSON_DEPTH - above;
        return Err(format!(
            "an extension is nested more than {most} deep, which JSON readers refuse; nest it less"
        ));
    }
    serde_json::to_value(&json).map_err(|error| error.to_string())
}

fn number(found: &str) -> Option<Value> {
    if !text::is_json_number(found) {
        return None;
    }
    // A number that is too large for a double is beyond the range of the format, which the typed
    // reader reports.
    serde_json::from_str::<serde_json::Number>(found).ok().map(Value::Number)
}

fn depth(json: &Json) -> usize {
    match json {
        Json::Array(items) => 1 + items.iter().map(depth).max().unwrap_or(0),
        Json::Object(entries) => 1 + entries.values().map(depth).max().unwrap_or(0),
        _ => 0,
    }
}
