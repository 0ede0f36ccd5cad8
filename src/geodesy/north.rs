//! From a measured azimuth to a true azimuth: magnetic declination of a place and date, with its
//! standard error.
//!
//! true azimuth = magnetic azimuth + declination; true azimuth = grid azimuth + convergence; both
//! corrections east positive. Convergence is [`crate::geodesy::crs::Crs::grid_factors`].
//!
//! Declination is of the World Magnetic Model (2020.0 to 2030.0) through the crate
//! `world_magnetic_model`, in single precision: within 0.01° of the published test values.
//! Standard error: σ = √(a² + (b/H)²) degrees, H the horizontal field in nT, with the constants of
//! the model's technical report, section 3.4.

use jiff::civil::Date;
use uom::si::angle::degree;
use uom::si::f32::{Angle, Length};
use uom::si::length::meter;
use uom::si::magnetic_flux_density::nanotesla;
use world_magnetic_model::{GeomagneticField, WarningZone};

use crate::geodesy::frame::Geodetic;

/// Which north an azimuth is counted from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NorthKind {
    /// Magnetic north.
    Magnetic,
    /// True (geodetic) north.
    True,
    /// Grid north.
    Grid,
}

/// Declination of a place and date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModelDeclination {
    /// True minus magnetic azimuth in radians, east positive.
    pub declination_rad: f64,
    /// Standard error in radians.
    pub sigma_rad: f64,
    /// Horizontal field in nT.
    pub horizontal_field_nt: f64,
    /// The weak-field zone of the model, if any.
    pub zone: Option<WeakField>,
}

/// The zones where a compass is of little or no use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeakField {
    /// Horizontal field below 6000 nT.
    Caution,
    /// Horizontal field below 2000 nT.
    Blackout,
}

/// The model has no value.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NorthError {
    /// The date is outside the models.
    #[error(
        "the World Magnetic Models built in cover {FIRST_YEAR}-01-01 to {LAST_YEAR}-12-31, not {date}; \
         write the declination of that date in degrees: declination = -1.5 under [north]"
    )]
    Date {
        /// The date asked for.
        date: Date,
    },
    /// The place is outside the model, or the model refuses it.
    #[error("the World Magnetic Model has no value at latitude {lat_deg}, longitude {lon_deg}, height {height_m} m")]
    Place {
        /// Latitude in degrees.
        lat_deg: f64,
        /// Longitude in degrees.
        lon_deg: f64,
        /// Height above the ellipsoid in metres.
        height_m: f64,
    },
}

/// First year of the models built in.
pub const FIRST_YEAR: i16 = 2020;
/// Last year of the models built in.
pub const LAST_YEAR: i16 = 2029;

/// The model in force at a date, as it is named.
pub fn model_name(date: Date) -> &'static str {
    if date.year() < 2025 { "WMM2020" } else { "WMM2025" }
}

/// Declination by the World Magnetic Model at a WGS 84 position and a date.
///
/// # Errors
/// When the date or the place is outside the model.
pub fn declination(at: &Geodetic, date: Date) -> Result<ModelDeclination, NorthError> {
    if !(FIRST_YEAR..=LAST_YEAR).contains(&date.year()) {
        return Err(NorthError::Date { date });
    }
    let lat_deg = at.lat_rad.to_degrees();
    // The crate takes longitudes of -180° to 180°.
    let lon_deg = (at.lon_rad.to_degrees() + 180.0).rem_euclid(360.0) - 180.0;
    let place = || NorthError::Place { lat_deg, lon_deg, height_m: at.ellipsoid_height_m };
    let day =
        time::Date::from_ordinal_date(date.year().into(), date.day_of_year() as u16).map_err(|_| NorthError::Date { date })?;
    let field = GeomagneticField::new(
        Length::new::<meter>(at.ellipsoid_height_m as f32),
        Angle::new::<degree>(lat_deg as f32),
        Angle::new::<degree>(lon_deg as f32),
        day,
    )
    .map_err(|_| place())?;
    let declination_deg = f64::from(field.declination().get::<degree>());
    if !declination_deg.is_finite() {
        return Err(place());
    }
    Ok(ModelDeclination {
        declination_rad: declination_deg.to_radians(),
        sigma_rad: f64::from(field.declination_uncertainty().get::<degree>()).to_radians(),
        horizontal_field_nt: f64::from(field.h().get::<nanotesla>()),
        zone: field.declination_warning().map(|zone| match zone {
            WarningZone::CautionZone => WeakField::Caution,
            WarningZone::BlackoutZone => WeakField::Blackout,
        }),
    })
}

/// Yearly change of the declination in radians a year, from two dates in the same model about a
/// year apart around the given one.
///
/// # Errors
/// As [`declination`].
pub fn yearly_change_rad(at: &Geodetic, date: Date) -> Result<f64, NorthError> {
    if !(FIRST_YEAR..=LAST_YEAR).contains(&date.year()) {
        return Err(NorthError::Date { date });
    }
    // Inside the five years of one model the field is linear in time.
    let (first, last) = if date.year() < 2025 { (2020, 2024) } else { (2025, 2029) };
    let out_of_range = || NorthError::Date { date };
    let from = Date::new(first, 1, 1).map_err(|_| out_of_range())?.max(date - jiff::Span::new().days(183));
    let to = Date::new(last, 12, 31).map_err(|_| out_of_range())?.min(date + jiff::Span::new().days(183));
    let days = (to - from).get_days();
    let change = declination(at, to)?.declination_rad - declination(at, from)?.declination_rad;
    // Near a pole the declination may pass ±180° between the two dates.
    let change = (change + std::f64::consts::PI).rem_euclid(2.0 * std::f64::consts::PI) - std::f64::consts::PI;
    Ok(change * 365.25 / f64::from(days))
}
