//! `standoff completions`: every command and option for every shell, in a form that the shell takes.

use crate::support;

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use support::*;

const SHELLS: [&str; 5] = ["bash", "elvish", "fish", "powershell", "zsh"];

fn completions(shell: &str) -> String {
    let ran = standoff(Path::new("."), &["completions", shell]).exits(0);
    assert_eq!(ran.err, "");
    ran.out
}

#[test]
fn every_shell_gets_every_command_and_option() {
    for shell in SHELLS {
        let text = completions(shell);
        for command in standoff::cli::command().get_subcommands() {
            assert!(text.contains(command.get_name()), "{shell} lacks {}", command.get_name());
            for option in command.get_opts().filter_map(|option| option.get_long()) {
                // Fish writes the name apart from its dashes.
                assert!(text.contains(option), "{shell} lacks --{option} of {}", command.get_name());
            }
        }
    }
}

#[test]
fn bash_and_zsh_take_them() {
    for shell in ["bash", "zsh"] {
        // -n reads commands and does not run them.
        let Ok(mut child) = Command::new(shell).arg("-n").stdin(Stdio::piped()).stderr(Stdio::piped()).spawn() else {
            left_out(&format!("there is no {shell} here"), true);
            continue;
        };
        child.stdin.take().unwrap().write_all(completions(shell).as_bytes()).unwrap();
        let output = child.wait_with_output().unwrap();
        assert!(output.status.success() && output.stderr.is_empty(), "{shell}: {}", String::from_utf8_lossy(&output.stderr));
    }
}

#[test]
fn bash_completes_a_command_and_a_format() {
    let complete = |words: &str| {
        let script = format!(
            "{}\nCOMP_WORDS=({words}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1))\n\
             _standoff standoff \"${{COMP_WORDS[COMP_CWORD]}}\" \"${{COMP_WORDS[COMP_CWORD - 1]}}\"\necho \"${{COMPREPLY[@]}}\"\n",
            completions("bash")
        );
        let output = Command::new("bash").args(["-c", &script]).output().expect("bash");
        String::from_utf8(output.stdout).unwrap().trim().to_owned()
    };
    for (words, completed) in
        [("standoff ma", "map man"), ("standoff map --format g", "gpkg geojson gpx"), ("standoff schema s", "summary")]
    {
        assert_eq!(complete(words), completed, "{words}");
    }
}

#[test]
fn an_unknown_shell_is_wrong_usage_that_lists_the_known_ones() {
    let ran = standoff(Path::new("."), &["completions", "tcsh"]).exits(2);
    assert_eq!(
        ran.err,
        "error: invalid value 'tcsh' for '<SHELL>'\n  [possible values: bash, elvish, fish, powershell, zsh]\n\n  \
         tip: a similar value exists: 'zsh'\n\n\
         For more information, try '--help'.\n"
    );
}
