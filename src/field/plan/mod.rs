//! Planning: what an instrument and a receiver can be expected to give, before anyone is in the field.
//!
//! A planned sighting goes through [`crate::shots::reduce`] and [`Covariance`] as a measured one does, so
//! that a plan and the layers of a run agree. [`errors`] settles the standard errors, [`PlannedSight`] gives
//! the expected uncertainty at a distance and inclination and the farthest standoff within a
//! tolerance, [`dominance`] tells which part is the largest and from where, [`height`] plans a height
//! measurement; [`report`] puts them together, [`sheet`] and [`chart`] show them.
//!
//! Standoffs and distances are slope distances, except where they are called horizontal. First order:
//! an azimuth's standard error of many degrees is beyond it.

pub mod chart;
pub mod dominance;
pub mod errors;
pub mod height;
pub mod page;
pub mod report;
pub mod sheet;

use serde::Serialize;

use crate::geodesy::covariance::{Covariance, INTERVAL95};
use crate::records::kit::Kit;
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas, reduce};

/// The longest standoff that is looked at, in metres.
pub const REACH_M: f64 = 10_000.0;

/// Halvings of an interval no longer than [`REACH_M`]: more leave no bit of a double to change.
const HALVINGS: usize = 64;

/// What an uncertainty is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Axis {
    /// The position: the 95 % radius.
    Horizontal,
    /// The height: half of the 95 % interval.
    Vertical,
}

impl Axis {
    /// Both.
    pub const ALL: [Axis; 2] = [Axis::Horizontal, Axis::Vertical];

    /// The word for people.
    pub fn word(self) -> &'static str {
        match self {
            Axis::Horizontal => "horizontal",
            Axis::Vertical => "vertical",
        }
    }

    /// The variance of a covariance along this axis, in square metres; east and north together.
    pub fn variance(self, covariance: &Covariance) -> f64 {
        match self {
            Axis::Horizontal => covariance.horizontal_variance(),
            Axis::Vertical => covariance.uu,
        }
    }

    /// The 95 % radius, or half of the 95 % interval of the height, in metres.
    pub fn uncertainty95_m(self, covariance: &Covariance) -> f64 {
        match self {
            Axis::Horizontal => covariance.radius95_m(),
            Axis::Vertical => INTERVAL95 * covariance.uu.sqrt(),
        }
    }
}

/// An instrument over a base, ready to plan with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedSight {
    /// The instrument.
    pub kit: Kit,
    /// Standard error of the orientation that all shots of the base share, in radians.
    pub sigma_orientation_rad: f64,
    /// Covariance of the base.
    pub base: Covariance,
    /// Mean radius of the earth in metres, for refraction.
    pub earth_radius_m: f64,
}

/// The expected covariance of a sighting to north, by where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// From the base.
    pub base: Covariance,
    /// From the azimuth reading.
    pub azimuth: Covariance,
    /// From the orientation that the shots of the base share.
    pub orientation: Covariance,
    /// From the inclination reading.
    pub inclination: Covariance,
    /// From the distance.
    pub distance: Covariance,
}

impl Expected {
    /// Azimuth, orientation and inclination together.
    pub fn direction(&self) -> Covariance {
        self.azimuth + self.inclination + self.orientation
    }

    /// The whole.
    pub fn covariance(&self) -> Covariance {
        self.base + self.direction() + self.distance
    }

    /// Shares of base, direction and distance in the variance along an axis; zeros where it is zero.
    pub fn shares(&self, axis: Axis) -> [f64; 3] {
        let whole = axis.variance(&self.covariance());
        let share = |part: &Covariance| if whole > 0.0 { axis.variance(part) / whole } else { 0.0 };
        [share(&self.base), share(&self.direction()), share(&self.distance)]
    }
}

/// The farthest standoff within a tolerance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Farthest {
    /// A slope distance in metres.
    At(f64),
    /// Everything up to [`REACH_M`] is within the tolerance.
    Beyond,
    /// Nothing is, not even a distance of zero.
    Never {
        /// The 95 % uncertainty of the base alone, in metres.
        base95_m: f64,
        /// The 95 % uncertainty at a distance of zero, in metres.
        least95_m: f64,
    },
}

impl PlannedSight {
    /// The expected covariance of a sighting. `slope_m` ≥ 0; `inclination_rad` within ±π/2.
    pub fn sighting(&self, slope_m: f64, inclination_rad: f64) -> Expected {
        // Turning the azimuth turns the covariance and changes nothing that is read from it here.
        let sight = Sight {
            true_azimuth_rad: 0.0,
            triangle: Triangle::Slope { slope_m, inclination_rad },
            instrument_height_m: 0.0,
            target_height_m: 0.0,
            refraction: self.kit.refraction,
        };
        let azimuth_alone = SightSigmas {
            azimuth_rad: self.kit.sigma_azimuth_rad,
            inclination_rad: 0.0,
            distance_m: self.kit.sigma_distance_m(slope_m),
        };
        let inclination_alone =
            SightSigmas { azimuth_rad: 0.0, inclination_rad: self.kit.sigma_inclination_rad, ..azimuth_alone };
        let vector = reduce(&sight, &azimuth_alone, self.earth_radius_m);
        Expected {
            base: self.base,
            azimuth: vector.direction,
            orientation: Covariance::from_arm(vector.by_azimuth_m().map(|metres| metres * self.sigma_orientation_rad)),
            inclination: reduce(&sight, &inclination_alone, self.earth_radius_m).direction,
            distance: vector.distance,
        }
    }

    /// The expected 95 % uncertainty along an axis, in metres.
    pub fn uncertainty95_m(&self, axis: Axis, slope_m: f64, inclination_rad: f64) -> f64 {
        axis.uncertainty95_m(&self.sighting(slope_m, inclination_rad).covariance())
    }

    /// The farthest standoff at an inclination whose 95 % uncertainty is within a tolerance. The
    /// uncertainty grows with distance, so that halving finds it.
    pub fn farthest(&self, axis: Axis, inclination_rad: f64, tolerance_m: f64) -> Farthest {
        let within = |slope_m: f64| self.uncertainty95_m(axis, slope_m, inclination_rad) <= tolerance_m;
        if within(REACH_M) {
            return Farthest::Beyond;
        }
        if !within(0.0) {
            return Farthest::Never {
                base95_m: axis.uncertainty95_m(&self.base),
                least95_m: self.uncertainty95_m(axis, 0.0, inclination_rad),
            };
        }
        Farthest::At(edge(0.0, REACH_M, within))
    }
}

/// The last place towards `outside` where `within` still holds, by halving; it holds at `inside`.
fn edge(mut inside: f64, mut outside: f64, within: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..HALVINGS {
        let middle = 0.5 * (inside + outside);
        if within(middle) {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::errors::{PlanErrors, Sigma};
    use super::*;
    use crate::geodesy::covariance::ELLIPSE95;
    use proptest::prelude::*;

    /// Rounding of a few operations on metres.
    const ROUNDING_M: f64 = 1e-9;

    fn only_azimuth(degrees: f64) -> PlannedSight {
        let mut errors = PlanErrors::assumed();
        for sigma in errors.all_mut() {
            *sigma = Sigma::given(0.0);
        }
        errors.sigma_azimuth_deg = Sigma::given(degrees);
        errors.setup()
    }

    #[test]
    fn half_a_degree_of_azimuth_is_0_87_m_at_100_m() {
        let expected = only_azimuth(0.5).sighting(100.0, 0.0);
        // 100 m × 0.5° in radians; the field rule rounds it to 0.87 m.
        assert!((expected.covariance().ee.sqrt() - 0.87).abs() < 0.005, "{expected:?}");
        assert!(expected.covariance().nn < ROUNDING_M);
        assert!((expected.covariance().ellipse95().major_m - ELLIPSE95 * 0.872_664_6).abs() < 1e-6);
        assert_eq!(expected.shares(Axis::Horizontal), [0.0, 1.0, 0.0]);
        // Nothing vertical is in doubt.
        assert_eq!(expected.shares(Axis::Vertical), [0.0; 3]);
    }

    #[test]
    fn a_tolerance_met_everywhere_nowhere_or_in_between() {
        let setup = PlanErrors::assumed().setup();
        // 2.5 m an axis: radius of the base alone 2.5 × 2.4477.
        match setup.farthest(Axis::Horizontal, 0.0, 6.0) {
            Farthest::Never { base95_m, least95_m } => {
                // The radius' cubic is good to 0.3 %.
                assert!((base95_m / (2.5 * ELLIPSE95) - 1.0).abs() < 0.003, "{base95_m}");
                assert!(least95_m > base95_m);
            }
            other => panic!("{other:?}"),
        }
        assert_eq!(setup.farthest(Axis::Horizontal, 0.0, 1e4), Farthest::Beyond);
        // An azimuth alone: 1.9608 σ S = tolerance (one-dimensional, the cubic's constant term).
        match only_azimuth(1.0).farthest(Axis::Horizontal, 0.0, 3.0) {
            Farthest::At(slope_m) => assert!((slope_m - 3.0 / (1.960_790 * 1f64.to_radians())).abs() < 1e-6, "{slope_m}"),
            other => panic!("{other:?}"),
        }
    }

    proptest! {
        #[test]
        fn the_parts_make_the_whole_of_one_reduction(s in 0.0f64..2000.0, i in -89.0f64..89.0) {
            let setup = PlanErrors::assumed().setup();
            let expected = setup.sighting(s, i.to_radians());
            let sight = Sight {
                true_azimuth_rad: 1.0,
                triangle: Triangle::Slope { slope_m: s, inclination_rad: i.to_radians() },
                instrument_height_m: 1.5,
                target_height_m: 0.0,
                refraction: setup.kit.refraction,
            };
            let sigmas = SightSigmas {
                azimuth_rad: setup.kit.sigma_azimuth_rad,
                inclination_rad: setup.kit.sigma_inclination_rad,
                distance_m: setup.kit.sigma_distance_m(s),
            };
            let vector = reduce(&sight, &sigmas, setup.earth_radius_m);
            let turned = Covariance::from_arm(vector.by_azimuth_m().map(|metres| metres * setup.sigma_orientation_rad));
            let whole = setup.base + vector.direction + turned + vector.distance;
            for axis in Axis::ALL {
                let (got, want) = (axis.uncertainty95_m(&expected.covariance()), axis.uncertainty95_m(&whole));
                prop_assert!((got - want).abs() < 1e-6, "{got} {want}");
                let sum: f64 = expected.shares(axis).iter().sum();
                prop_assert!((sum - 1.0).abs() < 1e-12);
            }
        }

        #[test]
        fn the_farthest_standoff_is_where_the_tolerance_ends(tolerance in 6.5f64..40.0, i in -80.0f64..80.0) {
            let setup = PlanErrors::assumed().setup();
            if let Farthest::At(slope_m) = setup.farthest(Axis::Horizontal, i.to_radians(), tolerance) {
                let at = |slope_m| setup.uncertainty95_m(Axis::Horizontal, slope_m, i.to_radians());
                prop_assert!(at(slope_m) <= tolerance && tolerance < at(slope_m + 1e-6), "{slope_m}");
            }
        }
    }
}
