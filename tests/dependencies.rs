//! What the page's script is built from: licences that may be shipped, packages that can be fetched again. Those of the program are held
//! to `deny.toml` (`make deny`).

use serde_json::Value;

/// Licences that ask for no more than their notice; `deny.toml` has those of the program.
const ALLOWED: [&str; 7] = ["Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT", "Zlib"];

/// Packages that tests look at the page with; nothing of them is built into it.
const LOOKED_AT_WITH: [(&str, &str); 1] = [("node_modules/axe-core", "MPL-2.0")];

#[test]
fn every_licence_of_the_page_may_be_shipped() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let bundled = std::fs::read_to_string(root.join("report/dist/LICENCES.txt")).unwrap();
    for (name, _) in LOOKED_AT_WITH {
        assert!(!bundled.contains(name.trim_start_matches("node_modules/")), "{name} is in the page");
    }
    // What is built into the page, and what builds it.
    let lock: Value = serde_json::from_str(&std::fs::read_to_string(root.join("report/package-lock.json")).unwrap()).unwrap();
    let packages = lock["packages"].as_object().unwrap();
    assert!(packages.len() > 10, "{}", packages.len());
    for (name, package) in packages.iter().filter(|(name, _)| !name.is_empty()) {
        let licence = package["license"].as_str().unwrap_or_else(|| panic!("{name} states no licence"));
        // Each licence of an expression with AND has to be met.
        let mut parts = licence.trim_matches(['(', ')']).split(" AND ");
        assert!(
            parts.all(|part| ALLOWED.contains(&part)) || LOOKED_AT_WITH.contains(&(name.as_str(), licence)),
            "{name}: {licence}"
        );
        assert!(package["integrity"].as_str().is_some_and(|hash| hash.starts_with("sha512-")), "{name}");
    }
}
