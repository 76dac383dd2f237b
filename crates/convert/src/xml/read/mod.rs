//! Reading the XML form. Three layers: the bytes ([`source`]), the markup ([`tokens`]), and what it says
//! ([`build`]). The first two stop at the first thing that is wrong, since what follows would be guesswork; the third
//! goes on and reports everything at once.

mod attributes;
mod build;
mod locate;
mod source;
mod tokens;

pub(crate) use locate::locate;
pub use source::text as text_of;
pub use tokens::{Start, Token, Tokens};

use obvert_model::read::Runs;
use obvert_model::tables::Head;

use crate::{ConvertError, Location, Survey, flow};

/// Reads a document from XML. `name` is what messages and the source map call the file.
///
/// # Errors
/// [`ConvertError::Form`] when the source is not XML, or not of this namespace and version, or elements are out of
/// order; [`ConvertError::Structure`], with every problem found, when it does not describe a valid document.
pub fn read(source: &[u8], name: &str) -> Result<Survey, ConvertError> {
    let text = source::text(source, name)?;
    build::survey(text, name)
}

/// Reads a document from XML as a stream: calls `work` with the head and the runs to be taken from it, as
/// [`obvert_model::read::stream`] does. Beside the text itself, memory is that of the head and of one run. A document that turns
/// out to be invalid is read again as a whole, to say what is wrong with it; what `work` gave is thrown away then.
///
/// # Errors
/// As [`read`].
pub fn read_stream<T>(
    source: &[u8],
    name: &str,
    mut work: impl FnMut(&Head, &mut dyn Runs) -> T,
) -> Result<T, ConvertError> {
    let text = source::text(source, name)?;
    flow::either(build::stream(text, name, &mut work), || build::survey(text, name), &mut work)
}

/// Where something stands in a text, counted forward from the last question: readers ask in rising order.
struct Counter<'t> {
    text: &'t str,
    offset: usize,
    line: usize,
    column: usize,
}

impl<'t> Counter<'t> {
    fn new(text: &'t str) -> Self {
        Self { text, offset: 0, line: 1, column: 1 }
    }

    /// Line and column, in characters from 1, of a byte offset.
    fn at(&mut self, offset: usize) -> (usize, usize) {
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

    fn place(&mut self, offset: usize, file: &str) -> Location {
        let (line, column) = self.at(offset);
        Location { file: file.to_owned(), line, column: Some(column), heading: None }
    }
}
