//! The height of a level surface of the job as a base sees it: on the ellipsoid that its shots are computed on.
//!
//! H = h − N, orthometric and ellipsoidal height and the geoid's undulation, whose definition this is. A level of the kind that the base was recorded in has no error of the geoid against it; of the other kind that error
//! is added in quadrature. Metres.

use crate::job::{Level, NoLevel};
use crate::measure::plane_sight;
use crate::stations::base::{Base, HeightKind, sigma_geoid_m};
use crate::units::Units;

/// What a sight onto a level needs of it.
pub struct LevelSeen {
    words: String,
    ellipsoid_height_m: f64,
    sigma_m: f64,
    /// Whether its height hangs on the undulation where the sight meets it.
    pub follows_geoid: bool,
}

impl LevelSeen {
    /// For the computation, raised by what the undulation differs between the base and the point.
    pub fn level(&self, raised_m: f64) -> plane_sight::LevelSurface<'_> {
        plane_sight::LevelSurface {
            words: &self.words,
            ellipsoid_height_m: self.ellipsoid_height_m + raised_m,
            sigma_m: self.sigma_m,
        }
    }
}

/// Why a level is not seen from a base.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotSeen {
    /// The job does not tell which level.
    #[error(transparent)]
    NoLevel(#[from] NoLevel),
    /// The base has no height.
    #[error("base {0} has no height, so that no level of known height is met from it; give its height")]
    NoHeight(String),
    /// The level has a height of one kind, the base one of the other.
    #[error(
        "[measures.levels.{level}] gives a height above the {}, base {base} has one above the {}, and no geoid is known between them; \
         write the level's {}, or name a geoid under [heights]", surface(*kind), surface(other(*kind)), key(other(*kind))
    )]
    OtherKind {
        /// The level.
        level: String,
        /// What its height is measured from.
        kind: HeightKind,
        /// The base.
        base: String,
    },
}

fn surface(kind: HeightKind) -> &'static str {
    if kind == HeightKind::Ellipsoid { "ellipsoid" } else { "geoid" }
}

fn other(kind: HeightKind) -> HeightKind {
    if kind == HeightKind::Ellipsoid { HeightKind::Orthometric } else { HeightKind::Ellipsoid }
}

fn key(kind: HeightKind) -> &'static str {
    if kind == HeightKind::Ellipsoid { "ellipsoid_height_m" } else { "orthometric_height_m" }
}

/// A level as seen from a base.
///
/// # Errors
/// Where the heights of level and base are of two kinds and no geoid is between them.
pub fn seen(name: &str, level: &Level, base: &Base, units: &Units) -> Result<LevelSeen, NotSeen> {
    let said = |metres: f64| units.length().said(metres, 2);
    let heights = &base.heights;
    let sigma_m = |kind: HeightKind| match (heights.kind == kind, sigma_geoid_m(heights)) {
        (false, Some(geoid)) => level.sigma_m.hypot(geoid),
        _ => level.sigma_m,
    };
    let words =
        |height: f64, of: &str| format!("the level {name}, {} above {of} (standard error {})", said(height), said(level.sigma_m));
    if heights.kind == HeightKind::None {
        return Err(NotSeen::NoHeight(base.label.clone()));
    }
    if let Some(height) = level.ellipsoid_height_m {
        return match heights.ellipsoid_m {
            Some(_) => Ok(LevelSeen {
                words: words(height, "the ellipsoid"),
                ellipsoid_height_m: height,
                sigma_m: sigma_m(HeightKind::Ellipsoid),
                follows_geoid: false,
            }),
            None => Err(NotSeen::OtherKind { level: name.to_owned(), kind: HeightKind::Ellipsoid, base: base.label.clone() }),
        };
    }
    let height = level.orthometric_height_m.unwrap_or(f64::NAN);
    let undulation_m = heights.undulation.map(|undulation| undulation.metres);
    let ellipsoid_height_m = match (heights.ellipsoid_m, undulation_m) {
        (Some(_), Some(undulation_m)) => height + undulation_m,
        // Without a geoid the orthometric heights stand in for ellipsoidal ones, the base's as the level's.
        (None, _) => height,
        (Some(_), None) => {
            return Err(NotSeen::OtherKind { level: name.to_owned(), kind: HeightKind::Orthometric, base: base.label.clone() });
        }
    };
    Ok(LevelSeen {
        words: words(height, "the geoid"),
        ellipsoid_height_m,
        sigma_m: sigma_m(HeightKind::Orthometric),
        follows_geoid: heights.ellipsoid_m.is_some(),
    })
}
