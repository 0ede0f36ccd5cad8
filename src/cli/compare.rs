//! `standoff compare`: the same features mapped twice.

use std::path::PathBuf;

use super::argument::above_zero_m;
use super::{CommandOutcome, Failure, LISTS_ALL, WRITES_ALL, print, print_json, write_page};
use crate::review::assess::is_same_file;
use crate::review::compare::{self, CompareRequest, page, report, write};
use crate::units::{LengthShown, Units};

/// What changed between two mappings of the same features, and what uncertainty explains.
///
/// Matches the points of both by the feature's name or by distance, and tests each difference east, north and up against the uncertainty of both
/// together, at 5 % for all tests together (Holm). Features are marked moved, rose or sank, or as without significant change; those in one
/// mapping alone are listed. Measured values, lines and areas of both files are compared too. A datum error of one whole mapping
/// cannot be seen. Holds both layers in memory.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The earlier mapping: a GeoPackage, or any other file of points with its fields
    #[arg(value_name = "A")]
    a: PathBuf,
    /// The later mapping
    #[arg(value_name = "B")]
    b: PathBuf,
    /// Name of the layer in both files [default: features in a GeoPackage, else the only one of points]
    #[arg(long, value_name = "NAME")]
    layer: Option<String>,
    /// Field of the names in both layers [default: feature]
    #[arg(long, value_name = "FIELD", conflicts_with = "within")]
    field: Option<String>,
    /// Match by distance: points no farther apart than this, where each has but one such neighbour
    #[arg(long, value_name = "METRES", value_parser = above_zero_m, allow_hyphen_values = true)]
    within: Option<f64>,
    /// When B was fixed, a year with its fraction, where the way between two datums depends on it
    #[arg(long, value_name = "YEAR")]
    epoch: Option<f64>,
    /// Write the changes as lines from A to B: a GeoPackage, or a folder for changes.gpkg
    #[arg(long, value_name = "DIR|FILE.gpkg")]
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
  standoff compare 2025/bluff.gpkg 2026/bluff.gpkg
  standoff compare spring.gpkg autumn.gpkg --within 1.5 --out changes.gpkg
  standoff compare crew1.geojson crew2.geojson --field tag --json";

/// Runs the command.
pub fn run(args: Args) -> Result<CommandOutcome, Failure> {
    if is_same_file(&args.a, &args.b) {
        return Err(format!("{} and {} are one file; name two mappings", args.a.display(), args.b.display()).into());
    }
    let units = Units { length: args.length, ..Units::default() };
    let inputs = [args.a.clone(), args.b.clone()];
    let found = compare::compare(&CompareRequest {
        a: args.a,
        b: args.b,
        layer: args.layer,
        field: args.field,
        within_m: args.within,
        epoch: args.epoch,
        units,
    })?;
    if let Some(out) = &args.out {
        write::write(&found, out)?;
    }
    if let Some(path) = &args.report {
        write_page(path, &page::html(&found, units, WRITES_ALL), &inputs)?;
    }
    match args.json {
        true => print_json(serde_json::to_string_pretty(&found)? + "\n")?,
        false => print(&report::text(&found, &units, LISTS_ALL)?)?,
    }
    Ok(CommandOutcome::Done)
}
