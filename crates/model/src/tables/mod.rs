//! The tables of a survey document, one file each, as in the chapters of `spec/`.
//!
//! ```
//! use obvert_model::number::Section;
//! use obvert_model::tables::{Direction, Material, Pipe, Run};
//!
//! let pipe = Pipe::new("L-101".parse()?, "LM-014".parse()?)
//!     .with_downstream("LM-015".parse()?)
//!     .with_material(Material::VitrifiedClay)
//!     .with_height(Section::new(8.0)?);
//! let run = Run::new("R-1".parse()?, pipe.id.clone(), Direction::Downstream);
//! assert_eq!(run.pipe, pipe.id);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Every table has `new` with the required fields and a `with_…` method for each other field. In
//! memory as in JSON, an absent value is absent: there is no `null` and no empty text.

mod document;
mod equipment;
mod locate;
mod media;
mod observation;
mod party;
mod pipe;
mod rating;
mod run;
mod structure;

pub use document::{
    Assignment, Coding, Document, FormatVersion, Grading, Head, LengthUnit, Purpose, Review,
    ReviewStatus, Revises, SectionUnit, Units,
};
pub use equipment::{Equipment, EquipmentKind};
pub use locate::{DepthTo, Locate, LocateMethod};
pub use media::{Media, MediaKind, MediaState};
pub use observation::{
    Clock, ClockReading, Dimension, FlowState, Grades, MediaRef, Observation, Quantity,
    QuantityUnit,
};
pub use party::{Party, PartyRole};
pub use pipe::{
    Carries, Inverts, Joins, LengthBetween, Material, MaterialClass, Pipe, Shape, SizeBasis,
};
pub use rating::{Aspect, Rating};
pub use run::{
    Counter, CounterCheck, CounterZero, Direction, FlowControl, Method, Outcome, OutcomeKind,
    Preparation, Run, StopReason, Weather,
};
pub use structure::{Structure, StructureKind};
