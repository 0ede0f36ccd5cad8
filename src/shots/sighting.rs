//! A shot on its base: north settled, heights settled, ready for every way that it may go.

use super::centre::to_centre;
use super::north::{Turn, Unoriented};
use super::reduce::{Sight, SightSigmas, Vector, reduce_with_vertical};
use crate::geodesy::frame::full_circle_rad;
use crate::geodesy::register::Shares;
use crate::records::kit::Kit;
use crate::records::ledger::{Fault, Flags, Reason};
use crate::records::shot::{Readings, ShotRecord};
use crate::records::triangle::Triangle;
use crate::stations::base::{Base, HeightKind};

/// A true azimuth and what is known of it.
#[derive(Debug, Clone, Copy)]
pub struct TrueAzimuth {
    /// Clockwise from true north, 0 ≤ azimuth < 2π.
    pub azimuth_rad: f64,
    /// The declination in it; NaN for true and grid azimuths.
    pub declination_rad: f64,
    /// The error of that declination: which entry, and its standard error; 0 without one.
    pub declination_error: (u32, f64),
}

impl TrueAzimuth {
    /// Of a reading of a base whose orientation is not known yet, without standard errors.
    pub fn without_orientation(reading_rad: f64, north: &Unoriented) -> TrueAzimuth {
        let Unoriented { turn_rad, declination_rad, .. } = *north;
        TrueAzimuth::new(reading_rad, &Turn { turn_rad, declination_rad, declination_error: (0, 0.0) })
    }

    /// Of a reading that is turned.
    pub fn new(reading_rad: f64, turn: &Turn) -> TrueAzimuth {
        TrueAzimuth {
            azimuth_rad: full_circle_rad(reading_rad + turn.turn_rad),
            declination_rad: turn.declination_rad,
            declination_error: turn.declination_error,
        }
    }
}

/// A record on its base.
#[derive(Clone)]
pub struct Sighting<'t> {
    /// What the log has.
    pub record: ShotRecord<'t>,
    /// Index of its base.
    pub base: usize,
    /// True azimuth; none where the record has no azimuth.
    pub azimuth: Option<TrueAzimuth>,
    /// Height of the instrument's axis over the base's ground point in metres: of the row, else of the base, else of the job.
    pub instrument_height_m: Option<f64>,
    /// Suspicions so far.
    pub flags: Flags,
}

impl Sighting<'_> {
    /// Instrument height less target height in metres; where nothing vertical comes of a shot, heights are not needed and count
    /// as 0.
    ///
    /// # Errors
    /// Where one of them is needed and not known.
    pub fn heights_m(&self, base: &Base) -> Result<(f64, f64), Fault> {
        let is_flat = is_flat(self.record.readings(), base);
        let instrument_height_m = self.instrument_height_m.or(is_flat.then_some(0.0)).ok_or_else(|| {
            let say = "the instrument height is not known; write it in the row, or instrument_height_m under [heights] (0 where the \
                       base's height is that of the instrument's axis)";
            Fault::new(Reason::NoInstrumentHeight, "", "", say)
        })?;
        let target_height_m = self.record.readings().target_height_m.or(is_flat.then_some(0.0)).ok_or_else(|| {
            let say = "the target height is not known; write it in the row, or target_height_m under [heights] (0 where heights are to be \
                       those of the sighted spot)";
            Fault::new(Reason::NoTargetHeight, "", "", say)
        })?;
        Ok((instrument_height_m, target_height_m))
    }

    /// What its readings share with others beside its base.
    pub fn shares(&self) -> Shares {
        let (declination, declination_rad) = self.azimuth.map_or((0, 0.0), |azimuth| azimuth.declination_error);
        Shares { declination, declination_rad, ..self.record.read.kit.shares() }
    }

    /// The vector to the feature, and instrument height less target height in metres; none of a row that is no full shot.
    ///
    /// # Errors
    /// As [`Sighting::heights_m`].
    pub fn reduced(&self, base: &Base) -> Result<Option<(Vector, f64)>, Fault> {
        let (Some(azimuth), Some(triangle)) = (self.azimuth, self.record.readings().triangle()) else { return Ok(None) };
        let (instrument_height_m, target_height_m) = self.heights_m(base)?;
        let kit = &self.record.read.kit;
        let sight = Sight {
            true_azimuth_rad: azimuth.azimuth_rad,
            triangle,
            instrument_height_m,
            target_height_m,
            refraction: kit.refraction,
        };
        let sigmas = sigmas(kit, triangle.distance_m());
        let sigma_vertical_m = kit.sigma_distance_m(triangle.vertical_m().unwrap_or(0.0));
        let reduced = reduce_with_vertical(&sight, &sigmas, sigma_vertical_m, base.earth_radius_m);
        let vector = Vector { shares: self.shares(), ..reduced };
        let vector = match self.record.readings().face_diameter_m {
            Some((diameter_m, sigma_m)) => to_centre(&vector, diameter_m / 2.0, sigma_m / 2.0),
            None => vector,
        };
        Ok(Some((vector, instrument_height_m - target_height_m)))
    }
}

/// The standard errors of a sighting's readings over a distance.
pub fn sigmas(kit: &Kit, distance_m: f64) -> SightSigmas {
    SightSigmas {
        azimuth_rad: kit.sigma_azimuth_rad,
        inclination_rad: kit.sigma_inclination_rad,
        distance_m: kit.sigma_distance_m(distance_m),
    }
}

/// Whether nothing vertical comes of a shot.
fn is_flat(readings: &Readings, base: &Base) -> bool {
    matches!(readings.triangle(), Some(Triangle::Level { .. })) || base.heights.kind == HeightKind::None
}
