//! `standoff man`: the manual page, from the commands themselves.

use super::{CommandOutcome, Failure, print_as_is};

/// Print the manual page, of the program or of one command.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  standoff man map | man -l -")]
pub struct Args {
    /// A command; the program where left out
    command: Option<String>,
}

/// Runs the command.
pub fn run(args: &Args) -> Result<CommandOutcome, Failure> {
    let mut program = super::command();
    program.build();
    let page = match &args.command {
        None => program,
        Some(name) => {
            let found =
                program.find_subcommand(name).ok_or_else(|| format!("there is no command {name}; see standoff --help"))?;
            // `build` has given it the full name, `standoff map`, for its usage lines.
            found.clone().display_name(format!("standoff {name}"))
        }
    };
    let mut text = Vec::new();
    clap_mangen::Man::new(page).render(&mut text)?;
    print_as_is(&String::from_utf8_lossy(&text))?;
    Ok(CommandOutcome::Done)
}
