//! Rows by id. The ids themselves stand in the tables, so that an index holds nothing but row numbers: a city's tables
//! have millions of rows.

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
pub(crate) struct Rows(HashTable<u32>);

fn hash(id: &str) -> u64 {
    BuildHasherDefault::<FxHasher>::default().hash_one(id)
}

impl Rows {
    /// Indexes a table. Of rows with the same id the first is meant.
    pub(crate) fn new<T: Named>(table: &[T]) -> Self {
        Self::by(table, T::id)
    }

    /// Indexes a table by another text than its ids.
    pub(crate) fn by<T>(table: &[T], key: fn(&T) -> &str) -> Self {
        let mut rows = HashTable::with_capacity(table.len());
        for (index, row) in table.iter().enumerate() {
            // A document of four thousand million rows does not fit into the memory of its reader.
            let Ok(index) = u32::try_from(index) else { break };
            let id = key(row);
            let known = |other: &u32| key(&table[*other as usize]) == id;
            if rows.find(hash(id), known).is_none() {
                rows.insert_unique(hash(id), index, |other| hash(key(&table[*other as usize])));
            }
        }
        Self(rows)
    }

    /// The row of an id in the table that was indexed.
    pub(crate) fn find<T: Named>(&self, table: &[T], id: &str) -> Option<usize> {
        self.find_by(table, id, T::id)
    }

    /// The first row with a text, in the table that was indexed by it.
    pub(crate) fn find_by<T>(&self, table: &[T], text: &str, key: impl Fn(&T) -> &str) -> Option<usize> {
        self.0.find(hash(text), |row| key(&table[*row as usize]) == text).map(|row| *row as usize)
    }
}
