//! A job with coarse layers: the page gives no exact place, and nothing that an exact place follows from.

use super::example;

/// The numbers of a text that have decimals.
fn numbers(text: &str) -> Vec<f64> {
    text.split(|sign: char| !sign.is_ascii_digit() && sign != '.' && sign != '-').filter_map(|word| word.parse().ok()).collect()
}

#[test]
fn a_page_of_coarse_layers_tells_no_exact_place() {
    let out = tempfile::tempdir().unwrap();
    let page = example("heron-lagoon", out.path());
    let data = page.split("id=\"data\">").nth(1).unwrap().split("</script>").next().unwrap();
    let data: serde_json::Value = serde_json::from_str(data).unwrap();
    // Nests are coarse, so neither sights nor uncertainties nor exact bases are anywhere.
    assert_eq!(data["sights"], false);
    for column in ["radius95", "major", "minor", "turn", "distance", "azimuth", "share_base", "share_direction", "share_distance"]
    {
        assert!(data["features"][column].is_null(), "{column} is withheld");
    }
    assert!(data["factor"].is_null());
    // The exact places, from a run for the crew's own use.
    let exact = out.path().join("exact");
    let ran = std::process::Command::new(env!("CARGO_BIN_EXE_standoff"))
        .args(["map", "examples/heron-lagoon/job.toml", "--exact-places", "--quiet", "--format", "csv", "--out"])
        .arg(&exact)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let origin: Vec<f64> = data["plane"]["origin"].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect();
    let said = numbers(&page);
    let mut looked_at = 0;
    for layer in ["nests", "bases"] {
        for file in std::fs::read_dir(exact.join("csv")).unwrap().map(|entry| entry.unwrap().path()) {
            if !file.to_string_lossy().ends_with(&format!(".{layer}.csv")) {
                continue;
            }
            for row in csv::Reader::from_path(&file).unwrap().deserialize::<std::collections::BTreeMap<String, String>>() {
                let row = row.unwrap();
                for (axis, name) in ["easting", "northing"].into_iter().enumerate() {
                    let exact: f64 = row[name].parse().unwrap();
                    // Neither as a coordinate nor as metres from the origin of the map.
                    for hidden in [exact, exact - origin[axis]] {
                        let near = said.iter().find(|number| (*number - hidden).abs() < 0.02 && hidden.abs() > 5.0);
                        assert_eq!(near, None, "{layer} {name} {exact}");
                    }
                    looked_at += 1;
                }
            }
        }
    }
    assert!(looked_at > 10, "{looked_at}");
}
