//! The difference of two positions, or of two values, against their joint uncertainty.
//!
//! d = B − A with the covariance C = C_A + C_B, less C_AB and C_BA of the errors that both have, where these are known. Horizontally dᵀ C⁻¹ d is chi-squared with two degrees of
//! freedom where nothing moved, vertically (d / σ)² with one; the probability of a greater one is the significance (any text on
//! deformation analysis, e.g. C. D. Ghilani, "Adjustment Computations", chapters on statistical tests, from memory). Errors that both
//! surveys share without saying so cancel in d, and C is then too large: a change can be missed, none is made up. A
//! difference of their datums is in neither covariance and cannot be told from a movement of all features alike.

use serde::Serialize;

use super::family::LEVEL;
use crate::geodesy::covariance::Covariance;
use crate::review::assess::honesty::{square_horizontal, square_vertical};
use crate::review::assess::probability::{chi_squared_two, normal_two_sided};

/// A horizontal difference and its test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Eastward difference in metres.
    pub east_m: f64,
    /// Northward difference in metres.
    pub north_m: f64,
    /// dᵀ C⁻¹ d; none where an uncertainty is not known.
    pub square: Option<f64>,
    /// Probability of so great a one where nothing moved.
    pub probability: Option<f64>,
}

impl Shift {
    /// Of a difference in metres with its covariance.
    pub fn against([east_m, north_m]: [f64; 2], joint: Option<Covariance>) -> Shift {
        let square = joint.and_then(|joint| square_horizontal([east_m, north_m], &joint));
        Shift { east_m, north_m, square, probability: square.map(chi_squared_two) }
    }

    /// Length in metres.
    pub fn length_m(&self) -> f64 {
        self.east_m.hypot(self.north_m)
    }

    /// Azimuth in degrees from true north, 0 to 360.
    pub fn azimuth_deg(&self) -> f64 {
        let degrees = self.east_m.atan2(self.north_m).to_degrees().rem_euclid(360.0);
        // rem_euclid of a tiny negative number rounds to 360 itself.
        if degrees >= 360.0 { 0.0 } else { degrees }
    }
}

/// A difference of two heights or other values and its test, in their unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ValueStep {
    /// B − A.
    pub difference: f64,
    /// Standard error of it; none where one is not known.
    pub sigma: Option<f64>,
    /// Probability of so great a one where nothing changed.
    pub probability: Option<f64>,
}

impl ValueStep {
    /// Of a difference with its standard error.
    pub fn against(difference: f64, sigma: Option<f64>) -> ValueStep {
        let sigma = sigma.filter(|sigma| sigma.is_finite() && *sigma > 0.0);
        let square = sigma.and_then(|sigma| square_vertical(difference, sigma));
        ValueStep { difference, sigma, probability: square.map(|square| normal_two_sided(square.sqrt())) }
    }
}

/// What a corrected probability says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// Greater than uncertainty explains.
    Significant,
    /// Explained by uncertainty.
    NotSignificant,
    /// An uncertainty is not known.
    NotTested,
}

impl Finding {
    /// By a probability corrected for the number of tests.
    pub fn judge(corrected: Option<f64>) -> Finding {
        match corrected {
            None => Finding::NotTested,
            Some(probability) if probability <= LEVEL => Finding::Significant,
            Some(_) => Finding::NotSignificant,
        }
    }
}

/// The mark of a feature: `moved`, `rose`, `sank`, the first with one of the others, or that nothing changed, as far as was tested.
pub fn mark(horizontal: Finding, vertical: Finding, up_m: Option<f64>) -> &'static str {
    use Finding::*;
    let is_up = up_m.is_some_and(|up_m| up_m > 0.0);
    match (horizontal, vertical) {
        (Significant, Significant) if is_up => "moved and rose",
        (Significant, Significant) => "moved and sank",
        (Significant, _) => "moved",
        (_, Significant) if is_up => "rose",
        (_, Significant) => "sank",
        (NotTested, NotTested) => "not tested",
        _ => "no significant change",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::monte_carlo::Normal;
    use crate::review::assess::honesty::Freedom;

    /// Of positions that share nothing.
    fn independent(difference_m: [f64; 2], a: Option<Covariance>, b: Option<Covariance>) -> Shift {
        Shift::against(difference_m, a.zip(b).map(|(a, b)| a + b))
    }

    #[test]
    fn by_hand() {
        // σ 0.3 and 0.4 on each axis: 0.5 together. 1.0 east is (1/0.5)² = 4: exp(−2) = 0.1353.
        let (a, b) = (Covariance::from_sigmas(0.3, 0.0), Covariance::from_sigmas(0.4, 0.0));
        let shift = independent([1.0, 0.0], Some(a), Some(b));
        assert!((shift.square.unwrap() - 4.0).abs() < 1e-9);
        assert!((shift.probability.unwrap() - 0.135_335_283_236_612_7).abs() < 1e-9);
        assert_eq!((shift.length_m(), shift.azimuth_deg()), (1.0, 90.0));
        assert_eq!(independent([-1.0, 0.0], None, Some(b)).azimuth_deg(), 270.0);
        assert_eq!(independent([-1e-300, 1.0], None, Some(b)).azimuth_deg(), 0.0);
        let step = ValueStep::against(-0.98, Some(0.5));
        // 1.96 standard errors: 5.0 %.
        assert!((step.sigma.unwrap() - 0.5).abs() < 1e-12 && (step.probability.unwrap() - 0.05).abs() < 1e-4);
    }

    #[test]
    fn an_unknown_uncertainty_is_not_tested() {
        assert_eq!(independent([9.0, 0.0], Some(Covariance::from_sigmas(0.1, 0.1)), None).probability, None);
        assert_eq!(ValueStep::against(9.0, Some(0.0)).probability, None);
        assert_eq!(ValueStep::against(9.0, Some(f64::NAN)).probability, None);
        assert_eq!(Finding::judge(None), Finding::NotTested);
    }

    #[test]
    fn marks() {
        use Finding::*;
        for (horizontal, vertical, up_m, want) in [
            (Significant, NotSignificant, Some(1.0), "moved"),
            (Significant, NotTested, None, "moved"),
            (NotSignificant, Significant, Some(1.0), "rose"),
            (NotTested, Significant, Some(-1.0), "sank"),
            (Significant, Significant, Some(-1.0), "moved and sank"),
            (Significant, Significant, Some(1.0), "moved and rose"),
            (NotSignificant, NotTested, None, "no significant change"),
            (NotTested, NotTested, None, "not tested"),
        ] {
            assert_eq!(mark(horizontal, vertical, up_m), want);
        }
        assert_eq!(Finding::judge(Some(0.05)), Significant);
    }

    /// Two surveys of points that stand still, by draws from covariances that are not round: 5 % beyond the 95 % edge.
    #[test]
    fn points_that_stand_still_are_called_moved_in_one_of_20() {
        let (a, b) = ([[0.4, 0.2], [0.0, 0.3]], [[0.1, -0.5], [0.2, 0.1]]);
        let covariance = |arms: [[f64; 2]; 2]| {
            Covariance::from_arm([arms[0][0], arms[0][1], 0.0]) + Covariance::from_arm([arms[1][0], arms[1][1], 0.0])
        };
        let mut normal = Normal::seeded(5);
        let mut drawn = |arms: [[f64; 2]; 2]| {
            let (x, y) = (normal.next(), normal.next());
            [arms[0][0] * x + arms[1][0] * y, arms[0][1] * x + arms[1][1] * y]
        };
        let draws = 50_000;
        let mut beyond = 0;
        for _ in 0..draws {
            let ([ae, an], [be, bn]) = (drawn(a), drawn(b));
            let shift = independent([be - ae, bn - an], Some(covariance(a)), Some(covariance(b)));
            let by_probability = shift.probability.unwrap() < 0.05;
            assert_eq!(by_probability, shift.square.unwrap() > Freedom::Two.edge());
            beyond += usize::from(by_probability);
        }
        // Four standard errors of 0.05 in 50,000: 0.0039.
        let share = beyond as f64 / f64::from(draws);
        assert!((share - 0.05).abs() < 0.0039, "{share}");
    }
}
