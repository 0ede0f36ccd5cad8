//! `standoff calibrate`: an instrument's corrections from calibration shots.

use std::path::PathBuf;

use clap::ValueEnum;

use super::argument::{ArgumentError, between, number};
use super::{CommandOutcome, CommandUnits, Failure, print, print_json, write_page};
use crate::field::calibrate::known_line::{JOINED_BY_MEASURED, KnownLine, Points, TAKEN_AS_EXACT};
use crate::field::calibrate::log::CalibrationRows;
use crate::field::calibrate::{CalibrationSettings, ReadingSigmas, calibrate, page, report};
use crate::geodesy::REFRACTION;
use crate::geodesy::frame::Geodetic;
use crate::geodesy::north::NorthKind;
use crate::job::{self, Instrument, Job, LogFormat};
use crate::units::{Hemispheres, parse_angle_deg};

/// An instrument's corrections from calibration shots, as lines for a job.
///
/// Rows with measure = known_line are over a line of known values, given by the options; two_way
/// (role forth, back) is one line from both ends; two_peg (role mid_a, mid_b, near_a, near_b) is two
/// marks from the middle and from beside one. Prints each correction with its standard error, the
/// residuals, and the lines to paste. Readings are taken as they stand, without a job's corrections.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, allow_negative_numbers = true)]
pub struct Args {
    /// Log of calibration shots, or - for standard input (repeatable)
    #[arg(value_name = "LOG", required = true)]
    logs: Vec<PathBuf>,
    /// A job whose [shots] tell how the log is written, and its instrument's standard errors
    #[arg(long, value_name = "JOB.toml")]
    job: Option<PathBuf>,
    /// The instrument, where the log or the job has several
    #[arg(long, value_name = "NAME")]
    instrument: Option<String>,
    /// Known slope distance, from the instrument's axis to the sighted spot
    #[arg(long, value_name = "METRES", value_parser = length, conflicts_with = "horizontal_distance")]
    distance: Option<f64>,
    /// Known horizontal distance
    #[arg(long, value_name = "METRES", value_parser = length)]
    horizontal_distance: Option<f64>,
    /// Known azimuth of the line
    #[arg(long, value_name = "DEG", value_parser = azimuth, requires = "azimuth_north")]
    azimuth: Option<f64>,
    /// Which north that azimuth is from: the same as the log's
    #[arg(long, value_name = "NORTH", value_enum, requires = "azimuth")]
    azimuth_north: Option<NorthArgument>,
    /// Known inclination, up positive, from the instrument's axis to the sighted spot
    #[arg(long, value_name = "DEG", value_parser = inclination, allow_hyphen_values = true)]
    inclination: Option<f64>,
    /// Known point under the instrument on WGS 84: latitude, longitude, height above the ellipsoid
    #[arg(long, value_name = "LAT,LON,H", value_parser = point, allow_hyphen_values = true, requires = "to",
        conflicts_with_all = ["distance", "horizontal_distance", "azimuth", "inclination"])]
    from: Option<Geodetic>,
    /// Known point that was sighted
    #[arg(long, value_name = "LAT,LON,H", value_parser = point, allow_hyphen_values = true, requires = "from")]
    to: Option<Geodetic>,
    /// Standard error of the known distance
    #[arg(long, value_name = "METRES", value_parser = sigma, default_value_t = 0.0)]
    sigma_distance: f64,
    /// Standard error of the known azimuth
    #[arg(long, value_name = "DEG", value_parser = sigma, default_value_t = 0.0)]
    sigma_azimuth: f64,
    /// Standard error of the known inclination
    #[arg(long, value_name = "DEG", value_parser = sigma, default_value_t = 0.0)]
    sigma_inclination: f64,
    /// Standard error of each coordinate of the known points
    #[arg(long, value_name = "METRES", value_parser = sigma, default_value_t = 0.0)]
    sigma_points: f64,
    /// Coefficient of refraction [default: that of the job's instrument, or 0.13]
    #[arg(long, value_name = "K", value_parser = refraction, allow_hyphen_values = true)]
    refraction: Option<f64>,
    /// Use repeats that lie far from the others too
    #[arg(long)]
    keep_all: bool,
    #[command(flatten)]
    shown: CommandUnits,
    /// Write a page for any browser, in one file
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

const EXAMPLES: &str = "Examples:
  standoff calibrate line.csv --distance 84.213 --azimuth 31.42 --azimuth-north true
  standoff calibrate line.csv --from 58.6,-2.9,61.2 --to 58.6007,-2.8995,63.0
  standoff calibrate two-way.csv --job job.toml --instrument old";

/// A north on the command line.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum NorthArgument {
    /// The meridian.
    True,
    /// The grid of a projected CRS.
    Grid,
    /// The compass.
    Magnetic,
}

fn length(text: &str) -> Result<f64, ArgumentError> {
    let metres = number(text)?;
    if metres > 0.0 { Ok(metres) } else { Err(ArgumentError::NoLength) }
}

fn sigma(text: &str) -> Result<f64, ArgumentError> {
    let value = number(text)?;
    if value >= 0.0 { Ok(value) } else { Err(ArgumentError::BelowZero) }
}

fn refraction(text: &str) -> Result<f64, ArgumentError> {
    between(number(text)?, -5.0, 5.0, "")
}

fn azimuth(text: &str) -> Result<f64, ArgumentError> {
    between(parse_angle_deg(text, Hemispheres::None)?, 0.0, 360.0, "")
}

fn inclination(text: &str) -> Result<f64, ArgumentError> {
    between(parse_angle_deg(text, Hemispheres::None)?, -90.0, 90.0, "")
}

fn point(text: &str) -> Result<Geodetic, ArgumentError> {
    let parts: Vec<&str> = text.split(',').collect();
    let [lat, lon, height] = parts.as_slice() else { return Err(ArgumentError::NoPoint) };
    Ok(Geodetic {
        lat_rad: between(parse_angle_deg(lat, Hemispheres::Latitude)?, -90.0, 90.0, "")?.to_radians(),
        lon_rad: between(parse_angle_deg(lon, Hemispheres::Longitude)?, -180.0, 180.0, "")?.to_radians(),
        ellipsoid_height_m: between(number(height)?, -10_000.0, 100_000.0, "")?,
    })
}

impl Args {
    fn line(&self) -> Result<KnownLine, Failure> {
        let points = match (self.from, self.to) {
            (Some(from), Some(to)) => {
                // Nearer than that the line has no direction worth the name.
                let apart = from.to_earth_centred(&crate::geodesy::frame::Ellipsoid::WGS84);
                let other = to.to_earth_centred(&crate::geodesy::frame::Ellipsoid::WGS84);
                let squares: f64 = apart.iter().zip(other).map(|(a, b)| (a - b).powi(2)).sum();
                if squares.sqrt() < 1.0 {
                    return Err("--from and --to are less than a metre apart; give the two ends of the line".into());
                }
                Some(Points { from, to, sigma_m: self.sigma_points })
            }
            _ => None,
        };
        let north = self.azimuth_north.map(|north| match north {
            NorthArgument::True => NorthKind::True,
            NorthArgument::Grid => NorthKind::Grid,
            NorthArgument::Magnetic => NorthKind::Magnetic,
        });
        Ok(KnownLine {
            slope_m: self.distance.map(|metres| (metres, self.sigma_distance)),
            horizontal_m: self.horizontal_distance.map(|metres| (metres, self.sigma_distance)),
            azimuth: self
                .azimuth
                .zip(north)
                .map(|(degrees, north)| (degrees.to_radians(), north, self.sigma_azimuth.to_radians())),
            inclination_rad: self.inclination.map(|degrees| (degrees.to_radians(), self.sigma_inclination.to_radians())),
            points,
        })
    }

    /// The job's instrument of that name, or its only one.
    fn instrument_of<'j>(&self, job: Option<&'j Job>) -> Option<&'j Instrument> {
        let job = job?;
        match (&job.instrument, &self.instrument) {
            (Some(one), _) => Some(one),
            (None, Some(name)) => job.instruments.get(name),
            (None, None) => job.instruments.values().next(),
        }
    }
}

/// Runs the command.
pub fn run(args: &Args) -> Result<CommandOutcome, Failure> {
    let job = args.job.as_deref().map(job::load).transpose()?;
    let table = report::table_name(job.as_ref(), args.instrument.as_deref())?;
    let instrument = args.instrument_of(job.as_ref());
    let format = job.as_ref().map_or_else(LogFormat::default, |job| job.shots.log.clone());
    let mut shots = CalibrationRows::default();
    for path in &args.logs {
        shots.read(path, &format)?;
    }
    let units = args.shown.units(job.as_ref());
    let settings = CalibrationSettings {
        line: args.line()?,
        refraction: args.refraction.or(instrument.map(|instrument| instrument.refraction)).unwrap_or(REFRACTION),
        assumed: instrument.map(ReadingSigmas::from).unwrap_or_default(),
        keep_all: args.keep_all,
        units,
    };
    let mut calibration = calibrate(shots.choose_instrument(args.instrument.as_deref())?, &settings)?;
    for note in calibration.findings.iter_mut().flat_map(|finding| &mut finding.notes) {
        match note.as_str() {
            TAKEN_AS_EXACT => note.push_str(" (an option --sigma-…)"),
            JOINED_BY_MEASURED => note.push_str(" (--inclination)"),
            _ => {}
        }
    }
    if let Some(path) = &args.report {
        write_page(path, &page::html(&calibration, &table, &units), &args.logs)?;
    }
    if args.json {
        print_json(serde_json::to_string_pretty(&report::json(&calibration, &table))? + "\n")?;
    } else {
        print(&report::text(&calibration, &table, &units, "--keep-all")?)?;
    }
    Ok(CommandOutcome::Done)
}
