//! Pipes, as the owner's records have them. Runs are compared with them.

use crate::extension::Extensions;
use crate::number::{ClockHour, Length, Position, Section, Year};
use crate::text::{PipeId, StructureId, Text};

words! {
    /// What a pipe carries.
    pub Carries {
        /// Foul sewage.
        Sanitary = "sanitary",
        /// Storm water.
        Storm = "storm",
        /// Both.
        Combined = "combined",
        /// Something else, which `carries_text` states.
        Other = "other",
    }
}

words! {
    /// The shape of a cross-section.
    pub Shape {
        /// Circular.
        Circular = "circular",
        /// Egg-shaped.
        Egg = "egg",
        /// Oval.
        Oval = "oval",
        /// Rectangular.
        Rectangular = "rectangular",
        /// Horseshoe.
        Horseshoe = "horseshoe",
        /// Arch.
        Arch = "arch",
        /// U-shaped.
        UShaped = "u-shaped",
        /// Another shape, which `shape_text` states.
        Other = "other",
    }
}

words! {
    /// What a stated size measures.
    pub complete SizeBasis {
        /// The clear inside dimension.
        Inside = "inside",
        /// The outside dimension.
        Outside = "outside",
        /// A nominal size, which may be neither.
        Nominal = "nominal",
    }
}

words! {
    /// The points between which a length was measured.
    pub LengthBetween {
        /// Between the centres of the two structures.
        Centres = "centres",
        /// Between the inner walls of the two structures.
        Walls = "walls",
        /// Between the ends of the pipe.
        Ends = "ends",
    }
}

words! {
    /// What a pipe is made of.
    pub Material {
        /// Vitrified clay.
        #[doc(alias = "vcp")]
        #[doc(alias = "clay")]
        VitrifiedClay = "vitrified-clay",
        /// Plain concrete.
        Concrete = "concrete",
        /// Reinforced concrete.
        #[doc(alias = "rcp")]
        ReinforcedConcrete = "reinforced-concrete",
        /// Asbestos cement.
        AsbestosCement = "asbestos-cement",
        /// Brick.
        Brick = "brick",
        /// Stone masonry.
        Stone = "stone",
        /// Polyvinyl chloride.
        Pvc = "pvc",
        /// Polyethylene.
        #[doc(alias = "pe")]
        #[doc(alias = "hdpe")]
        Polyethylene = "polyethylene",
        /// Polypropylene.
        #[doc(alias = "pp")]
        Polypropylene = "polypropylene",
        /// Acrylonitrile butadiene styrene.
        Abs = "abs",
        /// Glass-fibre reinforced plastic.
        GlassReinforcedPlastic = "glass-reinforced-plastic",
        /// Grey cast iron.
        #[doc(alias = "ci")]
        CastIron = "cast-iron",
        /// Ductile iron.
        #[doc(alias = "di")]
        DuctileIron = "ductile-iron",
        /// Steel.
        Steel = "steel",
        /// Corrugated metal.
        #[doc(alias = "cmp")]
        CorrugatedMetal = "corrugated-metal",
        /// Bituminised fibre (pitch fibre).
        BituminisedFibre = "bituminised-fibre",
        /// Another material, which `material_text` states.
        Other = "other",
    }
}

words! {
    /// A class of materials with similar defects, as used in code lists and grade schemes.
    pub MaterialClass {
        /// Vitrified clay.
        Clayware = "clayware",
        /// Concrete, reinforced or not, and asbestos cement.
        Concrete = "concrete",
        /// Plastics.
        Plastic = "plastic",
        /// Metals.
        Metal = "metal",
        /// Brick and stone.
        Masonry = "masonry",
        /// Bituminised fibre, which is flexible.
        Fibre = "fibre",
        /// Everything else.
        Other = "other",
    }
}

impl Material {
    /// The class that this material belongs to.
    #[must_use]
    pub const fn class(self) -> MaterialClass {
        match self {
            Self::VitrifiedClay => MaterialClass::Clayware,
            Self::Concrete | Self::ReinforcedConcrete | Self::AsbestosCement => {
                MaterialClass::Concrete
            }
            Self::Brick | Self::Stone => MaterialClass::Masonry,
            Self::Pvc
            | Self::Polyethylene
            | Self::Polypropylene
            | Self::Abs
            | Self::GlassReinforcedPlastic => MaterialClass::Plastic,
            Self::CastIron | Self::DuctileIron | Self::Steel | Self::CorrugatedMetal => {
                MaterialClass::Metal
            }
            Self::BituminisedFibre => MaterialClass::Fibre,
            Self::Other => MaterialClass::Other,
        }
    }
}

table! {
    /// Where a lateral meets a main.
    #[doc(alias = "lateral")]
    #[doc(alias = "house connection")]
    pub Joins {
        /// The main.
        pipe: PipeId,
        /// The distance along the main from its upstream structure, in length units.
        at?: Length,
        /// The clock reference of the connection, looking downstream in the main.
        clock?: ClockHour,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// Elevations of the lowest inside point at a pipe's two ends.
    pub Inverts {
        /// At the upstream end, in length units.
        upstream?: Length,
        /// At the downstream end, in length units.
        downstream?: Length,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// A pipe: between two structures, or a lateral from one structure to the main that it joins.
    #[doc(alias = "sewer")]
    #[doc(alias = "conduit")]
    #[doc(alias = "main")]
    #[doc(alias = "lateral")]
    #[doc(alias = "pipe segment")]
    pub Pipe {
        /// Identifies the pipe.
        id: PipeId,
        /// The structure at its upper end.
        upstream: StructureId,
        /// The structure at its lower end; a lateral has `joins` instead.
        downstream?: StructureId,
        /// Where a lateral meets its main.
        joins?: Box<Joins>,
        /// What it carries.
        carries?: Carries,
        /// What it carries in words, with `other`.
        carries_text?: Box<Text>,
        /// The shape of its cross-section.
        shape?: Shape,
        /// The shape in words, with `other`.
        shape_text?: Box<Text>,
        /// Height of the cross-section (the diameter of a circular pipe), in section units.
        #[doc(alias = "diameter")]
        #[doc(alias = "bore")]
        #[doc(alias = "nominal diameter")]
        height?: Section,
        /// Width of the cross-section, in section units; absent for circular pipes.
        width?: Section,
        /// What height and width measure.
        size_basis?: SizeBasis,
        /// What it is made of.
        material?: Material,
        /// The material in words, with `other`.
        material_text?: Box<Text>,
        /// The lining, in words.
        #[doc(alias = "liner")]
        #[doc(alias = "cipp")]
        lining?: Box<Text>,
        /// The length in the owner's records, in length units.
        length?: Length,
        /// The points between which that length was measured.
        length_between?: LengthBetween,
        /// The distance from joint to joint, in length units.
        joint_spacing?: Length,
        /// The year it was laid.
        #[doc(alias = "year installed")]
        #[doc(alias = "installation date")]
        laid?: Year,
        /// Elevations of its two ends.
        #[doc(alias = "invert level")]
        #[doc(alias = "slope")]
        #[doc(alias = "gradient")]
        inverts?: Box<Inverts>,
        /// Its course from the upstream to the downstream end, in the document's reference system.
        #[doc(alias = "alignment")]
        #[doc(alias = "centreline")]
        #[doc(alias = "polyline")]
        path[]: Position,
        /// The street or place.
        street?: Box<Text>,
        /// The owner's asset number, if it differs from the id.
        #[doc(alias = "asset number")]
        #[doc(alias = "facility id")]
        asset?: Text,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
