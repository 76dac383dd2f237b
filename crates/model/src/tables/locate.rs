//! Positions of the camera or the pipe, located from the surface. They help to decide where to dig,
//! but never alone: local codes and licensed practice decide how a located position is verified
//! before digging.

use crate::extension::Extensions;
use crate::number::{Hertz, Length, Position};
use crate::text::{LocateId, RunId, Text};

words! {
    /// What a located depth was measured to.
    pub complete DepthTo {
        /// The centre of the pipe, where a transmitter in the camera head lies.
        Centre = "centre",
        /// The highest inside point.
        Obvert = "obvert",
        /// The lowest inside point.
        Invert = "invert",
    }
}

words! {
    /// How a position was found.
    pub LocateMethod {
        /// From a transmitter in or behind the camera head.
        #[doc(alias = "sonde")]
        #[doc(alias = "beacon")]
        InlineTransmitter = "inline-transmitter",
        /// From a signal put on the push cable.
        #[doc(alias = "line tracing")]
        LineTrace = "line-trace",
        /// By a probe driven into the ground.
        Probe = "probe",
        /// Seen in a hole dug for the purpose.
        #[doc(alias = "daylighting")]
        #[doc(alias = "test pit")]
        Potholed = "potholed",
        /// Another method, which `method_text` states.
        Other = "other",
    }
}

table! {
    /// A position found from the surface for a distance along a run.
    #[doc(alias = "sonde")]
    #[doc(alias = "beacon")]
    #[doc(alias = "locator")]
    #[doc(alias = "line tracing")]
    pub Locate {
        /// Identifies the locate.
        id: LocateId,
        /// The run.
        run: RunId,
        /// The distance that the counter showed, in length units.
        at: Length,
        /// Where it was found, in the document's reference system.
        position?: Position,
        /// Elevation of the ground there above the document's datum, in length units.
        ground?: Length,
        /// Depth below the ground, in length units.
        #[doc(alias = "cover")]
        #[doc(alias = "depth of cover")]
        depth?: Length,
        /// What the depth was measured to.
        depth_to?: DepthTo,
        /// How it was found.
        method?: LocateMethod,
        /// The method in words, with `other`.
        method_text?: Text,
        /// The frequency used, in hertz.
        frequency?: Hertz,
        /// The distance of the transmitter behind the camera head, in length units.
        transmitter_offset?: Length,
        /// The stated accuracy in plan, in length units.
        accuracy?: Length,
        /// The stated accuracy of the depth, in length units; it usually differs from that in plan.
        depth_accuracy?: Length,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
