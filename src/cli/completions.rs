//! `standoff completions`: shell completions, from the commands themselves.

use clap_complete::Shell;

use super::{CommandOutcome, Failure, print_as_is};

/// Print the completions of a shell.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  standoff completions bash > ~/.local/share/bash-completion/completions/standoff")]
pub struct Args {
    /// The shell
    #[arg(value_enum)]
    shell: Shell,
}

/// Runs the command.
pub fn run(args: &Args) -> Result<CommandOutcome, Failure> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut super::command(), "standoff", &mut text);
    print_as_is(&String::from_utf8_lossy(&text))?;
    Ok(CommandOutcome::Done)
}
