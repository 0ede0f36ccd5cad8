//! Workbooks written by four libraries and by a spreadsheet program (tests/first_evening/workbooks/make.py) against the delimited log of the same survey.

use super::*;

const LOGS: [&str; 5] =
    ["workbooks/bases.csv", "workbooks/shots.csv", "workbooks/survey.xlsx", "workbooks/survey.ods", "workbooks/survey.xls"];

const TAIL: &str = "[instrument]\nsigma_distance_m = 0.05\nsigma_azimuth_deg = 0.5\nsigma_inclination_deg = 0.1\n\
    [heights]\ninstrument_height_m = 1.6\ntarget_height_m = 0\n";

/// The delimited log: its features are what the workbooks must give.
fn plain(evening: &Evening) -> Vec<Record> {
    evening.write(
        "job.toml",
        format!(
            "name = \"ledge\"\ncrs = \"EPSG:32632\"\nformats = [\"csv\"]\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n\
             [shots]\nfiles = [\"shots.csv\"]\ntime_zone = \"Europe/Oslo\"\n[shots.columns]\nfeature = [\"plot\", \"feature\"]\n{TAIL}"
        ),
    );
    evening.map();
    evening.layer("features")
}

fn of_workbook(evening: &Evening, file: &str) -> (Ran, Vec<Record>) {
    evening.write(
        "job.toml",
        format!(
            "name = \"ledge\"\ncrs = \"EPSG:32632\"\nformats = [\"csv\"]\n[bases]\nfiles = [\"{file}\"]\ncrs = \"EPSG:4979\"\n\
             [bases.columns]\nbase = \"Stand\"\nlat_deg = \"Latitude\"\nlon_deg = \"Longitude\"\nellipsoid_height_m = \"H_ell (m)\"\n\
             sigma_horizontal_m = \"s H (m)\"\n[shots]\nfiles = [\"{file}\"]\ntime_zone = \"Europe/Oslo\"\n[shots.columns]\n\
             shot = \"No\"\ndate = \"Date\"\ntime = \"Time\"\nbase = \"Stand\"\nfeature = [\"Plot\", \"Tree\"]\n\
             slope_distance_m = \"Sight Dist (m)\"\nmagnetic_azimuth_deg = \"Sight Az mag\"\ninclination_deg = \"Sight Incl (deg)\"\n{TAIL}"
        ),
    );
    let ran = evening.map();
    (ran, evening.layer("features"))
}

#[test]
fn a_workbook_gives_what_the_delimited_log_gives() {
    let evening = Evening::with(&LOGS);
    let expected = plain(&evening);
    assert_eq!(expected.len(), 6);
    for file in ["survey.xlsx", "survey.ods", "survey.xls"] {
        let (ran, found) = of_workbook(&evening, file);
        assert_eq!(found.len(), expected.len(), "{file}: {}", ran.out);
        for (found, expected) in found.iter().zip(&expected) {
            for (field, value) in expected.iter().filter(|(field, _)| !field.starts_with("source_") && field.as_str() != "plot") {
                assert_eq!(found[field], *value, "{file}: {field} of {}", expected["feature"]);
            }
            assert_eq!(found["source_file"], format!("{file} [Day 1]"));
        }
        // Row 6 of the sheet is the first below the two rows of the header.
        assert_eq!(
            found.iter().map(|record| record["source_line"].as_str()).collect::<Vec<_>>(),
            ["6", "7", "8", "9", "10", "11"]
        );
        let sheet = format!("{file} [Day 1]");
        assert_eq!(evening.held(), [(sheet.clone(), 12, "no_row".to_owned()), (sheet, 14, "no_row".to_owned())], "{file}");
        let note = "[Day 1]: the header was found in lines 4 and 5, below the title \"Ledge 7, stems and marks\".";
        assert!(ran.out.contains(note), "{file}: {}", ran.out);
        let hidden = "[Day 1]: row 9 is hidden in the sheet and read like all others; take out those that are not to count.";
        assert_eq!(ran.out.contains(hidden), file != "survey.xls", "{file}: {}", ran.out);
    }
}

/// The same survey as a spreadsheet program saves it anew (workbooks/make.py has the command).
#[test]
fn what_a_spreadsheet_program_saves_is_read_alike() {
    for kind in ["xlsx", "ods", "xls"] {
        let saved = format!("workbooks/calc/survey.{kind}");
        let evening = Evening::with(&["workbooks/bases.csv", "workbooks/shots.csv", &saved]);
        let expected = plain(&evening);
        let (ran, found) = of_workbook(&evening, &format!("survey.{kind}"));
        assert_eq!(found.len(), expected.len(), "{kind}: {}", ran.out);
        for (found, expected) in found.iter().zip(&expected) {
            for (field, value) in expected.iter().filter(|(field, _)| !field.starts_with("source_") && field.as_str() != "plot") {
                assert_eq!(found[field], *value, "{kind}: {field} of {}", expected["feature"]);
            }
        }
    }
}

/// Serial numbers that count from 1904 (ECMA-376 part 1, 18.17.4.1) are 1462 less for the same day; read from 1900 they would be days of
/// 2022. Written by openpyxl (`epoch = CALENDAR_MAC_1904`) and xlwt (`dates_1904`).
#[test]
fn dates_that_count_from_1904() {
    for file in ["from_1904.xlsx", "from_1904.xls"] {
        let evening = Evening::with(&["workbooks/bases.csv", "workbooks/shots.csv", &format!("workbooks/{file}")]);
        let expected = plain(&evening);
        let (ran, found) = of_workbook(&evening, file);
        assert_eq!(found.len(), expected.len(), "{file}: {}", ran.out);
        for (found, expected) in found.iter().zip(&expected) {
            for field in ["time", "time_local", "declination_deg", "easting", "northing"] {
                assert_eq!(found[field], expected[field], "{file}: {field} of {}", expected["feature"]);
            }
        }
    }
}

#[test]
fn several_sheets_of_one_kind_are_asked_for() {
    let evening = Evening::with(&["workbooks/bases.csv", "workbooks/shots.csv", "workbooks/days_2026-06-23.xlsx"]);
    let expected = places(&plain(&evening));
    let job = |more: &str| {
        format!(
            "name = \"ledge\"\ncrs = \"EPSG:32632\"\nformats = [\"csv\"]\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n\
             [shots]\nfiles = [\"days_2026-06-23.xlsx\"]\ntime_zone = \"Europe/Oslo\"\n{more}\n[shots.columns]\n\
             shot = \"No\"\nbase = \"Stand\"\nfeature = [\"plot\", \"Tree\"]\ntime = \"Time\"\ndate = \"Date\"\n\
             slope_distance_m = \"Dist (m)\"\nmagnetic_azimuth_deg = \"Az mag\"\ninclination_deg = \"Incl (deg)\"\n{TAIL}"
        )
    };
    evening.write("job.toml", job("sheet_name = \"Plot {plot}\""));
    let said = evening.run(&["map", "job.toml", "--out", "out"]).exits(1).err;
    assert_eq!(
        said,
        "error: ./days_2026-06-23.xlsx: the sheets Plot P1, Plot P2 all have the columns of [shots]; write there which one it is, such \
         as sheet = \"Plot P1\", or sheet = \"*\" for all\n"
    );
    // What the sheet's name says is a column of its rows.
    evening.write("job.toml", job("sheet = \"Plot *\"\nsheet_name = \"Plot {plot}\""));
    evening.map();
    assert_eq!(places(&evening.layer("features")), expected);
    // So is what the file's name says.
    let dated = job("sheet = \"Plot *\"\nsheet_name = \"Plot {plot}\"\nfile_name = \"*_{day}\"")
        .replace("date = \"Date\"", "date = \"day\"");
    evening.write("job.toml", dated);
    evening.map();
    assert_eq!(places(&evening.layer("features")), expected);
    evening.write("job.toml", job("sheet = \"Plot P9\""));
    let said = evening.run(&["map", "job.toml", "--out", "out"]).exits(1).err;
    assert!(said.contains("sheet = \"Plot P9\" under [shots]: the workbook has the sheets Plot P1, Plot P2, Old"), "{said}");
}

#[test]
fn no_workbook_at_all() {
    let evening = Evening::with(&["workbooks/bases.csv", "workbooks/shots.csv"]);
    evening.write("survey.xlsx", "no workbook");
    evening.write("job.toml", "name = \"a\"\ncrs = \"EPSG:32632\"\n[bases]\nfiles = [\"bases.csv\"]\ncrs = \"EPSG:4979\"\n[shots]\nfiles = [\"survey.xlsx\"]\n");
    let said = evening.run(&["check", "job.toml"]).exits(1).err;
    assert!(said.starts_with("error: ./survey.xlsx: the workbook cannot be read: "), "{said}");
}
