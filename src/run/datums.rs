//! The steps between datums that the bases of a job go: what may be used, what each base went, and what that costs it.

use std::sync::Arc;

use crate::geodesy::covariance::ELLIPSE95;
use crate::geodesy::crs::{CrsError, Operation, OperationRules};
use crate::job::Job;
use crate::job::catalogue::Catalogue;
use crate::output::report::used::OperationUse;
use crate::shots::locate::{Locator, Placed};
use crate::stations::base::BaseTable;

/// Names of bases that are kept beside an operation; the rest is counted.
const NAMES_KEPT: usize = 20;
/// A base that comes back to where it was recorded on the datum of the layers, within this many metres, went nowhere. By another
/// operation it would come back metres away; by the same one it is off by its height times the angle between the two
/// ellipsoids' normals, 2 cm at 1000 m.
const RETURNED_M: f64 = 0.1;
/// Metres to a degree of latitude, rounded.
const DEGREE_M: f64 = 111_000.0;

/// What may be used between datums: what the job allows by name, and where a grid is missing what the strictest horizontal tolerance
/// of the catalogue bears. A tolerance is the radius of the 95 % circle, 2.45 standard errors of an axis.
pub fn rules(job: &Job, catalogue: Option<&Catalogue>) -> OperationRules {
    let tolerances = catalogue.into_iter().flat_map(Catalogue::horizontal_tolerances95_m);
    let strictest = tolerances.reduce(f64::min).unwrap_or(0.0);
    OperationRules {
        ballpark: job.allow_ballpark,
        missing_grids: job.allow_missing_grids,
        greatest_loss_m: strictest / ELLIPSE95,
    }
}

/// The operations of a run and the bases that went by them.
pub struct Steps {
    /// Each operation once.
    pub uses: Vec<OperationUse>,
    /// By base, indexes of its operations.
    by_base: Vec<Vec<usize>>,
    shared: Vec<Arc<Operation>>,
}

impl Steps {
    /// The operations that a base went by.
    pub fn of_base(&self, base: usize) -> Vec<Arc<Operation>> {
        self.by_base[base].iter().map(|index| self.shared[*index].clone()).collect()
    }

    /// Counts a step of a base; gives its number.
    fn add(&mut self, base: usize, label: &str, operation: &Operation) -> usize {
        let found = self.uses.iter().position(|known| known.operation == *operation);
        let index = found.unwrap_or_else(|| {
            self.uses.push(OperationUse { operation: operation.clone(), bases: 0, base_names: Vec::new() });
            self.shared.push(Arc::new(operation.clone()));
            self.uses.len() - 1
        });
        let used = &mut self.uses[index];
        used.bases += 1;
        if used.base_names.len() < NAMES_KEPT {
            used.base_names.push(label.to_owned());
        }
        self.by_base[base].push(index);
        index
    }
}

/// Gives each base the standard error of all its steps, and tells which they are. A base that is mapped on the datum on which it was
/// recorded comes back by the way that it went: the errors of that way cancel, and it counts as having gone none.
///
/// # Errors
/// When there is no operation for the place of a base that may be used.
pub fn settle(table: &mut BaseTable, locator: &Locator, placed: &[Placed]) -> Result<Steps, CrsError> {
    let mut steps = Steps { uses: Vec::new(), by_base: vec![Vec::new(); table.bases.len()], shared: Vec::new() };
    let mut has_returned = Vec::with_capacity(table.bases.len());
    for (base, placed) in table.bases.iter().zip(placed) {
        let is_home = match (base.from_network, base.adjusted) {
            // Recorded nowhere, or moved since: as the first that was neither.
            (true, _) | (_, true) => None,
            _ => Some(base.recorded_deg.is_some_and(|[lon_deg, lat_deg]| {
                (placed.lat_deg - lat_deg).abs() * DEGREE_M < RETURNED_M
                    && (placed.lon_deg - lon_deg).abs() * DEGREE_M < RETURNED_M
            })),
        };
        has_returned.push(is_home);
    }
    let first = has_returned.iter().flatten().next().copied().unwrap_or(false);
    #[allow(clippy::needless_range_loop)] // the bases are changed along the way
    for index in 0..table.bases.len() {
        let base = &table.bases[index];
        let label = base.label.clone();
        let mut errors: Vec<(usize, f64)> = Vec::new();
        if base.step.is_none() || !has_returned[index].unwrap_or(first) {
            if let Some(step) = base.step {
                errors.push((steps.add(index, &label, &table.operations[step]), base.sigma_datum_m));
            }
            let onwards = locator.datum_operation(base)?;
            if let Some(transform) = &onwards {
                let number = steps.add(index, &label, transform.operation());
                errors.push((number, transform.operation().accuracy_m.unwrap_or(0.0)));
            }
        }
        if let Some(transform) = locator.vertical_operation(base)? {
            steps.add(index, &label, transform.operation());
        }
        errors.retain(|(_, sigma_m)| *sigma_m > 0.0);
        table.bases[index].sigma_datum_m = errors.iter().fold(0.0, |sum, (_, sigma_m)| f64::hypot(sum, *sigma_m));
        table.bases[index].datum_errors = errors;
    }
    Ok(steps)
}
