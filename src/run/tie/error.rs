//! Why a local frame is not tied to its CRS.

use crate::units::Units;

/// A local frame cannot be moved to its CRS.
#[derive(Debug, thiserror::Error)]
pub enum FitError {
    /// Fewer than two known points are in the frame.
    #[error(
        "the fit of the local frame needs two known points at least, at different places: of {} under [local.fit.known] {}; give points \
         the names that bases or features have in the logs", known.join(", "), found(only.as_deref())
    )]
    TooFew {
        /// Known points, the first few.
        known: Vec<String>,
        /// The one that is in the frame.
        only: Option<String>,
    },
    /// Known points on several datums.
    #[error("[local.fit.known]: {one} and {other} are on different datums; give all points in one CRS")]
    TwoDatums {
        /// A point.
        one: String,
        /// One on another datum.
        other: String,
    },
    /// Points at one place.
    #[error("the fit of the local frame does not come to an end: are its known points at one place?")]
    Singular,
    /// They do not fit the frame.
    #[error(
        "the known points do not fit the local frame within their standard errors (weighted square of the residuals {square:.1}, below \
         {critical:.1} in 999 of 1000): they miss it {}; {}: mend its name or its position, or the standard errors under [local.fit.known] \
         and [instrument]", missed(by_m, units), suspect(worst.as_deref())
    )]
    Disagree {
        /// The weighted square of the residuals.
        square: f64,
        /// Where 999 of 1000 such squares lie below.
        critical: f64,
        /// By how many metres each point misses it.
        by_m: Vec<(String, f64)>,
        /// The one that fits worst, where that tells anything.
        worst: Option<String>,
        /// The units of the sentence.
        units: Units,
    },
    /// They do not fit it in height.
    #[error(
        "the known points of the local frame disagree in height beyond what their standard errors explain (weighted square {square:.1}, \
         below {critical:.1} in 999 of 1000): {}; mend the height, or its standard error",
        raised(by_m, units)
    )]
    DisagreeInHeight {
        /// The weighted square of the residuals.
        square: f64,
        /// Where 999 of 1000 such squares lie below.
        critical: f64,
        /// By how many metres each point is too high.
        by_m: Vec<(String, f64)>,
        /// The units of the sentence.
        units: Units,
    },
    /// A known point cannot be used.
    #[error("[local.fit.known]: the point {name} cannot be used: {sentence}")]
    PointHeld {
        /// Its name, or that it has none.
        name: String,
        /// Why its row is held.
        sentence: String,
    },
}

fn found(only: Option<&str>) -> String {
    match only {
        None => "none of them is a base or a feature of the frame".to_owned(),
        Some(one) => format!("only {one} is a base or a feature of the frame"),
    }
}

fn missed(by_m: &[(String, f64)], units: &Units) -> String {
    let all: Vec<String> = by_m.iter().map(|(name, metres)| format!("{name} by {}", units.length().said(*metres, 2))).collect();
    all.join(", ")
}

fn suspect(worst: Option<&str>) -> String {
    worst.map_or("two points cannot tell which of them is wrong".to_owned(), |name| format!("{name} fits worst"))
}

fn raised(by_m: &[(String, f64)], units: &Units) -> String {
    let all: Vec<String> = by_m.iter().map(|(name, metres)| format!("{name} {}", units.length().signed(*metres, 3))).collect();
    all.join(", ")
}
