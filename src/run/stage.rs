//! What every row of a run is mapped with: the bases as they are settled, the logs, the catalogue, the layers wanted.

use rustc_hash::FxHashSet;

use super::coded::{Coded, RowCoding};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::crs::CrsError;
use crate::geodesy::geoid;
use crate::geodesy::register::Origin;
use crate::intake::shot_logs::ShotLogs;
use crate::job::LayerName;
use crate::output::columns::{LayerKey, NO_HEIGHT, Position};
use crate::output::layers::features::Feature;
use crate::records::ledger::{Fault, Flags, Reason};
use crate::records::shot::Words;
use crate::shots::locate::{Locator, Placed};
use crate::shots::located::CovarianceParts;
use crate::shots::north::Norths;
use crate::shots::reduce::Vector;
use crate::stations::base::{BaseTable, HeightKind};
use crate::stations::join::Joiner;
use crate::stations::orientation::Orientation;
use crate::units::Units;

/// What the computation of a block needs.
pub struct Stage<'j> {
    pub joiner: &'j Joiner<'j>,
    /// What is added to each base's azimuths.
    pub orientations: &'j [Option<Orientation>],
    pub table: &'j BaseTable,
    pub logs: &'j ShotLogs,
    pub locator: &'j Locator<'j>,
    /// What brings azimuths to true north.
    pub norths: Norths<'j>,
    /// Instrument height in metres where neither the row nor its base gives one.
    pub instrument_height_m: Option<f64>,
    /// Where each base lies in the CRS of the layers.
    pub placed_bases: Vec<Placed>,
    /// Whether the CRS of the layers has eastings and northings.
    pub projected: bool,
    /// Metres in the unit of its eastings and northings.
    pub grid_unit_m: f64,
    /// The bases with what they err by.
    pub origins: &'j [Origin],
    /// Places of the rows that a network accounts for.
    pub network_rows: &'j FxHashSet<(usize, u64)>,
    /// Prints of the names of features that were shot more than once.
    pub repeated: &'j FxHashSet<u64>,
    /// The catalogue.
    pub coded: Option<&'j Coded>,
    /// Whether nothing has a place: rows serve the measurements of their stand, or nothing.
    pub has_no_bases: bool,
    /// The layers to make.
    pub wanted: &'j [LayerName],
    /// The units of what is said.
    pub units: Units,
}

impl Stage<'_> {
    /// What the catalogue says of a row that belongs to no measurement and no string.
    pub fn class_of(&self, code: Option<&str>, role: Option<&str>) -> RowCoding<'_> {
        let words = Words { code, role, ..Words::default() };
        self.coded.and_then(|coded| coded.class(&words, "").ok()).unwrap_or_default()
    }

    /// The side of the cells of a feature's layer, where that is coarse.
    pub fn coarse_cell_m(&self, class: &RowCoding) -> Option<f64> {
        let LayerKey::Coded(layer) = class.layer else { return None };
        self.coded.and_then(|coded| coded.catalogue.layers[layer].coarse_cell_m)
    }

    /// The record of a point by the vector from a base and its covariance by cause; names, time and lineage are the caller's to
    /// fill in.
    pub fn feature<'r>(
        &'r self,
        placed: &Placed,
        index: usize,
        vector: &Vector,
        parts: &CovarianceParts,
        class: RowCoding<'r>,
    ) -> Feature<'r> {
        let base = &self.table.bases[index];
        let covariance = parts.total();
        let whole = covariance.horizontal_variance();
        let share = |part: &Covariance| part.horizontal_variance() / whole;
        let height_kind = if vector.up_m.is_some() { base.heights.kind } else { HeightKind::None };
        Feature {
            feature: None,
            code: None,
            code_title: class.code.map(|code| code.title.as_str()),
            shot: None,
            base: &base.label,
            string: None,
            measure: None,
            role: None,
            echo: None,
            when: None,
            placed: *placed,
            projected: self.projected,
            horizontal_m: vector.horizontal_m,
            true_azimuth_rad: f64::NAN,
            declination_rad: f64::NAN,
            height_kind,
            sigma_geoid_m: placed.undulation.map_or(f64::NAN, |undulation| undulation.sigma_m.unwrap_or(geoid::SIGMA_M)),
            covariance,
            ellipse: covariance.ellipse95(),
            shares: [share(&parts.base), share(&parts.direction), share(&parts.distance)],
            face_diameter_m: f64::NAN,
            coarse_cell_m: self.coarse_cell_m(&class).unwrap_or(f64::NAN),
            shots_used: 1,
            shots_aside: 0,
            spread_m: f64::NAN,
            flags: Flags::default(),
            source_file: "",
            source_line: 0,
        }
    }
}

/// The fault of a position that the CRS of the layers cannot express.
pub fn not_projected() -> Fault {
    Fault::new(Reason::NotProjected, "", "", "the position has no image in the CRS of the layers")
}

/// The position of a geometry; `base` stands in for a height that is not known.
pub fn position(placed: &Placed, base: &Placed) -> Position {
    Position {
        x: placed.x,
        y: placed.y,
        z: placed.z.unwrap_or(f64::NAN),
        ellipsoid_height_m: placed.ellipsoid_height_m.unwrap_or(f64::NAN),
        stand_in_z: placed.z.or(base.z).unwrap_or(NO_HEIGHT),
    }
}

/// Where each base lies in the CRS of the layers.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn place_bases(table: &BaseTable, locator: &Locator) -> Result<Vec<Placed>, CrsError> {
    let mut placed = Vec::with_capacity(table.bases.len());
    for base in &table.bases {
        placed.extend(locator.place(base.datum, &[(base.at, base.heights.kind != HeightKind::None, base)])?);
    }
    Ok(placed)
}
