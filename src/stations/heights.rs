//! Heights of bases: on which ellipsoid a recorded height stands, on which the geoids do, and both heights on the datum of the base.

use std::sync::Arc;

use super::base::{BaseHeights, BaseSettings, Datum, HeightKind};
use super::recorded::{OnDatum, RecordedCrs};
use crate::geodesy::crs::{Crs, CrsError};
use crate::geodesy::frame::Geodetic;
use crate::geodesy::geoid::{self, GeoidSteps, Undulation};
use crate::geodesy::height_frame::HeightFrame;
use crate::job::Bases;
use crate::records::base_row::{BaseRow, Height};
use crate::units::Units;

/// The frames that the job names for heights above the ellipsoid, of `[bases]` and of `[known]`; none for that of the CRS.
pub(super) struct NamedFrames {
    bases: Option<Arc<HeightFrame>>,
    known: Option<Arc<HeightFrame>>,
    /// The units of what is said.
    units: Units,
}

impl NamedFrames {
    pub fn resolve(settings: &BaseSettings) -> Result<NamedFrames, CrsError> {
        let named = |table: Option<&Bases>| {
            let definition = table.and_then(|table| table.ellipsoid_heights_crs.as_deref());
            definition.map(|definition| HeightFrame::from_crs(&Crs::new(definition)?).map(Arc::new)).transpose()
        };
        Ok(NamedFrames { bases: named(Some(settings.bases))?, known: named(settings.known)?, units: settings.units })
    }

    pub fn of_row(&self, row: &BaseRow) -> Option<&HeightFrame> {
        if row.is_known { self.known.as_deref() } else { self.bases.as_deref() }
    }
}

/// A recorded height above an ellipsoid as one above that of the datum, in metres. `near` is the base with the height as recorded.
///
/// # Errors
/// When nothing says above which ellipsoid it is.
pub(super) fn on_datum_m(
    row: &BaseRow,
    near: &Geodetic,
    epoch: Option<f64>,
    (source, on_datum): (&RecordedCrs, &OnDatum),
    datum: &Datum,
    frames: &NamedFrames,
) -> Result<f64, CrsError> {
    let recorded_m = near.ellipsoid_height_m;
    match frames.of_row(row) {
        Some(frame) => Ok(recorded_m + between_m(&datum.frame, frame, near, epoch, true)?),
        None if source.takes_height => Ok(on_datum.height_m),
        // A receiver's separation is counted from WGS 84, and so is the height that it gives back.
        None if source.is_geocentric || matches!(row.height, Some(Height::Orthometric(_))) => Ok(recorded_m),
        None => Err(unsaid_frame(source, near, epoch, &frames.units)?),
    }
}

/// The heights of a base on its datum: the one that was recorded, and the other by the geoid.
pub(super) fn both(height: Option<Height>, ellipsoid_m: Option<f64>, undulation: Option<Undulation>) -> BaseHeights {
    let n = undulation.map(|undulation| undulation.metres);
    match height {
        None => BaseHeights::default(),
        Some(Height::Ellipsoid(_)) => BaseHeights {
            kind: HeightKind::Ellipsoid,
            ellipsoid_m,
            orthometric_m: ellipsoid_m.zip(n).map(|(ellipsoid, n)| ellipsoid - n),
            undulation,
        },
        Some(Height::Orthometric(orthometric)) => BaseHeights {
            kind: HeightKind::Orthometric,
            ellipsoid_m: n.map(|n| orthometric + n),
            orthometric_m: Some(orthometric),
            undulation,
        },
    }
}

/// A receiver takes its own geoid off: with its separation added back a better one can be taken.
pub(super) fn recorded(row: &BaseRow, geoid: &geoid::Geoids) -> Option<Height> {
    match (row.height, row.separation_m) {
        (Some(Height::Orthometric(metres)), Some(separation)) if geoid.has_any() => Some(Height::Ellipsoid(metres + separation)),
        (height, _) => height,
    }
}

/// Height in a frame minus height in another, in metres, at a position in the first. A frame that nothing ties to WGS 84 is taken
/// to agree with it.
fn between_m(
    frame: &HeightFrame,
    other: &HeightFrame,
    at: &Geodetic,
    epoch: Option<f64>,
    is_fine: bool,
) -> Result<f64, CrsError> {
    if frame.crs().same_as(other.crs()) {
        return Ok(0.0);
    }
    let over = |frame: &HeightFrame| {
        frame.over_common_m(at, epoch, is_fine)?.ok_or_else(|| CrsError::NoHeightFrame { crs: frame.crs().label() })
    };
    Ok(over(frame)? - over(other)?)
}

/// What lies between the frames of the geoids and that of a base.
pub(super) fn geoid_steps(
    row: &BaseRow,
    at: &Geodetic,
    epoch: Option<f64>,
    datum: &Datum,
    settings: &BaseSettings,
) -> Result<GeoidSteps, CrsError> {
    let mut steps = GeoidSteps::default();
    if row.height.is_none() {
        return Ok(steps);
    }
    let geoid = settings.geoid;
    let over_common_m = || Ok(datum.frame.over_common_m(at, epoch, false)?.unwrap_or(0.0));
    if let Some(frame) = settings.geoid_frames.grid.as_deref().filter(|_| geoid.grid().is_some()) {
        steps.grid_m = between_m(&datum.frame, frame, at, epoch, true)?;
    }
    if geoid.has_global() {
        steps.global_m = over_common_m()?;
    }
    if row.separation_m.is_some() {
        steps.log_m = match &settings.geoid_frames.separations {
            Some(frame) => between_m(&datum.frame, frame, at, epoch, false)?,
            // A receiver counts its separation from WGS 84; tables of points are taken to be of one frame.
            None if row.occupation.is_some() => over_common_m()?,
            None => 0.0,
        };
    }
    Ok(steps)
}

/// The error that nothing says from which ellipsoid a height on an old datum is counted.
fn unsaid_frame(source: &RecordedCrs, at: &Geodetic, epoch: Option<f64>, units: &Units) -> Result<CrsError, CrsError> {
    let apart_m = match source.own_frame() {
        Some(frame) => frame.over_common_m(at, epoch, false)?,
        None => None,
    };
    let apart = match apart_m {
        Some(apart_m) => {
            let side = if apart_m < 0.0 { "above" } else { "below" };
            format!("lies {} {side} it here", units.length().said(apart_m.abs(), 0))
        }
        None => "is another one".to_owned(),
    };
    Ok(CrsError::UnsaidHeightFrame { crs: source.own.label(), apart })
}
