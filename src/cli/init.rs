//! `standoff init`: looks at delimited logs and writes a starter job file.

use std::path::PathBuf;

use super::{Failure, Outcome, print_json};
use crate::intake::guess;

/// Look at delimited logs and write a starter job file on standard output.
///
/// Finds the separator, the decimal sign and what the headers seem to mean, each with its reason in
/// a comment. What cannot be known from a log (which north, which kind of height, which unit) is
/// marked with ??, and the job refuses to run until a person has put the answer there. The logs'
/// first lines are read; nothing is written but the job's text.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  standoff init bases.csv monday.csv tuesday.csv > job.toml")]
pub struct Args {
    /// Logs of bases and of shots, in any order
    #[arg(value_name = "LOG", required = true)]
    logs: Vec<PathBuf>,
}

/// Runs the command.
pub fn run(args: &Args) -> Result<Outcome, Failure> {
    // What JSON escapes so does TOML.
    print_json(guess::starter_job(&args.logs)?)?;
    Ok(Outcome::Done)
}
