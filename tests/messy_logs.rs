//! What goes wrong in field logs: each fault under its own name, run through the program, with every
//! row accounted for, the whole held rows and the whole messages compared. All places, crews and
//! values are invented.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

mod common;

#[path = "messy_logs/account.rs"]
mod account;
#[path = "messy_logs/bases.rs"]
mod bases;
#[path = "messy_logs/columns.rs"]
mod columns;
#[path = "messy_logs/readings.rs"]
mod readings;
#[path = "messy_logs/repeats.rs"]
mod repeats;
#[path = "messy_logs/text.rs"]
mod text;
#[path = "messy_logs/times.rs"]
mod times;
