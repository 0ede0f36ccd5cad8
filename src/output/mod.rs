//! What a run writes: layers and their fields, their look, one file a format, the folder, the report.
//!
//! Nothing is computed here that a layer does not only show.

pub mod asked;
mod cells;
pub mod columns;
pub mod contract;
pub mod disclosure;
pub mod edits;
mod error;
pub mod in_units;
pub mod layers;
pub mod metadata;
pub(crate) mod numbers;
pub mod order;
pub mod outcome;
pub mod page;
pub mod report;
pub mod style;
pub(crate) mod times;
pub mod write;
pub(crate) mod xml;

pub use error::{FormatError, WriteError};
