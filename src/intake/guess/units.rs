//! The units that the words of a header name.

/// The unit suffix of a length that a header names, if any.
pub fn length_unit(words: &[String]) -> Option<&'static str> {
    let has = |any: &[&str]| words.iter().any(|word| any.contains(&word.as_str()));
    let beside = |a: &str, b: &str| words.windows(2).any(|pair| pair[0] == a && pair[1] == b);
    if has(&["usft", "ftus", "sft"]) || beside("us", "ft") || beside("ft", "us") || beside("survey", "feet") {
        Some("usft")
    } else if has(&["ft", "feet", "foot", "fuss", "pieds", "pies", "pes", "piedi", "voet", "fot", "jalkaa"]) {
        // Which foot cannot be told from "ft"; for a shot the two are the same within 2 ppm.
        Some("ft")
    } else if has(&["m", "metre", "metres", "meter", "meters", "metros", "metri", "metry", "metrow", "metria"]) {
        Some("m")
    } else if has(&["yd", "yard", "yards"]) {
        Some("yd")
    } else {
        None
    }
}

/// Whether a header names the unit of an angle by a word that is gon in one language and degrees in another: "gr", "grd".
pub fn is_grades_or_degrees(words: &[String]) -> bool {
    words.iter().any(|word| matches!(word.as_str(), "gr" | "grd"))
}

/// The unit of an angle that a header names, if any.
pub fn angle_unit(words: &[String]) -> Option<&'static str> {
    let has = |any: &[&str]| words.iter().any(|word| any.contains(&word.as_str()));
    if has(&["gon", "grads", "gons"]) {
        Some("gon")
    } else if has(&["mil", "mils"]) {
        Some("mil")
    } else if has(&[
        "deg", "degs", "degree", "degrees", "°", "º", "degres", "grados", "graus", "gradi", "graden", "stopnie", "grader",
        "asteet",
    ]) {
        Some("deg")
    } else {
        // "Grad", "grades" and "gr" are degrees in one language and gon in another.
        None
    }
}

/// Whether a header says percent.
pub fn is_percent(words: &[String]) -> bool {
    const PERCENT: [&str; 14] = [
        "pct",
        "percent",
        "perc",
        "%",
        "prozent",
        "procent",
        "prosent",
        "prosentti",
        "pourcent",
        "porcento",
        "porciento",
        "porcentaje",
        "percentuale",
        "percentage",
    ];
    words.iter().any(|word| PERCENT.contains(&word.as_str()))
}

#[cfg(test)]
mod tests {
    use super::super::words::split;
    use super::*;

    #[test]
    fn units_in_headers() {
        assert_eq!(length_unit(&split("Northing (US ft)")), Some("usft"));
        assert_eq!(length_unit(&split("Dist. [m]")), Some("m"));
        assert_eq!(length_unit(&split("Dist")), None);
        assert_eq!(angle_unit(&split("Gisement (gon)")), Some("gon"));
        assert_eq!(angle_unit(&split("Helling (gr)")), None, "graden are degrees, grades are gon");
        assert!(is_grades_or_degrees(&split("Helling (gr)")) && !is_grades_or_degrees(&split("Helling (°)")));
        assert_eq!(angle_unit(&split("Ángulo (º)")), Some("deg"));
        assert_eq!(angle_unit(&split("Neigung [Grad]")), None, "degrees in German, gon elsewhere");
        assert!(is_percent(&split("Pente (%)")));
    }
}
