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

/// What only the crew can say of five more (others/make2.py).
const MORE: [Crew; 4] = [
    // Gon in both circles by a row of units, heights of instrument and staff by their abbreviations, months in words, a total below.
    Crew {
        name: "es2",
        logs: &["vertices.csv", "lecturas.csv"],
        edits: &[("crs = \"??\"", "crs = \"EPSG:25830\""), ("\"??_azimuth_gon\"", "grid_azimuth_gon")],
        held: 1,
        has_heights: true,
    },
    // A header that begins with the sign of comments, degrees and minutes, feet, times with AM and PM, remarks with commas.
    Crew {
        name: "us2",
        logs: &["turning points.csv", "shots.csv"],
        edits: &[("crs = \"??\"", "crs = \"EPSG:4979\""), ("date_order = \"??\"", "date_order = \"month_day_year\"")],
        held: 0,
        has_heights: true,
    },
    // Bases in a workbook with a page of words, X to the north as in the country of the crew, bearings in quadrants, a total with a name.
    Crew {
        name: "pl2",
        logs: &["osnowa.xlsx", "pomiary.csv"],
        edits: &[
            ("crs = \"??\"", "crs = \"EPSG:2180\""),
            ("\"??_m\" = \"X", "north_m = \"X"),
            ("\"??_m\" = \"Y", "east_m = \"Y"),
            ("\"??_azimuth_deg\"", "magnetic_azimuth_deg"),
            ("instrument_height_m = \"??\"", "instrument_height_m = 1.5"),
        ],
        held: 1,
        has_heights: true,
    },
    // Eastings with the zone in front, differences of height, seconds since 1970.
    Crew {
        name: "de2",
        logs: &["festpunkte.txt", "messung.txt"],
        edits: &[("crs = \"??\"", "crs = \"EPSG:4647\""), ("instrument_height_m = \"??\"", "instrument_height_m = 1.6")],
        held: 0,
        has_heights: true,
    },
];

/// What only the crew can say of eight more (others/make3.py).
const THIRD: [Crew; 8] = [
    // Titles, headers cut short, "kl. 9.07", a total of two words.
    Crew {
        name: "dk",
        logs: &["Opmåling Ferring strand.ods"],
        edits: &[
            ("crs = \"??\"", "crs = \"EPSG:25832\""),
            ("\"??_height_m\"", "orthometric_height_m"),
            ("\"??_azimuth_gon\"", "grid_azimuth_gon"),
        ],
        held: 1,
        has_heights: false,
    },
    // UTF-16, a state plane whose unit no header names, 188-16-05, "05/06/26 3:07 PM".
    Crew {
        name: "us3",
        logs: &["control points.txt", "sideshots.txt"],
        edits: &[
            ("crs = \"??\"", "crs = \"EPSG:6584\""),
            ("\"??_height_ft\"", "orthometric_height_ft"),
            ("date_order = \"??\"", "date_order = \"month_day_year\""),
        ],
        held: 0,
        has_heights: false,
    },
    // Hz and V, line ends of one carriage return.
    Crew {
        name: "se",
        logs: &["stationer.txt", "inmätning.txt"],
        edits: &[("crs = \"??\"", "crs = \"EPSG:3006\""), ("\"??_azimuth_gon\"", "grid_azimuth_gon")],
        held: 0,
        has_heights: false,
    },
    // X to the north by its header, kinds that are no names, "14.05.2026 r.".
    Crew {
        name: "pl3",
        logs: &["punkty osnowy.csv", "dziennik pomiaru.csv"],
        edits: &[
            ("crs = \"??\"", "crs = \"EPSG:2178\""),
            ("\"??_height_m\"", "orthometric_height_m"),
            ("instrument_height_m = \"??\"", "instrument_height_m = 1.5"),
        ],
        held: 0,
        has_heights: false,
    },
    // A circle set to any zero: the sights from base to base orient it.
    Crew {
        name: "it2",
        logs: &["stazioni.csv", "libretto.csv"],
        edits: &[
            ("crs = \"??\"", "crs = \"EPSG:6707\""),
            ("\"??_height_m\"", "orthometric_height_m"),
            ("\"??_azimuth_gon\"", "grid_azimuth_gon"),
        ],
        held: 0,
        has_heights: false,
    },
    // No base in the shots: the time tells, of stands that were visited twice.
    Crew {
        name: "uk",
        logs: &["stands.csv", "sightings.csv"],
        edits: &[
            ("radius_share = \"??\"", "radius_share = 0.68"),
            ("time_zone = \"??\"", "time_zone = \"Europe/London\""),
            ("time_zone = \"??\"", "time_zone = \"Europe/London\""),
            ("instrument_height_m = \"??\"", "instrument_height_m = 1.4"),
        ],
        held: 0,
        has_heights: true,
    },
    // The only base.
    Crew {
        name: "es3",
        logs: &["estacion.csv", "nidos.csv"],
        edits: &[("instrument_height_m = \"??\"", "instrument_height_m = 1.5")],
        held: 0,
        has_heights: true,
    },
    // A sheet for each base, beside the sheet of the bases; the instrument's height is "i".
    Crew {
        name: "de3",
        logs: &["Hangaufnahme.xlsx"],
        edits: &[("crs = \"??\"", "crs = \"EPSG:25832\"")],
        held: 0,
        has_heights: false,
    },
];

const CREWS: [Crew; 9] = [
    // Gisements in gon from the north of a grid that the layers do not have; units in a row below the header; slopes in percent.
    Crew {
        name: "fr",
        logs: &["points.gpx", "releve.csv"],
        edits: &[
            ("instrument_height_m = \"??\"", "instrument_height_m = 1.55"),
            ("grid_crs = \"??\"", "grid_crs = \"EPSG:2154\""),
        ],
        held: 1,
        has_heights: false,
    },
    // A workbook with merged headers over two rows, titles and a total.
    Crew { name: "es", logs: &["linea.xlsx"], edits: &[("crs = \"??\"", "crs = \"EPSG:25830\"")], held: 1, has_heights: true },
    // Degrees, minutes and seconds with a decimal comma, an eight-bit encoding; dates whose order no value tells.
    Crew {
        name: "pl",
        logs: &["stanowiska.txt", "pomiar.txt"],
        edits: &[("radius_share = \"??\"", "radius_share = 0.68")],
        held: 1,
        has_heights: false,
    },
    Crew {
        name: "fi",
        logs: &["kojepisteet.csv", "mittaukset.csv"],
        edits: &[("crs = \"??\"", "crs = \"EPSG:3067\""), ("instrument_height_m = \"??\"", "instrument_height_m = 1.7")],
        held: 0,
        has_heights: false,
    },
    // State plane in feet with commas between thousands, zenith angles, remarks with commas and no quotes.
    Crew {
        name: "us",
        logs: &["control.csv", "signs.csv"],
        edits: &[("crs = \"??\"", "crs = \"EPSG:6447\""), ("date_order = \"??\"", "date_order = \"month_day_year\"")],
        held: 0,
        has_heights: true,
    },
    // Placemarks without heights.
    Crew {
        name: "nl",
        logs: &["punten.kml", "metingen.txt"],
        edits: &[("instrument_height_m = \"??\"", "instrument_height_m = 1.5")],
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
    let truth = ["truth.json", "truth2.json", "truth3.json"].into_iter().find_map(|file| truths(file).get(crew.name).cloned());
    (evening, truth.unwrap())
}

fn truths(file: &str) -> serde_json::Value {
    serde_json::from_str(&fs::read_to_string(data().join("others").join(file)).unwrap()).unwrap()
}

#[test]
fn crews_in_ten_languages_get_their_places() {
    for crew in CREWS.iter().chain(&MORE).chain(&THIRD).filter(|crew| crew.name != "pt") {
        let (evening, truth) = evening(crew);
        let features = evening.layer("features");
        let truth = truth.as_object().unwrap();
        // Sights from base to base are points, too.
        let features = features.into_iter().filter(|feature| feature["role"] != "backsight").collect::<Vec<_>>();
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

/// Trees that begin at 1 again in each file: the plots are the files' names. And totals below a table of several readings in a row, which are
/// no measurement. The truth is what the rounded readings give.
#[test]
fn heights_of_plots_by_file_and_totals_below() {
    let truth = truths("truth3.json");
    for (crew, logs, edits, held) in [
        ("it3", vec!["Area 3.csv", "Area 4.csv"], vec![], 0),
        ("no2", vec!["høyder flate 12.xlsx"], vec![("\"??_distance_m\"", "horizontal_distance_m")], 2),
    ] {
        let files: Vec<String> = logs.iter().map(|log| format!("others/{crew}/{log}")).collect();
        let evening = Evening::with(&files.iter().map(String::as_str).collect::<Vec<_>>());
        evening.job(&logs, &edits);
        evening.map();
        let reasons: Vec<String> = evening.held().into_iter().map(|(_, _, reason)| reason).collect();
        assert_eq!(reasons, vec!["no_row"; held], "{crew}");
        let found = evening.values("height_m");
        assert_eq!(found.len(), truth[crew].as_object().unwrap().len(), "{crew}");
        for (name, height) in found {
            // Printed to the millimetre.
            assert!((height - truth[crew][&name].as_f64().unwrap()).abs() < 0.001, "{crew} {name}: {height}");
        }
    }
}

/// Slopes in percent, a diameter beside the distance, numbers of trees that begin again in each plot: without any edit. The truth is what the
/// rounded readings give, (top − foot) / 100 of the distance.
#[test]
fn heights_by_slopes_in_percent() {
    let evening = Evening::with(&["others/fi2/puut.csv"]);
    evening.job(&["puut.csv"], &[]);
    evening.map();
    let (truth, found) = (truths("truth2.json"), evening.values("height_m"));
    assert_eq!(found.len(), 20);
    for (name, height) in found {
        // Printed to the millimetre.
        assert!((height - truth["fi2"][&name][2].as_f64().unwrap()).abs() < 0.001, "{name}: {height}");
    }
}

/// Two coordinates of which neither says its axis are one key until they are answered: the message asks for that, not for other TOML.
#[test]
fn marks_that_are_one_key_are_asked_for() {
    let evening = Evening::with(&["others/pl2/osnowa.xlsx", "others/pl2/pomiary.csv"]);
    let job = evening.run(&["init", "osnowa.xlsx", "pomiary.csv"]).exits(0).out;
    evening.write("job.toml", job);
    let said = evening.run(&["check", "job.toml"]).exits(1).err;
    assert!(said.contains("\"??_m\" is still undecided: put in place of ?? what its comment asks for"), "{said}");
}

/// Numbers that may be read in two ways are asked for, with both readings, where a run would refuse them; an answer runs.
#[test]
fn signs_of_numbers_are_asked_for() {
    let evening = Evening::with(&[]);
    evening.write("bases.csv", "base;lat_deg;lon_deg\nA;46;9\n");
    evening.write("shots.csv", "base;Dist (ft);true_azimuth_deg\nA;804;10\nA;1,204;11\n");
    let job = evening.run(&["init", "bases.csv", "shots.csv"]).exits(0).out;
    let line = job.lines().find(|line| line.starts_with("decimal = \"??\"")).unwrap_or_else(|| panic!("{job}"));
    assert!(line.contains("\"1,204\" in shots.csv line 3 (\"Dist (ft)\") is 1204 with a decimal point (\".\"), 1.204"), "{line}");
    for (sign, feet) in [(".", 1204.0), (",", 1.204)] {
        let answered = job.replace("decimal = \"??\"", &format!("decimal = \"{sign}\""));
        evening.write("job.toml", answered.replacen("name  = \"job\"", "formats = [\"csv\"]\nname  = \"job\"", 1));
        evening.map();
        let found = number(&evening.layer("features")[1], "horizontal_distance_m");
        // The foot of 1959: 0.3048 m.
        assert!((found - feet * 0.3048).abs() < 0.001, "{sign}: {found}");
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
