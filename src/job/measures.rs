//! Keys of the job on composed measurements: what their rows do not tell.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What rows that belong together do not tell themselves.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Measures {
    /// Level surfaces of known height by name, for sights without a distance onto water or a floor. A row's `level`
    /// column names the one that it meets; else the one whose `features` fit; else the only one there is.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub levels: BTreeMap<String, Level>,
    /// A distance of the user's own, in metres, that the distances of wires to the ground and to objects are compared with after
    /// the half of their 95 % interval is taken off. Default: none; nothing passes or fails.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub span_threshold_m: Option<f64>,
    /// The same by the feature of the span: a name or a pattern with `*` and `?` to metres, in place of `span_threshold_m`.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub span_thresholds_m: BTreeMap<String, f64>,
    /// Shots further than this from the line of their profile are warned of, in metres. Default: 20.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub profile_offset_limit_m: Option<f64>,
}

/// A level surface: calm water, a floor.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Level {
    /// Its height above the ellipsoid of the bases, in metres. One of the two heights is given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ellipsoid_height_m: Option<f64>,
    /// Its height above the geoid or vertical datum of the bases, in metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub orthometric_height_m: Option<f64>,
    /// Standard error of that height, in metres: how well it is known, waves and tide since the reading included.
    pub sigma_m: f64,
    /// The features that are sighted on it: names or patterns with `*` and `?`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub features: Vec<String>,
}

/// Why the level of a sight is not known.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoLevel {
    /// The row names one, and the job has none.
    #[error("its row names the level \"{0}\", and the job has none; write [measures.levels.{0}]")]
    None(String),
    /// The row names one that the job does not have.
    #[error("its row names the level \"{name}\", which the job does not have; it has: {}", has.join(", "))]
    Unknown {
        /// The name.
        name: String,
        /// Those of the job.
        has: Vec<String>,
    },
    /// The row names none, and several are for its feature.
    #[error(
        "it may be onto several levels ({}); name one in the row's level column, or its features under [measures.levels]", .0.join(", ")
    )]
    Several(Vec<String>),
}

/// What is wrong with the settings of composed measurements.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MeasuresFault {
    /// A length of 0 or less, by its key.
    #[error("{0} must be above 0")]
    NotAboveZero(&'static str),
    /// The threshold of a feature, likewise.
    #[error("span_thresholds_m of \"{feature}\" is {metres}; it must be above 0")]
    Threshold {
        /// The feature.
        feature: String,
        /// The value.
        metres: f64,
    },
    /// A level surface.
    #[error("[measures.levels.{name}]{problem}")]
    Level {
        /// Its name.
        name: String,
        /// What.
        problem: LevelFault,
    },
}

/// What is wrong with a level surface, in words that stand behind the name of its table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LevelFault {
    /// No height.
    #[error(" has no height; write ellipsoid_height_m or orthometric_height_m")]
    NoHeight,
    /// Two heights.
    #[error(" has two heights; keep the one that was measured")]
    TwoHeights,
    /// A height that is no number.
    #[error(": its height must be a number of metres")]
    NoNumber,
    /// A standard error below 0.
    #[error(": sigma_m must be 0 or more")]
    Sigma,
}

impl Measures {
    /// The threshold for a span, by its feature.
    pub fn threshold_m(&self, feature: &str) -> Option<f64> {
        let named = &self.span_thresholds_m;
        let by_pattern = || named.iter().find(|(pattern, _)| fits(pattern, feature)).map(|(_, metres)| metres);
        named.get(feature).or_else(by_pattern).copied().or(self.span_threshold_m)
    }

    /// The level of a sight, with its name: the one that its row names, else the one for its feature, else the only one.
    ///
    /// # Errors
    /// Where the row names a level that the job does not have, or where several might be meant.
    pub fn level(&self, named: Option<&str>, feature: &str) -> Result<Option<(&str, &Level)>, NoLevel> {
        if let Some(name) = named {
            return match self.levels.get_key_value(name) {
                Some((name, level)) => Ok(Some((name.as_str(), level))),
                None if self.levels.is_empty() => Err(NoLevel::None(name.to_owned())),
                None => Err(NoLevel::Unknown { name: name.to_owned(), has: self.levels.keys().cloned().collect() }),
            };
        }
        let fitting = self.levels.iter().filter(|(_, level)| level.features.iter().any(|pattern| fits(pattern, feature)));
        let mut found: Vec<(&String, &Level)> = fitting.collect();
        if found.is_empty() {
            found = self.levels.iter().filter(|(_, level)| level.features.is_empty()).collect();
        }
        match found[..] {
            [] => Ok(None),
            [(name, level)] => Ok(Some((name.as_str(), level))),
            _ => Err(NoLevel::Several(found.iter().map(|(name, _)| (*name).clone()).collect())),
        }
    }

    /// Checks the values; the key at fault and what is wrong with it.
    ///
    /// # Errors
    /// On the first value that cannot be.
    pub(super) fn check(&self) -> Result<(), (&'static str, MeasuresFault)> {
        let is_length = |metres: f64| metres > 0.0 && metres.is_finite();
        for (name, level) in &self.levels {
            let fault = |problem: LevelFault| Err(("levels", MeasuresFault::Level { name: name.clone(), problem }));
            let height = match (level.ellipsoid_height_m, level.orthometric_height_m) {
                (Some(height), None) | (None, Some(height)) => height,
                (None, None) => {
                    return fault(LevelFault::NoHeight);
                }
                (Some(_), Some(_)) => {
                    return fault(LevelFault::TwoHeights);
                }
            };
            if !height.is_finite() {
                return fault(LevelFault::NoNumber);
            }
            if !(level.sigma_m >= 0.0 && level.sigma_m.is_finite()) {
                return fault(LevelFault::Sigma);
            }
        }
        for (key, length) in
            [("span_threshold_m", self.span_threshold_m), ("profile_offset_limit_m", self.profile_offset_limit_m)]
        {
            if length.is_some_and(|length| !is_length(length)) {
                return Err((key, MeasuresFault::NotAboveZero(key)));
            }
        }
        match self.span_thresholds_m.iter().find(|(_, metres)| !is_length(**metres)) {
            Some((feature, metres)) => {
                Err(("span_thresholds_m", MeasuresFault::Threshold { feature: feature.clone(), metres: *metres }))
            }
            None => Ok(()),
        }
    }
}

fn fits(pattern: &str, feature: &str) -> bool {
    pattern == feature || glob::Pattern::new(pattern).is_ok_and(|pattern| pattern.matches(feature))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(features: &[&str]) -> Level {
        Level {
            orthometric_height_m: Some(12.0),
            sigma_m: 0.05,
            features: features.iter().map(|feature| (*feature).to_owned()).collect(),
            ..Level::default()
        }
    }

    fn measures(levels: &[(&str, &[&str])]) -> Measures {
        let levels = levels.iter().map(|(name, features)| ((*name).to_owned(), level(features)));
        Measures { levels: levels.collect(), ..Measures::default() }
    }

    #[test]
    fn a_level_is_named_by_the_row_then_by_the_feature_then_by_being_the_only_one() {
        let name = |measures: &Measures, named, feature| {
            let found = measures.level(named, feature).map(|found| found.map(|(name, _)| name.to_owned()));
            found.map_err(|why| why.to_string())
        };
        let two = measures(&[("sea", &["raft-*"]), ("tarn", &["reed ?"])]);
        assert_eq!(name(&two, Some("tarn"), "raft-3"), Ok(Some("tarn".to_owned())));
        assert_eq!(name(&two, None, "raft-3"), Ok(Some("sea".to_owned())));
        // Levels with features are for these alone.
        assert_eq!(name(&two, None, "buoy"), Ok(None));
        assert_eq!(name(&measures(&[("sea", &[])]), None, "buoy"), Ok(Some("sea".to_owned())));
        assert_eq!(name(&measures(&[]), None, "buoy"), Ok(None));
        assert_eq!(
            name(&measures(&[("sea", &[]), ("tarn", &[])]), None, "buoy"),
            Err("it may be onto several levels (sea, tarn); name one in the row's level column, or its features under [measures.levels]"
                .to_owned())
        );
        assert_eq!(
            name(&two, Some("sae"), "buoy"),
            Err("its row names the level \"sae\", which the job does not have; it has: sea, tarn".to_owned())
        );
    }

    #[test]
    fn a_threshold_is_that_of_the_name_then_of_the_pattern_then_of_all() {
        let thresholds = [("S*".to_owned(), 5.0), ("S12".to_owned(), 6.0)];
        let measures = Measures { span_threshold_m: Some(4.5), span_thresholds_m: thresholds.into(), ..Measures::default() };
        assert_eq!(["S12", "S13", "T1"].map(|feature| measures.threshold_m(feature)), [Some(6.0), Some(5.0), Some(4.5)]);
        assert_eq!(Measures::default().threshold_m("S12"), None);
    }

    #[test]
    fn values_that_cannot_be() {
        let mut none = measures(&[("sea", &[])]);
        assert_eq!(none.check(), Ok(()));
        none.levels.get_mut("sea").unwrap().orthometric_height_m = None;
        let problem = |measures: &Measures| measures.check().unwrap_err().1.to_string();
        assert_eq!(problem(&none), "[measures.levels.sea] has no height; write ellipsoid_height_m or orthometric_height_m");
        none.levels.get_mut("sea").unwrap().ellipsoid_height_m = Some(3.0);
        none.levels.get_mut("sea").unwrap().sigma_m = -0.1;
        assert_eq!(problem(&none), "[measures.levels.sea]: sigma_m must be 0 or more");
        assert_eq!(problem(&Measures { span_threshold_m: Some(0.0), ..Measures::default() }), "span_threshold_m must be above 0");
        assert_eq!(
            problem(&Measures { span_thresholds_m: [("S1".to_owned(), -5.0)].into(), ..Measures::default() }),
            "span_thresholds_m of \"S1\" is -5; it must be above 0"
        );
    }
}
