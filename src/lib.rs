//! Turns a field crew's collection logs into finished map layers.
//!
//! A crew stands at GNSS base positions and measures features that it cannot, or should not, walk
//! up to. This library joins the shots with the bases, reduces them to coordinates and heights with
//! an honest uncertainty, and writes layers for desktop GIS with an account of every input row.
//!
//! Data goes one way, and each stage can be run alone:
//!
//! | stage | module |
//! | --- | --- |
//! | settings | [`job`] |
//! | logs → rows | [`intake`] |
//! | fixes → positions | [`clock`], [`occupation`] |
//! | positions → bases | [`base`] |
//! | rows → sightings | [`join`], [`audit`] |
//! | sightings → vectors | [`north`], [`orientation`], [`reduce`], [`covariance`] |
//! | vectors → points | [`frame`], [`geoid`], [`crs`], [`locate`] |
//! | shots of one feature → one point | [`repeats`] |
//! | shots that check each other → adjusted places | [`network`] |
//! | codes → layers and attributes | [`catalogue`] |
//! | rows together → measurements, lines and areas | [`joint`], [`compose`], [`assemble`] |
//! | points → layers | [`layers`], [`table`], [`style`], [`write`](mod@write) |
//! | the account | [`ledger`], [`report`] |
//! | before the field | [`plan`] |
//! | instrument corrections | [`calibrate`] |
//! | after the mapping | [`mapped`], [`assess`], [`compare`] |
//!
//! [`pipeline::run`] takes a job through all of them. Angles inside are in radians, lengths in
//! metres; names say so. Results are mapping grade, not a licensed survey.

pub mod assemble;
pub mod assess;
pub mod audit;
pub mod base;
pub mod calibrate;
pub mod catalogue;
pub mod cli;
pub mod clock;
pub mod compare;
pub mod compose;
pub mod covariance;
pub mod crs;
pub mod draws;
pub mod frame;
pub mod geoid;
pub mod intake;
pub mod job;
pub mod join;
pub mod joint;
pub mod layers;
pub mod ledger;
pub mod locate;
pub mod mapped;
pub mod network;
pub mod north;
pub mod occupation;
pub mod orientation;
pub mod pipeline;
pub mod plan;
pub mod reduce;
pub mod repeats;
pub mod report;
pub mod robust;
pub mod style;
pub mod table;
pub mod units;
pub mod write;
