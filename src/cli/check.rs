//! `standoff check`: the whole computation, nothing written.

use std::path::PathBuf;

use super::{Failure, Outcome, print, progress};
use crate::job::{self, LayerName};
use crate::output::report::{stations, terminal};
use crate::output::write::Discard;
use crate::run;

/// Read, join, reduce and audit a job's logs; write nothing but the page that is asked for.
///
/// Prints each base in a block that says where it is from, the held rows grouped by reason, with file and line, and the counts that `map` would give.
/// Memory: as `map`, and the held rows.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  standoff check job.toml")]
pub struct Args {
    /// The job file
    #[arg(value_name = "JOB.toml")]
    job: PathBuf,
    /// Exit with status 3 where rows are held
    #[arg(long)]
    strict: bool,
    /// Write the page of the job to a file, as `map` writes it beside the layers
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
}

/// Runs the command.
pub fn run(args: Args) -> Result<Outcome, Failure> {
    let mut job = job::load(&args.job)?;
    let mut sink = match &args.report {
        Some(_) => Discard::with_page(),
        None => {
            // Features alone run every stage.
            job.layers = vec![LayerName::Features];
            Discard::default()
        }
    };
    let bar = progress::bar(false);
    let account = run::run(&job, &mut sink, &|done, total| bar.update(done, total))?;
    bar.clear();
    if let (Some(path), Some(page)) = (&args.report, sink.page(&account)?) {
        std::fs::write(path, page).map_err(|error| format!("{}: writing the page: {error}", path.display()))?;
    }
    print(&stations::blocks(&account.stations))?;
    print(&terminal::held_rows(&sink.held))?;
    print(&terminal::account(&account))?;
    Ok(if args.strict && account.held_total() > 0 { Outcome::Held } else { Outcome::Done })
}
