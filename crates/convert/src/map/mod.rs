//! Where everything in a survey is, for every format that draws it.

pub(crate) mod geometry;
pub(crate) mod network;
