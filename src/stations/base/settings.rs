//! What the settling of bases needs from the job.

use crate::geodesy::crs::{Crs, OperationRules};
use crate::geodesy::geoid;
use crate::geodesy::height_frame::GeoidFrames;
use crate::job::{Bases, Checks};
use crate::units::Units;

/// What the settling of bases needs from the job.
pub struct BaseSettings<'j> {
    /// The `[bases]` table.
    pub bases: &'j Bases,
    /// The `[known]` table.
    pub known: Option<&'j Bases>,
    /// The `[checks]` table.
    pub checks: &'j Checks,
    /// The CRS of the layers.
    pub output: &'j Crs,
    /// The CRS that grid azimuths mean, where the job names one.
    pub grid: Option<&'j Crs>,
    /// What may be used between datums.
    pub rules: OperationRules,
    /// The geoids.
    pub geoid: &'j geoid::Geoids,
    /// The frames that they belong to.
    pub geoid_frames: &'j GeoidFrames,
    /// Whether bases may lie far outside the area of their CRS.
    pub allow_outside_area: bool,
    /// The units of what is said.
    pub units: Units,
}
