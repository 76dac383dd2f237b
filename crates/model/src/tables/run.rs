//! A run: one traverse of the camera, measured from where its counter was set.

use super::document::Purpose;
use super::observation::Observation;
use super::pipe::Joins;
use crate::extension::Extensions;
use crate::number::Length;
use crate::text::{EquipmentId, PartyId, PipeId, RunId, StructureId, Text, Timestamp};

words! {
    /// Which way the camera went.
    pub complete Direction {
        /// With the flow.
        Downstream = "downstream",
        /// Against the flow.
        Upstream = "upstream",
    }
}

words! {
    /// How the camera was carried.
    pub Method {
        /// Pushed on a rod.
        PushRod = "push-rod",
        /// On a self-propelled crawler.
        Crawler = "crawler",
        /// Held on a pole at the structure.
        Pole = "pole",
        /// On a float.
        Float = "float",
        /// By a person walking through.
        WalkThrough = "walk-through",
        /// Another way, which `method_text` states.
        Other = "other",
    }
}

words! {
    /// What was done to the pipe beforehand.
    pub Preparation {
        /// Nothing.
        None = "none",
        /// Flushed or jetted with water.
        Jetted = "jetted",
        /// Cleaned mechanically.
        Mechanical = "mechanical",
        /// Roots were cut.
        RootCut = "root-cut",
    }
}

words! {
    /// How the flow was controlled during the run.
    pub FlowControl {
        /// It was not.
        None = "none",
        /// Plugged upstream.
        Plugged = "plugged",
        /// Pumped around.
        Bypassed = "bypassed",
        /// Done at a time of low flow.
        LowFlow = "low-flow",
    }
}

words! {
    /// The weather, since it decides what infiltration can be seen.
    pub Weather {
        /// No rain, dry ground.
        Dry = "dry",
        /// Rain during the run.
        Rain = "rain",
        /// No rain, but wet ground from rain before.
        WetGround = "wet-ground",
        /// Snow or thaw.
        Snow = "snow",
        /// Anything else, which `weather_text` states.
        Other = "other",
    }
}

words! {
    /// The point at which the distance counter was set.
    pub CounterZero {
        /// The centre of the start structure.
        StructureCentre = "structure-centre",
        /// The inner wall of the start structure.
        StructureWall = "structure-wall",
        /// The end of the pipe.
        PipeEnd = "pipe-end",
        /// The fitting that the camera was put in by.
        AccessFitting = "access-fitting",
        /// Another point, which `zero_text` states.
        Other = "other",
    }
}

words! {
    /// How a run ended.
    pub OutcomeKind {
        /// It reached the far structure.
        Reached = "reached",
        /// It met the point that a run from the other end had come to.
        Met = "met",
        /// It was given up, for the `reason` stated.
        Stopped = "stopped",
    }
}

words! {
    /// Why a run was given up.
    pub StopReason {
        /// An obstruction.
        Obstruction = "obstruction",
        /// A collapse.
        Collapse = "collapse",
        /// A displaced joint.
        DisplacedJoint = "displaced-joint",
        /// Roots.
        Roots = "roots",
        /// High water.
        HighWater = "high-water",
        /// A bend that the camera could not take.
        Bend = "bend",
        /// The picture was lost.
        LostVision = "lost-vision",
        /// No rod or cable left.
        CableEnd = "cable-end",
        /// The equipment failed.
        EquipmentFailure = "equipment-failure",
        /// Another reason, which `reason_text` states.
        Other = "other",
    }
}

table! {
    /// A reading of the counter against a distance known otherwise.
    pub CounterCheck {
        /// What the counter showed, in length units.
        reading: Length,
        /// The distance as it is known otherwise, in length units.
        known: Length,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// How the distance counter was set, without which no distance has a meaning.
    pub Counter {
        /// The point at which it was set.
        zero: CounterZero,
        /// The point in words, beside `other`.
        zero_text?: Box<Text>,
        /// The distance from the centre of the start structure to that point, in length units; 0
        /// when absent.
        offset?: Length,
        /// What the counter showed there, in length units; 0 when absent.
        reads?: Length,
        /// The smallest step that it shows, in length units.
        resolution?: Length,
        /// Readings against distances known otherwise.
        checks[]: CounterCheck,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// How a run ended.
    pub Outcome {
        /// How.
        kind: OutcomeKind,
        /// Why it was given up, beside `stopped`.
        reason?: StopReason,
        /// The reason in words, beside `other`.
        reason_text?: Box<Text>,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// One traverse of the camera through a pipe.
    pub Run {
        /// Identifies the run.
        id: RunId,
        /// The pipe.
        pipe: PipeId,
        /// The structure where it began.
        from?: StructureId,
        /// The structure that it went towards.
        to?: StructureId,
        /// Which way the camera went.
        direction: Direction,
        /// How the camera was carried.
        method?: Method,
        /// The method in words, beside `other`.
        method_text?: Box<Text>,
        /// Why this run was made, where it differs from the assignment's purpose.
        purpose?: Purpose,
        /// The purpose in words, beside `other`.
        purpose_text?: Box<Text>,
        /// Who operated the camera.
        operator?: PartyId,
        /// What it was made with.
        equipment[]: EquipmentId,
        /// When it began.
        started?: Timestamp,
        /// When it ended.
        finished?: Timestamp,
        /// What was done to the pipe beforehand.
        preparation?: Preparation,
        /// How the flow was controlled.
        flow_control?: FlowControl,
        /// The weather.
        weather?: Weather,
        /// The weather in words, beside `other`.
        weather_text?: Box<Text>,
        /// How the distance counter was set.
        counter?: Counter,
        /// Where in a main the camera entered this lateral.
        launched?: Box<Joins>,
        /// The distance of the last reading, in length units, as the counter showed it.
        surveyed?: Length,
        /// How it ended.
        outcome?: Outcome,
        /// The run from the other end that this one completes.
        reverse_of?: RunId,
        /// A remark.
        remark?: Box<Text>,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
        /// What was seen, in order of distance.
        observations[]: Observation,
    }
}
