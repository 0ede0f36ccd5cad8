//! What a clearance must be read with, and its comparison with a distance that the user sets.
//!
//! Nothing passes or fails by itself: without a threshold of the user's there is no comparison. The half-width of the
//! 95 % interval is taken off before it (common practice, no source).

use crate::geodesy::register::Estimate;

/// What belongs beside every clearance that leaves the program. It fits a text field of a Shapefile, 254 bytes.
pub const CAUTION: &str = "Mapping grade, valid at the time of measurement only: heat, load or ice can lower a wire. No finding of \
compliance: the code in force there, the line's owner and a licensed engineer decide that. No approach distance for people, trees or \
machines.";

/// A distance against one that the user gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Threshold {
    /// Greater, the whole 95 % interval.
    Above,
    /// Smaller, the whole 95 % interval.
    Below,
    /// The 95 % interval straddles it.
    CannotTell,
}

impl Threshold {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Threshold::Above => "above the user threshold",
            Threshold::Below => "below the user threshold",
            Threshold::CannotTell => "cannot tell: the 95 % interval straddles the user threshold",
        }
    }
}

/// Compares a distance with a threshold of the user's, after half of the 95 % interval is taken off.
pub fn against_threshold(distance: &Estimate, threshold_m: f64) -> Threshold {
    if distance.value - distance.half95() > threshold_m {
        Threshold::Above
    } else if distance.value + distance.half95() < threshold_m {
        Threshold::Below
    } else {
        Threshold::CannotTell
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cautions_are_whole_in_a_shapefile() {
        for caution in [CAUTION, crate::measure::volume::CAUTION] {
            assert!(caution.len() <= 254, "{}", caution.len());
        }
    }

    #[test]
    fn thresholds() {
        let distance = Estimate { value: 6.0, sigma: 0.5 };
        // 95 %: 5.02 to 6.98.
        for (threshold_m, want) in
            [(5.0, Threshold::Above), (5.1, Threshold::CannotTell), (6.9, Threshold::CannotTell), (7.0, Threshold::Below)]
        {
            assert_eq!(against_threshold(&distance, threshold_m), want, "{threshold_m}");
        }
        // An interval that ends at the threshold lies neither above nor below it.
        assert_eq!(against_threshold(&Estimate { value: 5.0, sigma: 0.0 }, 5.0), Threshold::CannotTell);
        assert_eq!(against_threshold(&Estimate { value: f64::NAN, sigma: 0.1 }, 5.0), Threshold::CannotTell);
        assert_eq!(Threshold::Above.words(), "above the user threshold");
        assert_eq!(Threshold::Below.words(), "below the user threshold");
        assert_eq!(Threshold::CannotTell.words(), "cannot tell: the 95 % interval straddles the user threshold");
    }
}
