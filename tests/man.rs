//! `standoff man`: the manual page of the program and of each command.

use crate::support;

use std::path::Path;

use support::*;

fn page(arguments: &[&str]) -> String {
    let ran = standoff(Path::new("."), &[&["man"], arguments].concat()).exits(0);
    assert_eq!(ran.err, "");
    ran.out
}

/// Text as a reader sees it: roff's escapes of dashes and changes of font taken out.
fn plain(roff: &str) -> String {
    roff.replace("\\-", "-").replace("\\fB", "").replace("\\fI", "").replace("\\fR", "").replace("\\*(Aq", "'")
}

#[test]
fn the_page_of_the_program_names_it_and_lists_every_command() {
    let page = page(&[]);
    assert!(page.contains(".TH standoff 1"), "{page}");
    for section in [".SH NAME", ".SH SYNOPSIS", ".SH DESCRIPTION", ".SH OPTIONS", ".SH SUBCOMMANDS"] {
        assert!(page.contains(section), "no {section}");
    }
    let text = plain(&page);
    assert!(text.contains("standoff - Turns laser rangefinder shots from GNSS bases into finished map layers"), "{text}");
    for command in standoff::cli::command().get_subcommands() {
        assert!(text.contains(&format!("standoff-{}(1)", command.get_name())), "no {} in\n{text}", command.get_name());
    }
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("Exit status: 0 done, 1 failed (nothing written), 2 wrong usage, 3 done, but nothing was mapped, or rows were held under --strict.")
    );
}

#[test]
fn every_command_has_a_page_with_all_its_options_and_its_examples() {
    for command in standoff::cli::command().get_subcommands() {
        let name = command.get_name();
        let text = plain(&page(&[name]));
        assert!(text.contains(&format!("standoff {name} -")), "the page of {name} begins\n{}", &text[..300]);
        for option in command.get_opts() {
            let long = format!("--{}", option.get_long().unwrap());
            assert!(text.contains(&long), "the page of {name} lacks {long}");
            let help = option.get_help().unwrap().to_string();
            assert!(text.contains(help.split(" [").next().unwrap()), "the page of {name} lacks the text of {long}");
        }
        assert!(text.contains("Example"), "the page of {name} has no example");
        assert!(!text.contains("standoff standoff"), "{text}");
    }
}

#[test]
fn a_command_that_is_not_there_has_no_page() {
    standoff(Path::new("."), &["man", "mapp"]).fails("there is no command mapp; see standoff --help");
}
