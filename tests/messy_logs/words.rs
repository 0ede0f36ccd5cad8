//! The log's own words for roles, measures, returns and codes; points that are no bases; letters of other scripts.

use crate::common::{BASES, Field, good};

const HEIGHTS: &str = "base,shot,feature,measure,role,true_azimuth_deg,inclination_deg,horizontal_distance_m\n";

/// A height by angles, its words as they are given.
fn height(measure: &str, roles: [&str; 3]) -> Field {
    let [distance, foot, top] = roles;
    let rows = format!("A,1,oak,{measure},{distance},10,,20\nA,2,oak,{measure},{foot},10,-3,\nA,3,oak,{measure},{top},10,40,\n");
    let field = Field::new(HEIGHTS.to_owned() + &rows);
    Field {
        job: field.job.replace(
            "formats = [\"csv\"]",
            "formats = [\"csv\"]\nlayers = [\"features\", \"bases\", \"ledger\", \"measurements\"]",
        ),
        ..field
    }
}

/// What a run says that maps.
fn mapped(field: &Field) -> String {
    let output = field.command(&["map", "job.toml"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// The height that the run gives, in metres: 20 (tan 40° + tan 3°) = 17.8301.
fn measured(field: &Field) -> f64 {
    let said = mapped(field);
    assert!(said.contains(" 0 held, "), "{said}");
    let rows: Vec<std::collections::BTreeMap<String, String>> =
        csv::Reader::from_path(field.path("t-layers/csv/t.measurements.csv"))
            .unwrap()
            .deserialize()
            .map(|row| row.unwrap())
            .collect();
    rows.iter().find(|row| row["quantity"] == "height_m").unwrap()["value"].parse().unwrap()
}

const HEIGHT_M: f64 = 17.8301;
const PRINTED_M: f64 = 0.001;

#[test]
fn capitals_blanks_and_hyphens_make_no_other_word() {
    for (measure, roles) in [
        ("height", ["distance", "foot", "top"]),
        ("HEIGHT", ["Distance", "FOOT", "Top"]),
        (" Height ", ["DISTANCE", " foot", "TOP "]),
    ] {
        assert!((measured(&height(measure, roles)) - HEIGHT_M).abs() < PRINTED_M, "{measure} {roles:?}");
    }
}

#[test]
fn words_of_other_languages_are_translated_in_the_job() {
    let field = height("Baumhöhe", ["Strecke", "Fuß", "Spitze"]).with(
        "SHOTS",
        "[shots.measures]\n\"baumhöhe\" = \"height\"\n[shots.roles]\nSTRECKE = \"distance\"\n\"fuß\" = \"foot\"\nspitze = \"Top\"",
    );
    assert!((measured(&field) - HEIGHT_M).abs() < PRINTED_M);
}

#[test]
fn an_unknown_word_gets_the_list_and_the_remedy_works() {
    let field = height("height", ["distance", "base", "top"]);
    let notes = mapped(&field);
    let say = "a height has the roles foot, top, distance: mend the row, or say what the log's word means";
    assert!(notes.contains(say), "{notes}");
    let mended = height("height", ["distance", "base", "top"]).with("SHOTS", "[shots.roles]\n\"base\" = \"foot\"");
    assert!((measured(&mended) - HEIGHT_M).abs() < PRINTED_M);
}

#[test]
fn backsights_and_returns_in_the_logs_own_words() {
    let log = "base,shot,feature,role,return,true_azimuth_deg,inclination_deg,slope_distance_m\n\
               A,1,B,Rückblick,Letztes,34.7,0,135.5\nA,2,pole,,LAST_return,10,0,20\n";
    let field =
        Field::new(log).with("SHOTS", "[shots.roles]\n\"rückblick\" = \"backsight\"\n[shots.returns]\nletztes = \"last\"");
    let run = field.map();
    assert_eq!(run.bases[0]["backsights"], "1", "{:?}", run.bases[0]);
    assert_eq!(run.column("role"), ["backsight", ""]);
}

#[test]
fn codes_are_found_whatever_their_capitals_and_blanks_or_by_translation() {
    let catalogue = "[[codes]]\ncode = \"Kitti wake\"\ntitle = \"Kittiwake\"\nlayer = \"nests\"\ngeometry = \"point\"\n";
    let log = "base,shot,code,true_azimuth_deg,horizontal_distance_m\nA,1,KITTIWAKE,10,20\nA,2,kitti-wake,20,20\nA,3,KI,30,20\nA,4,murre,40,20\n";
    let mut field = Field::new(log).with("SHOTS", "[shots.codes]\nki = \"Kitti wake\"");
    field.write("catalogue.toml", catalogue);
    field.job = field.job.replacen("name = \"t\"\n", "name = \"t\"\ncatalogue = \"catalogue.toml\"\n", 1);
    let output = field.command(&["map", "job.toml"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let nests = std::fs::read_to_string(field.path("t-layers/csv/t.nests.csv")).unwrap();
    assert_eq!(nests.lines().count(), 1 + 3, "{nests}");
}

const WAYPOINTS: &str = "<gpx xmlns=\"http://www.topografix.com/GPX/1/1\">\n\
    <wpt lat=\"46.1\" lon=\"8.9\"><ele>450</ele><name>A</name></wpt>\n\
    <wpt lat=\"46.101\" lon=\"8.9\"><ele>450</ele><name>TRUCK</name></wpt>\n\
    <wpt lat=\"46.102\" lon=\"8.9\"><ele>450</ele><name>lunch 2</name></wpt>\n</gpx>\n";

#[test]
fn points_that_are_no_bases_are_left_out_by_name_or_pattern() {
    let of = |except: &str| {
        let mut field = Field::new(good(2)).with("BASES", except);
        field.write("marks.gpx", WAYPOINTS);
        field.job = field.job.replace("\"bases.csv\"", "\"marks.gpx\"");
        field.map()
    };
    assert_eq!(of("").base_column("base"), ["A", "TRUCK", "lunch 2"]);
    let run = of("except = [\"truck\", \"LUNCH*\", \"van\"]");
    assert_eq!(run.base_column("base"), ["A"]);
    let notes = run.summary["notes"].to_string();
    assert!(notes.contains("Left out by except under [bases]: 2 points, TRUCK, lunch 2."), "{notes}");
    assert!(notes.contains("No point bears a name that except under [bases] gives: van."), "{notes}");
    assert_eq!(run.mapped(), 2);
}

#[test]
fn points_that_no_shot_uses_stand_in_no_coarse_output() {
    let catalogue = "[[codes]]\ncode = \"nest\"\ntitle = \"Nest\"\nlayer = \"nests\"\ngeometry = \"point\"\n[layers.nests]\ncoarse_cell_m = 1000\n";
    let mut field = Field::new("base,shot,code,true_azimuth_deg,horizontal_distance_m\nA,1,nest,10,20\n");
    field.write("catalogue.toml", catalogue);
    field.write("bases.csv", BASES);
    field.job = field.job.replacen("name = \"t\"\n", "name = \"t\"\ncatalogue = \"catalogue.toml\"\n", 1);
    let bases = |arguments: &[&str]| {
        let output = field.command(&[&["map", "job.toml", "--out", "out"], arguments].concat());
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let text = std::fs::read_to_string(field.path("out/csv/t.bases.csv")).unwrap();
        text.lines().skip(1).map(|line| line.split(',').next().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(bases(&[]).len(), 1, "B stands in the log and serves nothing");
    std::fs::remove_dir_all(field.path("out")).unwrap();
    assert_eq!(bases(&["--exact-places"]).len(), 2);
}
