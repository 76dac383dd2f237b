//! Any XML document as tags and text, for readers of other vocabularies. It is as strict as the
//! reader of the format: document type declarations and processing instructions are errors, so
//! nothing is ever expanded or fetched.

pub use super::read::{Start, Token, Tokens, text_of};
pub use super::text::{escape, is_xml_char};
