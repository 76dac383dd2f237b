//! Removes from the text of a row what cannot be read, so that the rest can.

use std::borrow::Cow;

use serde::de::DeserializeOwned;
use serde_json::Value;

use super::slices::typed;
use crate::read::error::ProblemKind;
use crate::read::remains::{LeftOut, identity, order};
use crate::read::scan;
use crate::read::verify::{Advice, Found, Member, Verified, requires, value_of, verify};

/// What is readable of a row, and what was left out.
pub(super) struct Rest<T> {
    pub(super) row: Option<T>,
    pub(super) left_out: Vec<LeftOut>,
}

/// Maximum rounds of removing: a value, its parent, its row, and spare rounds.
const ROUNDS: usize = 6;

/// What is readable of a row with problems. `aside` is a member of the row that is not read.
///
/// `None` if the row has to be diagnosed in another way.
pub(super) fn rest_of<T: DeserializeOwned>(
    text: &str,
    verified: &Verified,
    (table, pointer): (&str, &str),
    aside: Option<&'static str>,
    advice: &mut Advice,
) -> Option<Rest<T>> {
    let mut left_out = Vec::new();
    let mut text = Cow::Borrowed(text);
    let mut again = None;
    for _ in 0..ROUNDS {
        let verified = again.as_ref().unwrap_or(verified);
        let (places, whole) = places(&verified.found)?;
        let mut spans: Vec<(usize, usize)> = Vec::new();
        for place in &places {
            spans.push(span(&text, place.member)?);
            for (_, earlier) in verified.earlier.iter().filter(|(key, _)| key == place.pointer) {
                spans.push(span(&text, *earlier)?);
            }
            left_out.push(place.left_out(&text)?);
        }
        // What was removed with the object that it is in is not reported.
        let is_gone = |out: &LeftOut| {
            places.iter().any(|place| {
                let inside = out.pointer.strip_prefix(place.pointer);
                inside.is_some_and(|inside| inside.starts_with('/'))
            })
        };
        left_out.retain(|out| !is_gone(out));
        let removed_any = !places.is_empty();
        let rest = without(&text, spans);
        // Without a required key, the row cannot be read.
        let is_required = |place: &Place<'_>| {
            let key = place.pointer.get(pointer.len() + 1..);
            key.is_some_and(|key| requires(table, key))
        };
        let lacks_key = places.iter().any(is_required).then_some(ProblemKind::MissingKey);
        if let Some(kind) = whole.or(lacks_key) {
            let value = identity_of(&rest)?;
            let whole = LeftOut { pointer: pointer.to_owned(), kind, meant: None, value };
            return Some(Rest { row: None, left_out: vec![whole] });
        }
        text = Cow::Owned(rest);
        let sound = match aside.and_then(|key| member_spans(&text, &[key.to_owned()])) {
            Some(spans) => typed(&without(&text, spans)),
            None => typed(&text),
        };
        if let Ok(row) = sound {
            left_out.sort_by(|a, b| order(&a.pointer, &b.pointer));
            return Some(Rest { row: Some(row), left_out });
        }
        if !removed_any {
            break;
        }
        again = Some(verify(&text, table, pointer, aside, advice)?);
    }
    // The complete diagnosis knows what to do.
    None
}

/// What identifies the row.
fn identity_of(row: &str) -> Option<Value> {
    if !row.trim_start().starts_with('{') {
        return value_of(row).map(identity);
    }
    let mut found = serde_json::Map::new();
    for key in ["id", "pipe"] {
        let member = members(row, scan::skip_space(row.as_bytes(), 0), key)?.pop();
        if let Some(member) = member {
            let (_, end) = span(row, member)?;
            found.insert(key.to_owned(), value_of(row.get(member.value..end)?)?);
        }
    }
    Some(identity(Value::Object(found)))
}

/// A value that has to be removed.
struct Place<'f> {
    pointer: &'f str,
    member: Member,
    kind: ProblemKind,
    meant: Option<&'f String>,
}

impl Place<'_> {
    fn left_out(&self, text: &str) -> Option<LeftOut> {
        let end = scan::value_end(text.as_bytes(), self.member.value)?;
        Some(LeftOut {
            pointer: self.pointer.to_owned(),
            kind: self.kind,
            meant: self.meant.cloned(),
            value: value_of(text.get(self.member.value..end)?)?,
        })
    }
}

/// What has to be removed, and the kind of the first problem that makes the whole row unreadable.
/// `None` if one of the places is inside another.
fn places(found: &[Found]) -> Option<(Vec<Place<'_>>, Option<ProblemKind>)> {
    let (mut places, mut whole): (Vec<Place<'_>>, _) = (Vec::new(), None);
    for Found { problem, member, .. } in found {
        // One of two equal rows is enough.
        if problem.kind == ProblemKind::DuplicateId {
            continue;
        }
        let Some(member) = *member else {
            whole = whole.or(Some(problem.kind));
            continue;
        };
        let pointer = problem.pointer.get(..member.pointer)?;
        if places.iter().any(|place| place.pointer == pointer) {
            continue;
        }
        let is_inside = |a: &str, b: &str| a.strip_prefix(b).is_some_and(|a| a.starts_with('/'));
        let is_nested = |place: &Place<'_>| {
            is_inside(place.pointer, pointer) || is_inside(pointer, place.pointer)
        };
        if places.iter().any(is_nested) {
            return None;
        }
        let meant = problem.suggestion.as_ref();
        let meant = meant.filter(|_| problem.kind == ProblemKind::UnknownKey);
        places.push(Place { pointer, member, kind: problem.kind, meant });
    }
    Some((places, whole))
}

/// Where a member begins and ends.
fn span(text: &str, member: Member) -> Option<(usize, usize)> {
    Some((member.key, scan::value_end(text.as_bytes(), member.value)?))
}

/// The text without some of its members.
pub(super) fn without(text: &str, mut spans: Vec<(usize, usize)>) -> String {
    spans.sort_unstable();
    let (bytes, mut rest, mut at) = (text.as_bytes(), String::with_capacity(text.len()), 0);
    for (begin, end) in spans {
        rest.push_str(text.get(at..begin).unwrap_or_default());
        at = scan::skip_space(bytes, end);
        if bytes.get(at) == Some(&b',') {
            at = scan::skip_space(bytes, at + 1);
        } else {
            // It was the last member.
            let kept = rest.trim_end();
            rest.truncate(kept.strip_suffix(',').unwrap_or(kept).len());
        }
    }
    rest.push_str(text.get(at..).unwrap_or_default());
    rest
}

/// Where the member at a path begins and ends; several if its key is a duplicate. `None` if there is
/// none, or the path leads through a list.
pub(super) fn member_spans(text: &str, path: &[String]) -> Option<Vec<(usize, usize)>> {
    let bytes = text.as_bytes();
    let (last, holders) = path.split_last()?;
    let mut start = scan::skip_space(bytes, 0);
    for holder in holders {
        let found = members(text, start, holder)?;
        // Of duplicate keys, the last one counts.
        start = found.last()?.value;
    }
    let found = members(text, start, last)?;
    let spans: Option<Vec<_>> = found.into_iter().map(|member| span(text, member)).collect();
    spans.filter(|spans| !spans.is_empty())
}

/// The members of the object at a position that have a key.
fn members(text: &str, start: usize, wanted: &str) -> Option<Vec<Member>> {
    let bytes = text.as_bytes();
    let mut found = Vec::new();
    if bytes.get(start) != Some(&b'{') {
        return None;
    }
    let mut at = scan::skip_space(bytes, start + 1);
    while *bytes.get(at)? != b'}' {
        let end = scan::string_end(bytes, at)?;
        let key = text.get(at..end)?;
        let value = scan::skip_space(bytes, scan::skip_space(bytes, end) + 1);
        let is_wanted = match key.contains('\\') {
            true => serde_json::from_str::<String>(key).ok()? == wanted,
            false => key.get(1..key.len() - 1)? == wanted,
        };
        if is_wanted {
            found.push(Member { pointer: 0, key: at, value });
        }
        at = scan::skip_space(bytes, scan::value_end(bytes, value)?);
        if bytes.get(at) == Some(&b',') {
            at = scan::skip_space(bytes, at + 1);
        }
    }
    Some(found)
}

/// A row without the values at some pointers inside it; `None` if that is not enough to read it.
pub(super) fn row_without<T: DeserializeOwned>(text: &str, left_out: &[&str]) -> Option<T> {
    let mut spans = Vec::new();
    for pointer in left_out {
        let path: Vec<String> = pointer
            .split('/')
            .skip(1)
            .map(|token| token.replace("~1", "/").replace("~0", "~"))
            .collect();
        spans.extend(member_spans(text, &path)?);
    }
    typed(&without(text, spans)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn removed(text: &str, paths: &[&str]) -> String {
        let spans = paths.iter().flat_map(|path| {
            let path: Vec<String> = path.split('/').map(str::to_owned).collect();
            member_spans(text, &path).unwrap()
        });
        without(text, spans.collect())
    }

    #[test]
    fn a_member_is_removed_with_its_comma() {
        let text = r#"{"a": 1, "b": {"c": [1, 2] , "d": "}"}, "e\u0066": null }"#;
        for (paths, rest) in [
            (vec!["a"], r#"{"b": {"c": [1, 2] , "d": "}"}, "e\u0066": null }"#),
            (vec!["ef"], r#"{"a": 1, "b": {"c": [1, 2] , "d": "}"}}"#),
            (vec!["b", "ef"], r#"{"a": 1}"#),
            (vec!["a", "b", "ef"], "{}"),
            (vec!["b/d"], r#"{"a": 1, "b": {"c": [1, 2] }, "e\u0066": null }"#),
            (vec!["b/c", "b/d"], r#"{"a": 1, "b": {}, "e\u0066": null }"#),
        ] {
            assert_eq!(removed(text, &paths), rest);
            assert!(serde_json::from_str::<Value>(rest).is_ok(), "{rest}");
        }
        assert_eq!(removed(r#"{"a":1,"b":2,"a":3}"#, &["a"]), r#"{"b":2}"#);
        assert_eq!(member_spans(text, &["b".into(), "x".into()]), None);
    }
}
