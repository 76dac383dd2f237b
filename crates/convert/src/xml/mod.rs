//! XML, for offices whose systems take XML and nothing else. It holds all that a document can, so
//! it comes back unchanged, and an XML Schema ([`xsd`]) made from the same shape lets a receiver
//! check it with tools of its own.
//!
//! # The mapping
//! - The root is `survey` in the namespace [`NAMESPACE`]. Below it, as in every object, stands
//!   **one element for each key**, named like it (`$schema` is `schema`: a name cannot hold a `$`),
//!   in the order of the schema. What is not known is left out. Nothing is an attribute but the two
//!   named below.
//! - A **list** is one element with an element for each item: for objects named like their type in
//!   lower case (`<pipes><pipe>`, `<checks><counter_check>`), `position` for a position, and `item`
//!   for anything else (`<characterisation><item>`). A list without items equals an absent one.
//! - A **position** is its two numbers with a space between: `<position>2012345.25
//!   650123.5</position>`.
//! - **Numbers** are written as in JSON; `INF`, `NaN`, a plus sign, leading zeros or a bare point
//!   are not numbers here. True and false are `true` and `false`.
//! - White space (space, tab, carriage return, line feed) at either end of a text does not count,
//!   so that pretty-printing is safe. A text that has it there, or holds a character that XML 1.0
//!   cannot (U+0000 to U+001F but tab, line feed and carriage return; U+FFFE; U+FFFF), is written
//!   as a **JSON string** instead: `<remark encoding="json">" two\u0001"</remark>`. Tab, line feed
//!   and carriage return inside a text are written as `&#9;`, `&#10;` and `&#13;`, so that every
//!   row keeps to its line.
//! - **Extensions** stand each by its name, the value as JSON:
//!   `<extensions><extension name="org.example.dispatch">{"priority":2}</extension></extensions>`.
//!
//! # Reading
//! The reader takes what the schema takes and refuses what it refuses: order, unknown elements and
//! attributes, text between elements. Beyond the schema it refuses every document type declaration,
//! so that nothing is ever expanded or fetched, processing instructions, XML 1.1, encodings other
//! than UTF-8, an id that stands twice in another spelling, and JSON that does not parse;
//! `xsi:schemaLocation` is accepted and ignored. Comments and CDATA sections are accepted.

pub mod markup;
mod names;
mod read;
mod text;
mod write;
mod xsd;

pub use obvert_model::schema::XML_NAMESPACE as NAMESPACE;
pub(crate) use read::locate;
pub use read::read;
pub use write::{write, write_runs};
pub use xsd::xsd;

use crate::format::{Capabilities, Container, Detection, Format, Sample};

/// XML.
pub static FORMAT: Format = Format {
    name: "xml",
    title: "XML",
    description: "XML in the format's own namespace.",
    extensions: &["xml"],
    media_type: "application/xml",
    capabilities: Capabilities {
        lossless: true,
        container: Container::File { seekable: false },
        tabular: false,
        options: &[],
    },
    detect: |sample| match sample {
        Sample::File(_) if sample.start_has(NAMESPACE) => Detection::Certain,
        Sample::File(_) if sample.start().starts_with(b"<") => Detection::Possible,
        _ => Detection::No,
    },
    open: Some(read::open),
    create: Some(write::create),
};
