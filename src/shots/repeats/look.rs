//! Shots prepared for comparison: what of each other they see along, across and normal to their sights.
//!
//! Of one base: differences of range, azimuth and inclination, which the base's position and orientation do not enter. What is
//! compared is the place: where the heights of instrument or target differ, the other's place is looked at over the shot's own
//! (its own axis, and a spot as high over the other's ground point as its own was over its feature's).
//! Of two bases: where the other's point lies from this sight, with the whole errors of both but for what both share. Azimuth: an instrument
//! as much off level as its inclination errs turns a sight by tan I times that; steep sights, whose azimuth means little,
//! are so compared fairly.

use super::linear::{Matrix3, Vector3, apply, carried, dot, minus, plus, variance};
use super::middle::half_turn_rad;
use super::sight::{Polar, Triad, own, sighted};
use super::stand::{point, stands};
use super::{Deviation, Mean, Repeat};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::{Arm, Cause, Origin};
use crate::records::echo::Echo;

/// A shot prepared.
#[derive(Debug, Clone)]
pub(super) struct PreparedShot {
    pub(super) base: usize,
    pub(super) echo: Option<Echo>,
    pub(super) has_height: bool,
    /// Instrument height less target height; 0 without height.
    pub(super) rise_m: f64,
    /// As it was sighted.
    pub(super) seen: PlaceSeen,
    /// The vector to the feature's ground point, in the base's axes, and what the shot has alone.
    place: Vector3,
    own: Covariance,
    /// In the frame of the computation: the instrument, the sight's directions (in the plane without height), the point,
    /// and all its errors.
    station: Vector3,
    triad: Triad,
    level: Triad,
    reference: Reference,
}

/// A place as an instrument sees it.
#[derive(Debug, Clone, Copy)]
pub(super) struct PlaceSeen {
    pub(super) polar: Polar,
    /// Own variances of the horizontal distance, the range, the azimuth and the inclination.
    pub(super) horizontal_m2: f64,
    pub(super) range_m2: f64,
    pub(super) azimuth_rad2: f64,
    pub(super) inclination_rad2: f64,
}

impl PlaceSeen {
    /// A vector from the instrument's axis with its own covariance.
    fn from_vector(vector: Vector3, own: &Covariance) -> PlaceSeen {
        let polar = Polar::from_vector(vector);
        let (triad, level) = (polar.triad(), polar.level());
        let normal_m2 = variance(own, triad.normal);
        let sin_i = polar.inclination_rad.sin();
        let across_m2 = variance(own, triad.across) + sin_i * sin_i * normal_m2;
        PlaceSeen {
            polar,
            horizontal_m2: variance(own, level.along),
            range_m2: variance(own, triad.along),
            azimuth_rad2: across_m2 / (polar.horizontal_m * polar.horizontal_m),
            inclination_rad2: normal_m2 / (polar.range_m * polar.range_m),
        }
    }
}

/// A point with all its errors.
#[derive(Debug, Clone)]
pub(super) struct Reference {
    at: Vector3,
    covariance: Covariance,
    /// What it shares with points of other bases; none where there is one base.
    arms: Vec<Arm>,
    has_height: bool,
}

/// The arms that shots of several bases may share, turned to the frame of the computation, in the order of the entries.
fn common(arms: &[Arm], turn: &Matrix3) -> Vec<Arm> {
    let mut common: Vec<Arm> =
        arms.iter().filter(|(id, _)| id.cause() != Cause::Network).map(|(id, arm)| (*id, apply(turn, *arm))).collect();
    common.sort_by_key(|(id, _)| *id);
    common
}

/// What the covariance of a difference lacks against the sum of both covariances.
fn shared(one: &[Arm], other: &[Arm]) -> Covariance {
    let mut sum = Covariance::default();
    for (id, a) in one {
        if let Ok(k) = other.binary_search_by_key(id, |(id, _)| *id) {
            sum += Covariance::from_arms(*a, other[k].1);
        }
    }
    sum
}

type Difference = (Deviation, Deviation, Option<Deviation>);

/// Prepares shots.
pub(super) fn looks(bases: &[Origin], shots: &[Repeat]) -> Vec<PreparedShot> {
    let Some((_, stands)) = stands(bases, shots) else {
        return Vec::new();
    };
    let prepared = shots.iter().filter_map(|shot| {
        let (stand, base) = (stands.get(&shot.base)?, bases.get(shot.base)?);
        let (at, has_height) = point(&stands, shot)?;
        let own = own(shot);
        let seen = PlaceSeen::from_vector(sighted(shot), &own);
        let (triad, level) = (seen.polar.triad(), seen.polar.level());
        let turned = |t: Triad| Triad {
            across: apply(&stand.turn, t.across),
            along: apply(&stand.turn, t.along),
            normal: apply(&stand.turn, t.normal),
        };
        let whole = shot.vector.covariance(base);
        let arms = if stands.len() > 1 { common(&shot.vector.arms(base), &stand.turn) } else { Vec::new() };
        Some(PreparedShot {
            base: shot.base,
            echo: shot.echo,
            has_height,
            rise_m: if has_height { shot.rise_m } else { 0.0 },
            seen,
            place: [shot.vector.east_m, shot.vector.north_m, shot.vector.up_m.unwrap_or(0.0)],
            own,
            station: plus(stand.at, apply(&stand.turn, [0.0, 0.0, if has_height { shot.rise_m } else { 0.0 }])),
            triad: turned(triad),
            level: turned(level),
            reference: Reference { at, covariance: carried(&stand.turn, &whole), arms, has_height },
        })
    });
    prepared.collect()
}

impl PreparedShot {
    /// Its place as the base would see it over another rise, which is the instrument height less the target height.
    pub(super) fn over(&self, rise_m: f64) -> PlaceSeen {
        if !self.has_height || self.rise_m == rise_m {
            return self.seen;
        }
        let [e, n, u] = self.place;
        PlaceSeen::from_vector([e, n, u - rise_m], &self.own)
    }

    /// Whether two shots are of one base and have one rise, so that each sees the other as the other sees it.
    pub(super) fn is_alike(&self, other: &PreparedShot) -> bool {
        self.base == other.base && (self.rise_m == other.rise_m || !(self.has_height && other.has_height))
    }

    /// This shot minus another.
    pub(super) fn difference(&self, other: &PreparedShot) -> Difference {
        if self.base != other.base {
            return self.difference_at(&other.reference);
        }
        let both = self.has_height && other.has_height;
        let (a, b) = (&self.seen, if both { other.over(self.rise_m) } else { other.seen });
        let turned = half_turn_rad(a.polar.azimuth_rad - b.polar.azimuth_rad);
        let across = scaled(turned, b.polar.horizontal_m, a.azimuth_rad2 + b.azimuth_rad2);
        if !both {
            let apart = a.polar.horizontal_m - b.polar.horizontal_m;
            return (Deviation::new(apart, a.horizontal_m2 + b.horizontal_m2), across, None);
        }
        let raised = a.polar.inclination_rad - b.polar.inclination_rad;
        let normal = scaled(raised, b.polar.range_m, a.inclination_rad2 + b.inclination_rad2);
        (Deviation::new(a.polar.range_m - b.polar.range_m, a.range_m2 + b.range_m2), across, Some(normal))
    }

    /// This shot minus a point of other bases.
    pub(super) fn difference_at(&self, other: &Reference) -> Difference {
        let whole = self.has_height && other.has_height;
        let (triad, range_m) =
            if whole { (&self.triad, self.seen.polar.range_m) } else { (&self.level, self.seen.polar.horizontal_m) };
        let to = minus(other.at, self.station);
        let ahead = dot(to, triad.along);
        let (right, above) = (dot(to, triad.across), if whole { dot(to, triad.normal) } else { 0.0 });
        let other_m = ahead.hypot(right).hypot(above).copysign(ahead);
        let both = (self.reference.covariance + other.covariance).less(&shared(&self.reference.arms, &other.arms));
        let PlaceSeen { polar, inclination_rad2, .. } = self.seen;
        let tilt_m2 = inclination_rad2 * (polar.range_m * polar.inclination_rad.sin()).powi(2);
        let across = Deviation::new(-right, variance(&both, triad.across) + tilt_m2);
        let normal = whole.then(|| Deviation::new(-above, variance(&both, triad.normal)));
        (Deviation::new(range_m - other_m, variance(&both, triad.along)), across, normal)
    }
}

/// An angle's difference at a distance. Its standard errors do not depend on the distance.
fn scaled(angle_rad: f64, distance_m: f64, variance_rad2: f64) -> Deviation {
    Deviation::new(angle_rad * distance_m, variance_rad2 * distance_m * distance_m)
}

impl Reference {
    /// A mean, in the frame of the computation that its own shots and others give.
    pub(super) fn from_mean(bases: &[Origin], mean: &Mean, shots: &[Repeat]) -> Option<Reference> {
        let (frame, stands) = stands(bases, shots)?;
        let stand = stands.get(&mean.base)?;
        Some(Reference {
            at: frame.from_earth_centred(mean.at),
            covariance: carried(&stand.turn, &mean.parts.total()),
            arms: common(&mean.arms, &stand.turn),
            has_height: mean.up_m.is_some(),
        })
    }
}
