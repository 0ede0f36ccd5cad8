//! The command line: one file a command, each with its help, its arguments and its run.
//!
//! Exit status: 0 done (held rows are announced); 1 failed, nothing written; 2 wrong usage; 3 done, but nothing was
//! mapped, or rows were held and `--strict` was given. Nothing that a program in Rust would want lives here.

mod argument;
mod assess;
mod calibrate;
mod check;
mod compare;
mod completions;
mod fold;
mod init;
mod man;
mod map;
mod north;
mod plan;
mod progress;
mod schema;
mod signals;
mod ways_on;

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

use crate::job::Job;
use crate::output::report::styled;
use crate::records::shown;
use crate::units::{AngleShown, LengthShown, Units};

/// Turns laser rangefinder shots from GNSS bases into finished map layers.
///
/// Joins a crew's shots (azimuth, inclination, distance) with the base positions they were taken
/// from, computes coordinates and heights with their uncertainty, and writes layers for desktop GIS
/// with an account of every input row. Mapping grade; not a licensed survey.
#[derive(Debug, Parser)]
#[command(name = "standoff", version, after_help = EXAMPLES, propagate_version = true)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

const EXAMPLES: &str = "Examples:
  standoff init bases.csv shots.csv > job.toml   look at the logs, write a starter job
  standoff check job.toml                        read and compute, write nothing
  standoff map job.toml                          write the layers
  standoff north --lat 58.6 --lon -2.9 --date 2026-05-04 --crs EPSG:32630

Exit status: 0 done, 1 failed (nothing written), 2 wrong usage, 3 done, but nothing was mapped, or rows were held under
--strict.";

#[derive(Debug, Subcommand)]
enum Command {
    Map(map::Args),
    Check(check::Args),
    Calibrate(calibrate::Args),
    Assess(assess::Args),
    Compare(compare::Args),
    North(north::Args),
    Plan(plan::Args),
    Init(init::Args),
    Schema(schema::Args),
    Completions(completions::Args),
    Man(man::Args),
}

/// The units of what a command prints and draws, for commands that may have a job.
#[derive(Debug, clap::Args)]
struct CommandUnits {
    /// Unit of lengths in what is printed and drawn; JSON stays in metres [default: that of the job, or m]
    #[arg(long, value_name = "UNIT", value_enum)]
    length: Option<LengthShown>,
    /// Unit of angles likewise; JSON stays in degrees [default: that of the job, or deg]
    #[arg(long, value_name = "UNIT", value_enum)]
    angle: Option<AngleShown>,
}

impl CommandUnits {
    /// Those asked for, else the job's, else metres and degrees.
    fn units(&self, job: Option<&Job>) -> Units {
        let of_job = job.map(|job| job.units).unwrap_or_default();
        // Areas and volumes go with the length, where the job does not say otherwise.
        Units { length: self.length.unwrap_or(of_job.length), angle: self.angle.unwrap_or(of_job.angle), ..of_job }
    }
}

/// Columns of the terminal that is written to; what is no terminal is as wide as it is asked for.
fn columns() -> usize {
    columns_of(terminal_size::terminal_size_of(std::io::stdout()))
}

fn columns_of(terminal: Option<(terminal_size::Width, terminal_size::Height)>) -> usize {
    terminal.map_or(usize::MAX, |(columns, _)| usize::from(columns.0))
}

/// Says on standard error, no wider than its terminal.
fn say(text: &str) {
    anstream::eprintln!("{}", fold::folded(text, columns_of(terminal_size::terminal_size_of(std::io::stderr()))));
}

/// What a command came to.
enum CommandOutcome {
    /// Done.
    Done,
    /// Done, and that is no success: nothing was mapped, or rows were held that were to be none.
    Wanting,
}

/// What writes all rows of a table that is too long for a page.
const WRITES_ALL: &str = "--out writes them all";
/// What lists all of what is too much for a terminal.
const LISTS_ALL: &str = "--json lists all";

/// A failure that is told in one message.
type Failure = Box<dyn std::error::Error>;

/// The page of the documentation that each command's help names.
pub const PAGES: [(&str, &str); 11] = [
    ("map", "docs/what-comes-out.md"),
    ("check", "docs/my-log.md"),
    ("calibrate", "docs/how-sure.md"),
    ("assess", "docs/how-sure.md"),
    ("compare", "docs/how-sure.md"),
    ("north", "docs/heights-and-datums.md"),
    ("plan", "docs/how-sure.md"),
    ("init", "docs/my-log.md"),
    ("schema", "docs/in-the-gis.md"),
    ("completions", "docs/README.md"),
    ("man", "docs/README.md"),
];

/// The command line as clap knows it, for completions, the man page and tests.
pub fn command() -> clap::Command {
    PAGES.iter().fold(Cli::command(), |command, (name, page)| {
        command.mut_subcommand(*name, |command| {
            let help = command.get_after_help().map(|help| format!("\n\n{help}")).unwrap_or_default();
            command.after_help(format!("More in {page}{help}"))
        })
    })
}

/// Runs the program.
pub fn main() -> ExitCode {
    crate::geodesy::crs::seclude_gdal();
    signals::clean_up_before_the_end();
    let cli = match Cli::from_arg_matches(&command().get_matches()) {
        Ok(cli) => cli,
        Err(error) => error.exit(),
    };
    let done = match cli.command {
        Command::Map(args) => map::run(args),
        Command::Check(args) => check::run(args),
        Command::Calibrate(args) => calibrate::run(&args),
        Command::Assess(args) => assess::run(args),
        Command::Compare(args) => compare::run(args),
        Command::North(args) => north::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Init(args) => init::run(&args),
        Command::Schema(args) => schema::run(&args),
        Command::Completions(args) => completions::run(&args),
        Command::Man(args) => man::run(&args),
    };
    match done {
        Ok(CommandOutcome::Done) => ExitCode::SUCCESS,
        Ok(CommandOutcome::Wanting) => ExitCode::from(3),
        Err(failure) => {
            let red = anstyle::AnsiColor::Red.on_default().bold();
            say(&format!("{red}error:{red:#} {}{}", shown::message(&failure.to_string()), ways_on::options(failure.as_ref())));
            ExitCode::from(1)
        }
    }
}

/// Writes a page to a file that is none of those that were read.
fn write_page(path: &Path, html: &str, inputs: &[PathBuf]) -> Result<(), Failure> {
    if inputs.iter().any(|input| crate::review::assess::is_same_file(path, input)) {
        return Err(format!("--report {} is a file that is read; name another", path.display()).into());
    }
    std::fs::write(path, html).map_err(|error| format!("{}: writing the page: {error}", path.display()).into())
}

/// Prints to standard output, no wider than its terminal. Nothing in the text is obeyed by a terminal.
fn print(text: &str) -> Result<(), Failure> {
    put(&fold::folded(&shown::visible_lines(text), columns()))
}

/// Prints what a program reads, line by line as it is.
fn print_as_is(text: &str) -> Result<(), Failure> {
    put(&shown::visible_lines(text))
}

/// Prints JSON to standard output, likewise.
fn print_json(json: String) -> Result<(), Failure> {
    put(&shown::visible_json(json))
}

/// Prints a job file, its comments no wider than the terminal. What JSON escapes so does TOML.
fn print_job(job: String) -> Result<(), Failure> {
    put(&fold::folded_job(&shown::visible_json(job), columns()))
}

/// Prints text with styles: what the words of logs in it would do to a terminal was taken out where it was made.
fn print_styled(text: &str) -> Result<(), Failure> {
    put(&fold::folded(&styled::plain_but_styles(text), columns()))
}

fn put(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        // A reader that has seen enough closes the pipe; that is no failure.
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        done => Ok(done?),
    }
}
