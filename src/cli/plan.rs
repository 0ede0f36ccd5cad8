//! `standoff plan`: what an instrument and a receiver can be expected to give, before the field.

use std::path::PathBuf;

use super::argument::{ArgumentError, between, number};
use super::{CommandOutcome, CommandUnits, Failure, columns, print_json, print_styled, write_page};
use crate::field::plan::errors::{PlanErrors, Sigma};
use crate::field::plan::height::SightedObject;
use crate::field::plan::report::{PlanReport, PlanRequest};
use crate::field::plan::{REACH_M, chart, page, sheet};
use crate::job::{self, Job};
use crate::units::{AngleShown, LengthShown, LengthUnit};

/// Expected uncertainty over distance and inclination, and how far to stand off.
///
/// From the standard errors of an instrument and a receiver: a table of the 95 % radius of the
/// position and the 95 % interval of the height; with a tolerance, the farthest standoff that meets
/// it; with an object's height, the standoff at which its height is measured best; what dominates,
/// and what to improve. Computed as `standoff map` computes it. What is not given is assumed, and the
/// plan says so. Lengths are given in metres, or with ft or usft behind the number in feet: 6ft. Mapping grade.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// Take the instrument, the bases' standard errors and the north settings of a job; its logs must be there
    #[arg(long, value_name = "JOB.toml")]
    job: Option<PathBuf>,
    /// The job's instrument, where it has several
    #[arg(long, value_name = "NAME", requires = "job")]
    instrument: Option<String>,
    /// Standard error of a distance, in metres [default: 0.3]
    #[arg(long, value_name = "METRES", value_parser = metres, help_heading = "Standard errors")]
    sigma_distance: Option<f64>,
    /// Part of it that grows with distance, in parts per million [default: 0]
    #[arg(long, value_name = "PPM", value_parser = ppm, help_heading = "Standard errors")]
    sigma_distance_ppm: Option<f64>,
    /// Standard error of one azimuth reading, in degrees [default: 1]
    #[arg(long, value_name = "DEGREES", value_parser = degrees, help_heading = "Standard errors")]
    sigma_azimuth: Option<f64>,
    /// Standard error of one inclination reading, in degrees [default: 0.25]
    #[arg(long, value_name = "DEGREES", value_parser = degrees, help_heading = "Standard errors")]
    sigma_inclination: Option<f64>,
    /// Standard error of the declination, in degrees; the magnetic model's own, which standoff north prints, is 0.3 to 0.45
    /// away from the magnetic poles; 0 for azimuths from true or grid north [default: 0.5]
    #[arg(long, value_name = "DEGREES", value_parser = degrees, help_heading = "Standard errors")]
    sigma_declination: Option<f64>,
    /// Standard error of a compass bias that all shots of a base share, in degrees [default: 0]
    #[arg(long, value_name = "DEGREES", value_parser = degrees, help_heading = "Standard errors")]
    sigma_orientation: Option<f64>,
    /// Standard error of each horizontal axis of the base, in metres [default: 2.5]
    #[arg(long, value_name = "METRES", value_parser = metres, help_heading = "Standard errors")]
    sigma_base: Option<f64>,
    /// Standard error of the base's height, in metres [default: 5]
    #[arg(long, value_name = "METRES", value_parser = metres, help_heading = "Standard errors")]
    sigma_base_height: Option<f64>,
    /// Slope distances of the table in metres, with commas between [default: 10,25,50,100,200,500; where the plan is in feet
    /// 30,75,150,300,600,1500 of these]
    #[arg(long, value_name = "METRES", value_delimiter = ',', value_parser = distance)]
    distances: Vec<f64>,
    /// Inclinations of the table in degrees, up positive, with commas between [default: 0,10,30,60; where the plan is in gons
    /// 0,10,35,70 of these]
    #[arg(long, value_name = "DEGREES", value_delimiter = ',', value_parser = inclination, allow_hyphen_values = true)]
    inclinations: Vec<f64>,
    /// Tolerance of the position: radius in metres that is to hold the point with 95 % probability
    #[arg(long, value_name = "METRES", value_parser = above_zero)]
    tolerance: Option<f64>,
    /// Tolerance of a height: half of its 95 % interval, in metres
    #[arg(long, value_name = "METRES", value_parser = above_zero)]
    height_tolerance: Option<f64>,
    /// Plan the measurement of a height by a distance and the inclinations of foot and top: about how high, in metres
    #[arg(long, value_name = "METRES", value_parser = above_zero)]
    object_height: Option<f64>,
    /// How far the foot lies below the instrument, in metres; negative where it lies above
    #[arg(long, value_name = "METRES", value_parser = signed, default_value_t = 1.5, allow_hyphen_values = true)]
    below: f64,
    /// Standard error of an index error that both inclinations share, in degrees
    #[arg(long, value_name = "DEGREES", value_parser = degrees, default_value_t = 0.0)]
    sigma_index: f64,
    /// Write a chart of uncertainty over distance as SVG
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    #[command(flatten)]
    shown: CommandUnits,
    /// Write a page for any browser, in one file
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    /// Print the plan as JSON
    #[arg(long)]
    json: bool,
}

const EXAMPLES: &str = "Examples:
  standoff plan
  standoff plan --sigma-azimuth 0.5 --sigma-base 0.4 --sigma-base-height 0.8 --tolerance 2
  standoff plan --object-height 20 --height-tolerance 0.5
  standoff plan --length ft --tolerance 6ft --distances 100ft,300ft
  standoff plan --job job.toml --distances 20,40,80 --inclinations=-30,0 --svg plan.svg";

/// A length in metres; in feet where the number says so.
fn length(text: &str, least_m: f64) -> Result<f64, ArgumentError> {
    let text = text.trim();
    let digits = text.trim_end_matches(|c: char| c.is_ascii_alphabetic());
    let unit = match &text[digits.len()..] {
        "" | "m" => LengthUnit::Metre,
        "ft" => LengthUnit::Foot,
        "usft" => LengthUnit::UsSurveyFoot,
        _ if digits.is_empty() => return Err(ArgumentError::NotANumber),
        other => return Err(ArgumentError::UnknownUnit(other.to_owned())),
    };
    between(unit.to_metres(number(digits)?), least_m, REACH_M, " metres")
}

fn metres(text: &str) -> Result<f64, ArgumentError> {
    length(text, 0.0)
}

fn signed(text: &str) -> Result<f64, ArgumentError> {
    length(text, -REACH_M)
}

fn degrees(text: &str) -> Result<f64, ArgumentError> {
    between(number(text)?, 0.0, 180.0, " degrees")
}

fn ppm(text: &str) -> Result<f64, ArgumentError> {
    between(number(text)?, 0.0, 1e6, " parts per million")
}

fn inclination(text: &str) -> Result<f64, ArgumentError> {
    between(number(text)?, -90.0, 90.0, " degrees")
}

fn above_zero(text: &str) -> Result<f64, ArgumentError> {
    match metres(text)? {
        value if value >= 0.001 => Ok(value),
        _ => Err(ArgumentError::TooShort),
    }
}

fn distance(text: &str) -> Result<f64, ArgumentError> {
    above_zero(text)
}

/// Slope distances that are round in a unit, in metres.
fn round_distances_m(shown: LengthShown) -> Vec<f64> {
    let of = |unit: LengthUnit, numbers: [f64; 6]| numbers.map(|number| unit.to_metres(number)).to_vec();
    const FEET: [f64; 6] = [30.0, 75.0, 150.0, 300.0, 600.0, 1500.0];
    match shown {
        LengthShown::M => of(LengthUnit::Metre, [10.0, 25.0, 50.0, 100.0, 200.0, 500.0]),
        LengthShown::Ft => of(LengthUnit::Foot, FEET),
        LengthShown::Usft => of(LengthUnit::UsSurveyFoot, FEET),
    }
}

/// Inclinations that are round in a unit, in degrees: 400 gons are 360 degrees.
fn round_inclinations_deg(shown: AngleShown) -> Vec<f64> {
    match shown {
        AngleShown::Deg => vec![0.0, 10.0, 30.0, 60.0],
        AngleShown::Gon => [0.0, 10.0, 35.0, 70.0].map(|gons| gons * 0.9).to_vec(),
    }
}

/// Values in their order, without repeats.
fn each_once(values: &[f64]) -> Vec<f64> {
    let mut kept: Vec<f64> = Vec::with_capacity(values.len());
    for value in values {
        if !kept.contains(value) {
            kept.push(*value);
        }
    }
    kept
}

impl Args {
    fn request(&self, job: Option<&Job>) -> Result<PlanRequest, Failure> {
        let (mut errors, title) = match job {
            Some(job) => (PlanErrors::from_job(job, self.instrument.as_deref())?, job.title.clone()),
            None => (PlanErrors::assumed(), None),
        };
        errors.names_for_base = ["--sigma-base", "--sigma-base-height"];
        let units = self.shown.units(job);
        for (given, sigma) in [
            (self.sigma_distance, &mut errors.sigma_distance_m),
            (self.sigma_distance_ppm, &mut errors.sigma_distance_ppm),
            (self.sigma_azimuth, &mut errors.sigma_azimuth_deg),
            (self.sigma_inclination, &mut errors.sigma_inclination_deg),
            (self.sigma_declination, &mut errors.sigma_declination_deg),
            (self.sigma_orientation, &mut errors.sigma_orientation_deg),
            (self.sigma_base, &mut errors.sigma_base_horizontal_m),
            (self.sigma_base_height, &mut errors.sigma_base_height_m),
        ] {
            if let Some(value) = given {
                *sigma = Sigma::given(value);
            }
        }
        let object = |object_height_m| SightedObject { object_height_m, below_m: self.below, sigma_index_deg: self.sigma_index };
        Ok(PlanRequest {
            title,
            errors,
            distances_m: if self.distances.is_empty() { round_distances_m(units.length) } else { each_once(&self.distances) },
            inclinations_deg: match self.inclinations.is_empty() {
                true => round_inclinations_deg(units.angle),
                false => each_once(&self.inclinations),
            },
            tolerance_m: self.tolerance,
            height_tolerance_m: self.height_tolerance,
            object: self.object_height.map(object),
        })
    }
}

/// Runs the command.
pub fn run(args: &Args) -> Result<CommandOutcome, Failure> {
    let job = args.job.as_deref().map(job::load).transpose()?;
    let request = args.request(job.as_ref())?;
    let units = args.shown.units(job.as_ref());
    let report = PlanReport::new(&request);
    if let Some(path) = &args.report {
        let inputs: Vec<PathBuf> = args.job.iter().cloned().collect();
        write_page(path, &page::html(&request, &report, units), &inputs)?;
    }
    if let Some(path) = &args.svg {
        std::fs::write(path, chart::svg(&request, &units))
            .map_err(|error| format!("{}: cannot be written: {error}", path.display()))?;
    }
    match args.json {
        true => print_json(report.to_json()?)?,
        false => print_styled(&sheet::text(&report, &units, columns()))?,
    }
    Ok(CommandOutcome::Done)
}
