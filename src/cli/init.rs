//! `standoff init`: looks at logs and writes a starter job file.

use std::io::{BufReader, IsTerminal};
use std::path::PathBuf;

use super::{CommandOutcome, Failure, print_job, say};
use crate::intake::guess;

/// Look at logs and write a starter job file on standard output.
///
/// Finds which logs are of bases and which of shots, the separator, the decimal sign, the header, and what the columns
/// seem to mean by their words (in twelve languages) and values, each with its reason in a comment. What cannot be known from a
/// log (which north, which kind of height, what an accuracy means) is marked with ??, and the job refuses to run until a person
/// has put the answer there; --ask asks for each on the terminal. Nothing is written but the job's text.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  standoff init bases.csv monday.csv tuesday.csv > job.toml\n  standoff init --ask survey.xlsx > job.toml"
)]
pub struct Args {
    /// Logs of bases and of shots, in any order
    #[arg(value_name = "LOG", required = true)]
    logs: Vec<PathBuf>,
    /// Ask the open questions one after the other on the terminal
    #[arg(long)]
    ask: bool,
}

/// Runs the command.
pub fn run(args: &Args) -> Result<CommandOutcome, Failure> {
    let draft = guess::draft(&args.logs)?;
    let job = if args.ask && std::io::stdin().is_terminal() {
        let asked = draft.ask_all(&mut BufReader::new(std::io::stdin()), &mut std::io::stderr());
        asked.map_err(|error| format!("the terminal cannot be read: {error}"))?
    } else {
        if args.ask {
            say("--ask needs a terminal to ask on; what is open is marked with ?? in the job");
        }
        draft.text()
    };
    print_job(job)?;
    Ok(CommandOutcome::Done)
}
