//! The typed model of the obvert format for pipe inspection surveys.
//!
//! [`tables`] has a type for every table of the format; [`mod@read`] reads documents strictly,
//! whole or run by run; [`mod@write`] writes them so that equal content gives equal bytes;
//! [`lists`] has code lists and grade schemes, which are data; [`edit`] changes a document in its
//! text and keeps everything else as it is; [`schema`] generates the JSON Schemas from the types;
//! [`versions`] migrates documents of older versions (feature `diagnose`).
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

// Tests the example in it.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
