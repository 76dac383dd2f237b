//! Deliveries of pipe inspection surveys. The rules judge a record; this crate looks at the files
//! that are delivered with it.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings};
//! use obvert_deliver::FolderAudit;
//!
//! let audit = FolderAudit::new(std::env::temp_dir()).required().without_others();
//! let checker = Checker::new(Settings::default())?.with_files(audit);
//! let report = checker.check(MINIMAL.as_bytes())?;
//! assert_eq!(report.documents[0].files.as_ref().map(|files| files.missing), Some(3));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(docsrs, feature(doc_cfg))]

mod audit;
mod black;
mod listing;
mod log;

pub use audit::{FolderAudit, Progress, look_at};
pub use log::AuditLog;
