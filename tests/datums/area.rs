//! Positions outside the area that the CRS of the layers is meant for, and outside what it can express.

use super::field;

#[test]
fn a_base_outside_the_area_is_flagged_and_told() {
    let run = field("EPSG:4979", "EPSG:25832", &[("A", 46.1, 8.9, 500.0), ("B", 46.0, 20.0, 100.0)]).map();
    assert_eq!(run.base_column("flags"), ["", "outside_area"]);
    assert_eq!(run.mapped(), 2);
    let warning = "WARNING: 1 of 2 bases lies outside the area that the job or the CRS of the layers is meant for. Is the CRS \
        right, and are latitude and longitude?";
    assert_eq!(run.summary["notes"][0], warning);
    assert!(String::from_utf8_lossy(&run.output.stdout).contains("WARNING: 1 of 2 bases"));
}

/// 90° from the central meridian the projection has no image of the equator.
#[test]
fn a_base_that_the_projection_cannot_express_is_held_and_its_shots() {
    let run =
        field("EPSG:4979", "EPSG:25832", &[("A", 46.1, 8.9, 500.0), ("B", 0.0, 99.0, 100.0), ("C", 46.2, 8.9, 500.0)]).map();
    assert_eq!(run.base_column("base"), ["A", "C"]);
    assert_eq!(run.column("base"), ["A", "C"]);
    assert_eq!(run.base_column("shots"), ["1", "1"]);
    let no_image = "the position has no image in the CRS of the layers";
    let held: Vec<_> = run.held.iter().map(|row| [0, 1, 2, 5].map(|i| row[i].as_str())).collect();
    assert_eq!(held[0], ["bases.csv", "3", "not_projected", no_image]);
    assert_eq!(held.len(), 2);
    assert_eq!((held[1][0], held[1][1]), ("shots.csv", "3"));
    assert!(held[1][3].contains(no_image), "{}", held[1][3]);
    // With no other base there is nothing to map.
    let message = field("EPSG:4979", "EPSG:32632", &[("B", 0.0, 99.0, 100.0)]).refusal();
    assert_eq!(message, format!("no base can be used: the only row was held; the first: {no_image}"));
}

/// Far from the area PROJ finds no step between datums: not to be taken for a want of `allow_ballpark`.
#[test]
fn bases_that_all_lie_elsewhere_are_told_as_such() {
    let message = |lat_deg, lon_deg| field("EPSG:4979", "EPSG:25832", &[("A", lat_deg, lon_deg, 500.0)]).refusal();
    let say = |place: &str| {
        format!(
            "crs: no base lies in the area that the job or ETRS89 / UTM zone 32N (EPSG:25832) is meant for; the first, A, \
             lies at {place}"
        )
    };
    let (swapped, lost) = ("with latitude and longitude swapped it would lie inside", "with the other sign it would lie inside");
    assert_eq!(message(8.9, 46.1), say(&format!("latitude 8.900, longitude 46.100: {swapped}")));
    assert_eq!(message(-46.1, 8.9), say(&format!("latitude -46.100, longitude 8.900: {lost}")));
    let far = say("latitude 10.000, longitude 99.000: is the CRS right, and are latitude and longitude?");
    assert_eq!(message(10.0, 99.0), far);
    // ETRS89 has an area of its own, which WGS 84 has not.
    let message = |lat_deg, lon_deg| field("EPSG:4937", "EPSG:25832", &[("A", lat_deg, lon_deg, 500.0)]).refusal();
    for (lat_deg, lon_deg, hint) in [(8.9, 46.1, swapped), (-46.1, 8.9, lost), (10.0, 99.0, "look at latitude and longitude")] {
        let message = message(lat_deg, lon_deg);
        assert!(message.starts_with("bases.crs: the only base lies far outside the area that ETRS89 (EPSG:4937)"), "{message}");
        assert!(
            message.contains(&format!("latitude {lat_deg:.3}, longitude {lon_deg:.3}")) && message.contains(hint),
            "{message}"
        );
    }
}
