//! `standoff check`: the whole computation, nothing written.

use std::path::PathBuf;

use super::{Failure, Outcome, print, progress};
use crate::job::{self, LayerName};
use crate::output::report::{held, stations, terminal};
use crate::output::write::Discard;
use crate::run;

/// Read, join, reduce and audit a job's logs; write nothing.
///
/// Prints the counts and notes that `map` would give, the held rows by reason, equal sentences together with their rows, and a line for
/// each base; with --bases a block for each, which says where it is from and how good it is. Values are shown also where layers will be
/// coarse.
/// Memory: as `map`, and the held rows.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  standoff check job.toml")]
pub struct Args {
    /// The job file
    #[arg(value_name = "JOB.toml")]
    job: PathBuf,
    /// Print each base in a block: where it is from, its heights, its north
    #[arg(long)]
    bases: bool,
    /// Exit with status 3 where rows are held
    #[arg(long)]
    strict: bool,
}

/// Runs the command.
pub fn run(args: Args) -> Result<Outcome, Failure> {
    let mut job = job::load(&args.job)?;
    // Features alone run every stage.
    job.layers = vec![LayerName::Features];
    let mut sink = Discard::default();
    let bar = progress::bar(false);
    let account = run::run(&job, &mut sink, &|done, total| bar.update(done, total))?;
    bar.clear();
    print(&terminal::account(&account))?;
    print(&held::rows(&sink.held))?;
    let bases = if args.bases { stations::blocks } else { stations::lines };
    print(&bases(&account.stations))?;
    Ok(if args.strict && account.held_total() > 0 { Outcome::Held } else { Outcome::Done })
}
