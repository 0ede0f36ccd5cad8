//! The example of `docs/heights-and-datums.md`, run as it stands there.

use super::support::{self, standoff};

/// The text between the fences of a page, in their order, with what follows the opening one.
fn fenced(page: &str) -> Vec<(String, String)> {
    let mut blocks = Vec::new();
    let mut open: Option<(String, String)> = None;
    for line in page.lines() {
        match (line.strip_prefix("```"), &mut open) {
            (Some(kind), None) => open = Some((kind.to_owned(), String::new())),
            (Some(_), Some(_)) => blocks.extend(open.take()),
            (None, Some((_, text))) => *text += &format!("{line}\n"),
            (None, None) => {}
        }
    }
    blocks
}

#[test]
fn the_example_of_the_page_gives_what_the_page_says() {
    let page = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/docs/heights-and-datums.md")).unwrap();
    let blocks = fenced(&page);
    let kinds: Vec<&str> = blocks.iter().map(|(kind, _)| kind.as_str()).collect();
    assert_eq!(kinds, ["csv", "csv", "toml", "text"]);
    let folder = tempfile::tempdir().unwrap();
    for (name, (_, text)) in ["bases.csv", "shots.csv", "job.toml"].into_iter().zip(&blocks) {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let out = standoff(folder.path(), &["check", "job.toml", "--bases"]).exits(0).out;
    for line in blocks[3].1.lines() {
        assert!(out.lines().any(|printed| printed == line), "the page has \"{line}\", the program says:\n{out}");
    }
    // 1 m of the datum's step beside the bases' own 2.5 m.
    standoff(folder.path(), &["map", "job.toml", "--format", "csv", "--quiet"]).exits(0);
    let bases = support::table(&folder.path().join("two-sites-layers/csv/two-sites.bases.csv"));
    assert!(bases.iter().all(|base| base["sigma_datum_m"] == "1"));
}
