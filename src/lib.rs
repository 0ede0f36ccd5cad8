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
//! | settings, feature codes | [`job`] |
//! | logs → rows | [`intake`], accounted for in [`records`] |
//! | fixes → bases; shots joined with them | [`stations`] |
//! | sightings → vectors → points | [`shots`], on [`geodesy`] |
//! | shots that check each other → adjusted places | [`network`] |
//! | rows together → measurements, lines and areas | [`measure`] |
//! | points → layers, and the account | [`output`] |
//! | before the field; instrument corrections | [`field`] |
//! | after the mapping | [`review`] |
//!
//! [`run::run`] takes a job through all of them. Angles inside are in radians, lengths in
//! metres; names say so. Results are mapping grade, not a licensed survey.

#[cfg(feature = "gis")]
pub mod cli;
pub mod disk;
#[cfg(feature = "gis")]
pub mod field;
pub mod geodesy;
pub mod intake;
pub mod job;
pub mod measure;
pub mod network;
pub mod numeric;
#[cfg(feature = "gis")]
pub mod output;
pub mod records;
#[cfg(feature = "gis")]
pub mod review;
#[cfg(feature = "gis")]
pub mod run;
pub mod shots;
pub mod stations;
pub mod units;
