//! The adjustment of networks, as a library: forms of networks, poor geometry, published examples, random networks against
//! SciPy, statistics by simulation. `tests/network.rs` has whole runs through the program.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::needless_range_loop, missing_docs)]

mod networks;

#[path = "adjustment"]
mod adjustment {
    mod any;
    mod forms;
    mod geometry;
    mod published;
    mod scipy;
    mod statistics;
    mod traverse;
}
