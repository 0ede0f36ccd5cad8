//! Units of length.

use std::fmt;

/// A unit of length. Factors are exact by definition: the international foot and yard of 1959
/// (0.3048 m, 0.9144 m; EPSG units 9002, 9096), the inch a twelfth of the foot (0.0254 m), and the US survey foot (1200/3937 m; EPSG unit 9003).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthUnit {
    /// Metre.
    Metre,
    /// International foot.
    Foot,
    /// US survey foot.
    UsSurveyFoot,
    /// International yard.
    Yard,
    /// Centimetre: for diameters.
    Centimetre,
    /// Inch: for diameters.
    Inch,
    /// Millimetre: for diameters.
    Millimetre,
}

impl LengthUnit {
    /// The units of distances and heights.
    pub const ALL: [LengthUnit; 4] = [LengthUnit::Metre, LengthUnit::Foot, LengthUnit::UsSurveyFoot, LengthUnit::Yard];

    /// The units of diameters.
    pub const OF_DIAMETERS: [LengthUnit; 5] =
        [LengthUnit::Metre, LengthUnit::Centimetre, LengthUnit::Millimetre, LengthUnit::Foot, LengthUnit::Inch];

    /// The suffix of canonical column names.
    pub fn suffix(self) -> &'static str {
        match self {
            LengthUnit::Metre => "m",
            LengthUnit::Foot => "ft",
            LengthUnit::UsSurveyFoot => "usft",
            LengthUnit::Yard => "yd",
            LengthUnit::Centimetre => "cm",
            LengthUnit::Inch => "in",
            LengthUnit::Millimetre => "mm",
        }
    }

    /// Metres of `value` units, correctly rounded but for the US survey foot's one division.
    pub fn to_metres(self, value: f64) -> f64 {
        match self {
            LengthUnit::Metre => value,
            LengthUnit::Foot => value * 0.3048,
            LengthUnit::UsSurveyFoot => value * 1200.0 / 3937.0,
            LengthUnit::Yard => value * 0.9144,
            LengthUnit::Centimetre => value / 100.0,
            LengthUnit::Inch => value * 0.0254,
            LengthUnit::Millimetre => value / 1000.0,
        }
    }

    /// Units of `metres`; the inverse of [`LengthUnit::to_metres`].
    pub fn from_metres(self, metres: f64) -> f64 {
        match self {
            LengthUnit::Metre => metres,
            LengthUnit::Foot => metres / 0.3048,
            LengthUnit::UsSurveyFoot => metres * 3937.0 / 1200.0,
            LengthUnit::Yard => metres / 0.9144,
            LengthUnit::Centimetre => metres * 100.0,
            LengthUnit::Inch => metres / 0.0254,
            LengthUnit::Millimetre => metres * 1000.0,
        }
    }

    /// The unit that a word in a log's units row stands for.
    pub fn from_word(word: &str) -> Option<LengthUnit> {
        match word.trim().to_ascii_lowercase().as_str() {
            "m" | "metre" | "metres" | "meter" | "meters" => Some(LengthUnit::Metre),
            "ft" | "foot" | "feet" => Some(LengthUnit::Foot),
            "usft" | "ftus" | "us-ft" | "sft" => Some(LengthUnit::UsSurveyFoot),
            "yd" | "yard" | "yards" => Some(LengthUnit::Yard),
            _ => None,
        }
    }
}

impl fmt::Display for LengthUnit {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(match self {
            LengthUnit::Metre => "metre",
            LengthUnit::Foot => "international foot",
            LengthUnit::UsSurveyFoot => "US survey foot",
            LengthUnit::Yard => "yard",
            LengthUnit::Centimetre => "centimetre",
            LengthUnit::Inch => "inch",
            LengthUnit::Millimetre => "millimetre",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::LengthUnit::*;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn feet_differ_by_two_parts_per_million() {
        // 1.2 m on a coordinate of 2,000,000 ft: the size that tells the feet apart.
        let apart = UsSurveyFoot.to_metres(2_000_000.0) - Foot.to_metres(2_000_000.0);
        assert!((apart - 1.2192).abs() < 1e-4, "{apart}");
    }

    proptest! {
        #[test]
        fn there_and_back(value in -1e7f64..1e7, which in 0usize..4) {
            let unit = LengthUnit::ALL[which];
            let back = unit.from_metres(unit.to_metres(value));
            prop_assert!((back - value).abs() <= value.abs() * 4.0 * f64::EPSILON);
        }
    }
}
