//! Logs of where the crew stood, run through the program: receiver logs, lists of occupations, tracks,
//! waypoints and vector files become bases, and shots find them by name and by time. Every place and
//! every log is invented; what is expected follows from how the log was made.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

mod support;

#[path = "stations/account.rs"]
mod account;
#[path = "stations/blocks.rs"]
mod blocks;
#[path = "stations/clocks.rs"]
mod clocks;
#[path = "stations/example.rs"]
mod example;
#[path = "stations/gpx.rs"]
mod gpx;
#[path = "stations/heights.rs"]
mod heights;
#[path = "stations/joins.rs"]
mod joins;
#[path = "stations/moving.rs"]
mod moving;
#[path = "stations/occupations.rs"]
mod occupations;
#[path = "stations/order.rs"]
mod order;
#[path = "stations/quality.rs"]
mod quality;
#[path = "stations/receiver.rs"]
mod receiver;
#[path = "stations/several.rs"]
mod several;
#[path = "stations/site.rs"]
mod site;
#[path = "stations/vector.rs"]
mod vector;
