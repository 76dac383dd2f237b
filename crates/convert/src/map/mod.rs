//! Where everything in a survey is, for every form that draws it.

pub(crate) mod geometry;
pub(crate) mod network;
