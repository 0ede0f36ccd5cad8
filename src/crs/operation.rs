//! Operations between coordinate reference systems: the choice, its description, its application.

use std::sync::Mutex;

use serde::Serialize;

use super::error::CrsError;
use super::raw::{Grids, Object};
use super::system::Crs;

/// What a job allows beside the best operation.
#[derive(Debug, Clone, Copy, Default)]
pub struct Rules {
    /// Null ("ballpark") transformations.
    pub ballpark: bool,
    /// The best operation whose grids are installed, in place of the best of all.
    pub missing_grids: bool,
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
    /// Operations that would be better but whose grids are not installed, where that was allowed.
    pub passed_over: Option<String>,
}

/// An operation ready to be applied, from any thread.
pub struct Transform {
    operation: Operation,
    /// Spare copies, each with a context of its own; threads take one and put it back.
    spare: Mutex<Vec<Object>>,
    pattern: Mutex<Object>,
}

fn accuracy_words(accuracy_m: Option<f64>) -> String {
    match accuracy_m {
        Some(metres) => format!("accuracy {metres} m"),
        None => "accuracy unknown".to_owned(),
    }
}

impl Transform {
    /// The operation from one CRS to another for an area (west, south, east, north in degrees).
    ///
    /// # Errors
    /// By `rules`: when the best operation lacks a grid, when only a null one is known, when none is.
    pub fn new(from: &Crs, to: &Crs, area_deg: Option<[f64; 4]>, rules: Rules) -> Result<Transform, CrsError> {
        let no_operation = || CrsError::NoOperation { from: from.label(), to: to.label() };
        let (source, target) = from.object().zip(to.object()).ok_or_else(no_operation)?;
        let find = |grids, ballpark| source.operations_to(&target, area_deg, grids, ballpark);
        let is_installed = |object: &Object| object.grids().iter().all(|grid| grid.available);
        let missing = |object: &Object| {
            let grids: Vec<String> = object.grids().into_iter().filter(|grid| !grid.available).map(|grid| grid.name).collect();
            grids.join(" and ")
        };
        let best = find(Grids::Ignored, false).into_iter().next();
        let (chosen, passed_over) = match best {
            Some(best) if is_installed(&best) => (best, None),
            Some(best) => {
                let second = find(Grids::Installed, false).into_iter().next();
                match second {
                    Some(second) if rules.missing_grids => {
                        let note =
                            format!("{} ({}) for want of {}", best.name(), accuracy_words(best.accuracy_m()), missing(&best));
                        (second, Some(note))
                    }
                    second => {
                        return Err(CrsError::MissingGrid {
                            from: from.label(),
                            to: to.label(),
                            operation: best.name(),
                            accuracy: accuracy_words(best.accuracy_m()),
                            grids: missing(&best),
                            otherwise: match second {
                                Some(second) => format!(
                                    "Or write allow_missing_grids = true in the job to use {} ({}) instead.",
                                    second.name(),
                                    accuracy_words(second.accuracy_m())
                                ),
                                None => "PROJ knows no other way.".to_owned(),
                            },
                        });
                    }
                }
            }
            None => {
                let null = find(Grids::Installed, true).into_iter().next().ok_or_else(no_operation)?;
                if !rules.ballpark {
                    return Err(CrsError::BallparkOnly { from: from.label(), to: to.label() });
                }
                (null, None)
            }
        };
        let operation = Operation {
            from: from.label(),
            to: to.label(),
            name: chosen.name(),
            accuracy_m: chosen.accuracy_m(),
            ballpark: chosen.is_ballpark(),
            grids: chosen.grids().into_iter().map(|grid| grid.name).collect(),
            passed_over,
        };
        let pattern = chosen
            .in_map_order()
            .ok_or_else(|| CrsError::Inside { what: "preparing a transformation".into(), gist: operation.name.clone() })?;
        Ok(Transform { operation, spare: Mutex::new(Vec::new()), pattern: Mutex::new(pattern) })
    }

    /// What was chosen.
    pub fn operation(&self) -> &Operation {
        &self.operation
    }

    /// Transforms points in place: x, y or longitude, latitude in degrees, and height. A point that
    /// cannot be transformed becomes not finite.
    ///
    /// # Errors
    /// When PROJ cannot copy the operation for this thread (out of memory).
    pub fn apply(&self, points: &mut [[f64; 3]]) -> Result<(), CrsError> {
        let taken = self.spare.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).pop();
        let mut object =
            match taken {
                Some(object) => object,
                None => self.pattern.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).copy().ok_or_else(|| {
                    CrsError::Inside { what: "copying a transformation".into(), gist: self.operation.name.clone() }
                })?,
            };
        object.transform(points);
        self.spare.lock().unwrap_or_else(|poisoned| poisoned.into_inner()).push(object);
        Ok(())
    }
}
