//! Versions of the format, and the migration of documents of older versions. A migration is a
//! sequence of named steps on the text; everything else stays byte for byte.
//!
//! A document is validated against the schema of the version that it states before a step, and
//! against that of the next version afterwards. It is never read by the schema of another version
//! because that happens to fit.
//!
//! ```
//! use obvert_model::versions;
//!
//! let old = br#"{"obvert": "0.1", "id": "d", "issued": "2026-05-06T16:20:00-05:00", "units": {"length": "ft", "section": "in"},
//!   "coding": {"list": "obvert-terms", "version": "1"}, "runs": [{"id": "R1", "pipe": "P1", "direction": "downstream",
//!   "counter": {"zero": "pipe-end", "checks": [{"reading": 100.2, "true": 100}]}}]}"#;
//! assert_eq!(versions::stated(old).as_deref(), Some("0.1"));
//! let migrated = versions::migrate(old, versions::CURRENT)?;
//! assert!(migrated.text.contains(r#"{"reading": 100.2, "known": 100}"#));
//! assert_eq!(obvert_model::read::document(migrated.text.as_bytes())?.runs.len(), 1);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#[cfg(feature = "diagnose")]
mod log;
#[cfg(feature = "diagnose")]
mod migrate;
mod renamed;
#[cfg(feature = "diagnose")]
mod steps;

use std::cell::RefCell;
use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, Error, IgnoredAny, MapAccess, Visitor};

#[cfg(feature = "diagnose")]
pub use log::{AppliedStep, MigratedDocument, Migration};
#[cfg(feature = "diagnose")]
pub use migrate::{MigrateError, Migrated, canonical, digest, migrate, schema};
#[cfg(feature = "diagnose")]
pub use renamed::migrate_profile;
pub use renamed::{RENAMED, is_profile, renamed};
#[cfg(feature = "diagnose")]
pub use steps::{STEPS, Step};

/// The version that documents are written in.
pub const CURRENT: &str = "0.2";

/// Every version that can be read, oldest first.
pub const KNOWN: &[&str] = &["0.1", CURRENT];

/// The version that a source states; `None` if there is none. The source is parsed up to that key
/// only.
#[must_use]
pub fn stated(source: &[u8]) -> Option<String> {
    top_level_text(source, "obvert")
}

/// The text at a top-level key of a JSON object, parsed up to that key only.
fn top_level_text(source: &[u8], key: &str) -> Option<String> {
    struct Find<'f>(&'f str, &'f RefCell<Option<String>>);
    impl<'de> Visitor<'de> for Find<'_> {
        type Value = ();
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("an object")
        }
        fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
            while let Some(key) = map.next_key::<String>()? {
                if key == self.0 {
                    *self.1.borrow_mut() = Some(map.next_value()?);
                    return Err(A::Error::custom("found"));
                }
                map.next_value::<IgnoredAny>()?;
            }
            Ok(())
        }
    }
    impl<'de> DeserializeSeed<'de> for Find<'_> {
        type Value = ();
        fn deserialize<D: Deserializer<'de>>(self, source: D) -> Result<(), D::Error> {
            source.deserialize_map(self)
        }
    }
    let found = RefCell::new(None);
    // An error ends the parsing as soon as the key is found.
    let _ = Find(key, &found)
        .deserialize(&mut serde_json::Deserializer::from_slice(without_mark(source).1));
    found.into_inner()
}

/// Splits a source into its byte-order mark, if any, and the rest.
fn without_mark(source: &[u8]) -> (&'static str, &[u8]) {
    match source.strip_prefix(b"\xEF\xBB\xBF") {
        Some(body) => ("\u{FEFF}", body),
        None => ("", source),
    }
}
