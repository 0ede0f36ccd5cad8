//! A shot as a located point: its vector from a base, with all that it errs by.
//!
//! The arms of a shot are those of its base's position; each entry of the error of its azimuth times what a radian turns it by, east n and
//! north −e; and one standard error of the corrections of inclination and distance. The share of an entry that moves base and azimuth alike (a
//! backsight's, a network's) is one arm.

use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::{Arm, BySource, CorrelatedPoints, ErrorSource, Located, Origin, add_arm};
use crate::shots::reduce::Vector;

/// The covariance of a shot's point by cause; the sum is that of the point.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CovarianceParts {
    /// From its base's position.
    pub base: Covariance,
    /// From directions: readings, orientation, the correction of inclinations.
    pub direction: Covariance,
    /// From distances: the reading, the correction.
    pub distance: Covariance,
}

impl CovarianceParts {
    /// The covariance of the point.
    pub fn total(&self) -> Covariance {
        self.base + self.direction + self.distance
    }
}

impl Vector {
    /// Covariance of its own readings.
    pub fn own(&self) -> Covariance {
        self.direction + self.distance
    }

    /// The covariance by cause, in closed form. What position and orientation have in common is shared out half and half.
    pub fn parts(&self, origin: &Origin) -> CovarianceParts {
        let (errors, by_azimuth_m) = (&origin.errors, self.by_azimuth_m());
        let scaled = |arm: [f64; 3], sigma: f64| Covariance::from_arm(arm.map(|metres| metres * sigma));
        let half = Covariance::from_arms(errors.azimuth_with_position().map(|both| both / 2.0), by_azimuth_m);
        CovarianceParts {
            base: errors.covariance() + half,
            direction: self.direction
                + scaled(by_azimuth_m, errors.azimuth_rad2(&self.shares).sqrt())
                + scaled(self.by_inclination_m, self.shares.inclination_rad)
                + half,
            distance: self.distance + scaled(self.by_distance_m, self.shares.distance_m),
        }
    }

    /// The covariance of the point.
    pub fn covariance(&self, origin: &Origin) -> Covariance {
        self.parts(origin).total()
    }

    /// The covariance of direction by its readings: azimuth, inclination. An azimuth moves a point across the sight, an inclination in the vertical
    /// plane of it, so that the two are what lies across and the rest.
    pub fn direction_by_reading(&self) -> [Covariance; 2] {
        let square = self.east_m * self.east_m + self.north_m * self.north_m;
        if square == 0.0 {
            return [Covariance::default(), self.direction];
        }
        let (d, [e, n, _]) = (&self.direction, self.by_azimuth_m());
        let rad2 = (d.ee * e * e + 2.0 * d.en * e * n + d.nn * n * n) / (square * square);
        let across = |a: f64, b: f64| a * b * rad2;
        let azimuth = Covariance { ee: across(e, e), en: across(e, n), nn: across(n, n), ..Covariance::default() };
        [azimuth, d.less(&azimuth)]
    }

    /// The variance of the point by source, in closed form.
    pub fn by_source(&self, origin: &Origin) -> BySource {
        let mut made = origin.errors.by_source(self.by_azimuth_m(), &self.shares);
        let [azimuth, inclination] = self.direction_by_reading();
        made.add_covariance(ErrorSource::AzimuthReadings, &azimuth);
        made.add_covariance(ErrorSource::InclinationReadings, &inclination);
        made.add_covariance(ErrorSource::DistanceReadings, &self.distance);
        let scaled = |arm: [f64; 3], sigma: f64| arm.map(|metres| metres * sigma);
        made.add_arm(ErrorSource::InclinationCorrections, scaled(self.by_inclination_m, self.shares.inclination_rad));
        made.add_arm(ErrorSource::DistanceCorrections, scaled(self.by_distance_m, self.shares.distance_m));
        made
    }

    /// The arms of the point, in the axes of its base.
    pub fn arms(&self, origin: &Origin) -> Vec<Arm> {
        let mut arms = origin.errors.arms(self.by_azimuth_m(), &self.shares);
        for ((id, sigma), by) in
            [(self.shares.inclination(), self.by_inclination_m), (self.shares.distance(), self.by_distance_m)]
        {
            if sigma != 0.0 {
                add_arm(&mut arms, id, by.map(|metres| metres * sigma));
            }
        }
        arms
    }

    /// The point with all that it errs by; without a height level with the base.
    pub fn located(&self, origin: &Origin) -> Located {
        let at = origin.frame.to_earth_centred([self.east_m, self.north_m, self.up_m.unwrap_or(0.0)]);
        Located { at, frame: origin.frame, own: self.own(), arms: self.arms(origin) }
    }
}

/// Points of shots: base index and vector of each, all with a height. None without points, or where one has no height.
pub fn correlated(bases: &[Origin], shots: &[(usize, &Vector)]) -> Option<CorrelatedPoints> {
    let (first, _) = shots.first()?;
    let whole = |(base, vector): &(usize, &Vector)| vector.up_m.map(|_| vector.located(&bases[*base]));
    let points = shots.iter().map(whole).collect::<Option<Vec<Located>>>()?;
    let first = &bases[*first];
    CorrelatedPoints::from_located(&points, &first.ellipsoid, first.errors.register())
}
