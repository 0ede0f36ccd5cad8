//! A stand, a shot from it, and the point that the shot gives.

use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{BaseErrors, Origin, Shares};
use crate::measure::RoleShot;
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};

/// Where the instrument stands: a point on the ground with its covariance.
#[derive(Debug, Clone)]
pub struct Stand {
    pub(super) at: Geodetic,
    covariance: Covariance,
    ellipsoid: Ellipsoid,
    sigma_orientation_rad: f64,
    instrument_height_m: f64,
}

impl Stand {
    /// A stand on the ellipsoid of WGS 84, the instrument's axis at its point and azimuths that share no error. `covariance` is that of
    /// east, north and up in square metres.
    pub fn new(at: Geodetic, covariance: Covariance) -> Stand {
        Stand { at, covariance, ellipsoid: Ellipsoid::WGS84, sigma_orientation_rad: 0.0, instrument_height_m: 0.0 }
    }

    /// On another ellipsoid.
    #[must_use]
    pub fn on(self, ellipsoid: Ellipsoid) -> Stand {
        Stand { ellipsoid, ..self }
    }

    /// With the height of the instrument's axis over the ground point in metres.
    #[must_use]
    pub fn with_instrument_height_m(self, instrument_height_m: f64) -> Stand {
        Stand { instrument_height_m, ..self }
    }

    /// With the standard error in radians of what all its azimuths are wrong by together: a compass, a declination, a set-up.
    #[must_use]
    pub fn with_sigma_orientation_rad(self, sigma_orientation_rad: f64) -> Stand {
        Stand { sigma_orientation_rad, ..self }
    }

    /// As shots start from it.
    pub(super) fn origin(&self, number: usize) -> Origin {
        Origin {
            label: format!("stand {}", number + 1),
            frame: LocalFrame::at(&self.at, &self.ellipsoid),
            ellipsoid: self.ellipsoid,
            errors: BaseErrors::from_covariance(number, &self.covariance, self.sigma_orientation_rad),
            earth_radius_m: self.ellipsoid.mean_radius_m(self.at.lat_rad),
        }
    }

    fn check(&self) -> Result<(), ShotError> {
        let Covariance { ee, nn, uu, .. } = self.covariance;
        finite("latitude", self.at.lat_rad)?;
        finite("longitude", self.at.lon_rad)?;
        finite("height", self.at.ellipsoid_height_m)?;
        finite("instrument height", self.instrument_height_m)?;
        [("variance of east", ee), ("variance of north", nn), ("variance of up", uu)]
            .into_iter()
            .chain([("standard error of the orientation", self.sigma_orientation_rad)])
            .try_for_each(|(what, value)| not_negative(what, value))
    }
}

/// A distance that was measured, in metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distance {
    /// Along the sight.
    Slope(f64),
    /// In the horizon of the stand.
    Horizontal(f64),
}

/// One shot: what was read of it, corrections included. What was not read is left out.
///
/// ```
/// use standoff::{Covariance, Geodetic, Shot, Stand};
///
/// let stand = Stand::new(
///     Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 },
///     Covariance::from_sigmas(0.02, 0.03),
/// );
/// // Due east, 3 in height on 4 in the horizon: a triangle of 3, 4 and 5.
/// let shot = Shot::full(90f64.to_radians(), 3f64.atan2(4.0), 5.0).without_refraction();
/// let point = shot.point(&stand)?;
/// assert!((point.east_m - 4.0).abs() < 1e-12 && point.north_m.abs() < 1e-12);
/// assert!(point.up_m.is_some_and(|up_m| (up_m - 3.0).abs() < 1e-12));
/// // The base's 0.02 m in east, and what the readings add.
/// assert!(point.covariance.ee > 0.02f64.powi(2));
/// # Ok::<(), standoff::ShotError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shot {
    /// Azimuth from true north, clockwise, declination and corrections included, in radians.
    pub true_azimuth_rad: Option<f64>,
    /// Inclination, up positive, in radians.
    pub inclination_rad: Option<f64>,
    /// Distance.
    pub distance: Option<Distance>,
    /// Standard error of the azimuth reading alone, in radians.
    pub sigma_azimuth_rad: f64,
    /// Standard error of the inclination reading alone, in radians.
    pub sigma_inclination_rad: f64,
    /// Standard error of the distance in metres.
    pub sigma_distance_m: f64,
    /// Height of the sighted spot over the ground point of what was sighted, in metres.
    pub target_height_m: f64,
    /// Coefficient of refraction k, the ratio of the earth's radius to that of the line of sight.
    pub refraction: f64,
}

/// Where a shot leads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// The position; its height is the stand's where nothing vertical was measured.
    pub at: Geodetic,
    /// East of the stand's ground point in metres.
    pub east_m: f64,
    /// North of it in metres.
    pub north_m: f64,
    /// Up from it in metres; none where nothing vertical was measured.
    pub up_m: Option<f64>,
    /// Covariance of east, north and up at the stand in square metres, the stand's own included.
    pub covariance: Covariance,
}

/// A shot that gives no point.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ShotError {
    /// A value is no number.
    #[error("the {what} is no finite number")]
    NotFinite {
        /// What it is.
        what: &'static str,
    },
    /// A value lies beyond what it can be.
    #[error("the {what} is {value}; {limits}")]
    OutOfRange {
        /// What it is.
        what: &'static str,
        /// Its value, in metres or radians.
        value: f64,
        /// What it can be.
        limits: &'static str,
    },
    /// A reading is needed that the shot does not have.
    #[error("the shot has no {what}")]
    Lacks {
        /// What is missing.
        what: &'static str,
    },
}

fn finite(what: &'static str, value: f64) -> Result<(), ShotError> {
    if value.is_finite() { Ok(()) } else { Err(ShotError::NotFinite { what }) }
}

fn not_negative(what: &'static str, value: f64) -> Result<(), ShotError> {
    finite(what, value)?;
    if value >= 0.0 { Ok(()) } else { Err(ShotError::OutOfRange { what, value, limits: "it must be 0 or more" }) }
}

impl Shot {
    /// A shot of which nothing is read yet, by a hand-held rangefinder: the standard errors that a job assumes where it names none (1° in azimuth,
    /// 0.25° in inclination, 0.3 m: common practice, no source), refraction 0.13.
    pub fn unread() -> Shot {
        use crate::records::kit::{ASSUMED_SIGMA_AZIMUTH_DEG, ASSUMED_SIGMA_DISTANCE_M, ASSUMED_SIGMA_INCLINATION_DEG};
        Shot {
            true_azimuth_rad: None,
            inclination_rad: None,
            distance: None,
            sigma_azimuth_rad: ASSUMED_SIGMA_AZIMUTH_DEG.to_radians(),
            sigma_inclination_rad: ASSUMED_SIGMA_INCLINATION_DEG.to_radians(),
            sigma_distance_m: ASSUMED_SIGMA_DISTANCE_M,
            target_height_m: 0.0,
            refraction: crate::geodesy::REFRACTION,
        }
    }

    /// A full shot: azimuth, inclination, slope distance.
    pub fn full(true_azimuth_rad: f64, inclination_rad: f64, slope_m: f64) -> Shot {
        Shot { distance: Some(Distance::Slope(slope_m)), ..Shot::direction(true_azimuth_rad, inclination_rad) }
    }

    /// Azimuth and inclination alone.
    pub fn direction(true_azimuth_rad: f64, inclination_rad: f64) -> Shot {
        Shot { true_azimuth_rad: Some(true_azimuth_rad), ..Shot::inclined(inclination_rad) }
    }

    /// An inclination alone.
    pub fn inclined(inclination_rad: f64) -> Shot {
        Shot { inclination_rad: Some(inclination_rad), ..Shot::unread() }
    }

    /// An azimuth alone.
    pub fn bearing(true_azimuth_rad: f64) -> Shot {
        Shot { true_azimuth_rad: Some(true_azimuth_rad), ..Shot::unread() }
    }

    /// With a distance.
    #[must_use]
    pub fn with_distance(self, distance: Distance) -> Shot {
        Shot { distance: Some(distance), ..self }
    }

    /// With standard errors of azimuth and inclination in radians, and of the distance in metres.
    #[must_use]
    pub fn with_sigmas(self, sigma_azimuth_rad: f64, sigma_inclination_rad: f64, sigma_distance_m: f64) -> Shot {
        Shot { sigma_azimuth_rad, sigma_inclination_rad, sigma_distance_m, ..self }
    }

    /// Along straight sights, as over short distances or where refraction is taken off already.
    #[must_use]
    pub fn without_refraction(self) -> Shot {
        Shot { refraction: 0.0, ..self }
    }

    /// The point that a shot with azimuth and distance gives: e = S cos I sin A, n = S cos I cos A, u = S sin I + instrument height −
    /// target height, with the exact Jacobian of these (C. D. Ghilani, "Elementary Surveying", ch. 8 and 15), taken to the ellipsoid without plane
    /// shortcuts.
    ///
    /// # Errors
    /// When the azimuth or the distance is missing, a slope distance has no inclination, or a value is none.
    pub fn point(&self, stand: &Stand) -> Result<Point, ShotError> {
        self.check(stand)?;
        self.true_azimuth_rad.ok_or(ShotError::Lacks { what: "azimuth" })?;
        let what = if self.distance.is_none() { "distance" } else { "inclination, which a slope distance needs" };
        let vector = self.vector(stand).ok_or(ShotError::Lacks { what })?;
        let origin = stand.origin(0);
        let Vector { east_m, north_m, up_m, .. } = vector;
        let mut at = Geodetic::from_earth_centred(vector.located(&origin).at, &origin.ellipsoid);
        if up_m.is_none() {
            at.ellipsoid_height_m = stand.at.ellipsoid_height_m;
        }
        Ok(Point { at, east_m, north_m, up_m, covariance: vector.covariance(&origin) })
    }

    fn check(&self, stand: &Stand) -> Result<(), ShotError> {
        stand.check()?;
        self.true_azimuth_rad.map_or(Ok(()), |azimuth| finite("azimuth", azimuth))?;
        if let Some(inclination) = self.inclination_rad {
            finite("inclination", inclination)?;
            if inclination.abs() > std::f64::consts::FRAC_PI_2 {
                return Err(ShotError::OutOfRange {
                    what: "inclination",
                    value: inclination,
                    limits: "it lies within a quarter turn of the horizon",
                });
            }
        }
        if let Some(Distance::Slope(metres) | Distance::Horizontal(metres)) = self.distance {
            finite("distance", metres)?;
            if metres <= 0.0 {
                return Err(ShotError::OutOfRange { what: "distance", value: metres, limits: "it must be above 0" });
            }
        }
        finite("target height", self.target_height_m)?;
        finite("coefficient of refraction", self.refraction)?;
        not_negative("standard error of the azimuth", self.sigma_azimuth_rad)?;
        not_negative("standard error of the inclination", self.sigma_inclination_rad)?;
        not_negative("standard error of the distance", self.sigma_distance_m)
    }

    fn triangle(&self) -> Option<Triangle> {
        Some(match (self.distance?, self.inclination_rad) {
            (Distance::Slope(slope_m), Some(inclination_rad)) => Triangle::Slope { slope_m, inclination_rad },
            (Distance::Slope(_), None) => return None,
            (Distance::Horizontal(horizontal_m), Some(inclination_rad)) => Triangle::Horizontal { horizontal_m, inclination_rad },
            (Distance::Horizontal(horizontal_m), None) => Triangle::Level { horizontal_m },
        })
    }

    fn vector(&self, stand: &Stand) -> Option<Vector> {
        let sight = Sight {
            true_azimuth_rad: self.true_azimuth_rad?,
            triangle: self.triangle()?,
            instrument_height_m: stand.instrument_height_m,
            target_height_m: self.target_height_m,
            refraction: self.refraction,
        };
        let sigmas = SightSigmas {
            azimuth_rad: self.sigma_azimuth_rad,
            inclination_rad: self.sigma_inclination_rad,
            distance_m: self.sigma_distance_m,
        };
        Some(reduce(&sight, &sigmas, stand.ellipsoid.mean_radius_m(stand.at.lat_rad)))
    }

    /// As a measurement takes it, with its role, from a stand by index.
    pub(super) fn with_role(&self, stand: &Stand, base: usize, role: &str, number: usize) -> Result<RoleShot, ShotError> {
        self.check(stand)?;
        let (slope_m, horizontal_m) = match self.distance {
            Some(Distance::Slope(metres)) => (Some(metres), None),
            Some(Distance::Horizontal(metres)) => (None, Some(metres)),
            None => (None, None),
        };
        Ok(RoleShot {
            role: role.to_owned(),
            label: format!("shot {}", number + 1),
            shot: None,
            place: (0, number as u64 + 1),
            base,
            instant: None,
            true_azimuth_rad: self.true_azimuth_rad,
            inclination_rad: self.inclination_rad,
            slope_m,
            horizontal_m,
            sigma_azimuth_rad: self.sigma_azimuth_rad,
            sigma_inclination_rad: self.sigma_inclination_rad,
            sigma_distance_m: self.sigma_distance_m,
            shares: Shares::default(),
            instrument_height_m: Some(stand.instrument_height_m),
            target_height_m: self.target_height_m,
            refraction: self.refraction,
            vector: self.vector(stand),
        })
    }
}
