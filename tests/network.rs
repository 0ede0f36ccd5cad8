//! Whole runs with a network: the two scenarios with their planted blunders, bases without a position, intersections without
//! distances, what stays as it is. Values are worked out by hand or are the true ones that the logs were drawn from.

use crate::support;

use std::path::Path;

use serde_json::{Value, json};
use support::small::{Record, Small};
use support::*;

fn number(record: &Record, field: &str) -> f64 {
    record[field].parse().unwrap_or_else(|_| panic!("{field} is \"{}\"", record[field]))
}

#[track_caller]
fn assert_near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not {want} within {within}");
}

/// An example of the repository mapped to CSV.
struct Mapped {
    folder: tempfile::TempDir,
    name: &'static str,
    summary: Value,
    out: String,
}

impl Mapped {
    fn new(example: &str, name: &'static str) -> Mapped {
        let folder = tempfile::tempdir().unwrap();
        let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(example).join("job.toml");
        let out = folder.path().join("out");
        let ran = standoff(
            folder.path(),
            &["map", job.to_str().unwrap(), "--out", out.to_str().unwrap(), "--format", "csv", "--format", "gpkg"],
        )
        .exits(0);
        let summary = json(&out.join("summary.json"));
        Mapped { folder, name, summary, out: ran.out }
    }

    fn layer(&self, layer: &str) -> Vec<Record> {
        table(&self.folder.path().join(format!("out/{}.{layer}.csv", self.name)))
    }

    fn network(&self) -> Vec<String> {
        serde_json::from_value(self.summary["network"].clone()).unwrap()
    }

    /// How many of the features lie within their 95 % ellipses about their true places, and how many there are.
    fn inside(&self, example: &str) -> (usize, usize) {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(example).join("check.csv");
        let truth = table(&path);
        let features = self.layer("features");
        let inside = features.iter().filter(|feature| {
            let truth = truth.iter().find(|truth| truth["feature"] == feature["feature"]).unwrap();
            // Metres of latitude and longitude by the radii of WGS 84; over some metres that is exact enough.
            let lat = number(truth, "lat_deg").to_radians();
            let root = (1.0 - 0.006_694_38 * lat.sin().powi(2)).sqrt();
            let (meridian, parallel) = (6_378_137.0 * (1.0 - 0.006_694_38) / root.powi(3), 6_378_137.0 / root * lat.cos());
            let off = |field: &str| (number(feature, field) - number(truth, field)).to_radians();
            let (north, east) = (off("lat_deg") * meridian, off("lon_deg") * parallel);
            let azimuth = number(feature, "ellipse_azimuth_deg").to_radians();
            let along = east * azimuth.sin() + north * azimuth.cos();
            let across = east * azimuth.cos() - north * azimuth.sin();
            (along / number(feature, "ellipse_major95_m")).powi(2) + (across / number(feature, "ellipse_minor95_m")).powi(2)
                <= 1.0
        });
        (inside.count(), features.len())
    }
}

#[test]
fn a_traverse_under_canopy_places_its_stations_and_finds_the_blunder() {
    let forest = Mapped::new("canopy-traverse", "orrmossen");
    let shots = &forest.summary["shots"];
    assert_eq!(
        ["read", "mapped", "repeats", "composed", "held"].map(|key| shots[key].clone()),
        [json!(45), json!(24), json!(11), json!(10), json!(0)]
    );
    assert!(forest.out.contains("2 of 2 bases used, 4 more placed by their shots"), "{}", forest.out);
    let network = forest.network();
    let rejected: Vec<&String> = network.iter().filter(|sentence| sentence.starts_with("Rejected by test")).collect();
    assert_eq!(rejected.len(), 1, "{network:?}");
    assert!(rejected[0].starts_with("Rejected by test: shots.csv:20: The azimuth from T2 to S10"), "{}", rejected[0]);
    assert!(network.iter().any(|sentence| sentence.starts_with("Traverse GL1 - T1 - T2 - T3 - T4 - GL2: 243.")), "{network:?}");
    assert!(network[0].contains("The residuals fit the standard errors given"), "{network:?}");
    // Bases: two of a log, made better; four of shots alone.
    let bases = forest.layer("bases");
    let placed_by: Vec<(&str, &str)> = bases.iter().map(|base| (base["base"].as_str(), base["placed_by"].as_str())).collect();
    assert_eq!(placed_by[..2], [("GL1", "log and network"), ("GL2", "log and network")]);
    assert!(placed_by[2..].iter().all(|(_, by)| *by == "network"), "{placed_by:?}");
    assert_eq!(placed_by.len(), 6);
    assert!(number(&bases[0], "sigma_horizontal_m") < 0.05);
    // The ledger has every row of the network, the rejected reading among them.
    let ledger = forest.layer("ledger");
    let used = ledger.iter().filter(|row| row["record"] == "used").count();
    let row = ledger.iter().find(|row| row["source_line"] == "20").unwrap();
    assert_eq!((used, row["record"].as_str(), row["code"].as_str()), (31, "used", "rejected_by_test"));
    assert!(row["sentence"].contains("rejected by test"), "{}", row["sentence"]);
    // Every shot keeps its line of sight.
    assert_eq!(forest.layer("sight_lines").len(), 45);
    // Residuals: one azimuth was taken out, and each record says how well the others check it.
    let residuals = forest.layer("residuals");
    let out: Vec<&Record> = residuals.iter().filter(|record| record["outcome"] == "rejected by test").collect();
    assert_eq!(out.len(), 1);
    assert_eq!((out[0]["kind"].as_str(), out[0]["from"].as_str(), out[0]["to"].as_str()), ("azimuth", "T2", "S10"));
    assert!(residuals.iter().all(|record| (0.0..=1.0 + 1e-9).contains(&number(record, "redundancy"))));
    let stem = forest.layer("features").into_iter().find(|feature| feature["feature"] == "S10").unwrap();
    assert_eq!((stem["shots_used"].as_str(), stem["base_share"].as_str()), ("3", ""));
    // 24 true places: at 95 %, fewer than 20 inside would come once in a thousand times.
    let (inside, all) = forest.inside("canopy-traverse");
    assert!(all == 24 && inside >= 20, "{inside} of {all}");
}

#[test]
fn nests_without_distances_are_intersected() {
    let cliff = Mapped::new("headland-nests", "lorg");
    let shots = &cliff.summary["shots"];
    assert_eq!(
        ["read", "mapped", "repeats", "composed", "held"].map(|key| shots[key].clone()),
        [json!(30), json!(14), json!(14), json!(2), json!(0)]
    );
    let nests = cliff.layer("features");
    let residuals = cliff.layer("residuals");
    for nest in ["K03", "K08", "K09"] {
        let of_nest: Vec<&str> =
            residuals.iter().filter(|record| record["to"] == nest).map(|record| record["kind"].as_str()).collect();
        assert!(!of_nest.contains(&"slope distance") && of_nest.len() == 4, "{nest}: {of_nest:?}");
        assert!(nests.iter().any(|record| record["feature"] == nest));
    }
    let rejected: Vec<String> = cliff.network().into_iter().filter(|sentence| sentence.starts_with("Rejected")).collect();
    assert_eq!(rejected.len(), 1);
    assert!(rejected[0].starts_with("Rejected by test: shots.csv:22: The azimuth from HE to K05"), "{rejected:?}");
    let (inside, all) = cliff.inside("headland-nests");
    assert!(all == 14 && inside >= 11, "{inside} of {all}");
}

const HEADER: &str = "shot,base,feature,role,true_azimuth_deg,inclination_deg,slope_distance_m,target_height_m\n";

/// A small job; rows without a target height have the job's, 0.
fn small(rows: &str, network: &str) -> Small {
    let whole = |row: &str| if row.matches(',').count() < 7 { format!("{row},\n") } else { format!("{row}\n") };
    let rows: String = rows.lines().map(whole).collect();
    Small::new(&format!("{HEADER}{rows}"), "", network)
}

#[test]
fn a_single_shot_is_the_same_with_a_network_and_without() {
    let rows = "1,A,P1,,30,2,80\n2,A,P2,,60,-3,120\n3,A,P2,,60.1,-3,120.1\n4,B,P2,,120,-3,60\n5,B,P3,,200,0,40\n";
    let (with, without) = (small(rows, "[network]"), small(rows, ""));
    with.map();
    without.map();
    // A is in the network with P2, so that its place and orientation are a little better; B's P3 likewise.
    for name in ["P1", "P3"] {
        let (a, b) = (with.feature("features", name), without.feature("features", name));
        assert!(number(&a, "radius95_m") <= number(&b, "radius95_m") + 1e-4, "{name}");
    }
    // Where nothing is shot twice the network is nothing, and every byte is as without it.
    let single = "1,A,P1,,30,2,80\n2,A,P2,,60,-3,120\n";
    let (with, without) = (small(single, "[network]"), small(single, ""));
    with.map();
    without.map();
    assert_eq!(with.layer("features"), without.layer("features"));
    assert_eq!(with.layer("bases"), without.layer("bases"));
    assert!(with.layer("adjusted").is_empty());
}

#[test]
fn two_shots_of_one_base_agree_with_the_weighted_mean() {
    let rows = "1,A,P1,,90,0,99.9\n2,A,P1,,90,0,100.1\n";
    let (with, without) = (small(rows, "[network]"), small(rows, ""));
    with.map();
    without.map();
    let (adjusted, mean) = (with.feature("features", "P1"), without.feature("features", "P1"));
    // A tenth of a millimetre, the last decimal of a layer twice.
    for field in ["easting", "northing", "ellipsoid_height_m", "sigma_east_m", "sigma_north_m", "sigma_up_m"] {
        assert_near(number(&adjusted, field), number(&mean, field), 2e-4);
    }
}

#[test]
fn two_azimuths_make_a_point_of_rows_without_distances() {
    // B stands 111.38 m north of A (0.001° of latitude at 58.6° on WGS 84): azimuths of 45° and 135° meet 55.69 m east.
    let job = small("1,A,P1,,45,0,\n2,B,P1,,135,0,\n", "[network]");
    let summary = job.map();
    assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["repeats"].clone()), (json!(1), json!(1)));
    let point = job.feature("features", "P1");
    let base = &job.layer("bases")[0];
    assert_near(number(&point, "horizontal_distance_m"), 55.69 * 2f64.sqrt(), 0.02);
    // Eastings in the grid, with UTM's scale and convergence at 2.9° W near the meridian of 3° W.
    assert_near(number(&point, "easting") - number(base, "easting"), 55.69, 0.2);
    // Without the network both rows are held.
    let without = small("1,A,P1,,45,0,\n2,B,P1,,135,0,\n3,A,P2,,10,0,20\n", "");
    assert_eq!(without.map()["shots"]["held_by_reason"], json!({"no_distance": 2}));
}

#[test]
fn flat_crossings_are_refused_by_name_and_go_the_main_way() {
    let job = small("1,A,P1,,0.5,0,\n2,B,P1,,0.4,0,\n3,A,P2,,10,0,20\n", "[network]");
    let summary = job.map();
    assert_eq!(summary["shots"]["held_by_reason"], json!({"no_distance": 2}));
    let network = summary["network"].to_string();
    assert!(network.contains("P1"), "{network}");
}

#[test]
fn a_base_without_a_position_wants_a_link() {
    // C is shot from A and shoots back; D hangs on nothing.
    let job = small(
        "1,A,C,foresight,90,0,50,1.5\n2,C,A,backsight,270,0,50,1.5\n3,C,P1,,0,0,30,\n4,D,P2,,0,0,30,\n5,B,P3,,10,0,20,\n",
        "[network]",
    );
    let summary = job.map();
    assert_eq!(summary["shots"]["held_by_reason"], json!({"unknown_base": 1}));
    assert_eq!((summary["shots"]["mapped"].clone(), summary["shots"]["composed"].clone()), (json!(2), json!(2)));
    let (station, point) = (&job.layer("bases")[2], job.feature("features", "P1"));
    assert_eq!((station["base"].as_str(), station["placed_by"].as_str(), station["source_file"].as_str()), ("C", "network", ""));
    assert_eq!(point["base"], "C");
    // 50 m east of A and 30 m north of C.
    let a = &job.layer("bases")[0];
    assert_near(
        (number(&point, "easting") - number(a, "easting")).hypot(number(&point, "northing") - number(a, "northing")),
        50f64.hypot(30.0),
        0.05,
    );
    // It hangs on one base, and is told so.
    assert!(number(station, "sigma_horizontal_m") > 0.5);
}

#[test]
fn a_reading_that_fails_is_proposed_or_taken_out() {
    // Three bases' worth of shots to one pole: A twice, B once; the azimuth of B is 6° off.
    let east = 80.0f64;
    let half = 111.381_8 / 2.0;
    let distance = east.hypot(half);
    let azimuth = (east / half).atan().to_degrees();
    let rows = format!(
        "1,A,P1,,{azimuth:.3},0,{distance:.3}\n2,A,P1,,{azimuth:.3},0,{distance:.3}\n3,B,P1,,{:.3},0,{distance:.3}\n\
         4,A,B,foresight,0,0,111.38,1.5\n5,B,A,backsight,180,0,111.38,1.5\n6,B,P1,,{:.3},0,{distance:.3}\n",
        180.0 - azimuth + 6.0,
        180.0 - azimuth
    );
    let proposed = small(&rows, "[network]");
    let summary = proposed.map();
    let text = summary["network"].to_string();
    assert!(text.contains("Fails its test: shots.csv:4: The azimuth from B to P1"), "{text}");
    assert!(text.contains("It is kept; reject = \\\"auto\\\" under [network] takes such readings out."), "{text}");
    assert_eq!(summary["shots"]["flagged"], json!(0));
    let auto = small(&rows, "[network]\nreject = \"auto\"");
    let summary = auto.map();
    assert!(summary["network"].to_string().contains("Rejected by test: shots.csv:4: The azimuth from B to P1"));
    assert_eq!(summary["shots"]["flags"], json!({"rejected_by_test": 1}));
}

#[test]
fn a_class_name_is_no_station() {
    let rows = "1,A,tree,,10,0,30\n2,A,tree,,100,0,40\n3,A,tree,,200,0,80\n4,B,tree,,40,0,90\n";
    let job = small(rows, "[network]");
    let summary = job.map();
    assert_eq!(summary["shots"]["mapped"], json!(4));
    assert!(
        summary["network"].to_string().contains("such as \\\"tree\\\", stand for shots to several places"),
        "{}",
        summary["network"]
    );
}

#[test]
fn settings_out_of_range_name_their_line() {
    let job = small("1,A,P1,,10,0,30\n", "[network]\nalpha = 1.5");
    assert!(job.ran(&[]).exits(1).err.contains("alpha is 1.5; a probability lies between 0 and 1"));
}

#[test]
fn a_base_is_found_by_resection_from_three_known_points() {
    // R stands 100 m east of A; B lies 111.38 m north of A, C 200 m east and 50 m north of it (58 139.9 m a degree of longitude and
    // 111 381.8 m a degree of latitude at 58.6°, by the radii of WGS 84).
    let rows =
        "1,R,A,backsight,270,0,\n2,R,B,backsight,318.0813,0,\n3,R,C,backsight,63.4349,0,\n4,R,P1,,180,0,40\n5,A,P2,,45,0,20\n";
    let job = small(rows, "[network]");
    job.write("bases.csv", &format!("{}C,58.600448905,-2.896560016,60\n", support::small::BASES));
    let summary = job.map();
    let bases = job.layer("bases");
    let of = |name: &str| bases.iter().find(|base| base["base"] == name).unwrap_or_else(|| panic!("{name}: {summary}"));
    let (a, r) = (of("A"), of("R"));
    assert_eq!(r["placed_by"], "network");
    let distance = (number(r, "easting") - number(a, "easting")).hypot(number(r, "northing") - number(a, "northing"));
    // Half a metre a known point, half a degree a sight.
    assert_near(distance, 100.0, 0.05);
    assert_eq!(job.feature("features", "P1")["base"], "R");
    assert_eq!(summary["shots"]["mapped"], json!(2));
}

#[test]
fn a_catalogue_says_the_same_of_rows_in_a_network() {
    let header = "shot,base,code,feature,true_azimuth_deg,inclination_deg,slope_distance_m,Species\n";
    let rows = "1,A,stem,T1,90,0,49.8,yew\n2,A,stem,T1,90,0,49.8,\n3,A,bush,X1,10,0,30,\n4,A,bush,X1,10,0,30,\n";
    let catalogue = "[[codes]]\ncode = \"stem\"\ntitle = \"Stem\"\nlayer = \"stems\"\ngeometry = \"point\"\nface_diameter_m = 0.4\n\
                     attributes = [\"species\"]\n[attributes.species]\ntype = \"text\"\nlist = [\"oak\", \"ash\"]\n";
    let job = Small::new(&format!("{header}{rows}"), "catalogue = \"c.toml\"", "[network]");
    job.write("c.toml", catalogue);
    let summary = job.map();
    // Near faces at 49.8 m, a centre at 50 m, and the value that the list does not have told in layer, ledger and counts.
    let stem = job.feature("stems", "T1");
    assert_near(number(&stem, "horizontal_distance_m"), 50.0, 1e-3);
    assert_eq!(
        (stem["species"].as_str(), stem["flags"].as_str(), stem["face_diameter_m"].as_str()),
        ("yew", "attribute_value", "0.4")
    );
    assert_eq!(summary["shots"]["flags"], json!({"attribute_value": 1, "unknown_code": 1}));
    let ledger = job.ledger();
    assert_eq!(ledger[&2].0, "attribute_value");
    assert!(ledger[&2].1.contains("species \"yew\" is not one of: oak, ash"), "{}", ledger[&2].1);
    assert_eq!((job.layer("sight_lines").len(), job.layer("features").len()), (4, 1));
    // Rows that the catalogue holds take no part.
    job.write("c.toml", &format!("unknown = {{ action = \"hold\" }}\n{catalogue}"));
    assert_eq!(job.map()["shots"]["held_by_reason"], json!({"unknown_code": 2}));
}
