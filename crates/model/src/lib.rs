//! The typed model of Obvert, an open interchange format for pipe inspection surveys.
//!
//! ```
//! let source = br#"{
//!   "obvert": "0.2", "id": "urn:uuid:7d0f7c1e-58a6-4d5b-9df2-6b8f0c7f4a11", "issued": "2026-05-06T16:20:00-05:00",
//!   "units": { "length": "ft", "section": "in" },
//!   "coding": { "list": "obvert-terms", "version": "1" },
//!   "structures": [ { "id": "LM-014", "kind": "manhole" }, { "id": "LM-015", "kind": "manhole" } ],
//!   "pipes": [ { "id": "L-101", "upstream": "LM-014", "downstream": "LM-015", "length": 212.4 } ]
//! }"#;
//! let document = obvert_model::read::document(source)?;
//! assert_eq!(document.head.pipes[0].length.map(|length| length.get()), Some(212.4));
//! # Ok::<(), obvert_model::read::ReadError>(())
//! ```
//!
//! | Module | What it has |
//! |---|---|
//! | [`tables`] | a type for each table of the format: pipes, runs, observations … |
//! | [`text`], [`number`], [`extension`] | the types of ids, dates, lengths and other values |
//! | [`mod@read`] | strict reading, whole or run by run, and every problem of an invalid document |
//! | [`mod@write`] | writing: equal content gives equal bytes and digests |
//! | [`lists`] | code lists and grade schemes, which are data |
//! | [`profile`] | submission profiles: what an office demands of a survey |
//! | [`layout`] | how the columns of an office's own table map to the model |
//! | [`archive`] | many documents in one file, one per line |
//! | [`edit`] | edits of a document's text that keep everything else as it is |
//! | [`versions`] | migration of documents of older versions |
//! | [`schema`], [`shape`] | the JSON Schemas, and the fields of the format as data |
//! | [`probe`] | fields of typed rows by name |
//! | [`synonyms`] | the trade's words for the terms of the format |

#![cfg_attr(docsrs, feature(doc_cfg))]

#[macro_use]
mod macros;

pub mod archive;
pub mod edit;
pub mod extension;
#[cfg(feature = "geo-types")]
mod geo_types;
#[cfg(feature = "jiff")]
mod jiff_types;
pub mod layout;
pub mod lists;
mod location;
pub mod misread;
pub mod number;
pub mod probe;
pub mod profile;
pub mod read;
pub mod schema;
pub mod shape;
pub mod synonyms;
pub mod tables;
pub mod text;
pub mod versions;
pub mod write;

pub use location::Location;

// Tests the example in the readme.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
