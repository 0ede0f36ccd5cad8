//! Every command that the program knows has a test file of its name, a place in the README, help with
//! an example, and a page of the manual.

use crate::support;

use std::path::Path;

use support::*;

/// What the repository is held to lists no fewer than these.
const AT_LEAST: usize = 7;

fn commands() -> Vec<clap::Command> {
    let commands: Vec<clap::Command> = standoff::cli::command().get_subcommands().cloned().collect();
    assert!(commands.len() >= AT_LEAST, "{} commands", commands.len());
    commands
}

#[test]
fn every_command_has_a_test_file_and_a_place_in_the_readme() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = read(&root.join("README.md"));
    for command in commands() {
        let name = command.get_name();
        let tests = root.join("tests").join(format!("{name}.rs"));
        assert!(tests.exists(), "the command {name} has no tests/{name}.rs");
        assert!(read(&tests).contains("#[test]"), "{}", tests.display());
        assert!(readme.contains(&format!("`standoff {name}`")), "README.md does not mention `standoff {name}`");
    }
}

#[test]
fn every_command_has_help_with_an_example_that_the_program_takes() {
    for command in commands() {
        let name = command.get_name();
        let help = standoff(Path::new("."), &[name, "--help"]).exits(0);
        assert_eq!(help.err, "");
        assert!(help.out.contains("\nUsage: standoff "), "{}", help.out);
        let examples: Vec<&str> = help.out.lines().skip_while(|line| !line.starts_with("Example")).skip(1).collect();
        assert!(!examples.is_empty(), "help of {name} has no example:\n{}", help.out);
        for example in examples.iter().filter(|line| line.starts_with("  standoff")) {
            // A redirection is the shell's.
            let words = words(example.split(['>', '|']).next().unwrap());
            assert_eq!(words[1], name, "{example}");
            let parsed = standoff::cli::command().try_get_matches_from(&words);
            assert!(parsed.is_ok(), "{example}: {}", parsed.unwrap_err());
        }
    }
}

/// The words of a command line, in which only double quotes quote.
fn words(line: &str) -> Vec<String> {
    line.split('"')
        .enumerate()
        .flat_map(
            |(i, part)| if i % 2 == 1 { vec![part.to_owned()] } else { part.split_whitespace().map(str::to_owned).collect() },
        )
        .collect()
}

#[test]
fn the_command_line_is_consistent() {
    standoff::cli::command().debug_assert();
}

#[test]
fn without_a_command_the_program_shows_its_commands_and_fails_as_wrong_usage() {
    let ran = standoff(Path::new("."), &[]).exits(2);
    assert_eq!(ran.out, "");
    for command in commands() {
        let is_listed = ran.err.lines().any(|line| line.trim_start().starts_with(command.get_name()));
        assert!(is_listed, "{} is not listed in\n{}", command.get_name(), ran.err);
    }
    let help = standoff(Path::new("."), &["--help"]).exits(0);
    let help = help.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let statuses = "Exit status: 0 done, 1 failed (nothing written), 2 wrong usage, 3 done, but nothing was mapped, or rows were held under --strict.";
    assert!(help.contains(statuses), "{help}");
}

#[test]
fn an_unknown_command_is_wrong_usage_with_the_nearest_one() {
    let ran = standoff(Path::new("."), &["mapp", "job.toml"]).exits(2);
    assert_eq!(
        ran.err,
        "error: unrecognized subcommand 'mapp'\n\n  tip: some similar subcommands exist: 'man', 'map'\n\n\
         Usage: standoff <COMMAND>\n\nFor more information, try '--help'.\n"
    );
}

#[test]
fn the_version_is_that_of_the_package() {
    let ran = standoff(Path::new("."), &["--version"]).exits(0);
    assert_eq!(ran.out, format!("standoff {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn the_help_of_every_command_names_a_page_that_is_there_and_speaks_of_it() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for command in commands() {
        let name = command.get_name();
        let help = standoff(Path::new("."), &[name, "--help"]).exits(0).out;
        let page = help.lines().find_map(|line| line.strip_prefix("More in ")).unwrap_or_else(|| panic!("{name}: {help}"));
        let text = read(&root.join(page));
        let index = page.ends_with("README.md");
        assert!(index || text.contains(&format!("standoff {name}")), "{page} does not speak of standoff {name}");
    }
}
