//! Source maps: from a JSON Pointer into the document to the file, row and column of the value.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use obvert_model::Location;
#[cfg(feature = "diagnose")]
use obvert_model::versions::Migrated;

/// The locations of the values of a document. Rows are recorded with their pointer, and the fields
/// of a row with the keys below it. A value without a location has the location of the nearest
/// value that contains it.
#[doc(alias = "location")]
#[doc(alias = "provenance")]
#[derive(Clone, Debug, Default)]
pub struct SourceMap {
    files: Vec<String>,
    places: BTreeMap<String, Spot>,
    headings: BTreeMap<(u32, String), (u32, String)>,
    texts: BTreeMap<u32, Arc<[u8]>>,
    /// The files whose text was migrated to this version of the format, which moves columns.
    #[cfg(feature = "diagnose")]
    migrated: BTreeMap<u32, Arc<Migrated>>,
    /// The headings of files where a column holds fields of several tables, so that the key below a
    /// row does not determine the heading.
    columns: BTreeMap<(u32, u32), String>,
}

#[derive(Clone, Debug)]
struct Spot {
    file: u32,
    line: u32,
    column: u32,
    /// The bytes of the value if it is JSON in the text of its file, or the bytes from its start
    /// tag on if it is XML; otherwise empty.
    part: Range<usize>,
}

impl SourceMap {
    /// Registers a file and returns its number.
    pub fn file(&mut self, name: &str) -> u32 {
        if let Some(index) = self.files.iter().position(|file| file == name) {
            return u32::try_from(index).unwrap_or(u32::MAX);
        }
        self.files.push(name.to_owned());
        u32::try_from(self.files.len() - 1).unwrap_or(u32::MAX)
    }

    /// Registers a file again, for rows with other headings than the rest.
    pub fn file_of_rows(&mut self, name: &str) -> u32 {
        self.files.push(name.to_owned());
        u32::try_from(self.files.len() - 1).unwrap_or(u32::MAX)
    }

    /// Whether a value below a row of a file is in a given column in every row. The first such
    /// value decides. If so, it needs no record: a record of each value would take more memory than
    /// the document.
    #[must_use]
    pub fn is_in_column(&mut self, file: u32, below: String, column: usize, heading: &str) -> bool {
        let own = u32::try_from(column).unwrap_or(u32::MAX);
        let (settled, _) =
            self.headings.entry((file, below)).or_insert_with(|| (own, heading.replace('\n', " ")));
        *settled == own
    }

    /// Records where the value of a pointer starts; `column` is 0 if the format has no columns.
    pub fn record(&mut self, pointer: &str, file: u32, line: usize, column: usize) {
        self.place_json(pointer, file, (line, column), 0..0);
    }

    /// Keeps the text of a file, so that values within the JSON that
    /// [`place_json`](Self::place_json) records, or within an XML element, can be located on
    /// request. Most never are, and a record of each would take more memory than the document.
    pub fn keep_text(&mut self, file: u32, text: &[u8]) {
        self.texts.insert(file, text.into());
    }

    /// Records that the text of a file was migrated to this version of the format, so that columns
    /// can be given as those of the file.
    #[cfg(feature = "diagnose")]
    pub(crate) fn migrated(&mut self, file: u32, migrated: Arc<Migrated>) {
        self.migrated.insert(file, migrated);
    }

    /// Records that the value of a pointer is JSON in a file whose text is kept, with its line and
    /// column and its range of bytes.
    pub fn place_json(
        &mut self,
        pointer: &str,
        file: u32,
        (line, column): (usize, usize),
        json: Range<usize>,
    ) {
        let small = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
        self.places.insert(
            pointer.to_owned(),
            Spot { file, line: small(line), column: small(column), part: json },
        );
    }

    /// Records that the value of a pointer is an element in a file whose text is kept, with its
    /// line and column. The range of bytes starts at its start tag and contains the whole element,
    /// or more.
    #[cfg(feature = "xml")]
    pub fn place_element(
        &mut self,
        pointer: &str,
        file: u32,
        at: (usize, usize),
        part: Range<usize>,
    ) {
        self.place_json(pointer, file, at, part);
    }

    /// Records that in a file of rows, the value at the keys `below` a row (`/clock/at`) is in the
    /// column with that number and heading.
    pub fn heading(&mut self, file: u32, below: &str, column: usize, heading: &str) {
        let column = u32::try_from(column).unwrap_or(u32::MAX);
        self.headings.insert((file, below.to_owned()), (column, heading.to_owned()));
    }

    /// Records the heading of a column of a file whose values are recorded with their columns.
    pub fn column(&mut self, file: u32, column: usize, heading: &str) {
        self.columns.insert((file, u32::try_from(column).unwrap_or(u32::MAX)), heading.to_owned());
    }

    /// File, line and column of the value at a pointer below a recorded value, as far as they are
    /// known.
    fn within(&self, spot: &Spot, below: &str) -> (u32, u32, u32) {
        let part = self
            .texts
            .get(&spot.file)
            .and_then(|text| text.get(spot.part.clone()))
            .unwrap_or_default();
        if part.is_empty() || below.is_empty() {
            return (spot.file, spot.line, spot.column);
        }
        let (line, column) = match part {
            // JSON never starts like this.
            #[cfg(feature = "xml")]
            [b'<', ..] => crate::xml::locate(part, below),
            _ => {
                let found = obvert_model::read::locate(part, below);
                (found.line, found.column)
            }
        };
        let small = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
        match (small(line), small(column)) {
            (0, _) => (spot.file, spot.line, spot.column),
            (1, column) => (spot.file, spot.line, spot.column + column - 1),
            (line, column) => (spot.file, spot.line + line - 1, column),
        }
    }

    /// The location of the value at a pointer, or of the nearest value that contains it.
    #[must_use]
    pub fn place(&self, pointer: &str) -> Option<Location> {
        let mut at = pointer;
        let spot = loop {
            if let Some(spot) = self.places.get(at) {
                break spot;
            }
            at = &at[..at.rfind('/')?];
        };
        let (file, line, column) = self.within(spot, &pointer[at.len()..]);
        #[cfg(feature = "diagnose")]
        let column = match self.migrated.get(&file) {
            Some(migrated) => {
                let before = migrated.column_before(line as usize, column as usize);
                u32::try_from(before).unwrap_or(u32::MAX)
            }
            None => column,
        };
        let mut below = &pointer[at.len()..];
        let heading = loop {
            if let Some(found) = self.headings.get(&(file, below.to_owned())) {
                break Some(found);
            }
            match below.rfind('/') {
                Some(slash) if !below.is_empty() => below = &below[..slash],
                _ => break None,
            }
        };
        let column = heading.map(|(column, _)| *column).or((column > 0).then_some(column));
        let of_column = column.and_then(|column| self.columns.get(&(file, column)));
        Some(Location {
            file: self.files.get(file as usize)?.clone(),
            line: line as usize,
            column: column.map(|column| column as usize),
            heading: heading.map(|(_, heading)| heading).or(of_column).cloned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_of_a_row_is_placed_in_its_column() {
        let mut map = SourceMap::default();
        let file = map.file("observations.csv");
        map.record("/runs/0/observations/3", file, 17, 0);
        map.heading(file, "/clock/at", 9, "clock.at");
        assert_eq!(
            map.place("/runs/0/observations/3/clock/at").map(|p| p.to_string()).as_deref(),
            Some("observations.csv:17:9 (column clock.at)")
        );
        assert_eq!(
            map.place("/runs/0/observations/3").map(|p| p.to_string()).as_deref(),
            Some("observations.csv:17")
        );
        assert_eq!(map.place("/runs/0/observations/4"), None);
    }

    #[test]
    fn a_value_within_json_is_looked_for_when_it_is_asked_for() {
        let text = "{\n \"é\": {\"a\": 1, \"b\": [2,\n  3]}}";
        let start = text.find("{\"a").unwrap();
        let mut map = SourceMap::default();
        let file = map.file("x.geojson");
        map.keep_text(file, text.as_bytes());
        map.place_json("/pipes/0", file, (2, 7), start..text.len() - 1);
        let place = |pointer: &str| map.place(pointer).map(|p| p.to_string());
        assert_eq!(place("/pipes/0").as_deref(), Some("x.geojson:2:7"));
        assert_eq!(place("/pipes/0/b").as_deref(), Some("x.geojson:2:21"));
        assert_eq!(place("/pipes/0/b/1").as_deref(), Some("x.geojson:3:3"));
        assert_eq!(place("/pipes/0/missing").as_deref(), Some("x.geojson:2:7"));
    }
}
