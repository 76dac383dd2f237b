//! Any XML document as tags and text, for readers of other vocabularies. It is as strict as the
//! reader of the format: document type declarations and processing instructions are errors, so
//! nothing is ever expanded or fetched.
//!
//! ```
//! use obvert_convert::xml::markup::{Token, Tokens};
//!
//! let mut tokens = Tokens::of_any("<site><pipe id='P1'/></site>", "site.xml");
//! while let Some(token) = Some(tokens.next()?).filter(|token| !matches!(token, Token::Eof)) {
//!     if let Token::Start(start) = token {
//!         println!("{} {:?}", start.name, start.attributes);
//!     }
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub use super::read::{Start, Token, Tokens, text_of};
pub use super::text::{escape, is_xml_char};
