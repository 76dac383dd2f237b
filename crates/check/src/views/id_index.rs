//! Finds rows by id. An index has only row numbers and reads the ids from the table, since a city's
//! tables have millions of rows.

use std::hash::{BuildHasher, BuildHasherDefault};

use hashbrown::HashTable;
use obvert_model::tables::{Equipment, Media, Party, Pipe, Structure};
use rustc_hash::FxHasher;

/// A row that has an id.
pub(crate) trait Named {
    /// Its id.
    fn id(&self) -> &str;
}

macro_rules! named {
    ($($row:ident)+) => { $(impl Named for $row { fn id(&self) -> &str { &self.id } })+ };
}

named!(Party Equipment Structure Pipe Media);

/// The rows of one table, by id.
#[derive(Debug, Default)]
pub(crate) struct IdIndex(HashTable<u32>);

/// The flag of a row number whose id is a duplicate.
const DUPLICATE: u32 = 1 << 31;

fn hash(id: &str) -> u64 {
    BuildHasherDefault::<FxHasher>::default().hash_one(id)
}

fn row(entry: u32) -> usize {
    (entry & !DUPLICATE) as usize
}

impl IdIndex {
    /// Indexes a table.
    pub(crate) fn new<T: Named>(table: &[T]) -> Self {
        Self::by(table, T::id)
    }

    /// Indexes a table by another text than its ids.
    pub(crate) fn by<T>(table: &[T], key: fn(&T) -> &str) -> Self {
        let mut rows = HashTable::with_capacity(table.len());
        for (index, named) in table.iter().enumerate() {
            // A document with more rows than this does not fit into memory.
            let Some(index) = u32::try_from(index).ok().filter(|index| *index < DUPLICATE) else {
                break;
            };
            let id = key(named);
            match rows.find_mut(hash(id), |other| key(&table[row(*other)]) == id) {
                Some(other) => *other |= DUPLICATE,
                None => {
                    rows.insert_unique(hash(id), index, |other| hash(key(&table[row(*other)])));
                }
            }
        }
        Self(rows)
    }

    /// The row of an id; `None` also if two rows have the id, since the id is ambiguous then.
    pub(crate) fn find<T: Named>(&self, table: &[T], id: &str) -> Option<usize> {
        self.only_by(table, id, T::id)
    }

    /// Whether the table has an id, unique or not.
    pub(crate) fn contains<T: Named>(&self, table: &[T], id: &str) -> bool {
        self.first_by(table, id, T::id).is_some()
    }

    /// The only row with a text.
    pub(crate) fn only_by<T>(
        &self,
        table: &[T],
        text: &str,
        key: impl Fn(&T) -> &str,
    ) -> Option<usize> {
        self.entry(table, text, key).filter(|entry| entry & DUPLICATE == 0).map(row)
    }

    /// The first row with a text.
    pub(crate) fn first_by<T>(
        &self,
        table: &[T],
        text: &str,
        key: impl Fn(&T) -> &str,
    ) -> Option<usize> {
        self.entry(table, text, key).map(row)
    }

    fn entry<T>(&self, table: &[T], text: &str, key: impl Fn(&T) -> &str) -> Option<u32> {
        self.0.find(hash(text), |other| key(&table[row(*other)]) == text).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_duplicate_id_names_no_row() {
        let table = ["a", "b", "a", "c"];
        let rows = IdIndex::by(&table, |text| text);
        let of =
            |id| (rows.only_by(&table, id, |text| text), rows.first_by(&table, id, |text| text));
        assert_eq!(of("a"), (None, Some(0)));
        assert_eq!(of("b"), (Some(1), Some(1)));
        assert_eq!(of("c"), (Some(3), Some(3)));
        assert_eq!(of("d"), (None, None));
    }
}
