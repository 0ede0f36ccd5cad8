//! Crews in other trades and languages (others/make.py): poles, trees, nests, signs, buoys, a shore, a span over a river. From the job
//! that `init` wrote, with the answers that only the crew can give, to the places and values that the readings were made from.

use super::crews::off_m;
use super::*;

/// A crew: its folder, its logs, and the edits of the job.
struct Crew {
    name: &'static str,
    logs: &'static [&'static str],
    edits: &'static [(&'static str, &'static str)],
    /// Rows that are held: totals below the table.
    held: usize,
    /// Whether the bases' heights are on the ellipsoid of the truth, and of what kind those of the features can be compared.
    has_heights: bool,
}

const CREWS: [Crew; 9] = [
    // Gisements in gon from the north of a grid that the layers do not have; units in a row below the header; slopes in percent.
    Crew {
        name: "fr",
        logs: &["points.gpx", "releve.csv"],
        edits: &[
            ("time_zone = \"??\"", "time_zone = \"Europe/Paris\""),
            ("instrument_height_m = \"??\"", "instrument_height_m = 1.55"),
            ("grid_crs = \"??\"", "grid_crs = \"EPSG:2154\""),
        ],
        held: 1,
        has_heights: false,
    },
    // A workbook with merged headers over two rows, titles and a total.
    Crew {
        name: "es",
        logs: &["linea.xlsx"],
        edits: &[("crs = \"??\"", "crs = \"EPSG:25830\""), ("time_zone = \"??\"", "time_zone = \"Europe/Madrid\"")],
        held: 1,
        has_heights: true,
    },
    // Degrees, minutes and seconds with a decimal comma, an eight-bit encoding; dates whose order no value tells.
    Crew {
        name: "pl",
        logs: &["stanowiska.txt", "pomiar.txt"],
        edits: &[("radius_share = \"??\"", "radius_share = 0.68"), ("time_zone = \"??\"", "time_zone = \"Europe/Warsaw\"")],
        held: 1,
        has_heights: false,
    },
    Crew {
        name: "fi",
        logs: &["kojepisteet.csv", "mittaukset.csv"],
        edits: &[
            ("crs = \"??\"", "crs = \"EPSG:3067\""),
            ("time_zone = \"??\"", "time_zone = \"Europe/Helsinki\""),
            ("instrument_height_m = \"??\"", "instrument_height_m = 1.7"),
        ],
        held: 0,
        has_heights: false,
    },
    // State plane in feet with commas between thousands, zenith angles, remarks with commas and no quotes.
    Crew {
        name: "us",
        logs: &["control.csv", "signs.csv"],
        edits: &[
            ("crs = \"??\"", "crs = \"EPSG:6447\""),
            ("time_zone = \"??\"", "time_zone = \"America/New_York\""),
            ("date_order = \"??\"", "date_order = \"month_day_year\""),
        ],
        held: 0,
        has_heights: true,
    },
    // Placemarks without heights.
    Crew {
        name: "nl",
        logs: &["punten.kml", "metingen.txt"],
        edits: &[
            ("time_zone = \"??\"", "time_zone = \"Europe/Amsterdam\""),
            ("instrument_height_m = \"??\"", "instrument_height_m = 1.5"),
        ],
        held: 0,
        has_heights: false,
    },
    // One log: each row has the position that it was shot from.
    Crew {
        name: "one",
        logs: &["survey.csv"],
        edits: &[
            ("radius_share = \"??\"", "radius_share = 0.68"),
            ("\"??_height_m\"", "ellipsoid_height_m"),
            ("instrument_height_m = \"??\"", "instrument_height_m = 1.5"),
        ],
        held: 0,
        has_heights: true,
    },
    // A receiver's sentences, shots without a base column, times with points.
    Crew {
        name: "no",
        logs: &["gps.txt", "maalinger.csv"],
        edits: &[
            ("from = \"??\"", "from = \"stops\""),
            ("time_zone = \"??\"", "time_zone = \"Europe/Oslo\""),
            ("instrument_height_m = \"??\"", "instrument_height_m = 1.5"),
            ("antenna_height_m = \"??\"", "antenna_height_m = 1.8"),
        ],
        held: 0,
        has_heights: true,
    },
    // Measurements and roles in words of another language.
    Crew {
        name: "pt",
        logs: &["rio.ods"],
        edits: &[("crs = \"??\"", "crs = \"EPSG:31983\""), ("instrument_height_m = \"??\"", "instrument_height_m = 1.5")],
        held: 0,
        has_heights: false,
    },
];

/// What rounding of the readings can move a place by, over at most 220 m: half a degree of compass (pl, over 35 m), else 0.05°.
const PLACE_M: f64 = 0.40;
/// The same of a height: 0.05° over 220 m.
const HEIGHT_M: f64 = 0.25;

fn evening(crew: &Crew) -> (Evening, serde_json::Value) {
    let files: Vec<String> = crew.logs.iter().map(|log| format!("others/{}/{log}", crew.name)).collect();
    let evening = Evening::with(&files.iter().map(String::as_str).collect::<Vec<_>>());
    evening.job(crew.logs, crew.edits);
    evening.map();
    assert_eq!(evening.held().len(), crew.held, "{}: {:?}", crew.name, evening.held());
    let truth: serde_json::Value = serde_json::from_str(&fs::read_to_string(data().join("others/truth.json")).unwrap()).unwrap();
    (evening, truth[crew.name].clone())
}

#[test]
fn crews_in_ten_languages_get_their_places() {
    for crew in CREWS.iter().filter(|crew| crew.name != "pt") {
        let (evening, truth) = evening(crew);
        let features = evening.layer("features");
        let truth = truth.as_object().unwrap();
        assert_eq!(features.len(), truth.len(), "{}", crew.name);
        for feature in &features {
            let at =
                truth.get(&feature["feature"]).unwrap_or_else(|| panic!("{}: {} is no feature", crew.name, feature["feature"]));
            let off = off_m(feature, at);
            assert!(off < PLACE_M, "{}: {} is {off} m off", crew.name, feature["feature"]);
            if crew.has_heights {
                let up = number(feature, "ellipsoid_height_m") - at[2].as_f64().unwrap();
                assert!(up.abs() < HEIGHT_M, "{}: {} is {up} m too high", crew.name, feature["feature"]);
            }
        }
    }
}

/// A span whose log says "vão", "suporte A", "cabo", "terreno".
#[test]
fn measurements_in_the_words_of_the_log() {
    let (evening, truth) = evening(&CREWS[8]);
    assert!((evening.values("span_m")["V1"] - truth["span"].as_f64().unwrap()).abs() < 0.05);
    let rows = evening.layer("measurements");
    let clearance = rows.iter().find(|row| row["quantity"] == "vertical_distance_m" && row["target"].contains("ground")).unwrap();
    // Angles to a hundredth of a degree over 75 m, and a parabola through seven of them.
    assert!((number(clearance, "value") - truth["clear"].as_f64().unwrap()).abs() < 0.1, "{clearance:?}");
}

/// Heights of trees in a row each, without any edit.
#[test]
fn heights_in_another_language() {
    let evening = Evening::with(&["others/it/altezze.csv"]);
    evening.job(&["altezze.csv"], &[]);
    evening.map();
    let truth: serde_json::Value = serde_json::from_str(&fs::read_to_string(data().join("others/truth.json")).unwrap()).unwrap();
    let found = evening.values("height_m");
    assert_eq!(found.len(), 15);
    for (name, height) in found {
        // Angles to 0.05° over 30 m, twice, and distances to 5 cm.
        assert!((height - truth["it"][&name].as_f64().unwrap()).abs() < 0.15, "{name}: {height}");
    }
}

/// Grids of the United States on NAD83 of 1986 need grid files that few crews have; each has a twin on NAD83(2011) of the same name in the
/// EPSG registry: 2240 and 6447 are Georgia West (ftUS), 26916 and 6345 UTM zone 16N. What the refusal says to write is tried.
#[test]
fn a_grid_on_an_old_realisation_of_nad83_names_its_twin() {
    let evening = Evening::with(&["1-poles/stops.csv", "1-poles/shots_excel.csv"]);
    let job = |crs: &str, of_bases: &str| {
        let job = evening.run(&["init", "stops.csv", "shots_excel.csv"]).exits(0).out;
        let answers = [
            ("EPSG:32616", crs),
            ("EPSG:4979", of_bases),
            ("\"??_height_ft\"", "orthometric_height_ft"),
            ("radius_share = \"??\"", "radius_share = 0.68"),
            ("time_zone = \"??\"", "time_zone = \"America/New_York\""),
        ];
        answers.iter().fold(job, |job, (from, to)| job.replacen(from, to, 1))
    };
    for (old, new) in [("EPSG:2240", "EPSG:6447"), ("EPSG:26916", "EPSG:6345")] {
        evening.write("job.toml", job(old, "EPSG:4979"));
        let said = evening.run(&["check", "job.toml"]).exits(1).err;
        assert!(said.contains(&format!("Or write crs = \"{new}\" (NAD83(2011) / ")), "{said}");
        evening.write("job.toml", job(new, "EPSG:4979"));
        evening.run(&["check", "job.toml"]).exits(0);
    }
    // On one datum nothing is asked for, and no step by WGS 84 is made.
    evening.write("job.toml", job("EPSG:6447", "EPSG:6319"));
    let ran = evening.run(&["check", "job.toml"]).exits(0);
    assert!(!ran.out.contains("WGS 84 (EPSG"), "{}", ran.out);
    // Positions said to be on the old datum, layers on the new one.
    evening.write("job.toml", job("EPSG:6447", "EPSG:4269"));
    let said = evening.run(&["check", "job.toml"]).exits(1).err;
    assert!(said.contains("Or write crs = \"EPSG:6319\" under [bases]"), "{said}");
}
