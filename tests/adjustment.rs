//! The adjustment of networks, as a library: forms of networks, poor geometry, published examples, random networks against
//! SciPy, statistics by simulation. `tests/network.rs` has whole runs through the program.

mod any;
mod forms;
mod geometry;
mod published;
mod scipy;
mod shared;
mod statistics;
mod traverse;
