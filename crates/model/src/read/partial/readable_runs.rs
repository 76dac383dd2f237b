//! The readable runs of a document, read again without what is left out.

use rustc_hash::FxHashMap;
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::remove::row_without;
use super::slices::{Slices, run_and_observations, typed};
use crate::read::remains::Readable;
use crate::read::{any, huge};
use crate::tables::Run;

/// Reads the readable runs again, once it is known what has to be left out of them.
#[derive(Debug)]
pub struct ReadableRuns<'s> {
    slices: Slices<'s>,
    /// What is left out, by the number of the run: pointers within the run, the last one first.
    left_out: FxHashMap<usize, Vec<&'s str>>,
}

impl<'s> ReadableRuns<'s> {
    /// The runs of a source that a [`PartialReader`](super::PartialReader) has read to its end.
    #[must_use]
    pub fn new(source: &'s [u8], readable: &'s Readable) -> Option<Self> {
        let source = source.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(source);
        let text = std::str::from_utf8(source).ok()?;
        let at = any::list_in(text, "runs").unwrap_or(text.len());
        let mut left_out: FxHashMap<usize, Vec<&'s str>> = FxHashMap::default();
        for out in readable.left_out.iter().rev() {
            let Some(inside) = out.pointer.strip_prefix("/runs/") else { continue };
            let (run, inside) = inside.split_at(inside.find('/').unwrap_or(inside.len()));
            if let Ok(run) = run.parse() {
                left_out.entry(run).or_default().push(inside);
            }
        }
        Some(Self { slices: Slices { text, at, count: 0 }, left_out })
    }

    /// A run without what is left out of it.
    fn without(text: &str, left_out: &[&str]) -> Option<Run> {
        Self::by_rows(text, left_out).or_else(|| slowly(text, left_out))
    }

    /// The same with each observation by itself, if the observations are a list.
    fn by_rows(text: &str, left_out: &[&str]) -> Option<Run> {
        const LIST: &str = "/observations/";
        let (of_rows, of_rest): (Vec<&str>, Vec<&str>) =
            left_out.iter().partition(|pointer| pointer.starts_with(LIST));
        let sound = run_and_observations(text).filter(|_| of_rest.is_empty());
        let tame;
        let (mut run, list, text) = match sound {
            Some((run, list)) => (run, list, text),
            None => {
                tame = huge::replace(text.as_bytes()).0;
                let tame = std::str::from_utf8(&tame).ok()?;
                let any::Parted { rest, apart, .. } =
                    any::parted(tame, &["observations"]).ok()??;
                let list = apart.first()?.1;
                if !list.starts_with('[') {
                    return None;
                }
                (pruned::<Run>(rest, of_rest.into_iter())?, list, tame)
            }
        };
        let at = list.as_ptr().addr() - text.as_ptr().addr() + 1;
        let mut by_row: FxHashMap<usize, Vec<&str>> = FxHashMap::default();
        for pointer in of_rows {
            let inside = &pointer[LIST.len()..];
            let (row, inside) = inside.split_at(inside.find('/').unwrap_or(inside.len()));
            by_row.entry(row.parse().ok()?).or_default().push(inside);
        }
        for (index, _, text) in (Slices { text, at, count: 0 }) {
            let row = match by_row.get(&index) {
                Some(left_out) if left_out.contains(&"") => None,
                Some(left_out) => row_without(text, left_out).or_else(|| slowly(text, left_out)),
                None => typed(text).ok().or_else(|| slowly(text, &[])),
            };
            run.observations.extend(row);
        }
        Some(run)
    }
}

/// A row without the values at some pointers inside it. Of duplicate keys, it has the last value.
fn slowly<T: DeserializeOwned>(text: &str, left_out: &[&str]) -> Option<T> {
    let (tame, _) = huge::replace(text.as_bytes());
    pruned(any::noting_duplicates(&tame).ok()?.0, left_out.iter().copied())
}

/// A row from its value, without some of its values.
fn pruned<'p, T: DeserializeOwned>(
    mut value: Value,
    left_out: impl Iterator<Item = &'p str>,
) -> Option<T> {
    for pointer in left_out {
        let (parent, token) = pointer.rsplit_once('/')?;
        let key = token.replace("~1", "/").replace("~0", "~");
        match value.pointer_mut(parent)? {
            Value::Object(object) => drop(object.remove(&key)),
            Value::Array(rows) => drop(rows.remove(key.parse().ok()?)),
            _ => {}
        }
    }
    T::deserialize(&value).ok()
}

impl Iterator for ReadableRuns<'_> {
    type Item = Run;

    fn next(&mut self) -> Option<Run> {
        loop {
            let (index, _, text) = self.slices.next()?;
            let run = match self.left_out.get(&index) {
                Some(left_out) if left_out.contains(&"") => None,
                None => typed(text).ok().or_else(|| Self::without(text, &[])),
                Some(left_out) => Self::without(text, left_out),
            };
            if run.is_some() {
                return run;
            }
        }
    }
}
