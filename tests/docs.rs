//! The pages of the documentation: each is in the index, begins with its answer, and has examples that the program takes.

use crate::support;

use std::path::Path;

use support::*;

/// Pages whose examples are no commands of the program: one has Rust, which is compiled with the documentation, one the benchmark, one the
/// tests.
const WITHOUT: [&str; 4] = ["from-rust.md", "performance.md", "testing.md", "README.md"];

/// Lines within which a page has its first example.
const NEAR: usize = 30;

fn pages() -> Vec<String> {
    let pages: Vec<String> =
        names(&Path::new(env!("CARGO_MANIFEST_DIR")).join("docs")).into_iter().filter(|name| name.ends_with(".md")).collect();
    assert!(pages.len() > 10, "{pages:?}");
    pages
}

fn text(page: &str) -> String {
    read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("docs").join(page))
}

#[test]
fn every_page_is_in_the_index_and_begins_with_words() {
    let index = text("README.md");
    for page in pages().iter().filter(|page| *page != "README.md") {
        assert!(index.contains(&format!("]({page})")) || page == "performance.md", "{page} is not in docs/README.md");
        let text = text(page);
        let mut lines = text.lines().filter(|line| !line.trim().is_empty());
        assert!(lines.next().is_some_and(|line| line.starts_with("# ")), "{page}");
        let answer = lines.next().unwrap();
        assert!(answer.len() > 40 && !answer.starts_with(['#', '|', '-']), "{page}: {answer}");
    }
}

#[test]
fn the_commands_of_every_page_run_as_they_stand() {
    let folder = tempfile::tempdir().unwrap();
    let examples = folder.path().join("examples");
    std::fs::create_dir(&examples).unwrap();
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("examples"), &examples);
    for page in pages() {
        let text = text(&page);
        let lines: Vec<&str> = text.lines().filter_map(|line| line.strip_prefix("    standoff ")).collect();
        assert!(!lines.is_empty() || WITHOUT.contains(&page.as_str()), "{page} has no example");
        // It stands near the answer, not at the end of the page.
        let first = text.lines().position(|line| line.starts_with("    standoff "));
        assert!(first.is_none_or(|line| line < NEAR), "{page}: its first example stands in line {first:?}");
        for line in lines {
            let line = line.split(" #").next().unwrap().trim();
            let arguments: Vec<&str> = line.split_whitespace().collect();
            let ran = standoff(folder.path(), &arguments);
            assert_eq!(ran.status, Some(0), "{page}: standoff {line}\n{}{}", ran.out, ran.err);
        }
    }
}
