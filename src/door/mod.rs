//! Single shots and measurements for a program in Rust that has no job: a shot from a stand to a point, and what several shots give
//! together. A thin face over the rooms that map a job: [`crate::shots`] reduces, [`crate::measure`] composes.
//!
//! Angles in radians, lengths in metres; a field says so in its name. Everything a stand's shots share (its position, its orientation) is
//! carried along, so that it cancels where it should. No formula and no file lives here.

mod measured;
mod shot;

pub use self::measured::{Face, FaceSight, Height, MeasureError, Measured, MissingLine, Pile, Profile, Span, Touch, Width};
pub use self::shot::{Distance, Point, Shot, ShotError, Stand};
