//! What is said of logs and options that lack something, and of results that mean something.

use super::{calibrate, found};

const TWO_WAY: &str = "measure,role,inclination_deg,slope_distance_m\n";

/// The one message of a failed run.
#[track_caller]
fn refused(log: &str, arguments: &[&str], message: &str) {
    calibrate(log, arguments).fails(message);
}

#[test]
fn missing_roles() {
    refused(
        &format!("{TWO_WAY}stake,,1,2\ntwo_way,forth,1.3,40\ntwo_way,forth,1.3,40\n"),
        &[],
        "cal.csv:3: the two_way shots that begin here (2 forth) have none with role = back: shoot the line from its other end \
         too, or from the same base with the instrument turned over",
    );
    refused(
        &format!("{TWO_WAY}two_peg,mid_a,1.3,40\ntwo_peg,mid_b,1.3,40\ntwo_peg,near_b,1.3,40\n"),
        &[],
        "cal.csv:2: the two_peg shots that begin here (1 mid_a, 1 mid_b, 1 near_b) have none with role = near_a: shoot both \
         marks from beside one of them",
    );
}

#[test]

fn rows_that_cannot_be_read_are_told() {
    let log = format!(
        "{TWO_WAY}two_way,forth,1.3,40\ntwo_way,fourth,1.3,40\ntwo-way,back,1,40\ntwo_way,,1,40\n\
                       two_way,back,level,40\ntwo_way,back,-0.7,40\n"
    );
    let said: Vec<String> = found(&log, &[])["held"]
        .as_array()
        .unwrap()
        .iter()
        .map(|held| format!("{} {}", held["line"], held["sentence"].as_str().unwrap()))
        .collect();
    assert_eq!(
        said,
        [
            "3 role \"fourth\" is no part of two_way; write one of: forth, back",
            "5 role is empty; the role of a two_way shot is one of: forth, back",
            "6 inclination_deg \"level\" is not a number",
        ]
    );
}

#[test]
fn no_calibration_shot_at_all() {
    refused(
        "measure,slope_distance_m\noffset,12\noffset,13\n",
        &[],
        "no row is a calibration shot: of 2 rows none has measure = known_line, two_way or two_peg; add a column measure (and \
         role), or claim yours under [shots.columns] of a job",
    );
    // A log without such a column is of one kind; without roles, of shots over a known line.
    refused(
        "slope_distance_m\n12\n13\n",
        &[],
        "cal.csv:2: the true values of the known line are not given; give its slope or its horizontal distance, its azimuth with the north that it \
         is from, its inclination, or the two points at its ends (--distance or --horizontal-distance, --azimuth with --azimuth-north, \
         --inclination, --from with --to)",
    );
    let found = found("slope_distance_m,role\n12.0,\n12.2,\n", &["--distance", "12.3"]);
    // 12.3 − 12.1.
    assert!((super::correction(&found, "distance").0 - 0.2).abs() < super::PRINTED, "{found}");
}

#[test]
fn what_is_known_of_the_line() {
    let log = "measure,magnetic_azimuth_deg,slope_distance_m\nknown_line,30,100\n";
    refused(
        log,
        &[],
        "cal.csv:2: the true values of the known line are not given; give its slope or its horizontal distance, its azimuth with the north that it \
         is from, its inclination, or the two points at its ends (--distance or --horizontal-distance, --azimuth with --azimuth-north, \
         --inclination, --from with --to)",
    );
    refused(
        log,
        &["--azimuth", "31", "--azimuth-north", "true"],
        "cal.csv:2: the shot's azimuth is from magnetic north, the line's known azimuth from true north; give the line's azimuth \
         from magnetic north, or the two points at its ends (--azimuth with --azimuth-north, or --from with --to)",
    );
    refused(
        log,
        &["--inclination", "1"],
        "cal.csv:2: the inclination of the known line is given, but none of its shots has one that names its unit (and an azimuth \
         its north); claim the column under [shots.columns] of a job, or leave it out",
    );
    refused(
        log,
        &["--horizontal-distance", "99"],
        "cal.csv:2: the known and the measured distance are not of one kind (slope, horizontal), and neither a known nor a \
         measured inclination joins them; give the known inclination (--inclination)",
    );
    let points = ["--from", "58.6,-2.9,61", "--to", "58.601,-2.9,61"];
    refused(
        log,
        &points,
        "cal.csv:2: a magnetic azimuth between two known points needs the date for its declination; map a date or time column, or \
         write date under [shots.values]",
    );
    refused(
        &log.replace("magnetic", "grid"),
        &points,
        "cal.csv:2: the azimuth is from grid north, which two points on WGS 84 do not have; give the line's grid azimuth in \
         place of the points (--azimuth with --azimuth-north grid, in place of --from and --to)",
    );
    refused(
        log,
        &["--from", "58.6,-2.9,61", "--to", "58.6,-2.9,61"],
        "--from and --to are less than a metre apart; give the two ends of the line",
    );
    refused(
        &format!("{TWO_WAY}two_way,forth,1,40\ntwo_way,back,-1,40\n"),
        &["--distance", "40"],
        "the values of a known line are given, but no row has measure = known_line; mark the shots over it so",
    );
}

#[test]
fn wrong_options_are_wrong_usage() {
    for arguments in [
        ["--azimuth", "31"].as_slice(),
        &["--from", "58.6,-2.9,61"],
        &["--from", "58.6,-2.9", "--to", "58.7,-2.9,3"],
        &["--distance", "0"],
        &["--sigma-distance", "-1"],
        &["--azimuth", "361", "--azimuth-north", "true"],
        &["--from", "58.6,-2.9,61", "--to", "58.7,-2.9,3", "--distance", "3"],
    ] {
        let ran = calibrate("measure\n", arguments).exits(2);
        assert!(ran.err.starts_with("error: "), "{}", ran.err);
    }
}

#[test]
fn shots_of_several_lines_bases_or_instruments() {
    let log = "measure,base,feature,instrument,slope_distance_m\nknown_line,A,peg,old,50\n";
    let known = ["--distance", "50"];
    refused(
        &format!("{log}known_line,A,pole,old,50\n"),
        &known,
        "cal.csv:3: the known_line shots are over several lines: feature \"pole\" here, \"peg\" at line 2; calibrate one line at a time",
    );
    refused(
        &format!("{log}known_line,B,peg,old,50\n"),
        &known,
        "cal.csv:3: the known_line shots are over several lines: base \"B\" here, \"A\" at line 2; calibrate one line at a time",
    );
    let two = format!("{log}known_line,A,peg,new,60\n");
    refused(&two, &known, "the calibration shots are of several instruments (new, old); choose one (--instrument)");
    refused(
        &two,
        &["--distance", "50", "--instrument", "odd"],
        "no calibration shot is of instrument \"odd\"; the log has: new, old",
    );
    let old = found(&two, &["--distance", "50", "--instrument", "old"]);
    assert_eq!((old["shots"].as_u64(), old["other_rows"].as_u64()), (Some(1), Some(1)));
    assert!(old["job_lines"].as_str().unwrap().starts_with("[[instruments.old.calibrations]]\n"), "{old}");
    refused(
        "measure,role,inclination_deg,slope_distance_m\ntwo_way,forth,1,40\ntwo_way,back,-1,60\n",
        &[],
        "cal.csv:3: two_way shots forth are over 39.99 m, back over 59.99 m: these are two lines; both directions must be over one",
    );
}

#[test]
fn two_ways_from_one_base_that_look_opposite_ways() {
    refused(
        "measure,role,base,true_azimuth_deg,inclination_deg\ntwo_way,forth,A,30,1\ntwo_way,back,A,210,-1\n",
        &[],
        "cal.csv:3: the two_way shot back looks the other way (azimuth 210.0) from base \"A\", where line 2 looks forth (30.0); \
         name the base at the other end of the line, or leave base out",
    );
}

#[test]
fn pegs_that_tell_nothing() {
    refused(
        "measure,role,inclination_deg,horizontal_distance_m\ntwo_peg,mid_a,0.3,30\ntwo_peg,mid_b,0.3,30\ntwo_peg,near_a,0.3,28\n\
         two_peg,near_b,0.3,32\n",
        &[],
        "cal.csv:4: the two setups are too alike to tell an index error: from the middle the marks are 30.0 m and 30.0 m away, from \
         beside one 28.0 m and 32.0 m; stand close to one mark",
    );
}

#[test]
fn cautions() {
    let log = "measure,magnetic_azimuth_deg,slope_distance_m\nknown_line,30,100\n";
    let ran = calibrate(log, &["--azimuth", "33.5", "--azimuth-north", "magnetic", "--distance", "100.1"]).exits(0);
    for said in [
        "azimuth correction      +3.500 deg, standard error 1.000 deg\n  caution  the compass is off by more than 3 degrees: withdraw it,",
        "distance correction     +0.100 m, standard error 0.300 m\n  caution  the standard error is larger than the correction: it is not \
         different from zero\n",
        "    one shot tells nothing of its own error and cannot be tested for a blunder; shoot three or more\n",
        "1 of 1 shot; of one reading 1.000 deg (the instrument's stated or usual one, no repeats to tell)\n",
        "The shots have no date: the lines below hold for every date.",
        "\n[[instrument.calibrations]]\nazimuth_correction_deg = 3.5\n",
    ] {
        assert!(ran.out.contains(said), "no {said:?} in\n{}", ran.out);
    }
    let two = calibrate(&format!("{log}known_line,31,100\n"), &["--azimuth", "30", "--azimuth-north", "magnetic"]).exits(0);
    assert!(two.out.contains("    2 repeats cannot be tested for blunders; shoot three or more\n"), "{}", two.out);
    assert!(!two.out.contains("withdraw") && !two.out.contains("check that these"), "{}", two.out);
    // A line of 100 ft taken for metres: 30.48 m against five times 0.3 m.
    let feet = calibrate(log, &["--distance", "30.48"]).exits(0);
    let said = "  caution  the correction is more than 5 standard errors of a reading: check that these are the shots of this line, the known \
                values, and the units\n";
    assert!(feet.out.contains(said), "{}", feet.out);
}

#[test]
fn forth_and_back_azimuths_that_disagree() {
    let check = |back: f64| {
        let log = format!(
            "measure,role,base,grid_azimuth_deg,inclination_deg,slope_distance_m\ntwo_way,forth,A,359.5,1,40\n\
             two_way,back,B,{back},-1,40\n"
        );
        let found = found(&log, &[]);
        let check = &found["two_way_azimuths"];
        assert!((check["sigma_deg"].as_f64().unwrap() - 2f64.sqrt()).abs() < 1e-6, "{check}");
        (check["misfit_deg"].as_f64().unwrap(), check["notes"].to_string())
    };
    let (misfit, notes) = check(180.5);
    assert!((misfit - 1.0).abs() < 1e-6 && notes.contains("forth and back agree"), "{misfit} {notes}");
    let (misfit, notes) = check(176.5);
    assert!((misfit + 3.0).abs() < 1e-6 && notes.contains("look for iron at one end, and shoot again"), "{misfit} {notes}");
}
