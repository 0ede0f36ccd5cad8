//! A field's title for people: its name as words, its unit in brackets.

/// The unit that a field's name ends with, as people write it.
const UNITS: [(&str, &str); 19] = [
    ("_usft2", "US survey ft²"),
    ("_usft3", "US survey ft³"),
    ("_ft2", "ft²"),
    ("_ft3", "ft³"),
    ("_yd3", "yd³"),
    ("_acre", "acres"),
    ("_ha", "ha"),
    ("_usft", "US survey ft"),
    ("_ft", "ft"),
    ("_m2", "m²"),
    ("_m3", "m³"),
    ("_m", "m"),
    ("_km", "km"),
    ("_deg", "°"),
    ("_gon", "gon"),
    ("_pct", "%"),
    ("_s", "s"),
    ("_ppm", "ppm"),
    ("_nt", "nT"),
];

/// The title of a field: `sigma_east_m` is "σ east (m)".
pub fn title_of(name: &str) -> String {
    let unit =
        UNITS.iter().find_map(|(ending, unit)| Some((name.strip_suffix(ending)?, *unit))).filter(|(stem, _)| !stem.is_empty());
    let (stem, unit) = unit.map_or((name, None), |(stem, unit)| (stem, Some(unit)));
    let words = words_of(stem);
    match unit {
        Some(unit) => format!("{words} ({unit})"),
        None => words,
    }
}

/// A name without its unit, in words: short forms and figures that stand behind a word are written out.
fn words_of(stem: &str) -> String {
    let word = match stem {
        "radius95" => "95 % radius",
        "height95" => "95 % height ±",
        "ellipse_major95" => "95 % ellipse semi-major axis",
        "ellipse_minor95" => "95 % ellipse semi-minor axis",
        "low95" => "95 % from",
        "high95" => "95 % to",
        "lat" => "latitude",
        "lon" => "longitude",
        "time" => "time UTC",
        "time_last" => "last time UTC",
        "time_local" => "local time",
        "hdop" => "HDOP",
        "pdop" => "PDOP",
        _ => "",
    };
    if !word.is_empty() {
        return word.to_owned();
    }
    for (ending, told) in [("_low95", ", 95 % from"), ("_high95", ", 95 % to")] {
        if let Some(of) = stem.strip_suffix(ending) {
            return words_of(of) + told;
        }
    }
    let words: Vec<&str> = stem.split('_').map(|word| if word == "sigma" { "σ" } else { word }).collect();
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_become_words_with_their_unit() {
        assert_eq!(title_of("sigma_east_m"), "σ east (m)");
        assert_eq!(title_of("ellipsoid_height_m"), "ellipsoid height (m)");
        assert_eq!(title_of("area_m2"), "area (m²)");
        assert_eq!(title_of("true_azimuth_deg"), "true azimuth (°)");
        assert_eq!(title_of("feature"), "feature");
        assert_eq!(title_of("lat_deg"), "latitude (°)");
        assert_eq!(title_of("radius95_usft"), "95 % radius (US survey ft)");
        assert_eq!(title_of("lean_azimuth_low95_deg"), "lean azimuth, 95 % from (°)");
        assert_eq!(title_of("high95"), "95 % to");
        assert_eq!(title_of("_m"), " m");
    }
}
