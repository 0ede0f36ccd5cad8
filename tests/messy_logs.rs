//! What goes wrong in field logs: each fault under its own name, run through the program, with every
//! row accounted for, the whole held rows and the whole messages compared. All places, crews and
//! values are invented.

mod account;
mod bases;
mod columns;
mod numbers;
mod orders;
mod readings;
mod repeats;
mod text;
mod times;
mod words;
