//! The tables of a survey document, one file each, as in the chapters of `spec/`.

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
