//! XML, for offices whose systems read only XML. It holds everything, so a document comes back
//! unchanged. An XML Schema ([`xsd`]) made from the same shape lets a receiver validate it with
//! other tools.
//!
//! ```
//! use obvert_convert::xml;
//! # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
//! # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
//! # let document = obvert_model::read::document(source)?;
//! let mut file = Vec::new();
//! xml::write(&document, &mut file)?;
//! assert_eq!(xml::read(&file, "survey.xml")?.document, document);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Mapping
//! - The root is `survey` in the namespace [`NAMESPACE`]. In it, as in every object, there is **one
//!   element for each key**, with the name of the key (`$schema` is `schema`: a name cannot have a
//!   `$`), in the order of the schema. Unknown values are left out. Only two attributes are used,
//!   see below.
//! - A **list** is one element with an element for each item: for objects, their type in lower case
//!   (`<pipes><pipe>`, `<checks><counter_check>`), `position` for a position, and `item` for
//!   anything else (`<characterisation><item>`). A list without items equals an absent one.
//! - A **position** is its two numbers, separated by a space: `<position>2012345.25
//!   650123.5</position>`.
//! - **Numbers** are written as in JSON; `INF`, `NaN`, a plus sign, leading zeros and a bare point
//!   are not allowed. Booleans are `true` and `false`.
//! - White space (space, tab, carriage return, line feed) at either end of a text is ignored, so
//!   that pretty-printing is safe. A text that starts or ends with white space, or has a character
//!   that XML 1.0 cannot hold (U+0000 to U+001F except tab, line feed and carriage return; U+FFFE;
//!   U+FFFF), is written as a **JSON string** instead: `<remark encoding="json">"
//!   two\u0001"</remark>`. Tab, line feed and carriage return in a text are written as `&#9;`,
//!   `&#10;` and `&#13;`, so that every row is one line.
//! - **Extensions** have an element each, with their name as an attribute and their value as JSON:
//!   `<extensions><extension name="org.example.dispatch">{"priority":2}</extension></extensions>`.
//!
//! # Reading
//! The reader accepts and refuses the same documents as the schema, by order, unknown elements and
//! attributes, and text between elements. In addition it refuses every document type declaration,
//! so that nothing is ever expanded or fetched, processing instructions, XML 1.1, encodings other
//! than UTF-8, duplicate ids in different spellings, and invalid JSON. `xsi:schemaLocation` is
//! accepted and ignored. Comments and CDATA sections are accepted.

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
