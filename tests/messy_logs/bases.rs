//! Faults of base logs, and of the join: names, positions, heights, zones.

use crate::common::{BASES, Field, HEAD, good, shot};

const BASE_HEAD: &str = "base,lat_deg,lon_deg,ellipsoid_height_m\n";

/// Layers print positions to 1e-9 of a degree; two of them may be off by half of that each.
const PRINTED_DEG: f64 = 1.1e-9;

/// A job with one good shot from A and one from B, and these bases.
fn with_bases(bases: impl AsRef<[u8]>) -> Field {
    let field = Field::new(good(1) + &shot("B", 2, "9", "0", "20"));
    field.write("bases.csv", bases);
    field
}

/// The usual bases, with another position of B.
fn b_at(position: &str) -> Field {
    with_bases(BASES.replace("46.1010,8.9010", position))
}

#[test]
fn missing_base_is_never_guessed() {
    let rows = ["RL-O5", "", "Z"].map(|base| shot(base, 1, "9", "0", "20"));
    let field = Field::new(HEAD.to_owned() + &rows.concat() + &shot("RL-05", 5, "9", "0", "20"));
    field.write("bases.csv", BASES.replace("A,", "RL-05,").replace("B,", "RL-11,"));
    let run = field.map();
    assert_eq!(
        run.held,
        [
            ["shots.csv", "2", "unknown_base", "base", "RL-O5", "no base log has a base RL-O5; did the crew mean RL-05?"],
            ["shots.csv", "3", "no_base", "base", "", "base is empty: the shot names no base"],
            ["shots.csv", "4", "unknown_base", "base", "Z", "no base log has a base Z"],
        ]
    );
    assert_eq!(run.held_rows, rows.map(|row| row.trim_end().to_owned()));
    assert_eq!(run.column("base"), ["RL-05"]);
}

#[test]
fn base_name_that_stands_for_no_reading() {
    let run = Field::new(good(1) + &shot("---", 3, "9", "0", "20")).map();
    let say = "base \"---\" is no reading: the shot names no base";
    assert_eq!(run.held, [["shots.csv", "3", "no_base", "base", "---", say]]);
}

#[test]
fn base_names_keep_their_zeros() {
    let field = Field::new(HEAD.to_owned() + &shot("007", 1, "9", "0", "20") + &shot("7", 2, "9", "0", "20"));
    field.write("bases.csv", BASES.replace("A,", "007,"));
    let run = field.map();
    assert_eq!(run.held, [["shots.csv", "3", "unknown_base", "base", "7", "no base log has a base 7"]]);
    assert_eq!(run.column("base"), ["007"]);
}

#[test]
fn shots_from_a_base_that_was_held_say_why() {
    let run = with_bases(BASES.replace("514.1", "")).map();
    let why = "ellipsoid_height_m is empty: the base has no height";
    assert_eq!(
        run.held,
        [
            ["bases.csv", "3", "no_height", "ellipsoid_height_m", "", why],
            ["shots.csv", "3", "base_held", "base", "B", &format!("base B was held: {why}")],
        ]
    );
    assert_eq!(run.held_rows[0], "B,46.1010,8.9010,");
    assert_eq!(run.column("base"), ["A"]);
    // A later good row of the same name serves.
    let run = with_bases(BASES.replace("514.1", "") + "B,46.1010,8.9010,514.1\n").map();
    assert_eq!((run.held.len(), run.column("base")), (1, vec!["A", "B"]));
}

#[test]
fn base_without_a_height_in_a_log_that_has_heights() {
    for (height, sentence) in [
        ("", "ellipsoid_height_m is empty: the base has no height"),
        ("---", "ellipsoid_height_m \"---\" is no reading: the base has no height"),
        ("9999", "ellipsoid_height_m \"9999\" is no reading: the base has no height"),
        ("-999.25", "ellipsoid_height_m \"-999.25\" is no reading: the base has no height"),
    ] {
        let run = with_bases(BASES.replace("514.1", height)).map();
        assert_eq!(run.held.len(), 2);
        assert_eq!(run.held[0], ["bases.csv", "3", "no_height", "ellipsoid_height_m", height, sentence]);
    }
}

#[test]
fn base_whose_height_is_no_number() {
    let run = with_bases(BASES.replace("514.1", "high")).map();
    let say = "ellipsoid_height_m \"high\" is not a number";
    assert_eq!(run.held[0], ["bases.csv", "3", "not_a_number", "ellipsoid_height_m", "high", say]);
}

#[test]
fn base_log_without_heights_gives_no_false_zero() {
    let run = with_bases("base,lat_deg,lon_deg\nA,46.1,8.9\nB,46.101,8.901\n").map();
    assert_eq!(run.mapped(), 2);
    for field in ["ellipsoid_height_m", "orthometric_height_m", "geoid_undulation_m", "sigma_up_m", "sigma_geoid_m", "height95_m"]
    {
        assert_eq!(run.column(field), ["", ""], "{field}");
    }
    for field in ["ellipsoid_height_m", "orthometric_height_m", "geoid_undulation_m", "sigma_vertical_m", "sigma_geoid_m"] {
        assert_eq!(run.base_column(field), ["", ""], "{field}");
    }
    assert_eq!((run.column("height_kind"), run.base_column("height_kind")), (vec!["none", "none"], vec!["none", "none"]));
    assert_eq!(
        run.summary["notes"],
        serde_json::json!(["2 of 2 bases have no height: their features are mapped without heights, at the ellipsoid's level."])
    );
}

#[test]
fn base_without_a_position() {
    for (lat, sentence) in
        [("", "lat_deg is empty: the base has no position"), ("NaN", "lat_deg \"NaN\" is no reading: the base has no position")]
    {
        let run = b_at(&format!("{lat},8.9010")).map();
        assert_eq!(run.held[0], ["bases.csv", "3", "no_position", "lat_deg", lat, sentence]);
    }
}

#[test]
fn heights_of_instruments_and_targets_that_stand_for_no_reading() {
    // 9999 is no height of a tripod, nor -999 of a target: the job's 1.5 m and 0 hold.
    let head = HEAD.replace("note", "instrument_height_m,target_height_m");
    let plain = Field::new(good(1).replace(HEAD, &head).replace(",x\n", ",,\n")).map();
    let run = Field::new(good(1).replace(HEAD, &head).replace(",x\n", ",9999,-999\n")).map();
    run.assert_same_features(&plain);
}

#[test]
fn heights_of_antennas_that_stand_for_no_reading() {
    let bases = BASES.replacen('\n', ",antenna_height_m\n", 1).replace(".3\n", ".3,9999\n").replace(".1\n", ".1,2\n");
    // 9999 is no antenna height, and none is not 0: the base is held.
    let run = with_bases(&bases).map();
    assert_eq!(run.base_column("ellipsoid_height_m"), ["512.1"]);
    let say = "antenna_height_m \"9999\" is no reading: nothing says how high the antenna stood; write it in the row, or \
               antenna_height_m under [heights]";
    assert_eq!(run.held[0], ["bases.csv", "2", "no_height", "antenna_height_m", "9999", say]);
    // The job's stands in.
    let mut field = with_bases(&bases);
    field.job = field.job.replace("target_height_m = 0\n", "target_height_m = 0\nantenna_height_m = 0.3\n");
    assert_eq!(field.map().base_column("ellipsoid_height_m"), ["512", "512.1"]);
}

#[test]
fn standard_errors_of_positions_that_stand_for_no_reading() {
    // The job's 0.5 m and 1 m hold.
    let head = ",sigma_horizontal_m,sigma_vertical_m\n";
    let bases = BASES.replacen('\n', head, 1).replace(".3\n", ".3,9999,9999\n").replace(".1\n", ".1,0.02,0.03\n");
    let run = with_bases(bases).map();
    assert_eq!(run.base_column("sigma_horizontal_m"), ["0.5", "0.02"]);
    assert_eq!(run.base_column("sigma_vertical_m"), ["1", "0.03"]);
}

#[test]
fn two_positions_far_apart_under_one_base_name() {
    let run = with_bases(BASES.to_owned() + "B,46.1011,8.9010,514.0\n").map();
    // 0.0001° of latitude is 11.1 m: 10 000 km to a quadrant, as the metre was meant to be.
    let rename = "positions 11.1 m apart bear the name B; rename one";
    assert_eq!(
        run.held,
        [
            ["bases.csv", "3", "ambiguous_base", "base", "B", rename],
            ["bases.csv", "4", "ambiguous_base", "base", "B", rename],
            ["shots.csv", "3", "ambiguous_base", "base", "B", "positions 11.1 m apart bear the name B"],
        ]
    );
    assert_eq!(run.held_rows[..2], ["B,46.1010,8.9010,514.1", "B,46.1011,8.9010,514.0"]);
    assert_eq!((run.column("base"), run.base_column("base")), (vec!["A"], vec!["A"]));
}

#[test]
fn base_occupied_again_at_one_place() {
    // 0.000005° of latitude is 0.6 m, and the standard error of each position 0.5 m.
    let run = with_bases(BASES.to_owned() + "B,46.101005,8.9010,514.0\n").map();
    let sentence = "the base stands in the logs more than once at nearly one place; the first is used";
    assert_eq!(run.flagged(), [["bases.csv", "4", "repeated_base", sentence]]);
    assert_eq!(run.base_column("flags"), ["", "", "repeated_base"]);
    // The first is used, and the positions are not averaged.
    assert_eq!(run.base_column("shots"), ["1", "1", "0"]);
    assert_eq!(run.base_column("lat_deg"), ["46.1", "46.101", "46.101005"]);
}

#[test]
fn same_coordinate_for_all_bases() {
    let run = with_bases(format!("{BASE_HEAD}A,46.1,8.9,500\nB,46.1,8.9,500\n")).map();
    let sentence = "another base has exactly the same coordinates: was the receiver frozen, or a row copied?";
    assert_eq!(run.flagged(), [["bases.csv", "2", "same_position", sentence], ["bases.csv", "3", "same_position", sentence]]);
    assert_eq!((run.mapped(), run.base_column("flags")), (2, vec!["same_position", "same_position"]));
    // One a metre above the other, they differ.
    assert!(with_bases(format!("{BASE_HEAD}A,46.1,8.9,500\nB,46.1,8.9,501\n")).map().flagged().is_empty());
}

const OUTSIDE: &str = "the base lies outside the area that the job or the CRS of the layers is meant for";

#[test]
fn latitude_and_longitude_swapped() {
    let run = b_at("8.9010,46.1010").map();
    let sentence = format!("{OUTSIDE}; with latitude and longitude swapped the base would lie inside that area");
    assert_eq!(run.flagged(), [["bases.csv", "3", "outside_area maybe_swapped", &sentence]]);
    // Reported, not mended.
    assert_eq!((run.base_column("lat_deg")[1], run.base_column("lon_deg")[1]), ("8.901", "46.101"));
    // Where a longitude cannot be a latitude, the base is held.
    let run = b_at("146.1010,8.9010").map();
    let say = "lat_deg 146.1010 is outside -90 to 90 degrees; are latitude and longitude swapped?";
    assert_eq!(
        run.held,
        [
            ["bases.csv", "3", "position_range", "lat_deg", "146.1010", say],
            ["shots.csv", "3", "base_held", "base", "B", &format!("base B was held: {say}")],
        ]
    );
}

#[test]
fn sign_of_a_longitude_or_latitude_lost() {
    let sentence = format!("{OUTSIDE}; with the sign of the longitude or latitude turned the base would lie inside that area");
    for position in ["46.1010,-8.9010", "-46.1010,8.9010"] {
        let run = b_at(position).map();
        assert_eq!(run.flagged(), [["bases.csv", "3", "outside_area maybe_sign_lost", &sentence]]);
        assert_eq!(run.mapped(), 2);
    }
}

/// A base just beyond 180° is outside the area of a zone that ends there, but a turned sign would not bring it to another place.
#[test]
fn a_sign_near_the_antimeridian_is_not_lost() {
    let mut field = Field::new(format!("{HEAD}A,1,2026-05-04T09:00:00Z,20,1,50,\nB,2,2026-05-04T09:00:00Z,20,1,50,\n"));
    field.job = field.job.replace("EPSG:32632", "EPSG:32760");
    field.write("bases.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nA,-16.4312,179.9996,58\nB,-16.4339,-179.9993,57\n");
    assert_eq!(field.map().flagged(), [["bases.csv", "3", "outside_area", OUTSIDE]]);
}

#[test]
fn base_in_the_next_zone_or_outside_the_project() {
    // UTM zone 32 ends at 12 degrees east.
    let run = b_at("46.1010,12.0500").map();
    assert_eq!(run.flagged(), [["bases.csv", "3", "outside_area", OUTSIDE]]);
    assert_eq!(run.mapped(), 2);
    // The job may draw the area closer.
    let mut field = with_bases(BASES);
    field.job += "[checks]\narea_deg = [8.8, 46.0, 8.9005, 46.2]\n";
    assert_eq!(field.map().flagged(), [["bases.csv", "3", "outside_area", OUTSIDE]]);
}

#[test]
fn degrees_and_minutes_run_together() {
    for (position, column, value, limit) in [
        ("4606.06,8.9", "lat_deg", "4606.06", 90),
        ("4606.06N,00854.06E", "lat_deg", "4606.06N", 90),
        ("46.101,00854.06", "lon_deg", "00854.06", 180),
    ] {
        let say = format!(
            "{column} {value} is outside -{limit} to {limit} degrees; degrees and minutes run together, as in 4607.40, must be split"
        );
        assert_eq!(b_at(position).map().held[0], ["bases.csv", "3", "position_range", column, value, &say]);
    }
}

#[test]
fn degrees_minutes_seconds_with_letters() {
    // 46.11 and 8.91 degrees.
    for position in
        ["46°06'36.0\"N,8°54'36.0\"E", "46 06.6 N,8 54.6 E", "N46:06:36,E008:54:36", "46 6 36,8 54 36", "46d06m36s,8d54m36s"]
    {
        let run = b_at(position).map();
        assert_eq!((run.base_column("lat_deg")[1], run.base_column("lon_deg")[1]), ("46.11", "8.91"), "{position}");
    }
    // In the south and west.
    let run = b_at("46 06 36 S,8°54'36\"W").map();
    assert_eq!((run.base_column("lat_deg")[1], run.base_column("lon_deg")[1]), ("-46.11", "-8.91"));
    // With a decimal comma.
    let run = with_bases("base;lat_deg;lon_deg;ellipsoid_height_m\nA;46°06'36,0\"N;8°54,60'E;500,5\nB;46,2;8,8;500,5\n").map();
    assert_eq!((run.base_column("lat_deg")[0], run.base_column("lon_deg")[0]), ("46.11", "8.91"));
}

#[test]
fn degrees_minutes_seconds_that_cannot_be() {
    let parts = "minutes and seconds must be below 60, and only the last part may have decimals";
    for (position, column, value, why) in [
        ("46 70 00 N,8.9", "lat_deg", "46 70 00 N", parts),
        ("46.1,8.5 30 E", "lon_deg", "8.5 30 E", parts),
        ("46 6 E,8 54 E", "lat_deg", "46 6 E", "the hemisphere letter belongs to the other axis"),
        ("-46 6 S,8.9", "lat_deg", "-46 6 S", "has both a sign and a hemisphere letter"),
        ("north,8.9", "lat_deg", "north", "not an angle in degrees"),
    ] {
        let say = format!("{column} \"{value}\": {why}");
        assert_eq!(b_at(position).map().held[0], ["bases.csv", "3", "not_an_angle", column, value, &say]);
    }
}

/// Bases named by plot and point, their zone in a column; the layers are in degrees.
fn two_zones(bases: &str, shots: &str) -> Field {
    let named = "base = [\"plot\", \"point\"]";
    let zones = "[bases.crs_by_value]\n32N = \"EPSG:32632\"\n33N = \"EPSG:32633\"";
    let mut field = Field::new(format!("plot,point,shot,true_azimuth_deg,horizontal_distance_m\n{shots}"))
        .with("SHOTS", &format!("[shots.columns]\n{named}"))
        .with("BASES", &format!("[bases.columns]\n{named}\n{zones}"));
    field.job = field.job.replace("crs = \"EPSG:4979\"", "crs_column = \"zone\"");
    field.job = field.job.replace("crs = \"EPSG:32632\"\nformats", "crs = \"EPSG:4326\"\nformats");
    field.write("bases.csv", format!("plot,point,east_m,north_m,zone\n{bases}"));
    field
}

#[test]
fn bases_in_several_zones_by_a_column() {
    // The zones lie mirrored about 12 degrees east: as far from their central meridians at one
    // northing is one latitude, and the longitudes lie as far on either side.
    let run = two_zones("P,1,735000,5100000,32N\nP,2,265000,5100000,33N\n", "P,1,1,90,20\nP,2,2,90,20\n").map();
    assert_eq!(run.base_column("base"), ["P/1", "P/2"]);
    let degrees = |field: &str| -> Vec<f64> { run.base_column(field).iter().map(|text| text.parse().unwrap()).collect() };
    let (lat, lon) = (degrees("lat_deg"), degrees("lon_deg"));
    assert!((lat[0] - lat[1]).abs() < PRINTED_DEG && (lon[0] + lon[1] - 24.0).abs() < PRINTED_DEG, "{lat:?} {lon:?}");
    assert!(lon[0] > 12.0 && (46.0..46.1).contains(&lat[0]), "{lat:?} {lon:?}");
    // East of its base, in whichever zone: the azimuths are true.
    let features = run.numbers("lon_deg");
    assert!(features[0] > lon[0] && features[1] > lon[1]);
    assert_eq!(run.column("easting"), ["", ""], "null in a geographic CRS");
}

#[test]
fn base_in_a_zone_that_the_job_does_not_know() {
    let bases = "P,1,735000,5100000,32N\nP,2,265000,5100000,34N\nP,3,265000,5100000,\n";
    let run = two_zones(bases, "P,1,1,90,20\nP,2,2,90,20\n").map();
    let say = |zone: &str| format!("zone \"{zone}\" is not in [bases.crs_by_value], which has: 32N, 33N");
    assert_eq!(
        run.held,
        [
            ["bases.csv", "3", "unknown_crs", "zone", "34N", &say("34N")],
            ["bases.csv", "4", "unknown_crs", "zone", "", &say("")],
            ["shots.csv", "3", "base_held", "plot + point", "P/2", &format!("base P/2 was held: {}", say("34N"))],
        ]
    );
    let mut field = two_zones("P,1,735000,5100000,32N\n", "P,1,1,90,20\n");
    field.job = field.job.replace("crs_column = \"zone\"", "crs_column = \"utm\"");
    assert_eq!(
        field.refusal(),
        "./bases.csv:1: crs_column is \"utm\", which the file does not have; it has: plot, point, east_m, north_m, zone"
    );
}

#[test]
fn base_named_by_two_columns_together() {
    // The parts do not run into one another: 1 and 12 are not 11 and 2.
    let bases = "1,12,735000,5100000,32N\n11,2,735500,5100000,32N\n";
    let run = two_zones(bases, "1,12,1,90,20\n11,2,2,90,20\n11,,3,90,20\n1,2,4,90,20\n").map();
    assert_eq!((run.column("base"), run.base_column("shots")), (vec!["1/12", "11/2"], vec!["1", "1"]));
    assert_eq!(
        run.held,
        [
            ["shots.csv", "4", "no_base", "plot + point", "", "plot + point is empty: the shot names no base"],
            ["shots.csv", "5", "unknown_base", "plot + point", "1/2", "no base log has a base 1/2; did the crew mean 1/12?"],
        ]
    );
}

#[test]
fn no_base_that_can_be_used() {
    assert_eq!(
        with_bases(format!("{BASE_HEAD}A,46.1,8.9,\nB,,8.9,500\n")).refusal(),
        "no base can be used: 2 of 2 rows were held; the first: ellipsoid_height_m is empty: the base has no height"
    );
    assert_eq!(with_bases(BASE_HEAD).refusal(), "no base can be used: the logs of bases have no rows");
}
