//! What ties a frame to the Earth: where its bases come to lie, and what they err by.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::geodesy::crs::GridFactors;
use crate::geodesy::register::covariance_of;
use crate::output::report::local_fit::LocalFitSummary;
use crate::records::base_row::{BaseRow, Coordinates, Height};
use crate::stations::base::{BaseTable, Tied};

/// A frame that is tied to the Earth.
pub struct Tie {
    /// What the fit says.
    pub summary: LocalFitSummary,
    /// The frame's bases, by file and line of their rows.
    pub(super) bases: BTreeMap<(usize, u64), TiedBase>,
    /// The datum of the known points, in a form that PROJ reads.
    pub(super) datum: String,
}

/// A base of the frame on the Earth.
pub(super) struct TiedBase {
    pub(super) coordinates: Coordinates,
    pub(super) height: Option<Height>,
    pub(super) tied: Tied,
}

impl Tie {
    /// Puts the rows of the frame's bases where the fit puts them.
    pub fn move_rows(&self, rows: &mut [BaseRow]) {
        for row in rows {
            let Some(base) = self.bases.get(&(row.file, row.line)) else { continue };
            (row.coordinates, row.height, row.crs) = (base.coordinates, base.height, Some(self.datum.clone()));
        }
    }

    /// Gives bases what the fit says of their errors and their azimuths.
    pub fn put_on(&self, table: &mut BaseTable) {
        for base in &mut table.bases {
            let Some(found) = self.bases.get(&(base.row.file, base.row.line)) else { continue };
            base.covariance = covariance_of(&found.tied.arms);
            // Azimuths of the frame count from its own north, whatever grid the layers have.
            base.grid = Some(GridFactors { convergence_rad: 0.0, scale: 1.0 });
            base.tied = Some(Arc::new(found.tied.clone()));
        }
        table.assumed = (false, false);
    }
}
