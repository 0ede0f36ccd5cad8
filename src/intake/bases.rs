//! Rows of base logs: positions as they were recorded, each checked on its own.

use super::cell::When;
use super::columns::{Quantity, Unit};
use super::delimited::{Row, Rows};
use super::plan::Plan;
use super::shots::{Reader, looks_damaged};
use crate::ledger::{Fault, Flag, Flags, Reason};
use crate::units::{Hemispheres, parse_angle_deg};

/// A height and what it is measured from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Height {
    /// Above the ellipsoid, in metres.
    Ellipsoid(f64),
    /// Above the geoid or a vertical datum, in metres.
    Orthometric(f64),
}

impl Height {
    /// The same kind of height, `by` metres higher.
    pub fn raised(self, by: f64) -> Height {
        match self {
            Height::Ellipsoid(metres) => Height::Ellipsoid(metres + by),
            Height::Orthometric(metres) => Height::Orthometric(metres + by),
        }
    }
}

/// Coordinates in the base's CRS.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Coordinates {
    /// Degrees.
    Geographic {
        /// Latitude.
        lat_deg: f64,
        /// Longitude.
        lon_deg: f64,
    },
    /// Metres.
    Projected {
        /// Easting.
        east_m: f64,
        /// Northing.
        north_m: f64,
    },
}

/// A base as it was recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct BaseRow {
    /// Name; parts of a name made of several columns have [`super::plan::NAME_JOINT`] between.
    pub name: String,
    /// The log's header of the name.
    pub name_header: String,
    /// Index of the file.
    pub file: usize,
    /// Line in the file.
    pub line: u64,
    /// The row as it stands.
    pub raw: String,
    /// Position.
    pub coordinates: Coordinates,
    /// Height of the ground point: the antenna height is taken off. None where the log has no heights.
    pub height: Option<Height>,
    /// The log's value that chooses the CRS.
    pub crs_value: Option<String>,
    /// Standard error of each horizontal axis in metres, where the log gives it.
    pub sigma_horizontal_m: Option<f64>,
    /// Standard error of the height in metres, where the log gives it.
    pub sigma_vertical_m: Option<f64>,
    /// Instrument height in metres, where the base log gives it.
    pub instrument_height_m: Option<f64>,
    /// When it was recorded.
    pub when: Option<When>,
    /// The carried columns.
    pub extras: Vec<String>,
    /// Suspicions so far.
    pub flags: Flags,
}

/// The name of a row's base, even where the row is unusable otherwise.
pub fn name(plan: &Plan, rows: &Rows, row: &Row) -> Option<String> {
    let mut joined = String::new();
    plan.name(Quantity::Base, rows, row, &mut joined).map(str::to_owned)
}

/// Reads a row.
///
/// # Errors
/// The first thing that makes the row unusable.
pub fn read(plan: &Plan, rows: &Rows, row: &Row, file: usize, antenna_height_m: Option<f64>) -> Result<BaseRow, Fault> {
    let reader = Reader { plan, rows, row };
    let name =
        name(plan, rows, row).ok_or_else(|| reader.no_reading(Reason::NoBase, &[Quantity::Base], "the base has no name"))?;
    let antenna = reader.measured(Quantity::AntennaHeight)?.or(antenna_height_m).unwrap_or(0.0);
    let coordinates = coordinates(&reader)?;
    let kinds = [Quantity::EllipsoidHeight, Quantity::OrthometricHeight];
    let height = match (reader.measured(kinds[0])?, reader.measured(kinds[1])?) {
        (Some(metres), _) => Some(Height::Ellipsoid(metres)),
        (None, Some(metres)) => Some(Height::Orthometric(metres)),
        (None, None) if kinds.iter().any(|kind| plan.claim_of(*kind).is_some()) => {
            return Err(reader.no_reading(Reason::NoHeight, &kinds, "the base has no height"));
        }
        (None, None) => None,
    };
    let mut flags = Flags::default();
    if looks_damaged(&name) {
        flags.raise(Flag::DamagedId);
    }
    let sigma = |quantity| Ok(reader.measured(quantity)?.map(f64::abs));
    Ok(BaseRow {
        name_header: plan.header(Quantity::Base).to_owned(),
        file,
        line: row.line.number,
        raw: row.line.text.to_owned(),
        coordinates,
        height: height.map(|height| height.raised(-antenna)),
        crs_value: plan.crs_column.map(|index| rows.cell(row, index).to_owned()),
        sigma_horizontal_m: sigma(Quantity::SigmaHorizontal)?,
        sigma_vertical_m: sigma(Quantity::SigmaVertical)?,
        instrument_height_m: reader.measured(Quantity::InstrumentHeight)?,
        when: reader.when()?,
        extras: plan.extras.iter().map(|(index, _)| rows.cell(row, *index).to_owned()).collect(),
        flags,
        name,
    })
}

fn coordinates(reader: &Reader) -> Result<Coordinates, Fault> {
    let plan = reader.plan;
    if plan.claim_of(Quantity::Latitude).is_none() {
        let part = |quantity| {
            reader.length(quantity)?.ok_or_else(|| reader.no_reading(Reason::NoPosition, &[quantity], "the base has no position"))
        };
        return Ok(Coordinates::Projected { east_m: part(Quantity::East)?, north_m: part(Quantity::North)? });
    }
    let angle = |quantity: Quantity, letters, limit: f64| {
        let header = plan.header(quantity);
        let cell = plan
            .text(quantity, reader.rows, reader.row)
            .ok_or_else(|| reader.no_reading(Reason::NoPosition, &[quantity], "the base has no position"))?;
        let number = match plan.format.number(cell) {
            Some(number) => number,
            None => {
                let text = if plan.format.decimal_comma { cell.replace(',', ".") } else { cell.to_owned() };
                parse_angle_deg(&text, letters)
                    .map_err(|error| Fault::new(Reason::NotAnAngle, header, cell, format!("{header} \"{cell}\": {error}")))?
            }
        };
        if number.abs() > limit {
            let hint = if (100.0 * limit >= number.abs()) && number.abs() > 180.0 {
                "; degrees and minutes run together, as in 4607.40, must be split"
            } else {
                "; are latitude and longitude swapped?"
            };
            return Err(Fault::new(
                Reason::PositionRange,
                header,
                cell,
                format!("{header} {cell} is outside -{limit} to {limit} degrees{hint}"),
            ));
        }
        Ok(number)
    };
    debug_assert!(matches!(plan.claim_of(Quantity::Latitude).map(|claim| claim.unit), Some(Unit::Angle(_))));
    Ok(Coordinates::Geographic {
        lat_deg: angle(Quantity::Latitude, Hemispheres::Latitude, 90.0)?,
        lon_deg: angle(Quantity::Longitude, Hemispheres::Longitude, 180.0)?,
    })
}
