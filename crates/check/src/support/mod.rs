//! Computations that several rules share, one module per topic.

pub(crate) mod cameras;
pub(crate) mod clock;
pub(crate) mod corrected_grades;
pub(crate) mod course_marks;
pub(crate) mod coverage;
pub(crate) mod cross_section;
pub(crate) mod distance_drift;
pub(crate) mod duplicates;
pub(crate) mod elevations;
pub(crate) mod foreign_wall;
pub(crate) mod map_lengths;
pub(crate) mod media_dates;
pub(crate) mod media_types;
pub(crate) mod missing_runs;
pub(crate) mod rating_totals;
pub(crate) mod reordering;
pub(crate) mod row_order;
pub(crate) mod run_dates;
pub(crate) mod run_extent;
pub(crate) mod section_unit;
pub(crate) mod terms_of_codes;
pub(crate) mod texts;
pub(crate) mod time;
