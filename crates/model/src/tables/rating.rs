//! Grades summed up per pipe, as the sender states them. A checker recomputes them.

use crate::extension::Extensions;
use crate::number::{Amount, Count};
use crate::text::{PipeId, RatingId, RunId};

words! {
    /// The aspect of a grade.
    pub complete Aspect {
        /// Structural: the fabric of the pipe.
        Structural = "structural",
        /// Operational: what hinders the function of the pipe.
        Operational = "operational",
    }
}

table! {
    /// The grades of one pipe in one aspect, summed up.
    #[doc(alias = "condition rating")]
    #[doc(alias = "condition score")]
    pub Rating {
        /// Identifies the rating.
        id: RatingId,
        /// The pipe.
        pipe: PipeId,
        /// The runs that were combined; all runs of the pipe when absent.
        runs[]: RunId,
        /// The aspect.
        aspect: Aspect,
        /// The worst grade, or the peak as the grade scheme defines it.
        peak?: Amount,
        /// The sum of the grades; a stretch counts once per interval.
        total?: Amount,
        /// The sum divided by the count.
        mean?: Amount,
        /// The number of grades; a stretch counts once per interval.
        count?: Count,
        /// The sum divided by the surveyed length, per length as the grade scheme states.
        per_length?: Amount,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
