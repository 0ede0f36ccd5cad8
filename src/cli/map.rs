//! `standoff map`: a job's logs to layers.

use std::path::{Path, PathBuf};

use super::{CommandOutcome, Failure, columns, print_as_is, print_styled, progress, say};
use crate::intake::columns::LogKind;
use crate::intake::log::Log;
use crate::intake::sheets;
use crate::intake::text::Text;
use crate::job::{self, Format, Heights, Job, LayerName, LogFormat};
use crate::numeric::words::grouped;
use crate::output::contract::Account;
use crate::output::edits::Edits;
use crate::output::report::styled::{HELD, WRONG};
use crate::output::report::values::ValuesShown;
use crate::output::report::{summary::Summary, terminal};
use crate::output::write::{Output, page_name};
use crate::records::shown::visible;
use crate::run;

/// Write the map layers of a job.
///
/// The job file names the logs, their columns, the instrument and the CRS. Logs whose headers are
/// the canonical names need none: give --bases, --shots, --crs and --out. The output folder appears
/// whole or not at all, and takes the place of a former output that nobody added to or changed. JOB.toml is - for
/// standard input. Memory: the text of the logs, and about 60 bytes for each shot.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The job file
    #[arg(value_name = "JOB.toml", required_unless_present = "bases", conflicts_with_all = ["bases", "shots", "crs", "bases_crs"])]
    job: Option<PathBuf>,
    /// Base log with canonical headers, in place of a job file (repeatable)
    #[arg(long, value_name = "FILE", requires_all = ["shots", "crs", "out"])]
    bases: Vec<PathBuf>,
    /// Shot log with canonical headers (repeatable)
    #[arg(long, value_name = "FILE", requires = "bases")]
    shots: Vec<PathBuf>,
    /// CRS of the layers, such as EPSG:32630
    #[arg(long, value_name = "CRS", requires = "bases")]
    crs: Option<String>,
    /// CRS of the base positions [default: EPSG:4979 for latitudes and longitudes, else --crs]
    #[arg(long, value_name = "CRS", requires = "bases")]
    bases_crs: Option<String>,
    /// Height of the instrument's axis over the base's ground point in metres, where the shots do not have it
    #[arg(long, value_name = "M", requires = "bases", allow_negative_numbers = true)]
    instrument_height: Option<f64>,
    /// Height of the sighted spot over the feature's ground point in metres, where the shots do not have it
    #[arg(long, value_name = "M", requires = "bases", allow_negative_numbers = true)]
    target_height: Option<f64>,
    /// Height of a receiver's antenna over the ground point in metres, where the bases do not have it
    #[arg(long, value_name = "M", requires = "bases", allow_negative_numbers = true)]
    antenna_height: Option<f64>,
    /// Output folder, in place of the job's
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Replace a former output though something was added to it or changed in it since
    #[arg(long)]
    replace: bool,
    /// Carry over what was edited in the GeoPackage of a former run: names, codes, attributes, deletions; edits.csv lists each
    #[arg(long, value_name = "OLD.gpkg")]
    keep_edits: Option<PathBuf>,
    /// Format to write (repeatable), in place of the job's
    #[arg(long, value_name = "FORMAT", value_enum)]
    format: Vec<Format>,
    /// Catalogue of feature codes, in place of the job's
    #[arg(long, value_name = "FILE")]
    catalogue: Option<PathBuf>,
    /// Write the exact places of layers that the catalogue keeps coarse; not for passing on
    #[arg(long)]
    exact_places: bool,
    /// Layers to write, with commas between, in place of the job's
    #[arg(long, value_name = "LAYER", value_enum, value_delimiter = ',')]
    layers: Vec<LayerName>,
    /// Write the drawings of the page as SVG files, too: sections, elevations, piles, heights
    #[arg(long)]
    drawings: bool,
    /// Print the values of all measured things, not the first of each kind alone
    #[arg(long)]
    values: bool,
    /// Exit with status 3 where rows were held
    #[arg(long)]
    strict: bool,
    /// Threads to compute with [default: one for each processor]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    threads: Option<u16>,
    /// Say nothing but errors and held rows
    #[arg(long, short)]
    quiet: bool,
    /// Print the summary as JSON on standard output
    #[arg(long)]
    json: bool,
}

const EXAMPLES: &str = "Examples:
  standoff map job.toml
  standoff map job.toml --format shp --format gpkg --out layers
  standoff map --bases b.csv --shots s.csv --crs EPSG:32630 --out layers --target-height 0";

/// Letters of a folder's name that files are named after.
const MOST_NAME: usize = 100;

impl Args {
    fn job(&self) -> Result<Job, Failure> {
        let mut job = match (&self.job, &self.crs) {
            (Some(path), _) => job::load(path)?,
            (None, Some(crs)) => self.plain_job(crs)?,
            (None, None) => return Err("name a job file, or --bases, --shots, --crs and --out".into()),
        };
        if let Some(out) = &self.out {
            job.out = Some(out.clone());
        }
        if !self.format.is_empty() {
            job.formats = self.format.clone();
        }
        if let Some(catalogue) = &self.catalogue {
            job.catalogue = Some(catalogue.clone());
        }
        job.exact_places = self.exact_places;
        if !self.layers.is_empty() {
            job.layers = self.layers.clone();
        }
        Ok(job)
    }

    /// A job for logs with canonical headers.
    fn plain_job(&self, crs: &str) -> Result<Job, Failure> {
        let names = |paths: &[PathBuf]| paths.iter().map(|path| path.display().to_string()).collect::<Vec<_>>();
        let bases_crs = match &self.bases_crs {
            Some(named) => named.clone(),
            None if is_geographic(&self.bases)? => "EPSG:4979".to_owned(),
            None => crs.to_owned(),
        };
        let name = self.out.as_ref().and_then(|out| out.file_name()).map(|name| name.to_string_lossy().into_owned());
        let name: String = name
            .unwrap_or_default()
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() || c == '-' || c == '_' { c } else { '_' })
            .collect();
        let name = match name {
            _ if name.is_empty() => "standoff".to_owned(),
            _ if job::is_device_name(&name) => format!("{name}_"),
            name => name.chars().take(MOST_NAME).collect(),
        };
        let heights = Heights {
            instrument_height_m: self.instrument_height,
            target_height_m: self.target_height,
            antenna_height_m: self.antenna_height,
            ..Heights::default()
        };
        let job = Job::builder(name).crs(crs).bases(names(&self.bases), bases_crs).shots(names(&self.shots));
        Ok(job.with(|job| job.heights = heights).build()?)
    }
}

/// Whether the first base log gives latitudes.
fn is_geographic(logs: &[PathBuf]) -> Result<bool, Failure> {
    let Some(first) = logs.first() else { return Ok(false) };
    let name = first.display().to_string();
    let logs = sheets::logs(first, &name, LogKind::Bases, &LogFormat::default())?;
    let is_geographic = |(text, format): (Text, LogFormat)| -> Result<bool, Failure> {
        Ok(Log::read_bases(text, &name, &format)?.has_latitudes())
    };
    logs.into_iter().next().map_or(Ok(false), is_geographic)
}

/// Runs the command.
pub fn run(args: Args) -> Result<CommandOutcome, Failure> {
    // Before the first log is looked at: reading starts the threads.
    if let Some(threads) = args.threads {
        rayon::ThreadPoolBuilder::new().num_threads(threads.into()).build_global()?;
    }
    let job = args.job()?;
    let out = job.out.clone().unwrap_or_else(|| PathBuf::from(format!("{}-layers", job.name)));
    let edits = args.keep_edits.as_deref().map(Edits::read).transpose()?;
    let mut output = Output::new(&out, args.replace)?.with_drawings(args.drawings).keeping(edits);
    let bar = progress::bar(args.quiet);
    let account = run::run(&job, &mut output, &|done, total| bar.update(done, total))?;
    bar.clear();
    let mut json = String::new();
    let (place, account) = output.commit(&account, |account, extents, files| {
        json = Summary::new(&job, account, extents, files).to_json()?;
        Ok(json.clone())
    })?;
    let printed = if args.json {
        print_as_is(&json)
    } else if !args.quiet {
        let page = place.join(page_name(&job.name)).display().to_string();
        let place = place.display().to_string();
        let look = look(&job, args.values);
        let told =
            format!("{}{}", terminal::opening(&account, &look.units), terminal::ending(&account, &look, &Default::default()));
        print_styled(&format!("{told}page     {}\nwritten  {}\n", visible(&page), visible(&place)))
    } else {
        Ok(())
    };
    // A closed pipe does not keep this back.
    announce(&account, &place, args.quiet || args.json);
    printed?;
    Ok(outcome(&account, args.strict))
}

/// How values are shown on the terminal.
pub(super) fn look(job: &Job, all: bool) -> ValuesShown {
    ValuesShown { units: job.units, columns: columns(), all, shows_all: "--values shows all" }
}

/// Nothing mapped is no success, whatever was asked about held rows.
pub(super) fn outcome(account: &Account, strict: bool) -> CommandOutcome {
    match account.nothing_mapped().is_some() || (strict && account.held_total() > 0) {
        true => CommandOutcome::Wanting,
        false => CommandOutcome::Done,
    }
}

/// Says on standard error what must not be missed; `alone`: nothing else says it.
fn announce(account: &Account, place: &Path, alone: bool) {
    if let Some(why) = account.nothing_mapped().filter(|_| alone) {
        let red = WRONG;
        say(&format!("{red}warning:{red:#} {}", visible(&why)));
    }
    let held = account.held_total();
    if held > 0 {
        let yellow = HELD;
        let rows = if held == 1 { "row was" } else { "rows were" };
        say(&format!(
            "{yellow}held:{yellow:#} {} {rows} set aside; see {}",
            grouped(held),
            visible(&place.join("held.csv").display().to_string())
        ));
    }
}
