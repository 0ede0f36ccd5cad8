//! `standoff assess`: a finished layer against check points.

use std::path::PathBuf;

use super::argument::above_zero_m;
use super::{CommandOutcome, Failure, LISTS_ALL, WRITES_ALL, print, print_json, write_page};
use crate::review::assess::{self, AssessRequest, page, report};
use crate::units::{LengthShown, Units};

/// A finished layer against check points: errors, accuracy by public standards, honesty of its uncertainties.
///
/// Check points are points with better known coordinates that took no part in the mapping. Matches them with the layer by name or by distance,
/// and prints the errors by axis and radially, the figures of the US national standard and of the ASPRS with what is not met of them, errors
/// far from the others, and the share of errors inside their stated 95 % ellipses. Reads only; holds both files in memory.
///
/// The check points: CSV or a point layer with the headers name, lat_deg and lon_deg or east_m and north_m, and where known
/// ellipsoid_height_m, orthometric_height_m, sigma_horizontal_m (of each axis) and sigma_vertical_m.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The layer: a GeoPackage, or any other file of points with its fields
    #[arg(value_name = "LAYER")]
    file: PathBuf,
    /// The check points
    #[arg(long, value_name = "FILE")]
    check: PathBuf,
    /// Name of the layer in the file [default: features in a GeoPackage, else the only one of points]
    #[arg(long, value_name = "NAME")]
    layer: Option<String>,
    /// CRS of the check points [default: that of the layer]
    #[arg(long, value_name = "CRS")]
    check_crs: Option<String>,
    /// When the check points were fixed, a year with its fraction, where the way between two datums depends on it
    #[arg(long, value_name = "YEAR")]
    check_epoch: Option<f64>,
    /// Header of the check points' names [default: name, feature or shot]
    #[arg(long, value_name = "HEADER")]
    check_name: Option<String>,
    /// Field of the layer that has the check points' names [default: feature, then shot]
    #[arg(long, value_name = "FIELD", conflicts_with = "within")]
    field: Option<String>,
    /// Match by distance: points no farther apart than this, where each has but one such neighbour
    #[arg(long, value_name = "METRES", value_parser = above_zero_m, allow_hyphen_values = true)]
    within: Option<f64>,
    /// Write the error of each point as CSV
    #[arg(long, value_name = "FILE.csv")]
    out: Option<PathBuf>,
    /// Unit of lengths in what is printed and in the page; JSON and CSV stay in metres
    #[arg(long, value_name = "UNIT", value_enum, default_value_t = LengthShown::M)]
    length: LengthShown,
    /// Write a page for any browser, in one file
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

const EXAMPLES: &str = "Examples:
  standoff assess layers/skerrow.gpkg --check points.csv
  standoff assess layers/skerrow.gpkg --check points.csv --within 2 --out errors.csv
  standoff assess trees.geojson --check survey.csv --check-crs EPSG:4979 --field tree --json";

/// Runs the command.
pub fn run(args: Args) -> Result<CommandOutcome, Failure> {
    if let Some(out) = &args.out
        && [&args.file, &args.check].into_iter().any(|input| assess::is_same_file(out, input))
    {
        return Err(format!("--out {} is a file that is read; name another", out.display()).into());
    }
    let units = Units { length: args.length, ..Units::default() };
    let inputs = [args.file.clone(), args.check.clone()];
    let found = assess::assess(&AssessRequest {
        file: args.file,
        layer: args.layer,
        checks: args.check,
        check_crs: args.check_crs,
        check_name: args.check_name,
        check_epoch: args.check_epoch,
        field: args.field,
        within_m: args.within,
        units,
    })?;
    if let Some(out) = &args.out {
        let bytes = report::errors_csv(&found.point_errors)?;
        std::fs::write(out, bytes).map_err(|error| format!("{}: cannot be written: {error}", out.display()))?;
    }
    if let Some(path) = &args.report {
        write_page(path, &page::html(&found, units, WRITES_ALL), &inputs)?;
    }
    match args.json {
        true => print_json(serde_json::to_string_pretty(&found)? + "\n")?,
        false => print(&report::text(&found, units.length(), LISTS_ALL)?)?,
    }
    Ok(CommandOutcome::Done)
}
