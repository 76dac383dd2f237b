//! The checker of Obvert and its catalogue of rules: finds errors in pipe inspection surveys.
//!
//! A [`Checker`] reads a survey once and gives every record to every rule. A run is checked and
//! dropped before the next one is read. The result is a [`Report`] of [`Finding`]s; findings are
//! data, not errors.
//!
//! - [`Settings`]: severities, limits, a profile, your own code lists, and the date of today;
//! - [`Rule::new`]: rules of your own, in addition to the [`catalogue`](catalogue());
//! - [`report`]: the parts of a report, and the comparison with an earlier one;
//! - [`output`]: reports as SARIF, JUnit XML, CSV, JSON lines, workflow commands and HTML;
//! - [`files`]: the files of a delivery, for the rules about them;
//! - [`fixing`]: automatic fixes;
//! - [`grading`]: grades and their totals, pipe by pipe;
//! - [`Draft`]: a profile drafted from accepted surveys.
//!
//! A clean check means that a record agrees with itself and with its format. It does not mean that
//! a pipe is safe.
//!
//! ```
//! use obvert_check::{Checker, Settings};
//!
//! let source = br#"{
//!   "obvert": "0.2", "id": "urn:uuid:7d0f7c1e-58a6-4d5b-9df2-6b8f0c7f4a11", "issued": "2026-05-06T16:20:00-05:00",
//!   "units": { "length": "ft", "section": "in" },
//!   "coding": { "list": "obvert-terms", "version": "1" },
//!   "structures": [ { "id": "LM-014", "kind": "manhole" } ],
//!   "pipes": [ { "id": "L-101", "upstream": "LM-014", "downstream": "LM-015" } ]
//! }"#;
//! let report = Checker::new(Settings::default())?.check(source)?;
//! let finding = report.findings.iter().find(|finding| finding.rule == "unknown-structure");
//! assert_eq!(finding.map(|finding| &*finding.subject.path), Some("/pipes/0/downstream"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(docsrs, feature(doc_cfg))]

#[macro_use]
mod rule;

mod catalogue;
mod checker;
mod draft;
mod evidence;
mod fact;
pub mod files;
mod finding;
pub mod fixing;
pub mod grading;
pub mod output;
#[cfg(feature = "diagnose")]
mod partial;
mod pipeline;
mod profile;
pub mod report;
mod rules;
mod settings;
mod sink;
mod subject;
mod support;
mod views;
mod walk;
pub mod wholeness;

pub use catalogue::{MINIMAL, MINIMAL_FILES, catalogue, find};
pub use checker::Checker;
pub use draft::{Draft, DraftError, DraftSettings};
pub use fact::{Fact, FactKind, JsonType};
pub use finding::{Finding, Severity};
pub use obvert_model::Location;
pub use obvert_model::edit::{Edit, Fix};
pub use profile::profile_problems;
#[doc(inline)]
pub use report::Report;
pub use rule::{Check, Example, Limit, Need, Rule, Section};
pub use settings::{Settings, SettingsError};
pub use sink::Sink;
pub use subject::Subject;
pub use views::{
    Ending, LocateView, MediaView, Part, PipeView, RatingView, RowView, RunSummary, RunView,
    StructureView, Survey,
};

// Tests the example in it.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
