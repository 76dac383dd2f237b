//! Grades rolled up per pipe, as the sender states them; a checker recomputes them.

use crate::extension::Extensions;
use crate::number::{Amount, Count};
use crate::text::{PipeId, RatingId, RunId};

words! {
    /// What a grade judges.
    pub complete Aspect {
        /// The fabric of the pipe.
        Structural = "structural",
        /// What hinders its working.
        Operational = "operational",
    }
}

table! {
    /// The grades of one pipe in one aspect, rolled up.
    pub Rating {
        /// Identifies the rating.
        id: RatingId,
        /// The pipe.
        pipe: PipeId,
        /// The runs that were taken together; all runs of the pipe when absent.
        runs[]: RunId,
        /// The aspect.
        aspect: Aspect,
        /// The worst grade, or what else the grade scheme takes for the peak.
        peak?: Amount,
        /// The sum of the grades, a stretch counted once an interval.
        total?: Amount,
        /// The sum divided by the count.
        mean?: Amount,
        /// How many grades were counted, a stretch once an interval.
        count?: Count,
        /// The sum divided by the surveyed length, per length as the grade scheme states.
        per_length?: Amount,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
