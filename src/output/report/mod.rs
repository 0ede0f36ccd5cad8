//! What a run says of itself: `summary.json` for programs, and a short text for people.

pub mod bases;
pub mod held;
pub mod local_fit;
pub mod network;
pub mod shared;
pub mod sources;
pub mod styled;
pub mod summary;
pub mod terminal;
pub mod used;
pub mod values;
pub mod written;
