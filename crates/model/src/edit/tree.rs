//! JSON text as a tree that keeps every byte. A node is parsed only on the way to an edit: in a
//! survey of a hundred megabytes only the rows that change are parsed.

use std::borrow::Cow;

use super::{Edit, EditError, index, spelled, within};
use crate::read::scan;
use crate::shape::{self, Shape};

pub(super) struct Tree<'s> {
    before: &'s str,
    root: Node<'s>,
    after: &'s str,
}

/// A value: its text, or its parsed members.
enum Node<'s> {
    Raw(Cow<'s, str>),
    Held(Box<Holder<'s>>),
}

/// An object or a list. Between members there are gaps, one fewer than members, each with its
/// comma.
struct Holder<'s> {
    list: bool,
    open: Cow<'s, str>,
    members: Vec<Member<'s>>,
    gaps: Vec<Cow<'s, str>>,
    close: Cow<'s, str>,
}

struct Member<'s> {
    key: Option<Key<'s>>,
    value: Node<'s>,
}

struct Key<'s> {
    raw: Cow<'s, str>,
    name: String,
    /// From the key to the value, with the colon.
    colon: Cow<'s, str>,
}

/// A pointer's tokens, unescaped.
fn tokens(pointer: &str) -> Result<Vec<String>, EditError> {
    let wrong = || EditError::Pointer(pointer.to_owned());
    let Some(rest) = pointer.strip_prefix('/') else {
        return if pointer.is_empty() { Ok(Vec::new()) } else { Err(wrong()) };
    };
    let unescape = |token: &str| {
        let whole = token.split('~').skip(1).all(|rest| rest.starts_with(['0', '1']));
        whole.then(|| token.replace("~1", "/").replace("~0", "~")).ok_or_else(wrong)
    };
    rest.split('/').map(unescape).collect()
}

impl<'s> Tree<'s> {
    pub(super) fn new(text: &'s str) -> Result<Self, EditError> {
        let mut scan = Scan { text, at: 0 };
        let before = scan.space();
        let root = scan.value().ok_or_else(cut_off)?;
        Ok(Self { before, root: Node::Raw(Cow::Borrowed(root)), after: &text[scan.at..] })
    }

    pub(super) fn write(&self, mark: &str, size: usize) -> String {
        let mut out = String::with_capacity(size + size / 16 + 64);
        out.push_str(mark);
        out.push_str(self.before);
        self.root.write(&mut out);
        out.push_str(self.after);
        out
    }

    pub(super) fn apply(&mut self, edit: &Edit) -> Result<(), EditError> {
        match edit {
            Edit::Replace { path, value } => {
                let keys = tokens(path)?;
                *self.find(&keys, path)? = Node::new(spelled(value));
                Ok(())
            }
            Edit::Add { path, value } => self.add(path, Node::new(spelled(value))),
            Edit::Remove { path } => self.take(path).map(drop),
            Edit::Move { from, path } if from == path => {
                let keys = tokens(from)?;
                self.find(&keys, from).map(drop)
            }
            Edit::Move { from, path } => {
                if within(path, from) {
                    return Err(EditError::Inside { from: from.clone(), path: path.clone() });
                }
                if self.within_holder(from, path)? {
                    return Ok(());
                }
                let value = self.take(from)?;
                self.add(path, value)
            }
        }
    }

    fn find(&mut self, keys: &[String], path: &str) -> Result<&mut Node<'s>, EditError> {
        let mut node = &mut self.root;
        for key in keys {
            let holder = node.unfold()?.ok_or_else(|| EditError::Missing(path.to_owned()))?;
            let place = holder.place(key).ok_or_else(|| EditError::Missing(path.to_owned()))?;
            // Of duplicate keys only the one that counts is kept.
            let place = holder.only(place);
            node = &mut holder.members[place].value;
        }
        Ok(node)
    }

    /// The holder of the value at a pointer, and the last token.
    fn holder<'k>(
        &mut self,
        keys: &'k [String],
        path: &str,
    ) -> Result<(&mut Holder<'s>, &'k str), EditError> {
        let (last, way) = keys.split_last().ok_or(EditError::Whole)?;
        let holder = self.find(way, path)?.unfold()?;
        Ok((holder.ok_or_else(|| EditError::Missing(path.to_owned()))?, last))
    }

    fn take(&mut self, path: &str) -> Result<Node<'s>, EditError> {
        let keys = tokens(path)?;
        let (holder, key) = self.holder(&keys, path)?;
        let place = holder.place(key).ok_or_else(|| EditError::Missing(path.to_owned()))?;
        let place = holder.only(place);
        Ok(holder.take(place))
    }

    fn add(&mut self, path: &str, value: Node<'s>) -> Result<(), EditError> {
        let keys = tokens(path)?;
        let (holder, key) = self.holder(&keys, path)?;
        if holder.list {
            let place = if key == "-" { Some(holder.members.len()) } else { index(key) };
            let place = place.filter(|place| *place <= holder.members.len());
            holder.insert(place.ok_or_else(|| EditError::Index(path.to_owned()))?, None, value);
        } else if let Some(place) = holder.place(key) {
            let place = holder.only(place);
            holder.members[place].value = value;
        } else {
            let place = holder.place_for(&keys);
            let raw = serde_json::Value::from(key).to_string().into();
            let near =
                holder.members.get(place.saturating_sub(1)).and_then(|member| member.key.as_ref());
            let colon = near.map_or(Cow::Borrowed(": "), |key| key.colon.clone());
            holder.insert(place, Some(Key { raw, name: key.to_owned(), colon }), value);
        }
        Ok(())
    }

    /// A move within one list or object: an item changes its index and leaves the gaps as they are;
    /// a member is renamed in place.
    fn within_holder(&mut self, from: &str, path: &str) -> Result<bool, EditError> {
        if from.rsplit_once('/').map(|(holder, _)| holder)
            != path.rsplit_once('/').map(|(holder, _)| holder)
        {
            return Ok(false);
        }
        let (old, new) = (tokens(from)?, tokens(path)?);
        let Some(name) = new.last() else { return Ok(false) };
        let (holder, key) = self.holder(&old, from)?;
        let place = holder.place(key).ok_or_else(|| EditError::Missing(from.to_owned()))?;
        if holder.list {
            let last = holder.members.len() - 1;
            let to = if name == "-" { Some(last) } else { index(name).filter(|to| *to <= last) };
            let to = to.ok_or_else(|| EditError::Index(path.to_owned()))?;
            let member = holder.members.remove(place);
            holder.members.insert(to, member);
            return Ok(true);
        }
        while let Some(other) = holder.place(name) {
            holder.take(other);
        }
        let place = holder.place(key).ok_or_else(|| EditError::Missing(from.to_owned()))?;
        let place = holder.only(place);
        if let Some(key) = holder.members[place].key.as_mut() {
            key.raw = serde_json::Value::from(name.as_str()).to_string().into();
            key.name.clone_from(name);
        }
        Ok(true)
    }
}

fn cut_off() -> EditError {
    EditError::Syntax("it ends early".to_owned())
}

impl<'s> Node<'s> {
    fn new(text: String) -> Self {
        Self::Raw(Cow::Owned(text))
    }

    fn write(&self, out: &mut String) {
        let holder = match self {
            Self::Raw(text) => return out.push_str(text),
            Self::Held(holder) => holder,
        };
        out.push(if holder.list { '[' } else { '{' });
        out.push_str(&holder.open);
        for (number, member) in holder.members.iter().enumerate() {
            if let Some(gap) = number.checked_sub(1).and_then(|before| holder.gaps.get(before)) {
                out.push_str(gap);
            }
            if let Some(key) = &member.key {
                out.push_str(&key.raw);
                out.push_str(&key.colon);
            }
            member.value.write(out);
        }
        out.push_str(&holder.close);
        out.push(if holder.list { ']' } else { '}' });
    }

    /// Its members; `None` for a value that has none.
    fn unfold(&mut self) -> Result<Option<&mut Holder<'s>>, EditError> {
        if let Self::Raw(text) = self {
            if !text.starts_with(['{', '[']) {
                return Ok(None);
            }
            let holder = match text {
                Cow::Borrowed(text) => Holder::read(text),
                // Values that edits added are small.
                Cow::Owned(text) => Holder::read(text).map(Holder::into_owned),
            };
            *self = Self::Held(Box::new(holder.ok_or_else(cut_off)?));
        }
        match self {
            Self::Held(holder) => Ok(Some(holder)),
            Self::Raw(_) => Ok(None),
        }
    }
}

impl<'s> Holder<'s> {
    fn read(text: &'s str) -> Option<Self> {
        let list = text.starts_with('[');
        let end = if list { b']' } else { b'}' };
        let mut scan = Scan { text, at: 1 };
        let mut holder = Self {
            list,
            open: Cow::Borrowed(scan.space()),
            members: Vec::new(),
            gaps: Vec::new(),
            close: Cow::Borrowed(""),
        };
        if scan.peek() == Some(end) {
            return Some(holder);
        }
        loop {
            let key = if list {
                None
            } else {
                let raw = scan.value()?;
                let from = scan.at;
                scan.space();
                scan.at += 1;
                scan.space();
                let name = serde_json::from_str(raw).ok()?;
                Some(Key {
                    raw: Cow::Borrowed(raw),
                    name,
                    colon: Cow::Borrowed(text.get(from..scan.at)?),
                })
            };
            let value = Node::Raw(Cow::Borrowed(scan.value()?));
            holder.members.push(Member { key, value });
            let from = scan.at;
            let space = scan.space();
            if scan.peek()? == end {
                holder.close = Cow::Borrowed(space);
                return Some(holder);
            }
            scan.at += 1;
            scan.space();
            holder.gaps.push(Cow::Borrowed(text.get(from..scan.at)?));
        }
    }

    fn into_owned<'o>(self) -> Holder<'o> {
        fn own<'o>(text: Cow<'_, str>) -> Cow<'o, str> {
            Cow::Owned(text.into_owned())
        }
        let member = |member: Member<'s>| {
            let Member { key, value } = member;
            let key =
                key.map(|key| Key { raw: own(key.raw), name: key.name, colon: own(key.colon) });
            let value = match value {
                Node::Raw(text) => Node::Raw(own(text)),
                Node::Held(holder) => Node::Held(Box::new(holder.into_owned())),
            };
            Member { key, value }
        };
        Holder {
            list: self.list,
            open: own(self.open),
            members: self.members.into_iter().map(member).collect(),
            gaps: self.gaps.into_iter().map(own).collect(),
            close: own(self.close),
        }
    }

    /// The index of a token's member; for a duplicate key, of the last one.
    fn place(&self, token: &str) -> Option<usize> {
        if self.list {
            return index(token).filter(|place| *place < self.members.len());
        }
        self.members
            .iter()
            .rposition(|member| member.key.as_ref().is_some_and(|key| key.name == token))
    }

    /// Removes the members before an index that have the same key. Returns the new index.
    fn only(&mut self, place: usize) -> usize {
        let Some(name) = self.members[place].key.as_ref().map(|key| key.name.clone()) else {
            return place;
        };
        let mut last = place;
        while let Some(other) = self.members[..last]
            .iter()
            .position(|member| member.key.as_ref().is_some_and(|key| key.name == name))
        {
            self.take(other);
            last -= 1;
        }
        last
    }

    /// Where to insert a new member: after the nearest member that precedes it in the format; at
    /// the end of an object that the format does not define.
    fn place_for(&self, keys: &[String]) -> usize {
        let end = self.members.len();
        let Some((name, way)) = keys.split_last() else { return end };
        let way: Vec<&str> =
            way.iter().map(String::as_str).filter(|key| index(key).is_none()).collect();
        let object = if way.is_empty() {
            shape::document()
        } else {
            let mut found = shape::field(&way).map(|field| &field.shape);
            while let Some(Shape::List(item)) = found {
                found = Some(item);
            }
            match found {
                Some(Shape::Object(name)) => shape::object(name),
                _ => return end,
            }
        };
        let rank = |name: &str| object.fields.iter().position(|field| field.name == name);
        let Some(own) = rank(name) else { return end };
        let ranked = self.members.iter().enumerate().filter_map(|(place, member)| {
            Some((
                member.key.as_ref().and_then(|key| rank(&key.name)).filter(|rank| *rank < own)?,
                place,
            ))
        });
        ranked.max().map_or(0, |(_, place)| place + 1)
    }

    fn insert(&mut self, place: usize, key: Option<Key<'s>>, value: Node<'s>) {
        if self.members.is_empty() {
            (self.open, self.close) = (Cow::Borrowed(""), Cow::Borrowed(""));
        } else if self.gaps.is_empty() {
            let compact = self.members[0].key.as_ref().is_some_and(|key| key.colon == ":");
            self.gaps.push(match self.open.contains('\n') {
                true => Cow::Owned(format!(",{}", self.open)),
                false if compact => Cow::Borrowed(","),
                false => Cow::Borrowed(", "),
            });
        } else {
            // The gap before the preceding member: if rows are wrapped, the line break stays where
            // it is.
            let like = self.gaps[place.saturating_sub(2).min(self.gaps.len() - 1)].clone();
            self.gaps.insert(place.saturating_sub(1), like);
        }
        self.members.insert(place, Member { key, value });
    }

    fn take(&mut self, place: usize) -> Node<'s> {
        let member = self.members.remove(place);
        if !self.gaps.is_empty() {
            self.gaps.remove(place.saturating_sub(1));
        }
        if self.members.is_empty() {
            (self.open, self.close) = (Cow::Borrowed(""), Cow::Borrowed(""));
        }
        member.value
    }
}

/// A scan over text that is known to be JSON.
struct Scan<'s> {
    text: &'s str,
    at: usize,
}

impl<'s> Scan<'s> {
    fn peek(&self) -> Option<u8> {
        self.text.as_bytes().get(self.at).copied()
    }

    fn space(&mut self) -> &'s str {
        let from = self.at;
        self.at = scan::skip_space(self.text.as_bytes(), from);
        &self.text[from..self.at]
    }

    /// One value, whatever it is.
    fn value(&mut self) -> Option<&'s str> {
        let from = self.at;
        self.at = scan::value_end(self.text.as_bytes(), from)?;
        self.text.get(from..self.at)
    }
}
