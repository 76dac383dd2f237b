//! The positions of everything in a survey, for every format that draws it.

pub(crate) mod geometry;
pub(crate) mod network;
pub(crate) mod system;
