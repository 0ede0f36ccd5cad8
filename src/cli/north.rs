//! `standoff north`: what a crew writes on its sheet about the norths of a place.

use std::fmt::Write;

use jiff::civil::Date;

use super::argument::{ArgumentError, angle_within};
use super::{CommandOutcome, CommandUnits, Failure, print};
use crate::geodesy::crs::{ByPlace, Crs, OperationRules};
use crate::geodesy::frame::Geodetic;
use crate::geodesy::north::{self, WeakField};
use crate::units::{Hemispheres, Units};

/// Declination, convergence and scale of a place and date.
///
/// Declination by the World Magnetic Model with its standard error and yearly change; with --crs,
/// the grid's convergence and scale factor and the angle between grid and magnetic north.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  standoff north --lat 58.6 --lon -2.9 --date 2026-05-04\n  standoff north --lat \"58 36 00 N\" --lon \"2 54 W\" --date 2026-05-04 --crs EPSG:32630",
    allow_negative_numbers = true
)]
pub struct Args {
    /// Latitude on WGS 84: degrees, or degrees minutes seconds with N or S
    #[arg(long, value_parser = latitude, allow_hyphen_values = true)]
    lat: f64,
    /// Longitude on WGS 84: degrees, or degrees minutes seconds with E or W
    #[arg(long, value_parser = longitude, allow_hyphen_values = true)]
    lon: f64,
    /// Date, as 2026-05-04
    #[arg(long, value_parser = date)]
    date: Date,
    /// Height above the ellipsoid in metres
    #[arg(long, default_value_t = 0.0, value_name = "METRES")]
    height: f64,
    /// A projected CRS, for convergence and scale
    #[arg(long, value_name = "CRS")]
    crs: Option<String>,
    #[command(flatten)]
    shown: CommandUnits,
}

fn latitude(text: &str) -> Result<f64, ArgumentError> {
    angle_within(text, Hemispheres::Latitude, 90.0)
}

fn longitude(text: &str) -> Result<f64, ArgumentError> {
    angle_within(text, Hemispheres::Longitude, 180.0)
}

fn date(text: &str) -> Result<Date, ArgumentError> {
    text.parse().map_err(|_| ArgumentError::NoDate)
}

/// Runs the command.
pub fn run(args: &Args) -> Result<CommandOutcome, Failure> {
    let at = Geodetic { lat_rad: args.lat.to_radians(), lon_rad: args.lon.to_radians(), ellipsoid_height_m: args.height };
    let declination = north::declination(&at, args.date)?;
    let yearly = north::yearly_change_rad(&at, args.date)?;
    let mut text = String::new();
    let units = args.shown.units(None);
    let unit = units.angle().word();
    let (angle, height) = (units.angle(), units.length().told(args.height));
    writeln!(text, "place        {:.6} {:.6} (WGS 84), {height}, on {}", args.lat, args.lon, args.date)?;
    writeln!(
        text,
        "declination  {} (true minus magnetic azimuth), standard error {:.2} {unit}, {:+.3} {unit} a year; {}",
        signed(declination.declination_rad, &units),
        angle.value(declination.sigma_rad.to_degrees()),
        angle.value(yearly.to_degrees()),
        north::model_name(args.date)
    )?;
    match declination.zone {
        Some(WeakField::Caution) => {
            writeln!(
                text,
                "caution      the horizontal field is {:.0} nT, below 6000: compasses are unsure here",
                declination.horizontal_field_nt
            )?;
        }
        Some(WeakField::Blackout) => {
            writeln!(
                text,
                "caution      the horizontal field is {:.0} nT, below 2000: compasses are of no use here",
                declination.horizontal_field_nt
            )?;
        }
        None => {}
    }
    if let Some(definition) = &args.crs {
        let crs = Crs::new(definition)?;
        let geographic = crs.geographic_3d()?;
        let mut point = [[args.lon, args.lat, args.height]];
        let wgs84 = Crs::new("EPSG:4979")?;
        if !geographic.same_as(&wgs84) {
            // Metres of datum shift do not turn the grid.
            let rules = OperationRules { ballpark: true, missing_grids: true, ..OperationRules::default() };
            let ways = ByPlace::new(wgs84, crs.geographic_3d()?, rules, None);
            ways.at(args.lon, args.lat, point[0])?.apply(&mut point)?;
        }
        let (lon, lat) = (point[0][0] * geographic.unit_factor(), point[0][1] * geographic.unit_factor());
        let factors = crs
            .grid_factors(lon, lat)
            .ok_or_else(|| format!("{} has no grid here; name a projected CRS whose area of use holds the place", crs.label()))?;
        if crs.area_of_use().is_some_and(|area| !area.contains(args.lon, args.lat)) {
            writeln!(text, "caution      the place lies outside the area of use of {}", crs.label())?;
        }
        writeln!(text, "grid         {}", crs.label())?;
        writeln!(text, "convergence  {} (true minus grid azimuth)", signed(factors.convergence_rad, &units))?;
        writeln!(
            text,
            "scale        {:.6} (grid over ellipsoid, {:+.0} parts per million)",
            factors.scale,
            (factors.scale - 1.0) * 1e6
        )?;
        let grid_magnetic = declination.declination_rad - factors.convergence_rad;
        writeln!(
            text,
            "grid-magnetic angle  {} (grid azimuth = magnetic azimuth {:+.2} {unit})",
            signed(grid_magnetic, &units),
            angle.value(grid_magnetic.to_degrees())
        )?;
    }
    print(&text)?;
    Ok(CommandOutcome::Done)
}

/// An angle with the side in words, so that a slip of the sign shows.
fn signed(angle_rad: f64, units: &Units) -> String {
    let angle = units.angle();
    let shown = angle.value(angle_rad.to_degrees());
    format!("{shown:+.2} {} ({:.2} {})", angle.word(), shown.abs(), if shown < 0.0 { "west" } else { "east" })
}
