//! What a network is made of: stations, instruments and raw readings, and the settings of an adjustment.
//!
//! Lengths in metres, angles in radians. A station is a base, a remote point or a known point: what it is follows from
//! what is known of it and from the readings that name it.

use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{EarthCentred, Ellipsoid};
use crate::job::{Reject, Robust};
use crate::units::Units;

/// Stations and the readings between them.
#[derive(Debug, Clone)]
pub struct Network {
    /// The ellipsoid of the datum, whose normals are the verticals of all readings.
    pub ellipsoid: Ellipsoid,
    /// Coefficient of refraction.
    pub refraction: f64,
    /// Bases, remote points and known points.
    pub stations: Vec<Station>,
    /// Instruments with a scale or a constant of their own to be found.
    pub instruments: Vec<Rangefinder>,
    /// Errors that readings share beside the orientations of bases.
    pub shared: Vec<SharedError>,
    /// The raw readings.
    pub observations: Vec<Observation>,
}

/// A base, a remote point or a known point.
#[derive(Debug, Clone)]
pub struct Station {
    /// Name for people.
    pub label: String,
    /// A rough position, where one is known; it is not an observation.
    pub start: Option<EarthCentred>,
    /// A measured or known position: an observation with its full covariance.
    pub control: Option<Control>,
    /// Standard error of the orientation that all azimuths read here share (declination, compass), in radians. The
    /// orientation is an unknown with this prior about 0; 0 leaves it out, infinity leaves it free.
    pub sigma_orientation_rad: f64,
}

/// A position from GNSS, or of a known point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Control {
    /// The position.
    pub position: EarthCentred,
    /// Its covariance in east, north and up at the position. All zero: the point is fixed. An infinite variance of up:
    /// the height is not known, and only east and north are observed.
    pub covariance: Covariance,
}

impl Control {
    /// Whether the point is held fixed.
    pub fn is_fixed(&self) -> bool {
        self.covariance == Covariance::default()
    }

    /// Whether the height is known.
    pub fn has_height(&self) -> bool {
        self.covariance.uu.is_finite()
    }
}

/// A rangefinder whose scale or constant is to be found: reading = (1 + scale) · distance + constant, for slope and
/// horizontal distances.
#[derive(Debug, Clone)]
pub struct Rangefinder {
    /// Name for people.
    pub label: String,
    /// Prior standard error of the scale (a ratio); 0 leaves it out, infinity leaves it free.
    pub sigma_scale: f64,
    /// Prior standard error of the distance constant in metres; 0 leaves it out, infinity leaves it free.
    pub sigma_constant_m: f64,
}

/// An error that readings share, whatever their base: of the declination of a model, of an instrument's correction. What has
/// to be added to the readings that name it is one unknown of each component, with this prior about 0.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedError {
    /// Name for people, with its article: "the declination".
    pub label: String,
    /// Standard error, metres or radians as the readings, above 0 and finite.
    pub sigma: f64,
}

/// What a reading measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// Azimuth from true north, declination applied; the base's orientation error is still in it.
    Azimuth,
    /// Direction of a circle without orientation: the base has one free orientation for all of them.
    Direction,
    /// Inclination, up positive, raised by refraction.
    Inclination,
    /// Slope distance.
    Slope,
    /// Horizontal distance in the base's horizon.
    Horizontal,
    /// Vertical distance that belongs to a horizontal distance, up positive, raised by refraction as
    /// the reduction of shots does: the horizontal distance is held.
    Vertical,
    /// Vertical distance that belongs to a slope distance, up positive, raised by refraction: the slope is held.
    VerticalWithSlope,
    /// Difference of ellipsoidal heights, target minus base.
    HeightDifference,
}

/// Readings whose standard errors are one quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Class {
    /// Azimuths and directions.
    Azimuth,
    /// Inclinations.
    Inclination,
    /// Slope, horizontal and vertical distances.
    Distance,
    /// Height differences.
    Height,
}

impl Class {
    /// Its name in a message.
    pub fn name(self) -> &'static str {
        match self {
            Class::Azimuth => "azimuth",
            Class::Inclination => "inclination",
            Class::Distance => "distance",
            Class::Height => "height difference",
        }
    }
}

impl Kind {
    /// The class whose standard error it shares.
    pub fn class(self) -> Class {
        match self {
            Kind::Azimuth | Kind::Direction => Class::Azimuth,
            Kind::Inclination => Class::Inclination,
            Kind::Slope | Kind::Horizontal | Kind::Vertical | Kind::VerticalWithSlope => Class::Distance,
            Kind::HeightDifference => Class::Height,
        }
    }

    /// Whether it is read in radians.
    pub fn is_angle(self) -> bool {
        matches!(self.class(), Class::Azimuth | Class::Inclination)
    }

    /// Whether it turns with an orientation.
    pub fn is_bearing(self) -> bool {
        matches!(self, Kind::Azimuth | Kind::Direction)
    }

    /// Whether it is a length in the plane or along the sight, to which an instrument's scale and constant apply.
    pub fn is_range(self) -> bool {
        matches!(self, Kind::Slope | Kind::Horizontal)
    }

    /// Whether it tells of the height of one end over the other.
    pub fn is_vertical(self) -> bool {
        matches!(self, Kind::Inclination | Kind::Vertical | Kind::VerticalWithSlope | Kind::HeightDifference)
    }

    /// Its name in a message.
    pub fn name(self) -> &'static str {
        match self {
            Kind::Azimuth => "azimuth",
            Kind::Direction => "direction",
            Kind::Inclination => "inclination",
            Kind::Slope => "slope distance",
            Kind::Horizontal => "horizontal distance",
            Kind::Vertical | Kind::VerticalWithSlope => "vertical distance",
            Kind::HeightDifference => "height difference",
        }
    }
}

/// One raw reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// What it measures.
    pub kind: Kind,
    /// Index of the station where the instrument stands.
    pub from: usize,
    /// Index of the station sighted.
    pub to: usize,
    /// The reading, metres or radians.
    pub value: f64,
    /// Its own standard error, metres or radians, above 0.
    pub sigma: f64,
    /// Height of the instrument's axis over the ground point, in metres.
    pub instrument_height_m: f64,
    /// Height of the sighted spot over the target's ground point, in metres, along the base's vertical.
    pub target_height_m: f64,
    /// Index into the network's instruments, where its scale or constant is to be found.
    pub instrument: Option<usize>,
    /// Indices into the network's shared errors: those that are in the reading.
    pub shared: [Option<usize>; 2],
    /// The caller's mark of the row that it comes from; readings of one shot share it.
    pub source: usize,
}

/// How to adjust and to test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Probability of calling one good reading wrong.
    pub alpha: f64,
    /// Probability with which a blunder of the smallest detectable size is found.
    pub power: f64,
    /// Probability that the global test fails a good network.
    pub alpha_global: f64,
    /// What to do with readings that fail.
    pub reject: Reject,
    /// Robust estimation.
    pub robust: Robust,
    /// Iterations after which a solution is given up.
    pub iterations: usize,
    /// The units of what notes say; values are in metres and radians.
    pub units: Units,
}

impl Default for Settings {
    fn default() -> Settings {
        let crate::job::NetworkSettings { alpha, power, alpha_global, .. } = crate::job::NetworkSettings::default();
        Settings {
            alpha,
            power,
            alpha_global,
            reject: Reject::default(),
            robust: Robust::default(),
            iterations: 50,
            units: Units::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_each_kind_is() {
        use Kind::*;
        // Class, turns with an orientation, takes a scale, tells of heights.
        let table = [
            (Azimuth, "azimuth", Class::Azimuth, [true, false, false]),
            (Direction, "direction", Class::Azimuth, [true, false, false]),
            (Inclination, "inclination", Class::Inclination, [false, false, true]),
            (Slope, "slope distance", Class::Distance, [false, true, false]),
            (Horizontal, "horizontal distance", Class::Distance, [false, true, false]),
            (Vertical, "vertical distance", Class::Distance, [false, false, true]),
            (VerticalWithSlope, "vertical distance", Class::Distance, [false, false, true]),
            (HeightDifference, "height difference", Class::Height, [false, false, true]),
        ];
        for (kind, name, class, is) in table {
            assert_eq!((kind.name(), kind.class()), (name, class));
            assert_eq!([kind.is_bearing(), kind.is_range(), kind.is_vertical()], is, "{kind:?}");
            assert_eq!(kind.is_angle(), matches!(kind, Azimuth | Direction | Inclination), "{kind:?}");
        }
        let names = [Class::Azimuth, Class::Inclination, Class::Distance, Class::Height].map(Class::name);
        assert_eq!(names, ["azimuth", "inclination", "distance", "height difference"]);
    }

    #[test]
    fn a_fixed_position_has_no_variance_at_all() {
        let control = |covariance| Control { position: [0.0; 3], covariance };
        let fixed = control(Covariance::default());
        assert!(fixed.is_fixed() && fixed.has_height());
        let loose = control(Covariance { uu: 1e-12, ..Covariance::default() });
        assert!(!loose.is_fixed() && loose.has_height());
        let flat = control(Covariance { uu: f64::INFINITY, ..Covariance::default() });
        assert!(!flat.is_fixed() && !flat.has_height());
    }
}
