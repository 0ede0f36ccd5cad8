//! The US national standard for spatial data accuracy (FGDC-STD-007.3-1998): accuracy at 95 % confidence.
//!
//! Horizontal: 1.7308 RMSE_r where RMSE_x = RMSE_y; 2.4477 · ½ (RMSE_x + RMSE_y) where the smaller of the two is 0.6 to 1.0 of
//! the greater. Vertical: 1.9600 RMSE_z. At least 20 check points from an independent source of higher accuracy.
//! 1.7308 and 1.9600 were read in a text that quotes the standard; 2.4477, the range 0.6 to 1.0 and the 20 points are from memory,
//! which is said where they are shown. The standard's own wording could not be read, so no sentence is given in its name. The multipliers are √(χ²(0.95; 2) / 2), √χ²(0.95; 2) and Φ⁻¹(0.975), rounded by the standard.
//! They hold for normal errors without a shift; at a ratio of
//! 0.6 the second form is 6 % less than the radius that holds 95 % (computed). Outside the range no form of the standard applies; the radius of a 95 %
//! circle about axes of unequal size ([`Covariance::radius95_m`]) is given then, and no sentence.

use serde::Serialize;

use crate::geodesy::covariance::Covariance;

/// Check points that the standard asks for.
pub const LEAST_POINTS: usize = 20;
/// RMSE_r to 95 %, equal axes.
const EQUAL: f64 = 1.7308;
/// Mean of RMSE_x and RMSE_y to 95 %, nearly equal axes.
const NEAR: f64 = 2.4477;
/// RMSE_z to 95 %.
const VERTICAL: f64 = 1.9600;
/// Least ratio of the axes for the second form.
const LEAST_RATIO: f64 = 0.6;
/// Relative difference of axes that counts as none: rounding of sums.
const SAME: f64 = 1e-9;

/// Which form gave a horizontal accuracy.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// 1.7308 RMSE_r.
    EqualAxes,
    /// 2.4477 · ½ (RMSE_x + RMSE_y).
    NearlyEqualAxes,
    /// None of the standard: the axes are too unequal. The figure is a 95 % circle all the same, approximate.
    Neither,
}

/// A horizontal accuracy.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Horizontal {
    /// How it was computed.
    pub form: Form,
    /// Smaller over greater of RMSE_x and RMSE_y, 0 to 1; 1 where both are 0.
    pub axes_ratio: f64,
    /// Radius in metres that holds 95 % of the errors.
    pub accuracy95_m: f64,
}

/// The horizontal accuracy of two axes' RMSE, in metres.
pub fn horizontal(rmse_x_m: f64, rmse_y_m: f64) -> Horizontal {
    let (small, great) = (rmse_x_m.min(rmse_y_m), rmse_x_m.max(rmse_y_m));
    let axes_ratio = if great > 0.0 { small / great } else { 1.0 };
    let (form, accuracy95_m) = if great - small <= SAME * great {
        (Form::EqualAxes, EQUAL * rmse_x_m.hypot(rmse_y_m))
    } else if axes_ratio >= LEAST_RATIO {
        (Form::NearlyEqualAxes, NEAR * 0.5 * (rmse_x_m + rmse_y_m))
    } else {
        let axes = Covariance { ee: rmse_x_m * rmse_x_m, nn: rmse_y_m * rmse_y_m, ..Covariance::default() };
        (Form::Neither, axes.radius95_m())
    };
    Horizontal { form, axes_ratio, accuracy95_m }
}

/// The vertical accuracy of an RMSE, in metres.
pub fn vertical95_m(rmse_z_m: f64) -> f64 {
    VERTICAL * rmse_z_m
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::covariance::{ELLIPSE95, INTERVAL95};

    /// Half of the last decimal of the standard's multipliers.
    const MULTIPLIER: f64 = 0.5e-4;

    #[test]
    fn multipliers_are_those_of_the_distributions() {
        assert!((NEAR - ELLIPSE95).abs() < MULTIPLIER);
        assert!((EQUAL - ELLIPSE95 / 2f64.sqrt()).abs() < MULTIPLIER);
        assert!((VERTICAL - INTERVAL95).abs() < MULTIPLIER);
    }

    #[test]
    fn forms_by_the_ratio_of_the_axes() {
        let equal = horizontal(0.3, 0.3);
        assert_eq!((equal.form, equal.axes_ratio), (Form::EqualAxes, 1.0));
        // 1.7308 · 0.3 √2.
        assert!((equal.accuracy95_m - 0.734_316).abs() < 1e-6);
        let near = horizontal(0.6, 1.0);
        assert_eq!(near.form, Form::NearlyEqualAxes);
        // 2.4477 · 0.8.
        assert!((near.accuracy95_m - 1.958_16).abs() < 1e-9);
        let uneven = horizontal(1.0, 0.59);
        assert_eq!(uneven.form, Form::Neither);
        // Errors along one axis alone: Φ⁻¹(0.975) of it, within the 0.3 % of the cubic.
        let line = horizontal(0.0, 2.0);
        assert!(line.form == Form::Neither && (line.accuracy95_m / (2.0 * INTERVAL95) - 1.0).abs() < 0.003);
        // At a ratio of 0.6 the cubic gives 2.0846, the form 1.9582.
        assert!((horizontal(1.0, 0.5999).accuracy95_m / near.accuracy95_m - 2.0846 / 1.9582).abs() < 2e-4);
        // Equal within a part in 1e9, whatever their size.
        for size_m in [1e-3, 1.0, 1e3] {
            let forms = [1.0 + 1e-10, 1.0 + 1e-8].map(|times| horizontal(size_m, times * size_m).form);
            assert_eq!(forms, [Form::EqualAxes, Form::NearlyEqualAxes]);
        }
        assert_eq!((horizontal(0.0, 0.0).accuracy95_m, horizontal(0.0, 0.0).axes_ratio), (0.0, 1.0));
    }
}
