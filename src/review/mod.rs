//! On finished layers: how good they are against check points, and what changed between two mappings.
//!
//! Nothing here feeds a mapping run.

pub mod assess;
pub mod compare;
pub mod finished;
