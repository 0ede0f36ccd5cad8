//! Tables below titles, placemarks, and files that are no logs.

use std::io::Write;

use super::*;

const JOB: &str = "name = \"a\"\ncrs = \"EPSG:32616\"\nformats = [\"csv\"]\n[bases]\nfiles = [\"BASES\"]\ncrs = \"EPSG:4979\"\n\
    [shots]\nfiles = [\"SHOTS\"]\ntime_zone = \"America/New_York\"\n[heights]\ninstrument_height_m = 1.5\ntarget_height_m = 0\n";

fn job(bases: &str, shots: &str) -> String {
    JOB.replace("BASES", bases).replace("SHOTS", shots)
}

#[test]
fn the_header_is_found_below_a_title() {
    let evening = Evening::with(&["forms/bases.csv", "forms/title_row.csv"]);
    evening.write("job.toml", job("bases.csv", "title_row.csv"));
    let ran = evening.map();
    assert!(ran.out.starts_with("2 of 2 shots mapped, 0 held"), "{}", ran.out);
    assert!(
        ran.out.contains("title_row.csv: the header was found in line 3, below the title \"Feeder 1204 pole shots\"."),
        "{}",
        ran.out
    );
    // The job can name the line.
    evening.write("job.toml", job("bases.csv", "title_row.csv").replace("[heights]", "header_line = 3\n[heights]"));
    evening.map();
    evening.write("job.toml", job("bases.csv", "title_row.csv").replace("[heights]", "header_line = 2\n[heights]"));
    let said = evening.run(&["check", "job.toml"]).exits(1).err;
    assert!(said.contains("header_line = 2 is no line of text"), "{said}");
}

/// A crew types its bases above its shots. Neither table is passed over without a word, and both are read from the one file.
#[test]
fn two_tables_in_one_file_are_told() {
    let evening = Evening::with(&["forms/bases.csv", "forms/title_row.csv"]);
    let shots = fs::read_to_string(data().join("forms/title_row.csv")).unwrap();
    let (title, shots) = shots.split_once("\n").unwrap();
    let bases = fs::read_to_string(data().join("forms/bases.csv")).unwrap();
    let rows = bases.lines().count();
    evening.write("both.csv", format!("{title}\n{bases}\n{shots}"));
    evening.write("job.toml", job("bases.csv", "both.csv"));
    let ran = evening.map();
    assert!(ran.out.starts_with("2 of 2 shots mapped, 0 held"), "{}", ran.out);
    let told = format!("both.csv: lines 2 to {} read like a table of their own, above the one that begins in line", rows + 1);
    assert!(ran.out.contains(&told), "{}", ran.out);
    assert!(ran.out.contains("write header_line = 2 to read the upper one"), "{}", ran.out);
    evening.write("job.toml", job("both.csv", "both.csv").replace("[shots]", "header_line = 2\n[shots]"));
    let ran = evening.map();
    assert!(ran.out.starts_with("2 of 2 shots mapped"), "{}", ran.out);
}

/// 34.27 N, 84.94 W: the placemark's own coordinates, as GDAL reads them too (`ogrinfo -al -q points.kml` of GDAL 3.6.2:
/// POINT Z (-84.94 34.27 215)).
#[test]
fn placemarks_are_bases() {
    let evening = Evening::with(&["forms/points.kml", "forms/title_row.csv"]);
    evening.write("job.toml", job("points.kml", "title_row.csv"));
    let ran = evening.map();
    let bases = evening.layer("bases");
    assert_eq!(
        (bases[0]["base"].as_str(), bases[0]["lat_deg"].as_str(), bases[0]["lon_deg"].as_str()),
        ("S1", "34.27", "-84.94")
    );
    // Clamped to the ground by default: the altitude means nothing until the job says that it was measured.
    assert_eq!(bases[0]["ellipsoid_height_m"], "");
    assert!(ran.out.contains("points.kml: 1 placemarks are clamped to the ground"), "{}", ran.out);
    evening.write("job.toml", job("points.kml", "title_row.csv").replace("[shots]", "kml_heights = \"ellipsoid\"\n[shots]"));
    evening.map();
    assert_eq!(number(&evening.layer("bases")[0], "ellipsoid_height_m"), 215.0);

    // The same in an archive.
    let mut archive = zip::ZipWriter::new(fs::File::create(evening.folder.path().join("points.kmz")).unwrap());
    archive.start_file("doc.kml", zip::write::SimpleFileOptions::default()).unwrap();
    archive.write_all(&fs::read(data().join("forms/points.kml")).unwrap()).unwrap();
    archive.finish().unwrap();
    let expected = places(&evening.layer("features"));
    evening.write("job.toml", job("points.kmz", "title_row.csv").replace("[shots]", "kml_heights = \"ellipsoid\"\n[shots]"));
    evening.map();
    assert_eq!(places(&evening.layer("features")), expected);
}

/// Names, places, altitudes and descriptions as GDAL reads them (kml/stands.csv has the command), from the document and from the
/// archive that GDAL writes of it, whose main document only links to one for each layer.
#[test]
fn placemarks_are_those_that_gdal_reads() {
    let evening = Evening::with(&["kml/stands.kml", "kml/stands.kmz"]);
    evening.write("shots.csv", "shot,base,feature,slope_distance_m,true_azimuth_deg,inclination_deg\n1,S1,A,80.4,10,0\n");
    let text = fs::read_to_string(data().join("kml/stands.csv")).unwrap();
    let rows: Vec<Vec<&str>> =
        text.lines().filter(|line| !line.starts_with('#')).skip(1).map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), 3);
    for file in ["stands.kml", "stands.kmz"] {
        evening.write("job.toml", job(file, "shots.csv").replace("[shots]", "kml_heights = \"ellipsoid\"\n[shots]"));
        evening.map();
        let bases = evening.layer("bases");
        assert_eq!(bases.len(), rows.len(), "{file}: {bases:?}");
        for row in &rows {
            let [lon, lat, altitude] = [0, 1, 2].map(|at| row[at].parse::<f64>().unwrap());
            let base = bases.iter().find(|base| base["base"] == row[3]).unwrap_or_else(|| panic!("{file}: no {}", row[3]));
            // Printed with nine decimals of a degree and millimetres.
            assert!((number(base, "lat_deg") - lat).abs() < 1e-8 && (number(base, "lon_deg") - lon).abs() < 1e-8, "{base:?}");
            assert!((number(base, "ellipsoid_height_m") - altitude).abs() < 0.001, "{base:?}");
            assert_eq!(base.get("description").map(String::as_str).unwrap_or_default(), row[4], "{base:?}");
        }
    }
}

#[test]
fn what_is_no_log_is_called_by_its_real_kind() {
    let evening = Evening::with(&["forms/bases.csv", "3-nests/notebook.txt"]);
    // A picture by its first bytes (PNG specification, 5.2), whatever it is called.
    evening.write("shots.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR");
    evening.write("job.toml", job("bases.csv", "shots.csv"));
    for arguments in [vec!["check", "job.toml"], vec!["init", "bases.csv", "shots.csv"]] {
        let said = evening.run(&arguments).exits(1).err;
        assert!(said.contains("shots.csv: this is a picture (PNG), not a log; name the file"), "{said}");
    }
    // A page of notes is told from a table.
    evening.write("job.toml", job("bases.csv", "notebook.txt"));
    for arguments in [vec!["check", "job.toml"], vec!["init", "bases.csv", "notebook.txt"]] {
        let said = evening.run(&arguments).exits(1).err;
        assert!(said.contains("notebook.txt:1: this reads like a page of notes, not a table"), "{said}");
        assert!(said.contains("A table has one line of headers"), "{said}");
    }
}

#[test]
fn totals_and_notes_below_a_table_are_held_as_such() {
    let evening = Evening::with(&["forms/bases.csv"]);
    evening.write(
        "shots.csv",
        "shot,base,feature,slope_distance_m,true_azimuth_deg,inclination_deg\n1,S1,A,80.4,10,0\n2,S1,B,120.4,20,0\n\
         ,,Total,200.8,,\nwind from the west\nSumme,,,200.8,,\n3,,C,20,30,0\n",
    );
    evening.write("job.toml", job("bases.csv", "shots.csv"));
    evening.map();
    let held: Vec<(u64, String)> = evening.held().into_iter().map(|(_, line, reason)| (line, reason)).collect();
    let expected = [(4, "no_row"), (5, "no_row"), (6, "no_row"), (7, "no_base")].map(|(line, reason)| (line, reason.to_owned()));
    assert_eq!(held, expected);
}

/// For two axes that err alike and apart, the radius of a share p is r = σ √(-2 ln(1 - p)): 2.4477 σ at 95 %, 1.1774 σ at
/// 50 % (SciPy 1.17.1: `scipy.stats.rayleigh.ppf([0.95, 0.5]).tolist()`).
#[test]
fn an_accuracy_is_a_radius_with_a_share() {
    let evening = Evening::with(&["forms/title_row.csv"]);
    evening.write("bases.csv", "base,lat_deg,lon_deg,radius_m\nS1,34.27,-84.94,3.0\n");
    evening.write("job.toml", job("bases.csv", "title_row.csv"));
    let said = evening.run(&["check", "job.toml"]).exits(1).err;
    assert!(said.contains("\"radius_m\" is the radius of an accuracy") && said.contains("write radius_share = 0.68"), "{said}");
    for (share, factor) in [("0.95", 2.447746830680816), ("0.5", 1.1774100225154747)] {
        evening
            .write("job.toml", job("bases.csv", "title_row.csv").replace("[shots]", &format!("radius_share = {share}\n[shots]")));
        evening.map();
        let sigma = number(&evening.layer("bases")[0], "sigma_horizontal_m");
        // Printed to the millimetre or better.
        assert!((sigma - 3.0 / factor).abs() < 0.001, "{share}: {sigma}");
    }
}
