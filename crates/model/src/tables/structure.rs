//! Structures: where pipes begin and end, and where a camera is inserted.

use crate::extension::Extensions;
use crate::number::{Length, Position};
use crate::text::{StructureId, Text};

words! {
    /// What a structure is.
    pub StructureKind {
        /// A manhole.
        Manhole = "manhole",
        /// A cleanout.
        Cleanout = "cleanout",
        /// A catch basin, inlet or gully.
        CatchBasin = "catch-basin",
        /// An outfall.
        Outfall = "outfall",
        /// A pumping station.
        PumpStation = "pump-station",
        /// A building trap or interceptor.
        BuildingTrap = "building-trap",
        /// A buried junction without access.
        Junction = "junction",
        /// The end of a pipe without a structure.
        PipeEnd = "pipe-end",
        /// Anything else, which `kind_text` states.
        Other = "other",
    }
}

table! {
    /// A node of the network.
    pub Structure {
        /// Identifies the structure.
        id: StructureId,
        /// What it is.
        kind: StructureKind,
        /// The kind in words, with `other`.
        kind_text?: Text,
        /// Where it is, in the document's reference system.
        position?: Position,
        /// Elevation of its cover or rim above the document's datum, in length units.
        ground?: Length,
        /// Elevation of its lowest invert above the document's datum, in length units.
        invert?: Length,
        /// Depth from cover to lowest invert, in length units.
        depth?: Length,
        /// The street or place.
        street?: Text,
        /// The owner's asset number, if it differs from the id.
        asset?: Text,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
