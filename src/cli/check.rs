//! `standoff check`: the whole computation, nothing written.

use std::path::PathBuf;

use super::map::{look, outcome};
use super::{CommandOutcome, Failure, print_styled, progress};
use crate::job;
use crate::output::report::styled::HELD;
use crate::output::report::{bases, held, terminal};
use crate::output::write::Discard;
use crate::run;

/// Read, join, reduce and audit a job's logs; write nothing but the page that is asked for.
///
/// Prints the counts and notes that `map` would give, and a line for each base; with --bases a block for each, which says where it is from
/// and how good it is; then the values of what was measured and what needs a decision: held rows by reason, equal sentences together with
/// their rows, and flags. Values are shown also where layers will be coarse.
/// Memory: as `map`, and the held rows.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  standoff check job.toml")]
pub struct Args {
    /// The job file, or - for standard input
    #[arg(value_name = "JOB.toml")]
    job: PathBuf,
    /// Print each base in a block: where it is from, its heights, its north
    #[arg(long)]
    bases: bool,
    /// Print the values of all measured things, not the first of each kind alone
    #[arg(long)]
    values: bool,
    /// Exit with status 3 where rows are held
    #[arg(long)]
    strict: bool,
    /// Write the page of the job to a file, as `map` writes it beside the layers
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
}

const PRIVATE: &str =
    "the catalogue keeps places coarse, and what follows shows where the crew stood; keep it as private as the logs";

/// Runs the command.
pub fn run(args: Args) -> Result<CommandOutcome, Failure> {
    let mut job = job::load(&args.job)?;
    let mut sink = match &args.report {
        Some(_) => Discard::with_page(),
        None => {
            job.layers = Discard::layers_for(&job);
            Discard::default()
        }
    };
    let bar = progress::bar(false);
    let mut account = run::run(&job, &mut sink, &|done, total| bar.update(done, total))?;
    account.notes.extend(sink.note()?);
    bar.clear();
    if let (Some(path), Some(page)) = (&args.report, sink.page(&account)?) {
        std::fs::write(path, page).map_err(|error| format!("{}: writing the page: {error}", path.display()))?;
    }
    if sink.keeps_places_coarse {
        print_styled(&format!("{HELD}exact places:{HELD:#} {PRIVATE}\n"))?;
    }
    print_styled(&terminal::opening(&account, &job.units))?;
    let told = if args.bases { bases::blocks } else { bases::lines };
    print_styled(&told(&account.stations, &job.units))?;
    print_styled(&terminal::ending(&account, &look(&job, args.values), &held::rows(&sink.held)))?;
    Ok(outcome(&account, args.strict))
}
