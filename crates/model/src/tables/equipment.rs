//! Equipment: cameras, reels, crawlers, transmitters and receivers.

use crate::extension::Extensions;
use crate::number::{Hertz, Length};
use crate::text::{Date, EquipmentId, Text};

words! {
    /// What a piece of equipment is.
    pub EquipmentKind {
        /// A camera on a push rod and reel.
        PushRod = "push-rod",
        /// A self-propelled camera.
        Crawler = "crawler",
        /// A camera on a pole, looking in from the structure.
        Pole = "pole",
        /// A camera on a float.
        Float = "float",
        /// A transmitter found from the surface.
        Transmitter = "transmitter",
        /// A receiver that finds a transmitter or a line.
        Receiver = "receiver",
        /// Anything else, which `kind_text` states.
        Other = "other",
    }
}

table! {
    /// A piece of equipment.
    #[doc(alias = "crawler")]
    #[doc(alias = "push rod")]
    #[doc(alias = "transmitter")]
    #[doc(alias = "receiver")]
    pub Equipment {
        /// Identifies the equipment.
        id: EquipmentId,
        /// What it is.
        kind: EquipmentKind,
        /// The kind in words, with `other`.
        kind_text?: Text,
        /// Maker and model, as on its plate.
        model?: Text,
        /// The serial number.
        serial?: Text,
        /// The smallest step that its distance counter shows, in length units.
        counter_resolution?: Length,
        /// When its distance counter was last calibrated.
        calibrated?: Date,
        /// The length of push rod or cable, in length units.
        cable_length?: Length,
        /// The transmitter's frequency, in hertz.
        frequency?: Hertz,
        /// The distance of the transmitter behind the camera head, in length units.
        transmitter_offset?: Length,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
