//! Tests of mapped points against check points, which took no part in the mapping.
//!
//! [`assess`] matches the points of a finished layer with check points, takes their errors on the ground, and says what they come to: by axis
//! and radially, by public standards of accuracy, and whether the layer's own uncertainties were honest. It reads, and
//! changes nothing.

pub mod asprs;
pub mod check_points;
pub mod errors;
pub mod honesty;
pub mod matching;
mod means;
pub mod moments;
mod notes;
pub mod nssda;
pub mod outliers;
pub mod page;
pub mod probability;
pub mod report;
pub mod standards;

#[cfg(test)]
mod published;

use std::collections::HashMap;
use std::fmt;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::geodesy::crs::{Crs, CrsError};
use crate::geodesy::frame::{Ellipsoid, Geodetic};
use crate::intake::checks::{self, CheckTableError};
use crate::review::finished::{self, LayerError, MappedLayer, NoWay, SharedErrors};
use crate::units::Units;
use check_points::{CheckPoint, CheckPoints};
use errors::PointError;
use honesty::{Coverage, Freedom};
use matching::Fate;
use moments::ErrorMoments;
use outliers::{RobustSpread, Speaks};
use standards::StandardFigure;

/// What stands beside every statement of accuracy.
pub const CAUTION: &str = "Mapping grade. A statement of accuracy that the law or a contract asks for is made by, or under, a person \
licensed for it, who answers for the check points being independent, better, and well spread over the area.";

/// An assessment that cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum AssessError {
    /// The layer cannot be used.
    #[error(transparent)]
    Layer(#[from] LayerError),
    /// The table of check points cannot be used.
    #[error(transparent)]
    Table(#[from] CheckTableError),
    /// A CRS of the check points cannot be used.
    #[error(transparent)]
    Crs(#[from] CrsError),
    /// Latitudes in a CRS of eastings.
    #[error("the check points have latitudes and longitudes, but {0} is projected; name a geographic CRS for them")]
    CrsIsProjected(String),
    /// Eastings in a CRS of latitudes.
    #[error("the check points have eastings and northings, but {0} is geographic; name the projected CRS that they are in")]
    CrsIsGeographic(String),
    /// The check points are not brought to the layer's datum.
    #[error("check points {0}")]
    NoWay(#[from] NoWay),
    /// A check point that its CRS does not reach.
    #[error("the check point in line {line} lies outside what {crs} can express; look at its coordinates and at their CRS")]
    Outside {
        /// Line in the table.
        line: u64,
        /// The CRS.
        crs: String,
    },
    /// The table has no column of names.
    #[error("{}: no column of names; call it name, say which it is, or match by distance", .0.display())]
    NoNames(PathBuf),
    /// No check point belongs to a mapped point.
    #[error("none of the {checks} check points belongs to one of the {points} points of the layer {how}; {remedy}")]
    NothingMatched {
        /// Check points read.
        checks: usize,
        /// Points of the layer.
        points: usize,
        /// How they were matched.
        how: String,
        /// What to do.
        remedy: AssessRemedy,
    },
}

/// What to do where no check point belongs to a mapped point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AssessRemedy {
    /// They were matched by distance.
    LookAtCrs,
    /// They were matched by name: the first names of both, in quotes.
    OtherNames {
        /// Those of the layer.
        layer: String,
        /// Those of the check points.
        checks: String,
    },
}

impl fmt::Display for AssessRemedy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            AssessRemedy::LookAtCrs => f.write_str("look at the CRS of the check points, or match by name"),
            AssessRemedy::OtherNames { layer, checks } => write!(
                f,
                "the layer has {layer}; the check points {checks}; name the field of the layer that has these names, or match by distance"
            ),
        }
    }
}

/// What to assess.
#[derive(Debug, Clone, Default)]
pub struct AssessRequest {
    /// The file with the layer.
    pub file: PathBuf,
    /// The layer's name, where it is not the usual one.
    pub layer: Option<String>,
    /// The table of check points.
    pub checks: PathBuf,
    /// CRS of the check points, where it is not that of the layer.
    pub check_crs: Option<String>,
    /// Header of the check points' names, where it is not a usual one.
    pub check_name: Option<String>,
    /// When the check points were fixed, a year with its fraction.
    pub check_epoch: Option<f64>,
    /// Field of the layer's names, where it is not the feature or the shot.
    pub field: Option<String>,
    /// Match by distance in metres in place of names.
    pub within_m: Option<f64>,
    /// The unit of lengths in what is said; values are in metres.
    pub units: Units,
}

/// A check point without an error.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Left {
    /// Its name, where it has one.
    pub name: Option<String>,
    /// Line in its table.
    pub line: u64,
    /// Why, in a sentence.
    pub why: String,
}

/// An error that stands far from the others, or far outside its own stated uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outlier {
    /// Name of the point.
    pub name: String,
    /// `east`, `north` or `up`.
    pub axis: &'static str,
    /// The error in metres.
    pub error_m: f64,
    /// Robust standard deviations from the median of the errors; none of too few.
    pub score: Option<f64>,
    /// How many of its own stated standard errors it has; none where none is stated.
    pub stated: Option<f64>,
    /// Which of the two names it.
    pub speaks: Speaks,
}

/// All of an assessment. Errors are tested minus check, metres on the ground, east and north true.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Assessment {
    /// File of the layer.
    pub file: String,
    /// Name of the layer.
    pub layer: String,
    /// Its CRS.
    pub crs: String,
    /// Points in it.
    pub points: usize,
    /// File of the check points.
    pub check_file: String,
    /// Their CRS.
    pub check_crs: String,
    /// Check points that could be read.
    pub check_points: usize,
    /// How they were matched.
    pub matched_by: String,
    /// Check points that were matched.
    pub matched: usize,
    /// Points of the layer that were tested: more than that where features were shot several times.
    pub tested: usize,
    /// Check points that could belong to several points, or share one with another check point.
    pub ambiguous: Vec<Left>,
    /// Check points that belong to no point.
    pub unmatched: Vec<Left>,
    /// Rows of check points that could not be used.
    pub held: Vec<Left>,
    /// What the errors come to.
    pub errors: ErrorMoments,
    /// Figures by the standards.
    pub standards: Vec<StandardFigure>,
    /// Errors far from the others; they are in every figure.
    pub outliers: Vec<Outlier>,
    /// Share of horizontal errors inside their 95 % ellipses.
    pub ellipses95: Option<Coverage>,
    /// Share of errors of heights inside their 95 % intervals.
    pub heights95: Option<Coverage>,
    /// What these shares say, and what must be known to read the figures.
    pub verdicts: Vec<String>,
    /// See `verdicts`.
    pub notes: Vec<String>,
    /// See [`CAUTION`].
    pub caution: &'static str,
    /// The error of each point.
    pub point_errors: Vec<PointError>,
}

/// Assesses a layer.
///
/// # Errors
/// When a file or a CRS cannot be used, or nothing is matched.
pub fn assess(request: &AssessRequest) -> Result<Assessment, AssessError> {
    let layer = finished::read(&request.file, request.layer.as_deref(), request.field.as_deref())?;
    let named = request.check_crs.as_deref().map(Crs::new).transpose()?;
    let table = checks::read(&request.checks, request.check_name.as_deref(), named.as_ref())?;
    let checks = check_points::place(&table, &layer, request.check_crs.as_deref(), request.check_epoch)?;
    if request.within_m.is_none() && table.name_header.is_none() {
        return Err(AssessError::NoNames(request.checks.clone()));
    }
    let (fates, matched_by) = fates(&layer, &checks, request);
    let mut found = Found::sorted(&layer, &checks, &fates, request, &matched_by);
    let axes: Vec<[f64; 2]> = found.errors.iter().map(|error| [error.east_m, error.north_m]).collect();
    let up: Vec<f64> = found.errors.iter().filter_map(|error| error.up_m).collect();
    let errors = ErrorMoments::from_errors(&axes, &up).ok_or_else(|| AssessError::NothingMatched {
        checks: checks.points.len(),
        points: layer.points.len(),
        how: matched_by.clone(),
        remedy: remedy(&layer, &checks, request),
    })?;
    let outliers = name_outliers(&mut found.errors);
    let squares = |square: fn(&PointError) -> Option<f64>| found.errors.iter().filter_map(square).collect::<Vec<f64>>();
    let ellipses95 = Coverage::count(&squares(|error| error.square_horizontal), Freedom::Two);
    let heights95 = Coverage::count(&squares(|error| error.square_vertical), Freedom::One);
    let mut verdicts = Vec::new();
    verdicts.extend(ellipses95.map(|coverage| format!("Positions: {}.", coverage.sentence("95 % ellipses"))));
    verdicts.extend(heights95.map(|coverage| format!("Heights: {}.", coverage.sentence("95 % intervals"))));
    Ok(Assessment {
        file: request.file.display().to_string(),
        layer: layer.name.clone(),
        crs: layer.crs.label(),
        points: layer.points.len(),
        check_file: request.checks.display().to_string(),
        check_crs: checks.crs.clone(),
        check_points: checks.points.len(),
        matched: found.matched,
        tested: found.errors.len(),
        ambiguous: found.ambiguous,
        unmatched: found.unmatched,
        held: table.held.iter().map(|(line, why)| Left { name: None, line: *line, why: why.to_string() }).collect(),
        standards: standards::claims(&errors, &found.errors),
        notes: notes::notes(&errors, &found.errors, &checks, request, ellipses95.is_some()),
        errors,
        outliers,
        ellipses95,
        heights95,
        verdicts,
        caution: CAUTION,
        matched_by,
        point_errors: found.errors,
    })
}

/// How many of several candidates are named.
const NAMED: usize = 3;

/// Which points of one name are shots of one feature.
struct RepeatedShots<'l> {
    layer: &'l MappedLayer,
    /// Check points of each name; none where they are matched by distance.
    names: Option<HashMap<&'l str, usize>>,
}

impl<'l> RepeatedShots<'l> {
    fn find(layer: &'l MappedLayer, checks: &'l CheckPoints, request: &AssessRequest) -> RepeatedShots<'l> {
        let names = request.within_m.is_none().then(|| {
            let mut counts = HashMap::new();
            for name in checks.points.iter().filter_map(|check| check.name.as_deref()) {
                *counts.entry(name.trim()).or_insert(0) += 1;
            }
            counts
        });
        RepeatedShots { layer, names }
    }

    /// Whether several points of a check point's name are shots of its feature, each to be tested: no parts of a composed measurement, and no
    /// other check point of the name.
    fn are_of_one_feature(&self, check: &CheckPoint, candidates: &[usize]) -> bool {
        let is_part = |index: &usize| self.layer.points.get(*index).is_none_or(|point| point.is_part);
        let others = self.names.as_ref().and_then(|names| names.get(check.name.as_deref()?.trim()));
        candidates.len() > 1 && others == Some(&1) && !candidates.iter().any(is_part)
    }
}

#[derive(Default)]
struct Found {
    matched: usize,
    errors: Vec<PointError>,
    ambiguous: Vec<Left>,
    unmatched: Vec<Left>,
}

impl Found {
    /// What each check point found, by its fate.
    fn sorted(layer: &MappedLayer, checks: &CheckPoints, fates: &[Fate], request: &AssessRequest, matched_by: &str) -> Found {
        let repeats = RepeatedShots::find(layer, checks, request);
        let mut found = Found::default();
        let shared = SharedErrors::beside(&request.file);
        for (check, fate) in checks.points.iter().zip(fates) {
            let left = |why: String| Left { name: check.name.clone(), line: check.line, why };
            let error = |tested| PointError {
                arms: shared.arms_of(tested, layer).filter(|arms| arms.is_whole),
                ..errors::error_of(tested, check, checks, layer.datum.ellipsoid())
            };
            let label = |index: &usize| layer.points.get(*index).map(|point| point.label()).unwrap_or_default();
            match fate {
                Fate::Matched(index) => {
                    found.matched += 1;
                    found.errors.extend(layer.points.get(*index).map(error));
                }
                Fate::Ambiguous { candidates, .. } if repeats.are_of_one_feature(check, candidates) => {
                    found.matched += 1;
                    found.errors.extend(candidates.iter().filter_map(|index| layer.points.get(*index)).map(error));
                }
                Fate::Ambiguous { candidates, count: 1 } => {
                    let names: Vec<String> = candidates.iter().map(label).collect();
                    found.ambiguous.push(left(format!("another check point belongs to {} too", names.join(", "))));
                }
                Fate::Ambiguous { candidates, count } => {
                    let names: Vec<String> = candidates.iter().take(NAMED).map(label).collect();
                    let more = if *count > names.len() { ", …" } else { "" };
                    found.ambiguous.push(left(format!("{count} points of the layer would do: {}{more}", names.join(", "))));
                }
                Fate::Unmatched if request.within_m.is_none() && check.name.is_none() => {
                    found.unmatched.push(left("it has no name".to_owned()));
                }
                Fate::Unmatched => found.unmatched.push(left(format!("no point of the layer {matched_by}"))),
            }
        }
        found
    }
}

/// A point on the ellipsoid under it, so that distances between such are horizontal.
pub(crate) fn foot(at: &Geodetic, ellipsoid: &Ellipsoid) -> [f64; 3] {
    Geodetic { ellipsoid_height_m: 0.0, ..*at }.to_earth_centred(ellipsoid)
}

/// What becomes of each check point, and how they were matched, in words behind "a point of the layer".
fn fates(layer: &MappedLayer, checks: &CheckPoints, request: &AssessRequest) -> (Vec<Fate>, String) {
    if let Some(within_m) = request.within_m {
        let ellipsoid = layer.datum.ellipsoid();
        let points: Vec<[f64; 3]> = checks.points.iter().map(|check| foot(&check.at, ellipsoid)).collect();
        let others: Vec<[f64; 3]> = layer.points.iter().map(|point| foot(&point.at, ellipsoid)).collect();
        return (matching::by_distance(&points, &others, within_m), format!("within {}", request.units.length().told(within_m)));
    }
    let names: Vec<&str> = checks.points.iter().map(|check| check.name.as_deref().unwrap_or_default()).collect();
    let points = &layer.points;
    match &request.field {
        Some(field) => {
            let named = points.iter().map(|point| point.named.as_deref()).collect();
            (matching::by_name(&names, &[named]), format!("by the field {field}"))
        }
        None => {
            let features = points.iter().map(|point| point.feature.as_deref()).collect();
            let shots = points.iter().map(|point| point.shot.as_deref()).collect();
            (matching::by_name(&names, &[features, shots]), "by the feature's name or the shot".to_owned())
        }
    }
}

fn remedy(layer: &MappedLayer, checks: &CheckPoints, request: &AssessRequest) -> AssessRemedy {
    if request.within_m.is_some() {
        return AssessRemedy::LookAtCrs;
    }
    let ours: Vec<String> = layer.points.iter().take(3).map(|point| format!("\"{}\"", point.label())).collect();
    let theirs: Vec<String> =
        checks.points.iter().filter_map(|check| check.name.as_ref()).take(3).map(|name| format!("\"{name}\"")).collect();
    AssessRemedy::OtherNames { layer: ours.join(", "), checks: theirs.join(", ") }
}

/// Finds the errors on each axis that are far from the others or far outside their stated uncertainty, and marks their points.
fn name_outliers(points: &mut [PointError]) -> Vec<Outlier> {
    /// How the error along an axis is read off a point.
    type Along = fn(&PointError) -> Option<f64>;
    let axes: [(&'static str, Along); 3] =
        [("east", |point| Some(point.east_m)), ("north", |point| Some(point.north_m)), ("up", |point| point.up_m)];
    let mut found = Vec::new();
    for (number, (axis, error)) in axes.into_iter().enumerate() {
        let all: Vec<f64> = points.iter().filter_map(error).collect();
        let robust = RobustSpread::estimate(&all);
        for point in points.iter_mut() {
            let Some(error_m) = error(point) else { continue };
            let score = robust.map(|robust| robust.score(error_m));
            let stated = point.sigmas_m[number].map(|sigma_m| error_m.abs() / sigma_m);
            let Some(speaks) = Speaks::judge(score, stated) else { continue };
            point.outlying.push(axis);
            found.push(Outlier { name: point.name.clone(), axis, error_m, score, stated, speaks });
        }
    }
    found
}

/// Whether two paths are one file.
pub fn is_same_file(one: &Path, other: &Path) -> bool {
    match (std::fs::canonicalize(one), std::fs::canonicalize(other)) {
        (Ok(one), Ok(other)) => one == other,
        _ => false,
    }
}

#[cfg(test)]
mod tests;
