//! Rows of base logs: positions as they were recorded, each checked on its own.

use super::columns::{ColumnUnit, Quantity};
use super::delimited::{Row, Rows};
use super::fixes;
use super::log_layout::LogLayout;
use super::reader::{Reader, looks_damaged};
#[cfg(feature = "gis")]
use crate::job::Bases;
use crate::job::{FixKind, Quality};
use crate::numeric::signs::Signs;
use crate::records::base_row::{BaseRow, Coordinates, FixQuality, Height, Window};
use crate::records::fix::{Beside, Fix};
use crate::records::ledger::{Fault, Flag, Flags, Reason};
use crate::units::{Hemispheres, parse_angle_deg};

/// The name of a row's base, even where the row is unusable otherwise.
pub fn name(layout: &LogLayout, rows: &Rows, row: &Row) -> Option<String> {
    let mut joined = String::new();
    layout.name(Quantity::Base, rows, row, &mut joined).map(str::to_owned)
}

/// Reads a row.
///
/// # Errors
/// The first thing that makes the row unusable.
pub fn read(
    layout: &LogLayout,
    rows: &Rows,
    row: &Row,
    file: usize,
    antenna_height_m: Option<f64>,
    rules: &Quality,
) -> Result<BaseRow, Fault> {
    let reader = Reader { layout, rows, row };
    let name =
        name(layout, rows, row).ok_or_else(|| reader.no_reading(Reason::NoBase, &[Quantity::Base], "the base has no name"))?;
    let (when, is_unread) = reader.when_if_read();
    check_quality(&reader, rules)?;
    let coordinates = coordinates(&reader)?;
    let height = height_of_ground(&reader, antenna_height_m)?;
    let mut flags = Flags::default();
    if is_unread {
        flags.raise(Flag::TimeUnread);
    }
    if reader.row.is_joined {
        flags.raise(Flag::RemarkJoined);
    }
    if looks_damaged(&name) {
        flags.raise(Flag::DamagedId);
    }
    let sigma = |quantity| Ok(reader.measured(quantity)?.map(f64::abs));
    let of_radius = |metres: f64| layout.sigma_of_radius.map(|factor| metres * factor);
    let radius = sigma(Quantity::Radius)?.filter(|metres| *metres > 0.0).and_then(of_radius);
    Ok(BaseRow {
        name_header: layout.header(Quantity::Base).to_owned(),
        file,
        line: row.line.number,
        raw: row.line.text.to_owned(),
        coordinates,
        height,
        crs: None,
        crs_value: layout.crs_column.map(|index| rows.cell(row, index).to_owned()),
        sigma_horizontal_m: sigma(Quantity::SigmaHorizontal)?.or(radius),
        sigma_vertical_m: sigma(Quantity::SigmaVertical)?,
        instrument_height_m: reader.measured(Quantity::InstrumentHeight)?,
        when,
        windows: when.and_then(|when| when.instant).map(|(instant, _)| (instant, instant)).into_iter().collect(),
        separation_m: reader.measured(Quantity::Separation)?,
        coordinate_epoch: reader.coordinate_epoch()?,
        is_known: false,
        quality: FixQuality {
            kinds: layout.text(Quantity::FixKind, rows, row).map(str::to_owned),
            worst_hdop: reader.plain(Quantity::Hdop)?,
            worst_pdop: reader.plain(Quantity::Pdop)?,
        },
        origins: Vec::new(),
        occupation: None,
        extras: layout.extras.iter().map(|(index, _)| rows.cell(row, *index).to_owned()).collect(),
        flags,
        name,
    })
}

/// Why the date or time of a row cannot be read.
pub fn unread_time(layout: &LogLayout, rows: &Rows, row: &Row) -> Option<Fault> {
    Reader { layout, rows, row }.when().err()
}

/// The height of a row; none where the log has no heights.
fn height(reader: &Reader) -> Result<Option<Height>, Fault> {
    let kinds = [Quantity::EllipsoidHeight, Quantity::OrthometricHeight];
    match (reader.measured(kinds[0])?, reader.measured(kinds[1])?) {
        (Some(metres), _) => Ok(Some(Height::Ellipsoid(metres))),
        (None, Some(metres)) => Ok(Some(Height::Orthometric(metres))),
        (None, None) if kinds.iter().any(|kind| reader.layout.claim_of(*kind).is_some()) => {
            Err(reader.no_reading(Reason::NoHeight, &kinds, "the base has no height"))
        }
        (None, None) => Ok(None),
    }
}

/// The height of a row with the antenna height taken off: that of its own column, where the log has one, which the job's
/// stands in for; a log of points without such a column takes the job's, or is of the ground point.
fn height_of_ground(reader: &Reader, antenna_height_m: Option<f64>) -> Result<Option<Height>, Fault> {
    let Some(above) = height(reader)? else { return Ok(None) };
    let antenna_m =
        match (reader.measured(Quantity::AntennaHeight)?.or(antenna_height_m), reader.layout.claim_of(Quantity::AntennaHeight)) {
            (Some(metres), _) => metres,
            (None, None) => 0.0,
            (None, Some(_)) => {
                return Err(reader.no_reading(
                    Reason::NoHeight,
                    &[Quantity::AntennaHeight],
                    "nothing says how high the antenna stood; write it in the row, or antenna_height_m under [heights]",
                ));
            }
        };
    Ok(Some(above.raised(-antenna_m)))
}

/// A row as a fix: it has a time, and the antenna height is still on unless the log has a column of it.
///
/// # Errors
/// The first thing that makes the row unusable.
pub fn read_fix(
    layout: &LogLayout,
    rows: &Rows,
    row: &Row,
    file: usize,
    antenna_height_m: Option<f64>,
) -> Result<(Fix, Beside), Fault> {
    let reader = Reader { layout, rows, row };
    let quantities = [Quantity::Time, Quantity::Date];
    let (instant, _) = reader
        .when()?
        .and_then(|when| when.instant)
        .ok_or_else(|| reader.no_reading(Reason::NoTime, &quantities, "the fix has no time"))?;
    let sigma = |quantity| Ok::<_, Fault>(reader.measured(quantity)?.map(f64::abs));
    let horizontal = sigma(Quantity::SigmaHorizontal)?;
    let vertical = sigma(Quantity::SigmaVertical)?;
    let is_of_ground = layout.claim_of(Quantity::AntennaHeight).is_some();
    let height = if is_of_ground { height_of_ground(&reader, antenna_height_m)? } else { height(&reader)? };
    let beside = Beside {
        crs: None,
        is_of_ground,
        instrument_height_m: reader.measured(Quantity::InstrumentHeight)?,
        coordinate_epoch: reader.coordinate_epoch()?,
    };
    let fix = Fix {
        file,
        line: row.line.number,
        instant,
        coordinates: coordinates(&reader)?,
        height,
        separation_m: reader.measured(Quantity::Separation)?,
        kind: kind_of_fix(&reader)?.unwrap_or(FixKind::Unknown),
        satellites: None,
        hdop: reader.plain(Quantity::Hdop)?,
        pdop: reader.plain(Quantity::Pdop)?,
        sigma_m: horizontal.map(|sigma| [sigma, sigma, vertical.unwrap_or(2.0 * sigma)]),
        speed_m_s: None,
    };
    Ok((fix, beside))
}

/// A row of a list of occupations.
///
/// # Errors
/// The first thing that makes the row unusable.
pub fn read_occupation(layout: &LogLayout, rows: &Rows, row: &Row) -> Result<Window, Fault> {
    let reader = Reader { layout, rows, row };
    let name = name(layout, rows, row)
        .ok_or_else(|| reader.no_reading(Reason::NoBase, &[Quantity::Base], "the occupation has no base"))?;
    let (from, to) = (reader.instant_of(Quantity::Start)?, reader.instant_of(Quantity::End)?);
    if to < from {
        let header = layout.header(Quantity::End);
        let value = layout.raw(Quantity::End, rows, row);
        return Err(Fault::new(Reason::NotATime, header, value, format!("{header} {value} is before the start")));
    }
    Ok(Window {
        name,
        from,
        to,
        antenna_height_m: reader.measured(Quantity::AntennaHeight)?,
        instrument_height_m: reader.measured(Quantity::InstrumentHeight)?,
    })
}

/// The kind of fix that a row names; none where the log has none.
fn kind_of_fix(reader: &Reader) -> Result<Option<FixKind>, Fault> {
    let Some(word) = reader.layout.text(Quantity::FixKind, reader.rows, reader.row) else { return Ok(None) };
    let kind = FixKind::ALL.into_iter().find(|kind| word.eq_ignore_ascii_case(kind.word()));
    kind.map(Some).ok_or_else(|| {
        let words: Vec<&str> = FixKind::ALL.iter().map(|kind| kind.word()).collect();
        let header = reader.layout.header(Quantity::FixKind);
        Fault::new(
            Reason::PoorFix,
            header,
            word,
            format!("{header} \"{word}\" is no kind of fix; write one of {}", words.join(", ")),
        )
    })
}

/// Whether a point meets the job's rules.
fn check_quality(reader: &Reader, rules: &Quality) -> Result<(), Fault> {
    let header = |quantity| reader.layout.header(quantity);
    let dilution = |quantity| Ok((header(quantity), reader.plain(quantity)?));
    let dilutions = [dilution(Quantity::Hdop)?, dilution(Quantity::Pdop)?];
    fixes::poor(kind_of_fix(reader)?, dilutions, header(Quantity::FixKind), rules).map_or(Ok(()), Err)
}

fn coordinates(reader: &Reader) -> Result<Coordinates, Fault> {
    let layout = reader.layout;
    if layout.claim_of(Quantity::Latitude).is_none() {
        let part = |quantity| {
            reader.length(quantity)?.ok_or_else(|| reader.no_reading(Reason::NoPosition, &[quantity], "the base has no position"))
        };
        return Ok(Coordinates::Projected { east_m: part(Quantity::East)?, north_m: part(Quantity::North)? });
    }
    let angle = |quantity: Quantity, letters, limit: f64| {
        let header = layout.header(quantity);
        let cell = layout
            .text(quantity, reader.rows, reader.row)
            .ok_or_else(|| reader.no_reading(Reason::NoPosition, &[quantity], "the base has no position"))?;
        let signs = layout.claim_of(quantity).map_or(Signs::POINT, |claim| claim.signs);
        let number = match signs.number(cell) {
            Some(number) => number,
            None => {
                let text = if signs.decimal_comma || !cell.contains('.') { cell.replace(',', ".") } else { cell.to_owned() };
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
    debug_assert!(matches!(layout.claim_of(Quantity::Latitude).map(|claim| claim.unit), Some(ColumnUnit::Angle(_))));
    Ok(Coordinates::Geographic {
        lat_deg: angle(Quantity::Latitude, Hemispheres::Latitude, 90.0)?,
        lon_deg: angle(Quantity::Longitude, Hemispheres::Longitude, 180.0)?,
    })
}

/// The CRS that a row's position is in, by the settings of its log.
///
/// # Errors
/// When the row's value stands for none.
#[cfg(feature = "gis")]
pub(crate) fn definition_of(row: &BaseRow, bases: &Bases) -> Result<String, Fault> {
    if let Some(definition) = &row.crs {
        return Ok(definition.clone());
    }
    let Some(value) = &row.crs_value else {
        return Ok(bases.crs.clone().unwrap_or_default());
    };
    match bases.crs_by_value.get(value) {
        Some(definition) => Ok(definition.clone()),
        None => match &bases.crs {
            Some(definition) if value.is_empty() => Ok(definition.clone()),
            _ => {
                let known: Vec<&str> = bases.crs_by_value.keys().map(String::as_str).collect();
                let header = bases.crs_column.as_deref().unwrap_or_default();
                let say = format!("{header} \"{value}\" is not in [bases.crs_by_value], which has: {}", known.join(", "));
                Err(Fault::new(Reason::UnknownCrs, header, value, say))
            }
        },
    }
}
