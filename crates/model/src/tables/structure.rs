//! Structures: where pipes begin and end, and where a camera is inserted.

use crate::extension::Extensions;
use crate::number::{Length, Position};
use crate::text::{StructureId, Text};

words! {
    /// What a structure is.
    pub StructureKind {
        /// A manhole.
        #[doc(alias = "access chamber")]
        #[doc(alias = "maintenance hole")]
        Manhole = "manhole",
        /// A cleanout.
        #[doc(alias = "rodding eye")]
        #[doc(alias = "inspection opening")]
        Cleanout = "cleanout",
        /// A catch basin, inlet or gully.
        #[doc(alias = "gully")]
        #[doc(alias = "storm inlet")]
        CatchBasin = "catch-basin",
        /// An outfall.
        #[doc(alias = "headwall")]
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
    #[doc(alias = "manhole")]
    #[doc(alias = "access chamber")]
    #[doc(alias = "inspection chamber")]
    #[doc(alias = "cleanout")]
    #[doc(alias = "outfall")]
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
        #[doc(alias = "rim elevation")]
        #[doc(alias = "cover level")]
        ground?: Length,
        /// Elevation of its lowest invert above the document's datum, in length units.
        invert?: Length,
        /// Depth from cover to lowest invert, in length units.
        depth?: Length,
        /// The street or place.
        street?: Text,
        /// The owner's asset number, if it differs from the id.
        #[doc(alias = "asset number")]
        #[doc(alias = "facility id")]
        asset?: Text,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
