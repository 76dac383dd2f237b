//! Reading XML in three layers: the bytes ([`source`]), the markup ([`tokens`]), and the values
//! ([`build`]). The first two stop at the first error, since anything after it would be guesswork;
//! the third continues and reports everything at once.

mod attributes;
mod build;
mod locate;
mod runs;
mod source;
mod tokens;
mod value;

pub(crate) use locate::locate;
pub use source::text as text_of;
pub use tokens::{Start, Token, Tokens};

use crate::source::{Diagnosis, Locations, Source, SurveyReader};
use crate::{ConvertError, Input, Survey};

/// Reads a document from XML. Messages and the source map call the file `name`.
///
/// # Errors
/// [`ConvertError::Format`] when the source is not XML, has another namespace or version, or
/// elements are out of order; [`ConvertError::Structure`], with every problem found, when it does
/// not describe a valid document.
pub fn read(source: &[u8], name: &str) -> Result<Survey, ConvertError> {
    open(Input::file(name, source))?.survey()
}

/// Opens an XML document, whose root must be the root element of the format.
pub(super) fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    let mut tokens = Tokens::new(source::text(input.bytes(), input.name())?, input.name());
    while !matches!(tokens.next()?, Token::Start(_) | Token::Eof) {}
    drop(tokens);
    Ok(Box::new(XmlSource { input }))
}

struct XmlSource<'a> {
    input: Input<'a>,
}

impl XmlSource<'_> {
    fn content(&self) -> &str {
        source::known_text(self.input.bytes())
    }
}

impl Source for XmlSource<'_> {
    fn read(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        Ok(Box::new(runs::runs(self.content(), self.input.name(), locations)?))
    }

    fn diagnose(&mut self) -> Result<Diagnosis, ConvertError> {
        build::diagnose(self.content(), self.input.name())
    }

    fn text(&self, file: &str) -> Option<&[u8]> {
        self.input.text(file)
    }
}
