//! What the program is built from: licences that may be shipped, sources that can be fetched again, no second copy of a C library.
//!
//! Advisories are not among it: they need the RustSec database of the day, which a checkout without a network has not.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

use serde_json::Value;

/// Licences that ask for no more than their notice (and some not for that).
const ALLOWED: [&str; 13] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Packages without an expression: GDAL's own text, which is that of MIT with those of what it bundles.
const OWN_TEXT: [&str; 1] = ["gdal-src"];

/// Where packages may come from.
const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

/// Not to be had on a bare machine, or another build of a library that is linked in already.
const BANNED: [&str; 4] = ["openssl-sys", "native-tls", "curl-sys", "libz-ng-sys"];

/// Whether an SPDX expression can be met by allowed licences alone. A slash, as older manifests have it, is an `OR`.
fn is_allowed(expression: &str) -> bool {
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    let allowed = either(&words, &mut at);
    allowed && at == words.len()
}

fn either(words: &[&str], at: &mut usize) -> bool {
    let mut allowed = both(words, at);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        allowed |= both(words, at);
    }
    allowed
}

fn both(words: &[&str], at: &mut usize) -> bool {
    let mut allowed = one(words, at);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        allowed &= one(words, at);
    }
    allowed
}

fn one(words: &[&str], at: &mut usize) -> bool {
    let Some(word) = words.get(*at) else {
        *at = words.len() + 1;
        return false;
    };
    *at += 1;
    if *word == "(" {
        let allowed = either(words, at);
        let closes = words.get(*at) == Some(&")");
        *at += 1;
        return allowed && closes;
    }
    if words.get(*at) == Some(&"WITH") {
        *at += 2;
        return words.get(*at - 1).is_some_and(|exception| ALLOWED.contains(&format!("{word} WITH {exception}").as_str()));
    }
    ALLOWED.contains(word)
}

#[test]
fn expressions_are_read_as_they_are_meant() {
    for allowed in [
        "MIT",
        "MIT/Apache-2.0",
        "LGPL-2.1-or-later OR MIT",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception",
    ] {
        assert!(is_allowed(allowed), "{allowed}");
    }
    for refused in [
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "(MIT AND LGPL-2.1) OR GPL-2.0",
        "Apache-2.0 WITH Classpath-exception-2.0",
        "",
        "MIT OR",
        "(MIT",
        "MIT)",
    ] {
        assert!(!is_allowed(refused), "{refused}");
    }
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The packages that are built on this machine, with their licences.
fn built() -> Vec<(String, Value)> {
    let version = Command::new("rustc").arg("-vV").output().unwrap();
    let version = String::from_utf8(version.stdout).unwrap();
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let arguments = ["metadata", "--locked", "--offline", "--format-version", "1", "--filter-platform", host];
    let ran = Command::new(cargo).args(arguments).current_dir(root()).output().unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let metadata: Value = serde_json::from_slice(&ran.stdout).unwrap();
    let packages = metadata["packages"].as_array().unwrap().iter();
    packages.map(|package| (package["name"].as_str().unwrap().to_owned(), package["license"].clone())).collect()
}

/// Packages that tests look at the page with; nothing of them is built into it.
const LOOKED_AT_WITH: [(&str, &str); 1] = [("node_modules/axe-core", "MPL-2.0")];

#[test]
fn every_licence_may_be_shipped() {
    let packages = built();
    assert!(packages.len() > 150, "{}", packages.len());
    for (name, licence) in packages {
        match licence.as_str() {
            Some(expression) => assert!(is_allowed(expression), "{name}: {expression}"),
            None => assert!(OWN_TEXT.contains(&name.as_str()), "{name} states no licence"),
        }
    }
    let bundled = std::fs::read_to_string(root().join("report/dist/LICENCES.txt")).unwrap();
    for (name, _) in LOOKED_AT_WITH {
        assert!(!bundled.contains(name.trim_start_matches("node_modules/")), "{name} is in the page");
    }
    // The page's script, which is bundled: what is built into it, and what builds it.
    let lock: Value = serde_json::from_str(&std::fs::read_to_string(root().join("report/package-lock.json")).unwrap()).unwrap();
    for (name, package) in lock["packages"].as_object().unwrap().iter().filter(|(name, _)| !name.is_empty()) {
        let licence = package["license"].as_str().unwrap_or_else(|| panic!("{name} states no licence"));
        assert!(is_allowed(licence) || LOOKED_AT_WITH.contains(&(name.as_str(), licence)), "{name}: {licence}");
        assert!(package["integrity"].as_str().is_some_and(|hash| hash.starts_with("sha512-")), "{name}");
    }
}

#[test]
fn every_package_is_of_the_registry_with_its_hash_and_none_is_banned() {
    for lock in ["Cargo.lock", "fuzz/Cargo.lock"] {
        let lock: toml::Table = toml::from_str(&std::fs::read_to_string(root().join(lock)).unwrap()).unwrap();
        let mut versions: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for package in lock["package"].as_array().unwrap() {
            let of = |key: &str| package.get(key).and_then(toml::Value::as_str);
            let name = of("name").unwrap();
            versions.entry(name).or_default().insert(of("version").unwrap());
            assert!(!BANNED.contains(&name), "{name}");
            if name.starts_with("standoff") {
                assert_eq!(of("source"), None, "{name} is this repository's");
            } else {
                assert_eq!(of("source"), Some(REGISTRY), "{name}");
                assert!(of("checksum").is_some_and(|hash| hash.len() == 64), "{name}");
            }
        }
        // Two copies of a C library in one program do not know of each other.
        for (name, versions) in versions.iter().filter(|(name, _)| name.ends_with("-sys") || name.ends_with("-src")) {
            assert!(versions.len() == 1 || name.starts_with("windows"), "{name}: {versions:?}");
        }
    }
}
