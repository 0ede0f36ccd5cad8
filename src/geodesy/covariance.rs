//! Covariances of east, north and up, and what people read from them: standard errors, the 95 %
//! error ellipse, the 95 % radius and the 95 % height interval.

use std::f64::consts::PI;
use std::ops::{Add, AddAssign};

/// √χ²(0.95; 2): standard errors of an ellipse's axis that make it a 95 % ellipse.
pub const ELLIPSE95: f64 = 2.447_746_830_680_816;

/// Φ⁻¹(0.975): standard errors to each side that make a 95 % interval.
pub const INTERVAL95: f64 = 1.959_963_984_540_054;

/// A symmetric covariance of (east, north, up), in square metres.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Covariance {
    /// Variance of east.
    pub ee: f64,
    /// Covariance of east and north.
    pub en: f64,
    /// Covariance of east and up.
    pub eu: f64,
    /// Variance of north.
    pub nn: f64,
    /// Covariance of north and up.
    pub nu: f64,
    /// Variance of up.
    pub uu: f64,
}

/// A horizontal error ellipse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// Semi-major axis in metres.
    pub major_m: f64,
    /// Semi-minor axis in metres.
    pub minor_m: f64,
    /// Azimuth of the major axis from true north in radians, 0 ≤ azimuth < π.
    pub azimuth_rad: f64,
}

impl Covariance {
    /// Of what is not told.
    pub const UNKNOWN: Covariance =
        Covariance { ee: f64::NAN, en: f64::NAN, eu: f64::NAN, nn: f64::NAN, nu: f64::NAN, uu: f64::NAN };

    /// Independent axes, with one standard error for east and north, in metres.
    pub fn from_sigmas(sigma_horizontal_m: f64, sigma_up_m: f64) -> Covariance {
        let horizontal = sigma_horizontal_m * sigma_horizontal_m;
        Covariance { ee: horizontal, nn: horizontal, uu: sigma_up_m * sigma_up_m, ..Covariance::default() }
    }

    /// The covariance of one error that moves the point by `arm` metres (east, north, up) per
    /// standard error.
    pub fn from_arm([e, n, u]: [f64; 3]) -> Covariance {
        Covariance { ee: e * e, en: e * n, eu: e * u, nn: n * n, nu: n * u, uu: u * u }
    }

    /// p aᵀ + a pᵀ: what two arms add where the errors that move them have the correlation 1.
    pub fn from_arms(p: [f64; 3], a: [f64; 3]) -> Covariance {
        let at = |i: usize, j: usize| p[i] * a[j] + a[i] * p[j];
        Covariance { ee: at(0, 0), en: at(0, 1), eu: at(0, 2), nn: at(1, 1), nu: at(1, 2), uu: at(2, 2) }
    }

    /// A covariance less a part of it.
    #[must_use]
    pub fn less(&self, part: &Covariance) -> Covariance {
        Covariance {
            ee: self.ee - part.ee,
            en: self.en - part.en,
            eu: self.eu - part.eu,
            nn: self.nn - part.nn,
            nu: self.nu - part.nu,
            uu: self.uu - part.uu,
        }
    }

    /// Sum of the variances of east and north, in square metres.
    pub fn horizontal_variance(&self) -> f64 {
        self.ee + self.nn
    }

    /// The 95 % error ellipse: eigenvalues and the major axis of the horizontal part.
    pub fn ellipse95(&self) -> Ellipse {
        let mean = 0.5 * (self.ee + self.nn);
        let half = 0.5 * (self.nn - self.ee);
        // Squares of variances are far from the ends of what a number holds.
        let root = (half * half + self.en * self.en).sqrt();
        // The angle from north towards east of the direction of greatest variance.
        let azimuth = 0.5 * self.en.atan2(half);
        let azimuth = if azimuth < 0.0 { azimuth + PI } else { azimuth };
        Ellipse {
            major_m: ELLIPSE95 * (mean + root).sqrt(),
            minor_m: ELLIPSE95 * (mean - root).max(0.0).sqrt(),
            azimuth_rad: if azimuth >= PI { 0.0 } else { azimuth },
        }
    }

    /// As [`Ellipse::radius95_m`].
    pub fn radius95_m(&self) -> f64 {
        self.ellipse95().radius95_m()
    }
}

impl Ellipse {
    /// Radius in metres of the circle about the point that holds it with 95 % probability.
    ///
    /// Cubic in the ratio of the axes, after C. Leenhouts, "On the computation of bi-normal radial
    /// error", Navigation 32 (1985). That its coefficients do is shown by a test, which holds them to the integral of
    /// the bivariate normal density within 0.3 %.
    pub fn radius95_m(&self) -> f64 {
        if self.major_m <= 0.0 {
            return 0.0;
        }
        let c = self.minor_m / self.major_m;
        self.major_m / ELLIPSE95 * (1.960_790 + c * (0.004_071 + c * (0.114_276 + c * 0.371_625)))
    }
}

impl Add for Covariance {
    type Output = Covariance;

    fn add(self, other: Covariance) -> Covariance {
        Covariance {
            ee: self.ee + other.ee,
            en: self.en + other.en,
            eu: self.eu + other.eu,
            nn: self.nn + other.nn,
            nu: self.nu + other.nu,
            uu: self.uu + other.uu,
        }
    }
}

impl AddAssign for Covariance {
    fn add_assign(&mut self, other: Covariance) {
        *self = *self + other;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Probability inside a circle of radius r for axes 1 and c, by integration over the angle:
    /// P = 1/(2πc) ∫ (1 − exp(−r² q/2)) / q dθ, with q = cos²θ + sin²θ/c².
    fn probability_inside(r: f64, c: f64) -> f64 {
        let steps = 200_000;
        let sum: f64 = (0..steps)
            .map(|i| {
                let theta = (i as f64 + 0.5) * 2.0 * PI / steps as f64;
                let q = theta.cos().powi(2) + (theta.sin() / c).powi(2);
                (1.0 - (-0.5 * r * r * q).exp()) / q
            })
            .sum();
        sum * 2.0 * PI / steps as f64 / (2.0 * PI * c)
    }

    #[test]
    fn the_95_percent_radius_against_the_integral() {
        for c in [0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0] {
            let covariance = Covariance { ee: 1.0, nn: c * c, ..Default::default() };
            let r = covariance.radius95_m();
            let (low, high) = (probability_inside(r * 0.997, c), probability_inside(r * 1.003, c));
            assert!(low < 0.95 && 0.95 < high, "ratio {c}: {low} to {high}");
        }
    }

    #[test]
    fn less_takes_off_what_was_added() {
        let part = Covariance { ee: 2.0, en: -0.5, eu: 0.25, nn: 3.0, nu: 0.75, uu: 4.0 };
        let rest = Covariance { ee: 7.0, en: 1.5, eu: -1.25, nn: 8.0, nu: -2.75, uu: 9.0 };
        assert_eq!((rest + part).less(&part), rest);
    }

    #[test]
    fn the_major_axis_of_an_error_across_the_sight() {
        // A sight to azimuth 60° with a wrong azimuth moves the point along 150°.
        let across = Covariance::from_arm([(150f64).to_radians().sin(), (150f64).to_radians().cos(), 0.0]);
        let ellipse = across.ellipse95();
        assert!((ellipse.azimuth_rad.to_degrees() - 150.0).abs() < 1e-9, "{ellipse:?}");
        assert!((ellipse.major_m - ELLIPSE95).abs() < 1e-12);
        assert!(ellipse.minor_m < 1e-7);
    }

    proptest! {
        #[test]
        fn turning_the_errors_turns_the_ellipse(a in 0.1f64..5.0, ratio in 0.05f64..0.9, azimuth in 0.0f64..PI) {
            let (s, c) = azimuth.sin_cos();
            let b = a * ratio;
            let covariance = Covariance::from_arm([a * s, a * c, 0.0]) + Covariance::from_arm([b * c, -b * s, 0.0]);
            let ellipse = covariance.ellipse95();
            prop_assert!((ellipse.major_m - ELLIPSE95 * a).abs() < 1e-9);
            prop_assert!((ellipse.minor_m - ELLIPSE95 * b).abs() < 1e-7);
            let apart = (ellipse.azimuth_rad - azimuth).rem_euclid(PI);
            prop_assert!(apart.min(PI - apart) < 1e-6);
        }
    }
}
