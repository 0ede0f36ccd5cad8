//! The folder of reference values itself: each file says where its values come from, is read by a test, and has the rows that its
//! README counts.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

/// Files of the folder with their texts, by name.
fn tables() -> BTreeMap<String, String> {
    let folder = root().join("tests/reference");
    let names = fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let data = names.filter(|name| [".csv", ".tsv", ".txt"].iter().any(|ending| name.ends_with(ending)));
    data.map(|name| (name.clone(), fs::read_to_string(folder.join(&name)).unwrap())).collect()
}

/// Counts of the README's table, by file.
fn counted() -> BTreeMap<String, usize> {
    let readme = fs::read_to_string(root().join("tests/reference/README.md")).unwrap();
    let rows = readme.lines().filter_map(|line| line.strip_prefix("| `")?.split_once("` | "));
    rows.map(|(name, rest)| (name.to_owned(), rest.split(' ').next().unwrap().replace(',', "").parse().unwrap())).collect()
}

/// All Rust sources below a folder, as one text.
fn sources(folder: &Path, into: &mut String) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            into.push_str(&fs::read_to_string(&path).unwrap());
        }
    }
}

#[test]
fn every_table_is_counted_and_read() {
    let mut code = String::new();
    ["src", "tests"].iter().for_each(|folder| sources(&root().join(folder), &mut code));
    let (tables, counted) = (tables(), counted());
    assert_eq!(tables.keys().collect::<Vec<_>>(), counted.keys().collect::<Vec<_>>(), "the README lists what lies beside it");
    for (name, text) in &tables {
        let rows = match name.rsplit('.').next() {
            Some("csv") if text.starts_with('#') => text.lines().filter(|line| !line.starts_with('#')).count(),
            Some("csv") => csv::Reader::from_reader(text.as_bytes()).records().map(Result::unwrap).count(),
            Some("txt") => text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')).count(),
            _ => text.lines().count(),
        };
        assert_eq!(rows, counted[name], "rows of {name}");
        let stem = name.split('.').next().unwrap();
        let drawn = name.replace("101", "{seed}").replace("102", "{seed}");
        assert!(code.contains(&format!("\"{stem}\"")) || code.contains(name) || code.contains(&drawn), "no test reads {name}");
    }
}

#[test]
fn every_table_names_its_source() {
    for (name, text) in tables() {
        assert!(!text.contains("np."), "{name} has a number as a library prints it");
        let script = root().join("tests/reference").join(Path::new(&name).with_extension("py"));
        let first = text.lines().next().unwrap();
        if first.starts_with('#') {
            let head: String = text.lines().take_while(|line| line.starts_with('#')).collect();
            assert!(name.ends_with(".txt") || head.contains("Source: "), "{name}");
        } else if !script.exists() {
            let mut reader = csv::Reader::from_reader(text.as_bytes());
            let source = reader.headers().unwrap().iter().position(|header| header == "source");
            let source = source.unwrap_or_else(|| panic!("{name} has no column source"));
            for (i, record) in reader.records().enumerate() {
                let said = record.unwrap()[source].trim().to_owned();
                assert!(said.len() > 8, "row {} of {name} says \"{said}\" of its source", i + 1);
                assert!(!said.contains("exact-string search"), "row {} of {name}: a source that cannot be found again", i + 1);
            }
        }
    }
}

/// The worked examples that the tests of the network solve, and no other.
#[test]
fn every_worked_example_is_solved() {
    let text = &tables()["least_squares.csv"];
    let examples: std::collections::BTreeSet<&str> = text.lines().skip(1).map(|line| line.split(',').next().unwrap()).collect();
    let mut code = String::new();
    sources(&root().join("tests/adjustment"), &mut code);
    assert!(examples.len() == 7 && examples.iter().all(|example| code.contains(&format!("\"{example}\""))), "{examples:?}");
}
