//! Bases settled one by one: onto their datum, with height, covariance, local frame and grid.

use std::collections::{BTreeMap, HashMap};

use super::{ASSUMED_SIGMA_HORIZONTAL_M, ASSUMED_SIGMA_VERTICAL_M, Base, BaseSettings, BaseTable};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::crs::{AreaOfUse, CrsError, CrsKind, Operation};
use crate::geodesy::frame::{Geodetic, LocalFrame};
use crate::intake::bases::definition_of;
use crate::records::base_row::{BaseRow, Height, HeldBase};
use crate::records::ledger::{Fault, Flag, Flags};
use crate::records::names::label;
use crate::stations::heights::{self, NamedFrames};
use crate::stations::recorded::{FarBases, RecordedCrs, RecordedPlace};

impl BaseTable {
    /// Settles base rows.
    ///
    /// # Errors
    /// When a CRS or a transformation cannot be used. Rows that cannot be used are held.
    pub fn settle(rows: Vec<BaseRow>, held: Vec<HeldBase>, settings: &BaseSettings) -> Result<BaseTable, CrsError> {
        let mut sources: BTreeMap<String, RecordedCrs> = BTreeMap::new();
        let mut table = BaseTable {
            bases: Vec::with_capacity(rows.len()),
            held: Vec::new(),
            datums: Vec::new(),
            operations: Vec::new(),
            by_name: HashMap::new(),
            empty_windows: Vec::new(),
            unmade: Vec::new(),
            assumed: (false, false),
        };
        let frames = NamedFrames::resolve(settings)?;
        let mut far = FarBases::default();
        let count = rows.len();
        for row in rows {
            let definition = match definition_of(&row, settings.bases) {
                Ok(definition) => definition,
                Err(fault) => {
                    table.unmade.push((row, fault));
                    continue;
                }
            };
            if !sources.contains_key(&definition) {
                let source = RecordedCrs::open(&definition, &mut table.datums, settings)?;
                sources.insert(definition.clone(), source);
            }
            let source = &sources[&definition];
            let recorded = source.coordinates(&row)?;
            let height = heights::recorded(&row, settings.geoid);
            // A height on a frame that the job names goes a way of its own.
            let height_in = match height {
                Some(Height::Ellipsoid(metres)) if source.takes_height && frames.of_row(&row).is_none() => metres,
                _ => 0.0,
            };
            let located = match source.locate(recorded, height_in).map_err(|error| error.at_base(&label(&row.name)))? {
                Ok(located) => located,
                Err(fault) => {
                    table.unmade.push((row, fault));
                    continue;
                }
            };
            if let Some(km) = source.far_km(&located).filter(|_| !settings.allow_outside_area) {
                far.take(&label(&row.name), &row, source, recorded, (&located, settings.units.length().far(1000.0 * km)));
                continue;
            }
            let settled = table.settle_one(&row, source, &located, height, &frames, settings);
            match settled.map_err(|error| error.at_base(&label(&row.name)))? {
                Ok(base) => table.bases.push(base),
                Err(fault) => table.unmade.push((row, fault)),
            }
        }
        if let Some(error) = far.error(count) {
            return Err(error);
        }
        table.held = held;
        table.flag_same_positions();
        table.name_all(settings.bases.occupations.reoccupied, &settings.units);
        table.hold_unmade();
        Ok(table)
    }

    fn settle_one(
        &mut self,
        row: &BaseRow,
        source: &RecordedCrs,
        located: &RecordedPlace,
        height: Option<Height>,
        frames: &NamedFrames,
        settings: &BaseSettings,
    ) -> Result<Result<Base, Fault>, CrsError> {
        let epoch = row.coordinate_epoch.or(settings.bases.epoch);
        let on_datum = match source.onto_datum(located, epoch)? {
            Ok(on_datum) => on_datum,
            Err(fault) => return Ok(Err(fault)),
        };
        let (lon_deg, lat_deg) = (on_datum.lon_deg, on_datum.lat_deg);
        let step = on_datum.step.as_ref().map(|transform| transform.operation());
        let datum = &self.datums[source.datum];
        let mut at = Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m: 0.0 };
        let ellipsoid_m = match height {
            Some(Height::Ellipsoid(recorded)) => {
                let near = Geodetic { ellipsoid_height_m: recorded, ..at };
                Some(heights::on_datum_m(row, &near, epoch, (source, &on_datum), datum, frames)?)
            }
            _ => None,
        };
        at.ellipsoid_height_m = ellipsoid_m.unwrap_or(0.0);
        let geoid_steps = heights::geoid_steps(row, &at, epoch, datum, settings)?;
        let undulation = settings.geoid.undulation_m(&at, row.separation_m, &geoid_steps);
        let heights = heights::both(height, ellipsoid_m, undulation);
        // Without a geoid the orthometric height stands in for the ellipsoidal one; the undulation of
        // at most 110 m shortens a 100 m shot by 2 mm. It is never written as an ellipsoidal height.
        at.ellipsoid_height_m = heights.ellipsoid_m.or(heights.orthometric_m).unwrap_or(0.0);
        let sigma_horizontal = row.sigma_horizontal_m.or(settings.bases.sigma_horizontal_m);
        let sigma_vertical = row.sigma_vertical_m.or(settings.bases.sigma_vertical_m);
        self.assumed.0 |= sigma_horizontal.is_none();
        self.assumed.1 |= sigma_vertical.is_none() && row.height.is_some();
        let grid_crs =
            settings.grid.or((source.crs.kind() == CrsKind::Projected).then_some(&source.crs)).unwrap_or(settings.output);
        let mut flags = row.flags;
        flag_area(&mut flags, lon_deg, lat_deg, settings);
        let ellipsoid = datum.crs.ellipsoid();
        let base = Base {
            label: label(&row.name),
            datum: source.datum,
            frame: LocalFrame::at(&at, ellipsoid),
            earth_radius_m: ellipsoid.mean_radius_m(at.lat_rad),
            at,
            heights,
            covariance: Covariance::from_sigmas(
                sigma_horizontal.unwrap_or(ASSUMED_SIGMA_HORIZONTAL_M),
                sigma_vertical.unwrap_or(ASSUMED_SIGMA_VERTICAL_M),
            ),
            sigma_datum_m: step.and_then(|step| step.accuracy_m).unwrap_or(0.0),
            step: step.and_then(|step| step_index(&mut self.operations, step)),
            recorded_deg: source.is_layers_datum.then_some(located.own_deg),
            geoid_steps,
            epoch,
            grid: grid_crs.grid_factors(at.lon_rad - grid_crs.meridian_rad(), at.lat_rad),
            adjusted: false,
            from_network: false,
            in_network: None,
            tied: None,
            datum_errors: Vec::new(),
            neighbours: 0,
            flags,
            row: row.clone(),
        };
        Ok(Ok(base))
    }
}

/// The index of an operation in a list, which grows where it is new; none for an exact conversion.
fn step_index(operations: &mut Vec<Operation>, step: &Operation) -> Option<usize> {
    if step.accuracy_m == Some(0.0) && !step.ballpark {
        return None;
    }
    Some(operations.iter().position(|known| known == step).unwrap_or_else(|| {
        operations.push(step.clone());
        operations.len() - 1
    }))
}

/// Whether a longitude with its sign turned is another place: near 180° both are neighbours, and a sign that was lost moves little.
fn is_far_when_turned(lon_deg: f64) -> bool {
    const NEIGHBOURS_DEG: f64 = 1.0;
    180.0 - lon_deg.abs() > NEIGHBOURS_DEG
}

fn flag_area(flags: &mut Flags, lon_deg: f64, lat_deg: f64, settings: &BaseSettings) {
    let given = settings.checks.area_deg.map(|edges_deg| AreaOfUse { edges_deg, name: String::new() });
    let Some(area) = given.as_ref().or(settings.output.area_of_use()) else { return };
    if area.contains(lon_deg, lat_deg) {
        return;
    }
    flags.raise(Flag::OutsideArea);
    if area.contains(lat_deg, lon_deg) {
        flags.raise(Flag::MaybeSwapped);
    } else if is_far_when_turned(lon_deg) && area.contains(-lon_deg, lat_deg) || area.contains(lon_deg, -lat_deg) {
        flags.raise(Flag::MaybeSignLost);
    }
}
