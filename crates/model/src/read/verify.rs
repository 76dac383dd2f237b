//! Verifies a part of a source by the schema, as text: finds every structural problem of it, with
//! its position, at the cost of one scan.
//!
//! The part is known to be JSON. What is rare is left to the complete diagnosis: a duplicate key
//! whose earlier value is a list or an object, and an object with very many keys.

use std::borrow::Cow;

use rustc_hash::FxHashMap;
use serde_json::Value;

use super::error::{Problem, ProblemKind};
use super::nodes::{BOOLEAN, LIST, NULL, NUMBER, Node, Nodes, OBJECT, TEXT, WHOLE};
use super::{diagnose, fix, huge, scan, schema};
use crate::edit::token;
use crate::synonyms::{nearest_key, nearest_value};

/// The advice that was given, so that a mistake in every row is thought about once.
#[derive(Debug, Default)]
pub(super) struct Advice {
    by_place: FxHashMap<&'static str, FxHashMap<String, Option<&'static str>>>,
    count: usize,
}

impl Advice {
    /// What is meant by a word at a place.
    fn of(
        &mut self,
        place: &'static str,
        word: &str,
        find: impl FnOnce() -> Option<&'static str>,
    ) -> Option<&'static str> {
        /// More are not kept.
        const MOST: usize = 10_000;
        let known = self.by_place.entry(place).or_default();
        if let Some(meant) = known.get(word) {
            return *meant;
        }
        let meant = find();
        if self.count < MOST {
            self.count += 1;
            known.insert(word.to_owned(), meant);
        }
        meant
    }
}

/// A structural problem of a part.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) problem: Problem,
    /// Where it is in the part.
    pub(super) offset: usize,
    /// What has to be removed so that the rest can be read; `None` for the whole part.
    pub(super) member: Option<Member>,
}

/// A member of an object.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Member {
    /// The length of its pointer, which the pointer of the problem begins with.
    pub(super) pointer: usize,
    /// Where its key begins.
    pub(super) key: usize,
    /// Where its value begins.
    pub(super) value: usize,
}

/// What was found in a part.
#[derive(Debug, Default)]
pub(super) struct Verified {
    /// The problems, in the order of the source.
    pub(super) found: Vec<Found>,
    /// The id of the row, if it is a text, and where it is.
    pub(super) id: Option<(String, usize)>,
    /// The pipe that the row names, if it is a text.
    pub(super) pipe: Option<String>,
    /// Where the value begins that was not looked at.
    pub(super) aside: Option<usize>,
    /// The ids of the observations of a run, with their numbers and positions.
    pub(super) observations: Vec<(String, usize, usize)>,
    /// The earlier members of duplicate keys, by the pointer.
    pub(super) earlier: Vec<(String, Member)>,
}

/// Verifies a part that is a row of a table, such as `pipes` or `runs.observations`. `pointer` is its
/// pointer in the source. The member named `aside` is not looked at.
///
/// `None` if the part has to be diagnosed in another way.
pub(super) fn verify(
    text: &str,
    table: &str,
    pointer: &str,
    aside: Option<&'static str>,
    advice: &mut Advice,
) -> Option<Verified> {
    let nodes = Nodes::of_survey();
    let node = nodes.row(table)?;
    let observation = nodes.observation;
    let mut walk = Walk {
        nodes,
        observation: (node != observation).then_some(observation),
        text,
        aside,
        advice,
        pointer: pointer.to_owned(),
        members: Vec::new(),
        keys: Vec::new(),
        verified: Verified::default(),
    };
    walk.value(node, scan::skip_space(text.as_bytes(), 0))?;
    let mut verified = walk.verified;
    verified.finish();
    Some(verified)
}

impl Verified {
    /// Sorts the problems, keeps one of each kind and pointer, and removes the fixes of values that
    /// are in the source twice.
    fn finish(&mut self) {
        let place = |found: &Found| (found.offset, found.problem.kind);
        self.found.sort_by(|a, b| {
            place(a).cmp(&place(b)).then_with(|| a.problem.pointer.cmp(&b.problem.pointer))
        });
        self.found.dedup_by(|a, b| {
            let (a, b) = (&a.problem, &b.problem);
            a.kind == b.kind && a.kind != ProblemKind::MissingKey && a.pointer == b.pointer
        });
        for found in &mut self.found {
            let pointer = found.problem.pointer.as_str();
            let is_inside = |(key, _): &(String, Member)| {
                pointer
                    .strip_prefix(key.as_str())
                    .is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
            };
            if self.earlier.iter().any(is_inside) {
                found.problem.fix = None;
            }
        }
    }
}

struct Walk<'s, 'a> {
    nodes: &'static Nodes,
    /// The node of an observation, if ids of observations are collected.
    observation: Option<usize>,
    text: &'s str,
    aside: Option<&'static str>,
    advice: &'a mut Advice,
    /// The pointer of the current value.
    pointer: String,
    /// The members that the current value is in, from the outside.
    members: Vec<Member>,
    /// The keys of the objects that the current value is in.
    keys: Vec<(Cow<'s, str>, Member)>,
    verified: Verified,
}

impl<'s> Walk<'s, '_> {
    /// Verifies a value; the position after it.
    fn value(&mut self, index: usize, start: usize) -> Option<usize> {
        let node = self.nodes.get(index);
        let bytes = self.text.as_bytes();
        let kind = match bytes.get(start)? {
            b'{' => OBJECT,
            b'[' => LIST,
            b'"' => TEXT,
            b't' | b'f' => BOOLEAN,
            b'n' => NULL,
            _ => return self.number(node, start),
        };
        let end = if kind & (OBJECT | LIST) == 0 { scan::value_end(bytes, start)? } else { start };
        let fits = node.types == 0 || node.types & kind != 0;
        if !fits {
            self.wrong_type(node, start, kind)?;
        }
        let node = if fits { node } else { self.nodes.get(self.nodes.anything) };
        match kind {
            OBJECT => self.object(node, start),
            LIST => self.list(node, start),
            TEXT => self.text(node, start, end).map(|()| end),
            _ => Some(end),
        }
    }

    fn wrong_type(&mut self, node: &Node, start: usize, kind: u8) -> Option<()> {
        let at = self.pointer.clone();
        if kind == NULL {
            self.note(schema::null(at), start, &Value::Null);
            return Some(());
        }
        let end = scan::value_end(self.text.as_bytes(), start)?;
        let value = value_of(self.text.get(start..end)?)?;
        self.note(schema::wrong_type(at, &value, &node.expected), start, &value);
        Some(())
    }

    fn number(&mut self, node: &Node, start: usize) -> Option<usize> {
        let end = scan::value_end(self.text.as_bytes(), start)?;
        if node.types == 0 {
            return Some(end);
        }
        let token = self.text.get(start..end)?;
        let whole = token.parse::<i64>().ok();
        let number = token.parse::<f64>().ok()?;
        let kind = if whole.is_some() || number.fract() == 0.0 || number.is_infinite() {
            NUMBER | WHOLE
        } else {
            NUMBER
        };
        // Every limit is a whole number that a double has.
        let is_below = |limit: i64| match whole {
            Some(whole) => whole < limit,
            None => number < limit as f64,
        };
        let is_above = |limit: i64| match whole {
            Some(whole) => whole > limit,
            None => number > limit as f64,
        };
        let below = node.minimum.filter(|(limit, _)| is_below(*limit));
        let above = node.maximum.filter(|(limit, _)| is_above(*limit));
        let fits = node.types & kind != 0;
        if fits && below.is_none() && above.is_none() {
            return Some(end);
        }
        let value = value_of(token)?;
        let at = || self.pointer.clone();
        let problems = [
            (!fits).then(|| schema::wrong_type(at(), &value, &node.expected)),
            below.map(|(_, limit)| schema::out_of_range(at(), &value, "below", limit)),
            above.map(|(_, limit)| schema::out_of_range(at(), &value, "above", limit)),
        ];
        for mut problem in problems.into_iter().flatten() {
            if number.is_infinite() {
                problem.message = huge::restored(&problem.message, token);
            }
            self.note(problem, start, &value);
        }
        Some(end)
    }

    fn text(&mut self, node: &'static Node, start: usize, end: usize) -> Option<()> {
        if node.words.is_none() && !node.not_empty && node.form.is_none() {
            return Some(());
        }
        let text = unquoted(self.text.get(start..end)?)?;
        let unknown = node.words.as_ref().filter(|words| !words.contains(&&*text));
        let misshapen = node.form.as_ref().filter(|form| !(form.test)(&text));
        let at = || self.pointer.clone();
        let problem = match (unknown, misshapen) {
            (None, None) if !node.not_empty || !text.is_empty() => return Some(()),
            _ if text.is_empty() => schema::empty(at()),
            (Some(words), _) => {
                let meant = || nearest_value(&node.path, &text, words);
                let meant = self.advice.of(&node.path, &text, meant);
                schema::not_a_word(at(), &text, words, meant)
            }
            (None, Some(form)) => schema::wrong_form(at(), &Value::from(text.as_ref()), form.words),
            (None, None) => return Some(()),
        };
        self.note(problem, start, &Value::from(text.as_ref()));
        Some(())
    }

    fn list(&mut self, node: &'static Node, start: usize) -> Option<usize> {
        let bytes = self.text.as_bytes();
        let item = node.item.unwrap_or(self.nodes.anything);
        let (above, mut count) = (self.pointer.len(), 0u64);
        let mut at = scan::skip_space(bytes, start + 1);
        while *bytes.get(at)? != b']' {
            self.pointer.push('/');
            self.pointer.push_str(&count.to_string());
            let end = self.value(item, at)?;
            self.pointer.truncate(above);
            count += 1;
            at = self.after(end);
        }
        if node.items.is_some_and(|(least, most)| count < least || count > most) {
            let value = value_of(self.text.get(start..=at)?)?;
            self.note(schema::no_position(self.pointer.clone(), &value), start, &value);
        }
        Some(at + 1)
    }

    /// The position of what follows a value and the comma after it.
    fn after(&self, end: usize) -> usize {
        let bytes = self.text.as_bytes();
        let at = scan::skip_space(bytes, end);
        if bytes.get(at) == Some(&b',') { scan::skip_space(bytes, at + 1) } else { at }
    }

    fn object(&mut self, node: &'static Node, start: usize) -> Option<usize> {
        let bytes = self.text.as_bytes();
        let first_key = self.keys.len();
        let mut at = scan::skip_space(bytes, start + 1);
        while *bytes.get(at)? != b'}' {
            let key_end = scan::string_end(bytes, at)?;
            let key = unquoted(self.text.get(at..key_end)?)?;
            let value = scan::skip_space(bytes, scan::skip_space(bytes, key_end) + 1);
            let end = self.member(node, first_key, key, (at, value))?;
            at = self.after(end);
        }
        for key in &node.required {
            if !self.keys[first_key..].iter().any(|(known, _)| known == key) {
                let problem = schema::missing_key(self.pointer.clone(), key);
                self.note(problem, start, &Value::Null);
            }
        }
        if node.not_bare && self.keys.len() == first_key {
            let value = Value::Object(serde_json::Map::new());
            self.note(schema::bare_extensions(self.pointer.clone()), start, &value);
        }
        if node.closed {
            self.unknown_keys(node, first_key);
        }
        if self
            .observation
            .is_some_and(|observation| std::ptr::eq(self.nodes.get(observation), node))
        {
            self.observation_id(first_key);
        }
        self.keys.truncate(first_key);
        Some(at + 1)
    }

    /// Verifies a member of an object; the position after it.
    fn member(
        &mut self,
        node: &'static Node,
        first_key: usize,
        key: Cow<'s, str>,
        (key_at, start): (usize, usize),
    ) -> Option<usize> {
        /// Objects with more keys are rare, and the search for duplicates would be slow.
        const MOST_KEYS: usize = 100;
        let above = self.pointer.len();
        self.pointer.push('/');
        match key.contains(['~', '/']) {
            true => self.pointer.push_str(&token(&key)),
            false => self.pointer.push_str(&key),
        }
        let member = Member { pointer: self.pointer.len(), key: key_at, value: start };
        let twin = self.keys[first_key..].iter().position(|(known, _)| *known == key);
        let is_aside = self.members.is_empty() && self.aside == Some(&*key);
        self.members.push(member);
        if let Some(twin) = twin {
            let earlier = std::mem::replace(&mut self.keys[first_key + twin].1, member);
            self.repeated(earlier, member).filter(|()| !is_aside)?;
        } else if self.keys.len() - first_key >= MOST_KEYS {
            return None;
        } else {
            self.keys.push((key.clone(), member));
        }
        let end = match node.fields.get(&*key) {
            _ if is_aside => {
                self.verified.aside = Some(start);
                scan::value_end(self.text.as_bytes(), start)?
            }
            Some(field) => self.value(*field, start)?,
            None => {
                if node.key_form.as_ref().is_some_and(|form| !(form.test)(&key)) {
                    let holder = self.pointer[..above].to_owned();
                    let problem = schema::not_a_domain_name(holder, &Value::from(key.as_ref()));
                    self.note(problem, start, &Value::Null);
                }
                self.value(node.other.unwrap_or(self.nodes.anything), start)?
            }
        };
        if self.members.len() == 1 {
            self.note_identity(&key, start, end);
        }
        self.members.pop();
        self.pointer.truncate(above);
        Some(end)
    }

    /// Keeps the id of the row, and the pipe that it names.
    fn note_identity(&mut self, key: &str, start: usize, end: usize) {
        if !matches!(key, "id" | "pipe") {
            return;
        }
        let value = self.text.get(start..end).filter(|value| value.starts_with('"'));
        let text = value.and_then(unquoted).map(Cow::into_owned);
        match key {
            "id" => self.verified.id = text.map(|text| (text, start)),
            _ => self.verified.pipe = text,
        }
    }

    /// Notes a duplicate key. Of the values, the last one counts.
    fn repeated(&mut self, earlier: Member, member: Member) -> Option<()> {
        if matches!(self.text.as_bytes().get(earlier.value)?, b'{' | b'[') {
            return None;
        }
        let pointer = self.pointer.clone();
        self.verified.found.retain(|found| found.problem.pointer != pointer);
        let problem = diagnose::repeated_key(pointer.clone());
        self.verified.found.push(Found { problem, offset: member.key, member: Some(member) });
        self.verified.earlier.push((pointer, earlier));
        Some(())
    }

    fn unknown_keys(&mut self, node: &'static Node, first_key: usize) {
        let keys = self.keys[first_key..].iter();
        let unknown = keys.clone().filter(|(key, _)| !node.fields.contains_key(&**key));
        let unknown: Vec<(Cow<'s, str>, Member)> = unknown.cloned().collect();
        if unknown.is_empty() {
            return;
        }
        let keys: Vec<&str> = keys.map(|(key, _)| key.as_ref()).collect();
        for (key, member) in &unknown {
            let meant = || nearest_key(&node.path, key, &node.keys);
            let meant = self.advice.of(&node.path, key, meant);
            let pointer = schema::child(&self.pointer, key);
            let mut problem = schema::not_a_key(pointer, key, meant);
            problem.fix = fix::of_value(&Value::Null, Some(&keys), &problem);
            self.verified.found.push(Found { problem, offset: member.key, member: Some(*member) });
        }
    }

    /// Keeps the id of an observation of a run.
    fn observation_id(&mut self, first_key: usize) {
        let number = self.pointer.rsplit('/').next().and_then(|token| token.parse().ok());
        let id = self.keys[first_key..].iter().find(|(key, _)| key == "id");
        let (Some(number), Some((_, member))) = (number, id) else { return };
        let end = scan::value_end(self.text.as_bytes(), member.value);
        let value = end.and_then(|end| self.text.get(member.value..end));
        let text = value.filter(|value| value.starts_with('"')).and_then(unquoted);
        if let Some(text) = text {
            self.verified.observations.push((text.into_owned(), number, member.value));
        }
    }

    /// Notes a problem of the current value, or of a key in it.
    fn note(&mut self, mut problem: Problem, offset: usize, value: &Value) {
        let member = self.members.last().copied();
        let is_member = member.is_some_and(|member| member.pointer == self.pointer.len());
        let keys: &[&str] = &[];
        problem.fix = fix::of_value(value, is_member.then_some(keys), &problem);
        self.verified.found.push(Found { problem, offset, member });
    }
}

/// Whether the rows of a table have a key that is required.
pub(super) fn requires(table: &str, key: &str) -> bool {
    let nodes = Nodes::of_survey();
    nodes.row(table).is_some_and(|row| nodes.get(row).required.contains(&key))
}

/// A value of a source that is JSON. A number too large for a double is replaced.
pub(super) fn value_of(text: &str) -> Option<Value> {
    serde_json::from_slice(&huge::replace(text.as_bytes()).0).ok()
}

/// A text without its quotation marks and escapes.
fn unquoted(text: &str) -> Option<Cow<'_, str>> {
    let inside = text.get(1..text.len() - 1)?;
    if inside.contains('\\') {
        return serde_json::from_str::<String>(text).ok().map(Cow::Owned);
    }
    Some(Cow::Borrowed(inside))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kinds(text: &str) -> Option<Vec<(ProblemKind, String)>> {
        let verified = verify(text, "runs.observations", "/o", None, &mut Advice::default())?;
        let pair = |found: Found| (found.problem.kind, found.problem.pointer);
        Some(verified.found.into_iter().map(pair).collect())
    }

    /// What is left to the complete diagnosis costs a multiple, so it has to be rare.
    #[test]
    fn common_problems_are_found_in_the_text() {
        use ProblemKind::*;
        for (text, kind, pointer) in [
            (r#"{"id":"1","at":"x","code":"c"}"#, WrongType, "/o/at"),
            (r#"{"id":"1","at":1e400,"code":"c"}"#, NumberRange, "/o/at"),
            (r#"{"id":"1","at":1,"code":"c","colour":[]}"#, UnknownKey, "/o/colour"),
            (r#"{"id":"1","at":1}"#, MissingKey, "/o"),
            (r#"{"id":"1","at":1,"code":null}"#, NullValue, "/o/code"),
            (r#"{"id":"","at":1,"code":"c"}"#, EmptyText, "/o/id"),
            (r#"{"id":"1","at":1,"code":"c","flow":"x"}"#, UnknownWord, "/o/flow"),
            (r#"{"id":"1","at":1,"co\u0064e":"c","code":"d"}"#, DuplicateKey, "/o/code"),
            (r#"{"id":"1","at":1,"code":"c","extensions":{"x":1}}"#, TextForm, "/o/extensions/x"),
            (
                r#"{"id":"1","at":1,"code":"c","media":[{"id":"M","offset":"1"}]}"#,
                WrongType,
                "/o/media/0/offset",
            ),
        ] {
            assert_eq!(kinds(text), Some(vec![(kind, pointer.to_owned())]), "{text}");
        }
        assert_eq!(kinds(r#" { "id" : "1" , "at" : 1 , "code" : "c" } "#), Some(vec![]));
        // What an earlier value has in it is not looked at here.
        assert_eq!(kinds(r#"{"id":"1","at":1,"code":"c","clock":{},"clock":{"at":1}}"#), None);
    }
}
