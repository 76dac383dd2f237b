//! Line and column of a byte of a text.

#[cfg(feature = "xml")]
use obvert_model::Location;

/// Counts lines and columns forward from the last question: readers ask in ascending order.
#[derive(Debug)]
pub(crate) struct Counter<'t> {
    text: &'t str,
    offset: usize,
    line: usize,
    column: usize,
}

impl<'t> Counter<'t> {
    pub(crate) fn new(text: &'t str) -> Self {
        Self { text, offset: 0, line: 1, column: 1 }
    }

    /// Line and column, in characters from 1, of a byte offset.
    pub(crate) fn at(&mut self, offset: usize) -> (usize, usize) {
        if offset < self.offset {
            *self = Self::new(self.text);
        }
        let passed = self.text.get(self.offset..offset).unwrap_or_default();
        if let Some(last) = passed.rfind('\n') {
            self.line += passed.bytes().filter(|byte| *byte == b'\n').count();
            self.column = 1 + passed[last + 1..].chars().count();
        } else {
            self.column += passed.chars().count();
        }
        self.offset = offset;
        (self.line, self.column)
    }

    /// The location of a byte offset in a file of that text.
    #[cfg(feature = "xml")]
    pub(crate) fn location(&mut self, offset: usize, file: &str) -> Location {
        let (line, column) = self.at(offset);
        Location { file: file.to_owned(), line, column: Some(column), heading: None }
    }
}
