//! The canonical JSON document, of any version of the format.
//!
//! ```
//! use obvert_convert::json;
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! let mut file = Vec::new();
//! json::write(&document, &mut file)?;
//! assert_eq!(obvert_model::read::document(&file)?, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! A document of an older version is brought to this one in memory when it is opened. Its lines
//! stay the same, and so locations in it are those of the file.

mod read;
mod write;

pub use write::{write, write_runs};

use crate::format::{Capabilities, Container, Detection, Format};

/// JSON.
pub static FORMAT: Format = Format {
    name: "json",
    title: "JSON",
    description: "The canonical JSON document.",
    extensions: &["obvert.json", "json"],
    media_type: "application/json",
    capabilities: Capabilities {
        lossless: true,
        container: Container::File { seekable: false },
        tabular: false,
        options: &[],
    },
    detect: |sample| match sample.start().starts_with(b"{") {
        true => Detection::Possible,
        false => Detection::No,
    },
    open: Some(read::open),
    create: Some(write::create),
};
