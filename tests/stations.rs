//! Logs of where the crew stood, run through the program: receiver logs, lists of occupations, tracks,
//! waypoints and vector files become bases, and shots find them by name and by time. Every place and
//! every log is invented; what is expected follows from how the log was made.

mod account;
mod blocks;
mod clocks;
mod example;
mod gpx;
mod heights;
mod joins;
mod limits;
mod moving;
mod occupations;
mod order;
mod quality;
mod receiver;
mod several;
mod site;
mod vector;
