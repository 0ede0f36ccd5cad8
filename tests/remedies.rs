//! A message never leads in a circle: each remedy that it proposes is applied, and the message goes.

use crate::common::{BASES, Field, good};

/// What `check` says, and whether it came to an end.
fn said(field: &Field) -> (bool, String) {
    let output = field.command(&["check", "job.toml"]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    (output.status.success(), text)
}

/// A field with a message, and the same field with its remedy applied.
#[track_caller]
fn goes(message: &str, before: Field, after: Field) {
    let (_, text) = said(&before);
    assert!(text.contains(message), "no message {message:?} in\n{text}");
    let (is_done, text) = said(&after);
    assert!(is_done, "the remedy of {message:?} ends the run:\n{text}");
    assert!(!text.contains(message), "the remedy of {message:?} does not help:\n{text}");
}

/// One log, without and with lines in a table of the job.
#[track_caller]
fn key(message: &str, log: &str, mark: &str, lines: &str) {
    goes(message, Field::new(log), Field::new(log).with(mark, lines));
}

/// One job, with a log and with a mended one.
#[track_caller]
fn log(message: &str, before: &str, after: &str) {
    goes(message, Field::new(before), Field::new(after));
}

#[test]
fn signs_of_numbers() {
    let text = "base;shot;true_azimuth_deg;horizontal_distance_m\nA;1;10;804\nA;2;11;1,204\n";
    let message = "write thousands = \",\" or decimal = \",\" under [shots]";
    key(message, text, "SHOTS", "thousands = \",\"");
    key(message, text, "SHOTS", "decimal = \",\"");
    let row = "A,9,2026-05-04T09:00:00Z,10.5,0,\"27,25\",x\n";
    log(
        "the decimal sign of the column is a point: write 27.25",
        &(good(3) + row),
        &(good(3) + &row.replace("\"27,25\"", "27.25")),
    );
    let wrong = "A,9,2026-05-04T09:00:00Z,10.5,0,\"1,26.5\",x\n";
    log("stands before three digits each", &(good(3) + wrong), &(good(3) + &wrong.replace("1,26.5", "1,264.5")));
    // A comma between fields and in numbers cannot be told apart.
    let commas = good(1);
    goes(
        "the decimal sign and the separator are both a comma; name the separator",
        Field::new(&commas).with("SHOTS", "decimal = \",\""),
        Field::new(commas.replace(',', ";").replace('.', ",")).with("SHOTS", "decimal = \",\"\nseparator = \";\""),
    );
}

#[test]
fn dates_and_times() {
    let dates = "base,shot,date,true_azimuth_deg,horizontal_distance_m\nA,1,04/05/2026,10,20\n";
    let message = "write date_order = \"day_month_year\" or \"month_day_year\" under [shots]";
    key(message, dates, "SHOTS", "date_order = \"day_month_year\"");
    key(message, dates, "SHOTS", "date_order = \"month_day_year\"");
    let both = dates.to_owned() + "A,2,14/10/2026,11,20\nA,3,10/14/2026,12,20\n";
    key("mend those of one order, or write date_order", &both, "SHOTS", "date_order = \"day_month_year\"");
    let local = good(1).replace('Z', "");
    let message = "write time_zone = \"Europe/Oslo\"";
    for zone in ["Europe/Oslo", "UTC", "+02:00"] {
        key(message, &local, "SHOTS", &format!("time_zone = \"{zone}\""));
    }
    // What cannot be read, where the declination needs it.
    let odd = good(1).replace("2026-05-04T08:00:01Z", "noon").replace("true_azimuth", "magnetic_azimuth");
    log("write 2026-05-04T08:00:01+02:00", &odd, &odd.replace("noon", "2026-05-04T08:00:01+02:00"));
    let clock = odd.replace("noon", "08:00:01Z");
    key("write date = \"2026-05-04\" under [shots.values]", &clock, "SHOTS", "[shots.values]\ndate = \"2026-05-04\"");
    let none = "base,shot,magnetic_azimuth_deg,horizontal_distance_m\nA,1,10,20\n";
    let message = "map a date or time column, write date under [shots.values], or the declination under [north]";
    key(message, none, "SHOTS", "[shots.values]\ndate = \"2026-05-04\"");
    let mut degrees = Field::new(none);
    degrees.job += "[north]\ndeclination = -1.5\n";
    goes(message, Field::new(none), degrees);
}

#[test]
fn columns() {
    let plain = "base,shot,Bearing,true_azimuth_deg,inclination_deg,slope_distance_m\nA,1,5,10,0,20\n";
    let azimuth = plain.replace(",true_azimuth_deg", "").replace(",5,10,", ",5,");
    for north in ["magnetic", "true", "grid"] {
        let lines = format!("[shots.values]\ndate = \"2026-05-04\"\n[shots.columns]\n{north}_azimuth_deg = \"Bearing\"");
        key("write magnetic_azimuth_deg, true_azimuth_deg or grid_azimuth_deg", &azimuth, "SHOTS", &lines);
    }
    let distance = plain.replace("slope_distance_m", "Range");
    let message = "write slope_distance_m or horizontal_distance_m (or _ft, _usft, _yd) = \"…\" under [shots.columns]";
    for name in ["slope_distance_m", "horizontal_distance_m", "slope_distance_ft", "slope_distance_usft", "slope_distance_yd"] {
        key(message, &distance, "SHOTS", &format!("[shots.columns]\n{name} = \"Range\""));
    }
    let tilt = plain.replace("inclination_deg", "Tilt");
    let message = "write inclination_deg, inclination_pct, zenith_deg or vertical_distance_m = \"…\" under [shots.columns]";
    for (name, value) in [("inclination_deg", "0"), ("inclination_pct", "0"), ("zenith_deg", "90"), ("vertical_distance_m", "1")]
    {
        let text = tilt.replace(",10,0,20", &format!(",10,{value},20"));
        key(message, &text, "SHOTS", &format!("[shots.columns]\n{name} = \"Tilt\""));
    }
    let base = plain.replacen("base", "Stn", 1);
    key("write base = \"…\" under [shots.columns]", &base, "SHOTS", "[shots.columns]\nbase = \"Stn\"");
    let twice = plain.replace("Bearing", "slope_distance_ft");
    key("choose one in the job's [shots.columns]", &twice, "SHOTS", "[shots.columns]\nslope_distance_m = \"slope_distance_m\"");
    log("name every column", &plain.replace("Bearing", ""), plain);
    log("give each its own name", &plain.replace("Bearing", "shot"), plain);
    let units = plain.replace("A,1", ",,,deg,deg,ft\nA,1");
    key("claim it with the unit it has", &units, "SHOTS", "[shots.columns]\nslope_distance_ft = \"slope_distance_m\"");
}

#[test]
fn bases() {
    let of = |text: &str| {
        let field = Field::new(good(1));
        field.write("bases.csv", text);
        field
    };
    let height = BASES.replace("ellipsoid_height_m", "Elev");
    let message = "write ellipsoid_height_m or orthometric_height_m (or _ft, _usft) = \"Elev\" under [bases.columns]";
    for kind in ["ellipsoid_height_m", "orthometric_height_m", "ellipsoid_height_ft", "orthometric_height_usft"] {
        goes(message, of(&height), of(&height).with("BASES", &format!("[bases.columns]\n{kind} = \"Elev\"")));
    }
    let place = BASES.replace("lat_deg", "N").replace("lon_deg", "E");
    let message = "write lat_deg and lon_deg, or east_m and north_m";
    goes(message, of(&place), of(&place).with("BASES", "[bases.columns]\nlat_deg = \"N\"\nlon_deg = \"E\""));
    let no_crs = of(BASES);
    let without = Field { job: no_crs.job.replacen("crs = \"EPSG:4979\"\n", "", 1), ..no_crs };
    goes("such as crs = \"EPSG:4979\"", without, of(BASES));
    let antenna = BASES.replacen('\n', ",antenna_height_m\n", 1).replace(".3\n", ".3,\n").replace(".1\n", ".1,2\n");
    let mut said_once = of(&antenna);
    said_once.job += "antenna_height_m = 2.0\n";
    goes("write it in the row, or antenna_height_m under [heights]", of(&antenna), said_once);
}

#[test]
fn heights_and_instruments() {
    let without = |line: &str| {
        let field = Field::new(good(1));
        assert!(field.job.contains(line));
        Field { job: field.job.replacen(line, "", 1), ..field }
    };
    goes(
        "write it in the row, or instrument_height_m under [heights]",
        without("instrument_height_m = 1.5\n"),
        Field::new(good(1)),
    );
    goes("write it in the row, or target_height_m under [heights]", without("target_height_m = 0\n"), Field::new(good(1)));
    let named = good(1).replacen(",note", ",instrument", 1);
    let several = |name: &str| {
        let field = Field::new(&named);
        Field { job: field.job.replace("[instrument]", &format!("[instruments.{name}]")), ..field }
    };
    goes("the job has no [instruments.x]", several("y"), several("x"));
}

#[test]
fn texts() {
    let mut old = good(1).into_bytes();
    old.extend(b"A,9,2026-05-04T09:00:00Z,10.5,0,20,caf\xe9\n");
    goes(
        "name its encoding in the job: encoding = \"windows-1252\"",
        Field::new(&old).with("SHOTS", "encoding = \"utf-8\""),
        Field::new(&old).with("SHOTS", "encoding = \"windows-1252\""),
    );
    goes(
        "use , ; | or a tab",
        Field::new(good(1)).with("SHOTS", "separator = \"a\""),
        Field::new(good(1)).with("SHOTS", "separator = \",\""),
    );
    let cut = good(2).replace("note", "slope_distance_ft").replace(",x\n", "\n").replace(",slope_distance_ft", "");
    let cut = cut.trim_end();
    log("if it is whole, add a line end", cut, &format!("{cut}\n"));
    let open = good(2).replacen(",x\n", ",\"x\n", 1);
    log("add the closing quote", &open, &open.replacen(",\"x\n", ",\"x\"\n", 1));
    let word = good(1).replacen(",note", ",return", 1).replacen(",x\n", ",Letztes\n", 1);
    goes(
        "write first, last, single, prism or tracking",
        Field::new(&word).with("SHOTS", "[shots.returns]\nletztes = \"ultimate\""),
        Field::new(&word).with("SHOTS", "[shots.returns]\nletztes = \"last\""),
    );
    goes(
        "did you mean separator?",
        Field::new(good(1)).with("SHOTS", "separater = \",\""),
        Field::new(good(1)).with("SHOTS", "separator = \",\""),
    );
}

/// One job, and the same with a piece of its text replaced.
#[track_caller]
fn job(message: &str, field: &dyn Fn() -> Field, from: &str, to: &str) {
    let (before, after) = (field(), field());
    assert!(after.job.contains(from), "no {from}");
    let after = Field { job: after.job.replacen(from, to, 1), ..after };
    goes(message, before, after);
}

#[test]
fn reference_systems() {
    let named = |crs: &'static str| {
        move || {
            let field = Field::new(good(1));
            Field { job: field.job.replacen("crs = \"EPSG:32632\"", &format!("crs = \"{crs}\""), 1), ..field }
        }
    };
    job("write an authority code", &named("UTM 32"), "\"UTM 32\"", "\"EPSG:32632\"");
    // Positions far from where their grid is meant for, by a slip or on purpose.
    let far = || {
        let field = named("EPSG:25832")();
        field.write("bases.csv", "base,east_m,north_m,ellipsoid_height_m\nA,500000,3000000,500\n");
        Field { job: field.job.replacen("crs = \"EPSG:4979\"", "crs = \"EPSG:25832\"", 1), ..field }
    };
    job("write allow_outside_area = true in the job", &far, "formats", "allow_outside_area = true\nformats");
    // Azimuths from grid north, and layers without a grid.
    let grid = || {
        let field = named("EPSG:4326")();
        field.write("shots.csv", good(1).replace("true_azimuth", "grid_azimuth"));
        field
    };
    job("name a projected CRS as grid_crs under [north]", &grid, "[heights]", "[north]\ngrid_crs = \"EPSG:32632\"\n[heights]");
}

#[test]
fn networks() {
    let head = "base,shot,feature,role,true_azimuth_deg,horizontal_distance_m\n";
    let of = |rows: &str| {
        let field = Field::new(format!("{head}{rows}"));
        Field { job: field.job.replacen("[heights]", "[network]\norientation = \"free\"\n[heights]", 1), ..field }
    };
    let shots = "A,1,P,,10,50\nA,2,Q,,80,60\n";
    // The circle reads anything; a sight to the other base tells where it points.
    goes("sight a base or known point from it (role = backsight)", of(shots), of(&format!("{shots}A,3,B,backsight,200,\n")));
    let frame = |more: &str| {
        let field = Field::new("base,shot,feature,true_azimuth_deg,horizontal_distance_m\nA,1,P,10,50\n");
        field.write("bases.csv", "base,east_m,north_m,local_height_m\nA,0,0,0\nB,50,0,0\n");
        field.write("known.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nA,46.1,8.9,500\nB,46.1,8.900647,500\n");
        let job = field.job.replacen("crs = \"EPSG:32632\"", "crs = \"local\"", 1).replacen("crs = \"EPSG:4979\"\n", "", 1);
        let fit = "[local.fit]\ncrs = \"EPSG:32632\"\n[local.fit.known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\n";
        Field { job: job + fit + more, ..field }
    };
    goes("[local.fit] does not go together with [network]; leave one of them out", frame("[network]\n"), frame(""));
    let alone = frame("");
    alone.write("known.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nstone,46.1,8.9,500\nB,46.1,8.900647,500\n");
    goes("give points the names that bases or features have in the logs", alone, frame(""));
}

#[test]
fn datums_and_grids() {
    let of = |layers: &str, bases: &str| {
        let field = Field::new(good(1));
        let job = field.job.replacen("crs = \"EPSG:32632\"", &format!("crs = \"{layers}\""), 1);
        Field { job: job.replacen("crs = \"EPSG:4979\"", &format!("crs = \"{bases}\""), 1), ..field }
    };
    let allowed =
        |field: Field, key: &str| Field { job: field.job.replacen("formats", &format!("{key} = true\nformats"), 1), ..field };
    // A null transformation.
    let unknown = "+proj=longlat +ellps=clrk66 +type=crs\"\nellipsoid_heights_crs = \"EPSG:4979";
    let message = "write allow_ballpark = true in the job to accept it";
    goes(message, of("EPSG:32632", unknown), allowed(of("EPSG:32632", unknown), "allow_ballpark"));
    goes(message, of("EPSG:32632", unknown), of("EPSG:32632", "EPSG:4979"));
    // A datum whose heights nothing ties to others.
    let alone = "+proj=longlat +ellps=clrk66 +type=crs";
    let tied = |crs: &str| allowed(of("EPSG:32632", &format!("{alone}\"\nellipsoid_heights_crs = \"{crs}")), "allow_ballpark");
    goes("write a CRS that PROJ does know, such as EPSG:4979 for WGS 84", tied(alone), tied("EPSG:4979"));
    // A grid that is not installed, of positions and of heights.
    let of_britain = || {
        let field = of("EPSG:27700", "EPSG:4979");
        field.write("bases.csv", "base,lat_deg,lon_deg,ellipsoid_height_m\nA,54.6,-3.4,60\n");
        field
    };
    goes("write allow_missing_grids = true in the job", of_britain(), allowed(of_britain(), "allow_missing_grids"));
    let above_egm96 = || of("EPSG:32632+5773", "EPSG:4979");
    let message = "write allow_global_geoid = true under [heights] in the job";
    let with_geoid = above_egm96();
    let job = with_geoid.job.clone() + "allow_global_geoid = true\n";
    goes(message, above_egm96(), Field { job, ..with_geoid });
    goes("or name a CRS without a vertical part", above_egm96(), of("EPSG:32632", "EPSG:4979"));
    // Heights on an older datum.
    let old = |more: &str| allowed(of("EPSG:32632", &format!("EPSG:4230{more}")), "allow_missing_grids");
    for crs in ["EPSG:4979", "EPSG:4230"] {
        let said = old(&format!("\"\nellipsoid_heights_crs = \"{crs}"));
        goes(&format!("Write ellipsoid_heights_crs = \"EPSG:4979\" {}", "beside the crs of the positions"), old(""), said);
    }
}

#[test]
fn areas_and_levels() {
    let bow = "base,shot,feature,string,role,true_azimuth_deg,inclination_deg,slope_distance_m\n\
               A,1,Q1,bow,,10,0,50\nA,2,Q2,bow,,20,0,70\nA,3,Q3,bow,,20,0,50\nA,4,Q4,bow,close,10,0,70\n";
    let repaired = Field::new(bow);
    let job = repaired.job.clone() + "[checks]\nrepair_areas = true\n";
    goes("write repair_areas = true under [checks]", Field::new(bow), Field { job, ..repaired });
    // In the other order the edges do not cross.
    let turned = bow.replace("20,0,70", "20,0,7x").replace("20,0,50", "20,0,70").replace("20,0,7x", "20,0,50");
    goes("Mend the order of its shots", Field::new(bow), Field::new(turned));
}

/// Shots in a sheet for each base, beside the sheet of the bases: all that the message proposes.
#[test]
fn sheets() {
    let book = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/first_evening/others/de3/Hangaufnahme.xlsx");
    let of = |sheet: &str| {
        let columns = "[shots.columns]\nshot = \"Nr\"\nslope_distance_m = \"Strecke [m]\"\ngrid_azimuth_gon = \"Richtung (gitter) [gon]\"\n\
                       inclination_gon = \"Höhenwinkel [gon]\"\n[shots.values]\nbase = \"A\"";
        let field = Field::new("").with("SHOTS", &format!("{sheet}\n{columns}"));
        field.write("slope.xlsx", std::fs::read(&book).unwrap());
        Field { job: field.job.replace("shots.csv", "slope.xlsx"), ..field }
    };
    let message = "sheet = \"Nordhang\", or sheet = \"*\" for all";
    for remedy in ["sheet = \"Nordhang\"", "sheet = \"*\""] {
        goes(message, of(""), of(remedy));
    }
    let (_, text) = said(&of("sheet = \"*\""));
    assert!(text.contains("slope.xlsx [Punkte]: the sheet has other columns than [shots] names; it is left out"), "{text}");
}
