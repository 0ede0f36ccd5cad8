//! `standoff init`: a starter job from logs, which refuses to run until a person has decided.

use std::path::Path;
use std::process::{Command, Output};

const BASES: &str = "Point;Latitude;Longitude;Elev\nH1;46,1000;8,9000;512,3\nH2;46,1010;8,9010;514,1\n";
const SHOTS: &str = "Stn;Shot No;Timestamp;AZ;SD (ft);Incl;Species\nH1;1;2026-05-04 09:12:10;101,5;330,1;-2,5;oak\nH2;2;2026-05-04 09:13:10;99,5;310,4;1,5;ash\n";

fn standoff(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_standoff")).args(arguments).current_dir(folder).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("points.csv"), BASES).unwrap();
    std::fs::write(folder.path().join("shots.csv"), SHOTS).unwrap();
    folder
}

#[test]
fn guesses_have_reasons_and_what_cannot_be_known_has_a_mark() {
    let folder = folder();
    let run = standoff(folder.path(), &["init", "shots.csv", "points.csv"]);
    assert!(run.status.success());
    let job = text(&run.stdout);
    for line in [
        "files = [\"points.csv\"]",
        "files = [\"shots.csv\"]",
        "lat_deg = \"Latitude\"  # a latitude by its header",
        "lon_deg = \"Longitude\"  # a longitude by its header",
        "slope_distance_ft = \"SD (ft)\"  # a slope distance by its header; the header names the unit",
        "shot = \"Shot No\"  # shot by its header",
        "time = \"Timestamp\"  # time by its header; its times have no zone: see time_zone",
        "base = \"Stn\"  # base by its header",
        "# points.csv: separator \";\", decimal comma, UTF-8, 2 rows looked at; all found again on each run",
        "\"??_azimuth_??\" = \"AZ\"  # an azimuth by its header; from which north? put magnetic, true or grid in place of ??; \
         in which unit (values up to 101.5)? put deg, gon or mil",
        "\"inclination_??\" = \"Incl\"  # an inclination by its header; in which unit? put deg, gon, mil or pct in place of ??",
        "\"??_height_??\" = \"Elev\"  # a height by its header; which unit? put _m, _ft, _usft or _yd in place of _??; above what? \
         put ellipsoid or orthometric in place of the first ??",
    ] {
        assert!(job.lines().any(|found| found == line), "no line {line:?} in\n{job}");
    }
    // A column that nothing claims is listed, and never claimed.
    assert!(job.contains("\n# carried along as attributes: Species\n"), "{job}");
}

#[test]
fn the_job_refuses_to_run_until_every_mark_is_gone() {
    let folder = folder();
    let mut job = text(&standoff(folder.path(), &["init", "points.csv", "shots.csv"]).stdout);
    let path = folder.path().join("job.toml");
    // Each decision in turn; before the last, the run is refused and says where.
    let decisions = [
        ("\"??_height_??\"", "ellipsoid_height_m"),
        ("\"??_azimuth_??\"", "magnetic_azimuth_deg"),
        ("\"inclination_??\"", "inclination_deg"),
        ("instrument_height_m = \"??\"", "instrument_height_m = 1.6"),
    ];
    for (mark, decision) in decisions {
        std::fs::write(&path, &job).unwrap();
        let run = standoff(folder.path(), &["map", "job.toml"]);
        assert_eq!(run.status.code(), Some(1));
        let said = text(&run.stderr);
        assert!(said.starts_with("error: job.toml:") && said.contains("still undecided"), "{said}");
        assert!(job.contains(mark), "no {mark} in\n{job}");
        job = job.replacen(mark, decision, 1);
    }
    std::fs::write(&path, &job).unwrap();
    let run = standoff(folder.path(), &["map", "job.toml"]);
    assert!(run.status.success(), "{}", text(&run.stderr));
    assert!(text(&run.stdout).starts_with("2 of 2 shots mapped, 0 held, 0 flagged; 2 of 2 bases used\n"));
}

#[test]
fn a_log_that_cannot_be_read_is_told() {
    let folder = folder();
    std::fs::write(folder.path().join("empty.csv"), "\n\n").unwrap();
    let run = standoff(folder.path(), &["init", "empty.csv"]);
    assert_eq!(
        (run.status.code(), text(&run.stderr).as_str()),
        (Some(1), "error: empty.csv:1: the file is empty; a log needs a header line and rows\n")
    );
    let run = standoff(folder.path(), &["init", "nowhere.csv"]);
    assert_eq!(run.status.code(), Some(1));
    assert!(text(&run.stderr).starts_with("error: nowhere.csv: cannot be read: "));
}

/// The starter job of two logs.
fn job_of(bases: &str, shots: &str) -> String {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("bases.csv"), bases).unwrap();
    std::fs::write(folder.path().join("shots.csv"), shots).unwrap();
    let run = standoff(folder.path(), &["init", "bases.csv", "shots.csv"]);
    assert!(run.status.success(), "{}", text(&run.stderr));
    text(&run.stdout)
}

/// "gr" is gon in French (grades) and degrees in Dutch (graden; common practice, no source): asked for, unless the language or a direction
/// beyond 360 tells.
#[test]
fn a_unit_that_means_two_is_asked_for() {
    let bases = "Opstelpunt;X;Y;NAP\nA;157200,1;434700,2;8,2\nB;157300,1;434800,2;8,4\n";
    let dutch = |most: &str| {
        let rows: String = (1..8).map(|n| format!("A;{n};2{n},5;{n}1,25;-{n},5\n")).collect();
        format!("Opstelpunt;Nr;Afstand (m);Richting kaartnoorden (gr);Helling (gr)\n{rows}A;9;20,5;{most};1,5\n")
    };
    let job = job_of(bases, &dutch("359,5"));
    assert!(job.contains("\n\"grid_azimuth_??\" = ") && job.contains("\n\"inclination_??\" = "), "{job}");
    let job = job_of(bases, &dutch("360,5"));
    assert!(job.contains("\ngrid_azimuth_gon = ") && job.contains("\ninclination_gon = "), "{job}");
    let french = "Station;Nid;Distance (m);Gisement (gr);Site (gr)\n".to_owned() + &"A;1;20,5;100,25;-2,5\n".repeat(6);
    let job = job_of("Station;X;Y;Alti IGN69\nA;657200,1;6434700,2;8,2\n", &french);
    assert!(job.contains("\ngrid_azimuth_gon = ") && job.contains("\ninclination_gon = "), "{job}");
    assert!(job.contains("\northometric_height_m = \"Alti IGN69\""), "{job}");
}

/// Grids in feet and UTM beside shots in feet: UTM zones end below a million metres (NGA.SIG.0012), so that only what lies beyond is feet.
#[test]
fn feet_of_shots_make_no_feet_of_utm() {
    let shots = "Stn,Pt,SD (ft),Mag Az,Vert Ang (deg)\nA,1,100.5,10.5,1.5\nA,2,90.5,20.5,2.5\n";
    let job = job_of("Pt,Easting,Northing,Elev\nA,999999.5,4100000.1,200.1\n", shots);
    assert!(job.contains("\n\"east_??\" = \"Easting\""), "{job}");
    let job = job_of("Pt,Easting,Northing,Elev\nA,1000001.5,4100000.1,200.1\n", shots);
    assert!(job.contains("\neast_usft = \"Easting\"") && job.contains("\n\"??_height_ft\" = \"Elev\""), "{job}");
}

/// Bases on both sides of 180° lie in the last zone or the first, not in the one of Greenwich between their longitudes.
#[test]
fn the_zone_of_bases_on_both_sides_of_the_antimeridian() {
    for (first, second, code) in [("179.99", "-179.9993", 32760), ("-179.9993", "179.99", 32760), ("-179.99", "179.9996", 32701)]
    {
        let bases = format!("Point,Latitude,Longitude,HAE\nR1,-16.43,{first},58.1\nR2,-16.44,{second},57.2\n");
        let job = job_of(&bases, "Point,No,True Az deg,Incl deg,Slope m\nR1,1,20.5,1.5,33\nR2,2,30.5,2.5,44\n");
        assert!(job.contains(&format!("crs   = \"EPSG:{code}\"")), "{first} {second}: {job}");
    }
}

/// "Site" heads a base in English too, so that feet without a unit are asked for and not taken as metres; a slope in percent is no distance.
#[test]
fn a_site_makes_no_metres_and_a_slope_in_percent_no_distance() {
    let shots = "Site,Pt ID,Mag Az,Slope %,Range\nA,001,20.5,11.5,133\nA,002,30.5,12.5,144\nB,003,40.5,-1.5,155\n";
    let job = job_of("Site,Lat,Lon,HAE\nA,34.1,-84.1,58.1\nB,34.2,-84.2,57.2\n", shots);
    for line in ["base = \"Site\"", "inclination_pct = \"Slope %\"", "_distance_??\" = \"Range\"", "shot = \"Pt ID\""] {
        assert!(job.contains(line), "{line}: {job}");
    }
}

/// A spreadsheet's own first line names the separator; the header and its words stand below it.
#[test]
fn logs_that_begin_with_the_separator() {
    let bases = "sep=;\r\nBorne;X (L93);Y (L93);Alt. ellips.\r\n007;912427,322;6448281,273;312,11\r\n012;912571,361;6448441,782;315,02\r\n";
    let shots = "sep=;\r\nBorne;N°;Azimut géogr. (gon);Pente (%);Dist. réduite (m)\r\n007;1;298,85;-5,9;52,60\r\n012;2;28,85;-5,5;52,50\r\n";
    let job = job_of(bases, shots);
    for line in [
        "base = \"Borne\"",
        "east_m = \"X (L93)\"",
        "true_azimuth_gon = \"Azimut géogr. (gon)\"",
        "horizontal_distance_m = \"Dist. réduite (m)\"",
    ] {
        assert!(job.contains(line), "{line}: {job}");
    }
    assert!(!job.contains("sep="), "{job}");
}

/// A layer of points has its CRS in itself; which one the layers shall have is asked.
#[test]
fn a_layer_of_points_leaves_the_crs_of_the_layers_open() {
    let folder = tempfile::tempdir().unwrap();
    let point = r#"{"type":"Feature","properties":{"name":"S1"},"geometry":{"type":"Point","coordinates":[18.1,-33.9,44]}}"#;
    std::fs::write(folder.path().join("s.geojson"), format!(r#"{{"type":"FeatureCollection","features":[{point}]}}"#)).unwrap();
    std::fs::write(folder.path().join("shots.csv"), SHOTS).unwrap();
    let run = standoff(folder.path(), &["init", "s.geojson", "shots.csv"]);
    assert!(text(&run.stdout).contains("\ncrs   = \"??\""), "{}", text(&run.stdout));
}
