//! Operations between coordinate reference systems: the choice, its description, its application.

use std::sync::Mutex;

use serde::Serialize;

use super::error::CrsError;
use super::grid_files;
use super::null_shift;
use super::raw::{Grids, ProjObject};
use super::system::Crs;
use crate::geodesy::{FIRST_EPOCH, LAST_EPOCH};

/// What a job allows beside the best operation.
#[derive(Debug, Clone, Copy, Default)]
pub struct OperationRules {
    /// Null ("ballpark") transformations.
    pub ballpark: bool,
    /// The best operation whose grids are installed, in place of the best of all, however much is lost.
    pub missing_grids: bool,
    /// The same where no more than this is lost, in metres: the standard error that the one has beyond the other's,
    /// √(a² − b²) of their published accuracies.
    pub greatest_loss_m: f64,
}

/// The description of an operation that was chosen.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Operation {
    /// Source CRS.
    pub from: String,
    /// Target CRS.
    pub to: String,
    /// PROJ's name of it.
    pub name: String,
    /// Its published accuracy in metres; null where none is published. 0 is an exact conversion.
    pub accuracy_m: Option<f64>,
    /// Whether it has a null step.
    pub ballpark: bool,
    /// Grid files it uses.
    pub grids: Vec<String>,
    /// PROJ's name of the area it is meant for; null where none is known.
    pub area_of_use: Option<String>,
    /// Whether it moves with time, so that it needs the date on which positions were fixed.
    pub time_dependent: bool,
    /// Whether it moves nothing although its accuracy is half a metre or worse: the two datums are
    /// taken as one, and how they differ inside that accuracy is not known.
    pub null_within_accuracy: bool,
    /// The operation that would be better but whose grids are not installed, with its accuracy, where that was allowed or
    /// loses no more than the job's tolerances.
    pub passed_over: Option<String>,
}

/// When positions were fixed, in decimal years such as 2026.4.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CoordinateEpoch<'e> {
    /// One date for all points.
    All(f64),
    /// One for each point, in their order.
    Each(&'e [f64]),
}

/// A date to try an operation at that moves with time: whether it reaches a place does not hang on it.
const TRIAL_EPOCH: f64 = 2010.0;

/// An operation ready to be applied, from any thread.
pub struct Transform {
    operation: Operation,
    /// Spare copies, each with a context of its own; threads take one and put it back.
    spare: Mutex<Vec<ProjObject>>,
    pattern: Mutex<ProjObject>,
}

fn accuracy_words(accuracy_m: Option<f64>) -> String {
    match accuracy_m {
        Some(metres) => format!("accuracy {metres} m"),
        None => "accuracy unknown".to_owned(),
    }
}

/// Names of the grid files that an operation lacks.
fn missing(object: &ProjObject) -> Vec<String> {
    object.grids().into_iter().filter(|grid| !grid.available).map(|grid| grid.name).collect()
}

/// What is wrong with the grid files that an operation lacks, after "which".
fn want(object: &ProjObject) -> String {
    let problems: Vec<String> = missing(object).iter().filter_map(|name| grid_files::problem(name)).collect();
    if problems.is_empty() { "is not installed".to_owned() } else { format!("cannot be used: {}", problems.join("; ")) }
}

/// What an operation has beyond another's accuracy in metres: √(used² − better²), 0 where it is the better of the two, none
/// where either is unknown.
fn loss_m(better: &ProjObject, used: &ProjObject) -> Option<f64> {
    let (better, used) = (better.accuracy_m()?, used.accuracy_m()?);
    Some((used * used - better * better).max(0.0).sqrt())
}

/// The operations between two CRSs in an area that may be used, by PROJ's ranking.
pub(super) struct Usable {
    /// At least one; best first.
    pub operations: Vec<ProjObject>,
    /// What would be better than the first but lacks its grid.
    pub passed_over: Option<String>,
}

/// The outcome of a search, and the areas that the operations found are meant for, each once (west, south, east, north in degrees).
pub(super) struct OperationSearch {
    pub outcome: Result<Usable, CrsError>,
    pub areas: Vec<[f64; 4]>,
}

/// Whether an area of use (west, south, east, north in degrees) holds all of an area that does not cross ±180°.
pub(super) fn holds([west, south, east, north]: [f64; 4], inner: [f64; 4]) -> bool {
    let [w, s, e, n] = inner;
    let in_longitude = if west <= east { west <= w && e <= east } else { west <= w || e <= east };
    in_longitude && south <= s && n <= north
}

/// Searches the operations from one CRS to another for an area (west, south, east, north in degrees).
pub(super) fn search(from: &Crs, to: &Crs, area_deg: Option<[f64; 4]>, rules: OperationRules) -> OperationSearch {
    let no_operation = || CrsError::NoOperation { from: from.label(), to: to.label() };
    let Some((source, target)) = from.object().zip(to.object()) else {
        return OperationSearch { outcome: Err(no_operation()), areas: Vec::new() };
    };
    let mut areas: Vec<[f64; 4]> = Vec::new();
    let mut find = |grids, ballpark| {
        let mut operations = source.operations_to(&target, area_deg, grids, ballpark);
        for (edges, _) in operations.iter().filter_map(ProjObject::area_of_use) {
            if !areas.contains(&edges) {
                areas.push(edges);
            }
        }
        // PROJ counts grids in a format that it cannot read here as installed.
        operations.retain(|object| grids == Grids::Ignored || is_installed(object));
        operations
    };
    let ranked = find(Grids::Ignored, false);
    let outcome = match ranked.first() {
        Some(best) if is_installed(best) => {
            let operations = ranked.into_iter().filter(is_installed).collect();
            Ok(Usable { operations, passed_over: None })
        }
        Some(best) => {
            let others = find(Grids::Installed, false);
            in_place_of(best, others, rules, (from, to))
        }
        None => match find(Grids::Installed, true) {
            null if null.is_empty() => Err(no_operation()),
            _ if !rules.ballpark => Err(CrsError::BallparkOnly { from: from.label(), to: to.label() }),
            operations => Ok(Usable { operations, passed_over: None }),
        },
    };
    OperationSearch { outcome, areas }
}

fn is_installed(object: &ProjObject) -> bool {
    object.grids().iter().all(|grid| grid.available)
}

/// What may stand in for the best operation, which lacks a grid.
fn in_place_of(
    best: &ProjObject,
    others: Vec<ProjObject>,
    rules: OperationRules,
    (from, to): (&Crs, &Crs),
) -> Result<Usable, CrsError> {
    let grids = missing(best).join(" and ");
    let may_stand_in = others
        .first()
        .is_some_and(|other| rules.missing_grids || loss_m(best, other).is_some_and(|loss_m| loss_m <= rules.greatest_loss_m));
    if may_stand_in {
        let passed_over = format!("{} ({}) for want of {grids}", best.name(), accuracy_words(best.accuracy_m()));
        return Ok(Usable { operations: others, passed_over: Some(passed_over) });
    }
    Err(CrsError::MissingGrid {
        from: from.label(),
        to: to.label(),
        place: None,
        operation: best.name(),
        accuracy: accuracy_words(best.accuracy_m()),
        grids,
        want: want(best),
        otherwise: match others.first() {
            Some(other) => format!(
                "Or write allow_missing_grids = true in the job to use {} ({}) instead.",
                other.name(),
                accuracy_words(other.accuracy_m())
            ),
            None => "PROJ knows no other way.".to_owned(),
        },
    })
}

impl Transform {
    /// The operation from one CRS to another for an area (west, south, east, north in degrees).
    ///
    /// # Errors
    /// By `rules`: when the best operation lacks a grid, when only a null one is known, when none is.
    pub fn new(from: &Crs, to: &Crs, area_deg: Option<[f64; 4]>, rules: OperationRules) -> Result<Transform, CrsError> {
        let Usable { operations, passed_over } = search(from, to, area_deg, rules).outcome?;
        let no_operation = || CrsError::NoOperation { from: from.label(), to: to.label() };
        let chosen = operations.first().ok_or_else(no_operation)?;
        Transform::from_operation(chosen, (from, to), area_deg, passed_over)
    }

    /// One of the operations that a search for an area found.
    pub(super) fn from_operation(
        chosen: &ProjObject,
        (from, to): (&Crs, &Crs),
        area_deg: Option<[f64; 4]>,
        passed_over: Option<String>,
    ) -> Result<Transform, CrsError> {
        let accuracy_m = chosen.accuracy_m();
        let time_dependent = chosen.needs_time();
        let area = chosen.area_of_use();
        let mut operation = Operation {
            from: from.label(),
            to: to.label(),
            name: chosen.name(),
            accuracy_m,
            ballpark: chosen.is_ballpark(),
            grids: chosen.grids().into_iter().map(|grid| grid.name).collect(),
            area_of_use: area.as_ref().map(|(_, name)| name.clone()),
            time_dependent,
            null_within_accuracy: false,
            passed_over,
        };
        let mut pattern = chosen
            .in_map_order()
            .ok_or_else(|| CrsError::Inside { what: "preparing a transformation".into(), gist: operation.name.clone() })?;
        let is_coarse = accuracy_m.is_some_and(|metres| metres >= null_shift::COARSE_M);
        if let Some(area_deg) = area_deg.or(area.map(|(edges, _)| edges)).filter(|_| is_coarse && !time_dependent) {
            operation.null_within_accuracy = null_shift::moves_nothing(from, to, &mut pattern, area_deg);
        }
        Ok(Transform { operation, spare: Mutex::new(Vec::new()), pattern: Mutex::new(pattern) })
    }

    /// Whether it can express a point. One that moves with time is asked for a date of its own choice.
    pub(super) fn reaches(&self, point: [f64; 3]) -> Result<bool, CrsError> {
        let mut points = [point];
        let years: &[f64] = if self.needs_epoch() { &[TRIAL_EPOCH] } else { &[] };
        self.run(&mut points, years)?;
        Ok(points[0].iter().all(|coordinate| coordinate.is_finite()))
    }

    /// What was chosen.
    pub fn operation(&self) -> &Operation {
        &self.operation
    }

    /// Whether the operation moves with time: then [`Transform::apply_at`] is the way.
    pub fn needs_epoch(&self) -> bool {
        self.operation.time_dependent
    }

    /// Transforms points in place: x, y or longitude, latitude in degrees, and height. A point that
    /// cannot be transformed becomes not finite.
    ///
    /// # Errors
    /// When the operation needs the date of the positions, and when PROJ cannot copy the operation
    /// for this thread (out of memory).
    pub fn apply(&self, points: &mut [[f64; 3]]) -> Result<(), CrsError> {
        if self.needs_epoch() {
            return Err(CrsError::NeedsEpoch {
                from: self.operation.from.clone(),
                to: self.operation.to.clone(),
                operation: self.operation.name.clone(),
            });
        }
        self.run(points, &[])
    }

    /// Transforms points in place as [`Transform::apply`] does, by the dates on which they were fixed.
    /// An operation that does not move with time gives the same whatever the date.
    ///
    /// # Errors
    /// When a date is not a decimal year that can be believed, when the number of dates is not that of
    /// the points, and when PROJ cannot copy the operation for this thread (out of memory).
    pub fn apply_at(&self, points: &mut [[f64; 3]], epoch: CoordinateEpoch) -> Result<(), CrsError> {
        let one;
        let years = match epoch {
            CoordinateEpoch::All(year) => {
                one = [year];
                &one[..]
            }
            CoordinateEpoch::Each(years) if years.len() == points.len() => years,
            CoordinateEpoch::Each(years) => return Err(CrsError::EpochCount { epochs: years.len(), points: points.len() }),
        };
        if let Some(&value) = years.iter().find(|year| !(FIRST_EPOCH..=LAST_EPOCH).contains(*year)) {
            return Err(CrsError::BadEpoch { value });
        }
        self.run(points, years)
    }

    fn run(&self, points: &mut [[f64; 3]], years: &[f64]) -> Result<(), CrsError> {
        let taken = self.spare.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).pop();
        let mut object =
            match taken {
                Some(object) => object,
                None => self.pattern.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).copy().ok_or_else(|| {
                    CrsError::Inside { what: "copying a transformation".into(), gist: self.operation.name.clone() }
                })?,
            };
        object.transform(points, years);
        self.spare.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).push(object);
        Ok(())
    }
}
