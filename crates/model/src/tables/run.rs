//! A run: one traverse of the camera, with distances from the point at which its counter was set.

use super::document::Purpose;
use super::observation::Observation;
use super::pipe::Joins;
use crate::extension::Extensions;
use crate::number::Length;
use crate::text::{EquipmentId, PartyId, PipeId, RunId, StructureId, Text, Timestamp};

words! {
    /// The direction of travel.
    pub complete Direction {
        /// With the flow.
        Downstream = "downstream",
        /// Against the flow.
        Upstream = "upstream",
    }
}

words! {
    /// How the camera was moved.
    #[doc(alias = "crawler")]
    #[doc(alias = "push camera")]
    pub Method {
        /// Pushed on a rod.
        PushRod = "push-rod",
        /// On a self-propelled crawler.
        Crawler = "crawler",
        /// Held on a pole at the structure.
        #[doc(alias = "zoom camera")]
        Pole = "pole",
        /// On a float.
        Float = "float",
        /// By a person walking through the pipe.
        #[doc(alias = "man entry")]
        WalkThrough = "walk-through",
        /// Another method, which `method_text` states.
        Other = "other",
    }
}

words! {
    /// How the pipe was prepared.
    pub Preparation {
        /// Not at all.
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
        /// Not controlled.
        None = "none",
        /// Plugged upstream.
        Plugged = "plugged",
        /// Bypassed by pumping.
        Bypassed = "bypassed",
        /// Inspected at a time of low flow.
        LowFlow = "low-flow",
    }
}

words! {
    /// The weather, which decides whether infiltration can be seen.
    pub Weather {
        /// No rain, dry ground.
        Dry = "dry",
        /// Rain during the run.
        Rain = "rain",
        /// No rain during the run, but the ground was still wet from earlier rain.
        RecentRain = "recent-rain",
        /// Snow or thaw.
        Snow = "snow",
        /// Anything else, which `weather_text` states.
        Other = "other",
    }
}

words! {
    /// The point at which the distance counter was set.
    #[doc(alias = "zero point")]
    #[doc(alias = "reference point")]
    pub CounterZero {
        /// The centre of the start structure.
        StructureCentre = "structure-centre",
        /// The inner wall of the start structure.
        StructureWall = "structure-wall",
        /// The end of the pipe.
        PipeEnd = "pipe-end",
        /// The fitting through which the camera was inserted.
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
        /// It reached the point at which a run from the other end had stopped.
        Met = "met",
        /// It was stopped, for the `reason` stated.
        Stopped = "stopped",
        /// It ended where the order said, before the far structure.
        AsOrdered = "as-ordered",
    }
}

words! {
    /// Why a run was stopped.
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
        /// Deposits.
        Deposits = "deposits",
        /// A connection that projects into the pipe.
        IntrudingConnection = "intruding-connection",
        /// A bend that the camera could not pass.
        Bend = "bend",
        /// Loss of vision.
        LostVision = "lost-vision",
        /// The rod or cable was too short.
        CableEnd = "cable-end",
        /// The equipment failed.
        EquipmentFailure = "equipment-failure",
        /// It was not safe to go on.
        UnsafeConditions = "unsafe-conditions",
        /// Another reason, which `reason_text` states.
        Other = "other",
    }
}

table! {
    /// A check of the counter against a known distance.
    #[doc(alias = "tape check")]
    #[doc(alias = "counter calibration")]
    pub CounterCheck {
        /// What the counter showed, in length units.
        reading: Length,
        /// The known distance, in length units.
        known: Length,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// How the distance counter was set. Without it, distances cannot be interpreted.
    #[doc(alias = "distance counter")]
    #[doc(alias = "odometer")]
    #[doc(alias = "encoder")]
    pub Counter {
        /// The point at which it was set.
        zero: CounterZero,
        /// The point in words, with `other`.
        zero_text?: Box<Text>,
        /// The distance from the centre of the start structure to that point, in length units; 0
        /// when absent.
        offset?: Length,
        /// What the counter showed there, in length units; 0 when absent.
        reads?: Length,
        /// The smallest step that it shows, in length units.
        resolution?: Length,
        /// Checks of the counter against known distances.
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
        /// Why it was stopped, with `stopped`.
        reason?: StopReason,
        /// The reason in words, with `other`.
        reason_text?: Box<Text>,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// One traverse of the camera through a pipe.
    #[doc(alias = "inspection")]
    #[doc(alias = "survey")]
    #[doc(alias = "pass")]
    #[doc(alias = "traverse")]
    #[doc(alias = "camera run")]
    pub Run {
        /// Identifies the run.
        id: RunId,
        /// The pipe.
        pipe: PipeId,
        /// The structure at which it began.
        from?: StructureId,
        /// The structure towards which it went.
        to?: StructureId,
        /// The direction of travel.
        direction: Direction,
        /// How the camera was moved.
        method?: Method,
        /// The method in words, with `other`.
        method_text?: Box<Text>,
        /// Why this run was made, if that differs from the assignment's purpose.
        purpose?: Purpose,
        /// The purpose in words, with `other`.
        purpose_text?: Box<Text>,
        /// Who operated the camera.
        #[doc(alias = "surveyor")]
        #[doc(alias = "technician")]
        operator?: PartyId,
        /// The equipment in use.
        equipment[]: EquipmentId,
        /// When it began.
        started?: Timestamp,
        /// When it ended.
        finished?: Timestamp,
        /// How the pipe was prepared.
        preparation?: Preparation,
        /// How the flow was controlled.
        flow_control?: FlowControl,
        /// The weather.
        weather?: Weather,
        /// The weather in words, with `other`.
        weather_text?: Box<Text>,
        /// How the distance counter was set.
        counter?: Counter,
        /// The connection in the main through which the camera entered this lateral.
        #[doc(alias = "lateral launch")]
        launched?: Box<Joins>,
        /// The distance of the last reading, in length units, as the counter showed it.
        #[doc(alias = "footage")]
        #[doc(alias = "chainage")]
        surveyed?: Length,
        /// How it ended.
        outcome?: Outcome,
        /// The run from the other end that this one completes.
        #[doc(alias = "reverse set-up")]
        #[doc(alias = "reversal")]
        reverse_of?: RunId,
        /// A remark.
        remark?: Box<Text>,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
        /// The observations, in order of distance.
        observations[]: Observation,
    }
}
