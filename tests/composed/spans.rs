//! Spans: what stands beside every distance of a wire, and the threshold of the user's.

use standoff::inside::measure::span::CAUTION;

use super::*;

/// Supports 100 m apart, 10 m over the instrument; c = 500 m: sag 500 (cosh 0.1 − 1) = 2.502 084 m.
const SAG_M: f64 = 2.502_084;

fn wire(x: f64) -> [f64; 3] {
    let z = |x: f64| 500.0 * ((x / 500.0).cosh() - 1.0);
    [x, 50.0, 10.0 + z(x) - z(50.0)]
}

/// The rows of a span; under mid-span 7.5 m, 5.5 m and 3.0 m below the wire. Each has what stands behind it.
fn rows(behind: &[&str]) -> String {
    let down = |metres: f64| [0.0, 50.0, wire(0.0)[2] - metres];
    let shots = [
        ("support_a", wire(-50.0)),
        ("support_b", wire(50.0)),
        ("wire", wire(-25.0)),
        ("wire", wire(0.0)),
        ("wire", wire(20.0)),
        ("ground", down(7.5)),
        ("ground", down(5.5)),
        ("object", down(3.0)),
    ];
    let row = |(i, (role, at)): (usize, &(&str, [f64; 3]))| {
        format!("{}{}\n", shot(i + 1, "span", role, "S1", *at), behind.get(i).or(behind.last()).unwrap_or(&""))
    };
    shots.iter().enumerate().map(row).collect()
}

const WITH_DAY: &str = "shot,base,measure,role,feature,string,order,true_azimuth_deg,inclination_deg,slope_distance_m,\
                        time,code,air_temperature_c,wind_m_s,load_a,conditions\n";

fn of<'r>(records: &'r [Record], quantity: &str) -> Vec<&'r Record> {
    records.iter().filter(|record| record["quantity"] == quantity).collect()
}

#[test]
fn every_distance_has_its_targets_its_time_and_the_conditions_of_the_day() {
    let behind: Vec<String> = (0..8)
        .map(|i| {
            let code = ["", "", "", "", "", "lane", "", "roof"][i];
            format!(",2026-07-04 14:0{i}:30,{code},{},3,,hazy sun", if i < 4 { "19" } else { "20.5" })
        })
        .collect();
    let behind: Vec<&str> = behind.iter().map(String::as_str).collect();
    let run = Run::of(&Logs {
        header: WITH_DAY,
        rows: &rows(&behind),
        shots: "time_zone = \"Europe/London\"",
        end: "[measures]\nspan_threshold_m = 5.5\nspan_thresholds_m = { \"T*\" = 1.0 }",
        ..LOGS
    });
    assert_near(run.value("S1", "sag_m").0, SAG_M, PLANE_M);
    assert_near(run.value("S1", "least_straight_distance_m").0, 3.0, PLANE_M);
    let records = run.layer("measurements");
    for record in &records {
        assert_eq!(
            record["conditions"],
            "air temperature 19 to 20.5 °C; wind 3 m/s; conductor temperature and loading not known; hazy sun"
        );
        assert_eq!(record["caution"], CAUTION);
        // British Summer Time.
        assert_eq!(record["time_local"], "2026-07-04T14:00:30+01:00");
        assert_eq!(record["time"], "2026-07-04T13:00:30.000Z");
        assert_eq!(record["time_last"], "2026-07-04T13:07:30.000Z");
    }
    let vertical: Vec<[&str; 4]> = of(&records, "vertical_distance_m")
        .iter()
        .map(|r| ["target", "user_threshold_m", "against_user_threshold", "source_line"].map(|field| r[field].as_str()))
        .collect();
    assert_eq!(
        vertical,
        [
            ["wire to shot 6 (ground), lane", "5.5", "above the user threshold", "7"],
            ["wire to shot 7 (ground)", "5.5", "cannot tell: the 95 % interval straddles the user threshold", "8"],
            ["wire to shot 8 (object), roof", "5.5", "below the user threshold", "9"],
        ]
    );
    for (record, want) in of(&records, "vertical_distance_m").iter().zip([7.5, 5.5, 3.0]) {
        let number = |field: &str| record[field].parse::<f64>().unwrap();
        assert_near(number("value"), want, PLANE_M);
        // The answer follows from the interval.
        let answer = if number("low95") > 5.5 {
            "above"
        } else if number("high95") < 5.5 {
            "below"
        } else {
            "cannot"
        };
        assert!(record["against_user_threshold"].starts_with(answer), "{record:?}");
    }
    assert_eq!(of(&records, "least_vertical_distance_m")[0]["target"], "wire to shot 8 (object), roof");
    // A sag is no clearance.
    assert_eq!((of(&records, "sag_m")[0]["target"].as_str(), of(&records, "sag_m")[0]["user_threshold_m"].as_str()), ("", ""));
    let lines = run.layer("lines");
    assert_eq!((lines[0]["caution"].as_str(), lines[0]["conditions"].as_str()), (CAUTION, records[0]["conditions"].as_str()));
    assert_eq!(lines[0]["time_local"], "2026-07-04T14:00:30+01:00");
    // The conditions are attributes of the shots as well, as other columns of the log are.
    let features = run.layer("features");
    assert_eq!((features[0]["air_temperature_c"].as_str(), features[0]["conditions"].as_str()), ("19", "hazy sun"));
    // A Shapefile cuts no caution.
    let fields = table(&run.folder.path().join("out/shp/cove.measurements.fields.csv"));
    let cut: Vec<&str> = fields.iter().filter(|field| field["values_cut"] != "0").map(|field| field["name"].as_str()).collect();
    assert!(!cut.contains(&"caution") && !cut.contains(&"conditions"), "{cut:?}");
}

#[test]
fn without_a_threshold_nothing_passes_or_fails() {
    let run = Run::of(&Logs { rows: &rows(&[""]), ..LOGS });
    for record in run.layer("measurements") {
        assert_eq!((record["user_threshold_m"].as_str(), record["against_user_threshold"].as_str()), ("", ""));
        assert_eq!(record["conditions"], "air temperature and wind not entered; conductor temperature and loading not known");
        assert_eq!(record["caution"], CAUTION);
        assert_eq!((record["time"].as_str(), record["time_local"].as_str()), ("", ""));
    }
}

#[test]
fn a_span_has_the_threshold_of_its_name() {
    let end = "[measures]\nspan_threshold_m = 5.5\nspan_thresholds_m = { \"S*\" = 20.0, \"S1\" = 2.0 }";
    let run = Run::of(&Logs { rows: &rows(&[""]), end, ..LOGS });
    let records = run.layer("measurements");
    let told: Vec<[&str; 2]> = of(&records, "straight_distance_m")
        .iter()
        .map(|record| ["user_threshold_m", "against_user_threshold"].map(|field| record[field].as_str()))
        .collect();
    assert_eq!(told, [["2", "above the user threshold"]; 3]);
}

#[test]
fn a_mistyped_key_names_the_nearest() {
    let folder = tempfile::tempdir().unwrap();
    let job = "name = \"a\"\ncrs = \"EPSG:32630\"\n[measures]\nspan_treshold_m = 5\n";
    fs::write(folder.path().join("job.toml"), job).unwrap();
    let ran = standoff(folder.path(), &["map", "job.toml"]);
    let want = "job.toml:4: unknown key span_treshold_m in [measures]; did you mean span_threshold_m?";
    assert!(ran.err.contains(want), "{}", ran.err);
}
