//! Whole assessments: of layers and check points made here, and of files.

use std::fs;

use super::standards::tests::point;
use super::*;
use crate::geodesy::frame::LocalFrame;
use crate::review::finished::MappedPoint;
use crate::review::finished::invented;

/// Errors about 0 on each axis, with a standard error of their own, and one that stands out.
#[test]
fn an_error_stands_out_on_its_own_axis() {
    let error = |i: usize, k: usize| 0.1 * (((3 * i + 5 * k) % 7) as f64 - 3.0);
    let mut points: Vec<PointError> = (0..9)
        .map(|i| {
            let mut point = point(i as u64, error(i, 0), error(i, 1), (i != 4).then(|| error(i, 2)), None);
            point.name = format!("P{i}");
            point.sigmas_m = [Some(0.25), None, Some(0.5)];
            point
        })
        .collect();
    assert_eq!(name_outliers(&mut points), []);
    points[2].north_m = 5.0;
    points[3].up_m = Some(-4.0);
    points[6].east_m = 2.0;
    points[6].sigmas_m[0] = Some(4.0);
    let found = name_outliers(&mut points);
    let of = |i: usize| (found[i].name.as_str(), found[i].axis, found[i].error_m, found[i].stated, found[i].speaks);
    assert_eq!(found.len(), 3, "{found:?}");
    assert_eq!(of(0), ("P6", "east", 2.0, Some(0.5), Speaks::OthersAlone));
    assert_eq!(of(1), ("P2", "north", 5.0, None, Speaks::Others));
    assert_eq!(of(2), ("P3", "up", -4.0, Some(8.0), Speaks::Both));
    let all: Vec<f64> = points.iter().map(|point| point.north_m).collect();
    assert_eq!(found[1].score, RobustSpread::estimate(&all).map(|robust| robust.score(5.0)));
    assert_eq!(points[2].outlying, ["north"]);
    assert_eq!(points.iter().filter(|point| !point.outlying.is_empty()).count(), 3);
}

const WGS84: Ellipsoid = Ellipsoid::WGS84;

/// A place so many metres east and north of one on the ellipsoid, at latitude 50° and longitude 10°.
fn place(east_m: f64, north_m: f64) -> Geodetic {
    let origin = Geodetic { lat_rad: 50f64.to_radians(), lon_rad: 10f64.to_radians(), ellipsoid_height_m: 0.0 };
    let at = LocalFrame::at(&origin, &WGS84).to_earth_centred([east_m, north_m, 0.0]);
    Geodetic { ellipsoid_height_m: 0.0, ..Geodetic::from_earth_centred(at, &WGS84) }
}

fn layer(points: Vec<MappedPoint>) -> MappedLayer {
    let crs = Crs::new("EPSG:32632").unwrap();
    let datum = crs.geographic_3d().unwrap();
    MappedLayer { name: "features".into(), crs, datum, points }
}

/// Check points with names, so many metres east of the origin; lines are counted from 2.
fn checks(of: &[(&str, f64)]) -> CheckPoints {
    let check = |(i, (name, east_m)): (usize, &(&str, f64))| CheckPoint {
        name: Some((*name).to_owned()).filter(|name| !name.is_empty()),
        line: i as u64 + 2,
        at: place(*east_m, 0.0),
        heights: finished::HeightKnown::default(),
        sigma_horizontal_m: None,
    };
    CheckPoints {
        points: of.iter().enumerate().map(check).collect(),
        crs: "EPSG:4326".into(),
        is_crs_of_layer: false,
        step: None,
    }
}

/// What a request finds in a layer: names and eastings of errors, what is ambiguous and what is unmatched with their lines, and how many
/// check points were matched.
type Sorted = (Vec<(String, f64)>, Vec<(u64, String)>, Vec<(u64, String)>, usize);

fn sorted(layer: &MappedLayer, checks: &CheckPoints, request: &AssessRequest) -> Sorted {
    let (fates, matched_by) = fates(layer, checks, request);
    let found = Found::sorted(layer, checks, &fates, request, &matched_by);
    let told = |left: Vec<Left>| left.into_iter().map(|one| (one.line, one.why)).collect();
    let errors = found.errors.into_iter().map(|error| (error.name, (1000.0 * error.east_m).round() / 1000.0));
    (errors.collect(), told(found.ambiguous), told(found.unmatched), found.matched)
}

fn at(feature: &str, east_m: f64) -> MappedPoint {
    invented::point(feature, place(east_m, 0.0))
}

#[test]
fn by_name_each_shot_of_one_feature_and_nothing_else_that_is_ambiguous() {
    let part = |feature: &str| MappedPoint { is_part: true, ..at(feature, 0.0) };
    let shot = MappedPoint { feature: None, shot: Some("17".into()), ..at("", 60.25) };
    let layer = layer(vec![
        at("oak", 0.5),
        at("oak", -0.25),
        at("elm", 20.0),
        at("elm", 21.0),
        at("ash", 30.0),
        at("mast", 40.0),
        part("mast"),
        at("a", 50.0),
        at(" b ", 51.0),
        shot,
        part("tree"),
        part("tree"),
        part("tree"),
        part("tree"),
    ]);
    let of = [
        ("oak", 0.0),
        ("elm", 20.0),
        (" elm", 20.0),
        ("ash", 30.0),
        ("ash", 30.0),
        ("mast", 40.0),
        ("b", 50.0),
        ("17", 60.0),
        ("tree", 0.0),
        ("fir", 0.0),
        ("", 0.0),
    ];
    let (errors, ambiguous, unmatched, matched) = sorted(&layer, &checks(&of), &AssessRequest::default());
    let errors: Vec<(&str, f64)> = errors.iter().map(|(name, east)| (name.as_str(), *east)).collect();
    assert_eq!(errors, [("oak", 0.5), ("oak", -0.25), ("b", 1.0), ("17", 0.25)]);
    assert_eq!(matched, 3);
    let ambiguous: Vec<(u64, &str)> = ambiguous.iter().map(|(line, why)| (*line, why.as_str())).collect();
    assert_eq!(
        ambiguous,
        [
            (3, "2 points of the layer would do: elm, elm"),
            (4, "2 points of the layer would do: elm, elm"),
            (5, "another check point belongs to ash too"),
            (6, "another check point belongs to ash too"),
            (7, "2 points of the layer would do: mast, mast"),
            (10, "4 points of the layer would do: tree, tree, tree, …"),
        ]
    );
    assert_eq!(
        unmatched,
        [(11, "no point of the layer by the feature's name or the shot".to_owned()), (12, "it has no name".to_owned())]
    );
}

/// One check point has the name of its feature, another the id of its shot: no more than one of them can be right.
#[test]
fn two_check_points_of_one_point_by_two_fields() {
    let layer = layer(vec![MappedPoint { shot: Some("18".into()), ..at("pine", 0.0) }]);
    let (errors, ambiguous, ..) = sorted(&layer, &checks(&[("pine", 0.0), ("18", 1.0)]), &AssessRequest::default());
    assert_eq!(errors, []);
    assert_eq!(ambiguous, [2, 3].map(|line| (line, "another check point belongs to pine too".to_owned())));
}

#[test]
fn three_candidates_are_named_without_a_rest() {
    let part = |feature: &str| MappedPoint { is_part: true, ..at(feature, 0.0) };
    let layer = layer(vec![part("tree"), part("tree"), part("tree")]);
    let (_, ambiguous, ..) = sorted(&layer, &checks(&[("tree", 0.0)]), &AssessRequest::default());
    assert_eq!(ambiguous, [(2, "3 points of the layer would do: tree, tree, tree".to_owned())]);
}

#[test]
fn by_a_field_of_names() {
    let named = |name: &str, east_m| MappedPoint { named: Some(name.to_owned()), ..at("oak", east_m) };
    let layer = layer(vec![named("P1", 0.5), named("P2", 10.0)]);
    let request = AssessRequest { field: Some("mark".into()), ..AssessRequest::default() };
    let (errors, _, unmatched, _) = sorted(&layer, &checks(&[("P1", 0.0), ("oak", 0.0)]), &request);
    assert_eq!(errors, [("P1".to_owned(), 0.5)]);
    assert_eq!(unmatched, [(3, "no point of the layer by the field mark".to_owned())]);
}

/// Horizontally: heights do not count. Shots of one feature are several candidates still.
#[test]
fn by_distance_along_the_ground() {
    let mut high = at("x", 1.99);
    high.at.ellipsoid_height_m = 900.0;
    let layer = layer(vec![high, at("oak", 100.0), at("oak", 101.0), at("y", 202.01), at("z", 300.0)]);
    let request = AssessRequest { within_m: Some(2.0), ..AssessRequest::default() };
    let of = [("x", 0.0), ("oak", 100.5), ("y", 200.0), ("", 300.5), ("", 299.5)];
    let (errors, ambiguous, unmatched, matched) = sorted(&layer, &checks(&of), &request);
    assert_eq!((errors.len(), errors[0].0.as_str(), matched), (1, "x", 1));
    assert_eq!(ambiguous[0], (3, "2 points of the layer would do: oak, oak".to_owned()));
    assert_eq!(ambiguous[1..], [5, 6].map(|line| (line, "another check point belongs to z too".to_owned())));
    assert_eq!(unmatched, [(4, "no point of the layer within 2 m".to_owned())]);
}

#[test]
fn a_foot_is_on_the_ellipsoid() {
    let at = Geodetic { lat_rad: 0.0, lon_rad: 0.0, ellipsoid_height_m: 500.0 };
    assert_eq!(foot(&at, &WGS84), [6_378_137.0, 0.0, 0.0]);
}

/// A folder with a layer of points so many metres east, north and up of the origin, and a table of check points.
fn site(points: &[(&str, [f64; 3], &str)], table: &str) -> (tempfile::TempDir, AssessRequest) {
    let folder = tempfile::tempdir().unwrap();
    let features: Vec<String> = points
        .iter()
        .map(|(feature, [east_m, north_m, up_m], more)| {
            let at = place(*east_m, *north_m);
            format!(
                r#"{{"type":"Feature","geometry":{{"type":"Point","coordinates":[{:.12},{:.12}]}},
                "properties":{{"feature":"{feature}","ellipsoid_height_m":{}{more}}}}}"#,
                at.lon_rad.to_degrees(),
                at.lat_rad.to_degrees(),
                100.0 + up_m
            )
        })
        .collect();
    let layer = format!(r#"{{"type":"FeatureCollection","features":[{}]}}"#, features.join(","));
    let request = AssessRequest {
        file: folder.path().join("site.geojson"),
        checks: folder.path().join("checks.csv"),
        ..AssessRequest::default()
    };
    fs::write(&request.file, layer).unwrap();
    fs::write(&request.checks, table).unwrap();
    (folder, request)
}

/// Rows of check points so many metres east of the origin, at 100 m.
fn rows(of: &[(&str, f64)]) -> String {
    let row = |(name, east_m): &(&str, f64)| {
        let at = place(*east_m, 0.0);
        format!("{name},{:.12},{:.12},100\n", at.lat_rad.to_degrees(), at.lon_rad.to_degrees())
    };
    of.iter().map(row).collect()
}

const HEADER: &str = "name,lat_deg,lon_deg,ellipsoid_height_m\n";

/// Errors of 3, −1 and 1 m east, 0 and ±2 m north and 1, −2 and 4 m up, with standard errors of 1 m.
#[test]
fn a_layer_against_a_table() {
    let sigmas = r#","sigma_east_m":1,"sigma_north_m":1,"sigma_up_m":1"#;
    let points = [
        ("a", [3.0, 0.0, 1.0], sigmas),
        ("b", [99.0, 2.0, -2.0], sigmas),
        ("c", [201.0, -2.0, 4.0], sigmas),
        ("d", [300.0, 0.0, 0.0], ""),
    ];
    let table = format!("{HEADER}{}x,95,10,1\n", rows(&[("a", 0.0), ("b", 100.0), ("c", 200.0), ("e", 300.0)]));
    let (_folder, request) = site(&points, &table);
    let found = assess(&request).unwrap();
    assert_eq!((found.layer.as_str(), found.points, found.check_points), ("site", 4, 4));
    assert_eq!((found.matched, found.tested, found.matched_by.as_str()), (3, 3, "by the feature's name or the shot"));
    assert_eq!(found.file, request.file.display().to_string());
    assert_eq!((found.ambiguous.len(), found.unmatched[0].name.as_deref()), (0, Some("e")));
    assert_eq!((found.held[0].line, found.held[0].name.as_deref()), (6, None));
    let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-4, "{got} {want}");
    near(found.errors.east.mean_m, 1.0);
    near(found.errors.east.rmse_m, (11f64 / 3.0).sqrt());
    near(found.errors.north.rmse_m, (8f64 / 3.0).sqrt());
    near(found.errors.radial.greatest_m, 3.0);
    near(found.errors.up.unwrap().mean_m, 1.0);
    // Of 9, 5 and 5 two are within 5.991; of 1, 4 and 16 one within 3.841.
    let (places, heights) = (found.ellipses95.unwrap(), found.heights95.unwrap());
    assert_eq!((places.inside, places.of, heights.inside, heights.of), (2, 3, 1, 3));
    assert!(
        found.verdicts[0].starts_with("Positions: 2 of 3 errors (67 %) lie inside their 95 % ellipses;"),
        "{:?}",
        found.verdicts
    );
    assert!(found.verdicts[1].starts_with("Heights: 1 of 3 errors (33 %) lie inside their 95 % intervals;"));
    assert_eq!((found.verdicts.len(), found.standards.len(), found.caution), (2, 7, CAUTION));
    // 4 m up are four of their standard errors.
    let named: Vec<(&str, &str)> = found.outliers.iter().map(|one| (one.name.as_str(), one.axis)).collect();
    assert_eq!(named, [("c", "up")]);
    assert_eq!(found.point_errors[2].outlying, ["up"]);
    assert!(
        found.notes.iter().any(|note| note.starts_with("The check points name no CRS; they are taken as in that of the layer"))
    );
    assert!(found.notes.iter().all(|note| !note.starts_with("The layer states no uncertainty")));
    // Without standard errors nothing is said of them.
    let (_folder, request) = site(&[("a", [3.0, 0.0, 1.0], "")], &table);
    let found = assess(&request).unwrap();
    assert_eq!((found.ellipses95, found.heights95, found.verdicts.len()), (None, None, 0));
    assert!(found.notes.iter().any(|note| note.starts_with("The layer states no uncertainty")));
}

/// A base 100 m south of the point that errs by 0.3 m east has 0.09 m² of the point's 0.5 m².
#[test]
fn what_points_err_by_together_is_read_beside_the_layer() {
    let shared = |share: f64, is_whole: bool| {
        let more = format!(r#","base":"B","base_share":{share},"sigma_east_m":0.5,"sigma_north_m":0.5"#);
        let (folder, request) = site(&[("a", [0.0, 100.0, 0.0], &more)], &format!("{HEADER}{}", rows(&[("a", 0.0)])));
        let base = place(0.0, 0.0);
        let of = format!(
            r#"{{"base":"B","lon_deg":{},"lat_deg":{},"ellipsoid_height_m":100,"orthometric_height_m":null,"is_whole":{is_whole},
            "moved_by":[{{"error":"position of B","metres":[0.3,0,0]}}],"azimuths_turned_by":[],"inclinations_turned_by":[],
            "distances_lengthened_by":[]}}"#,
            base.lon_rad.to_degrees(),
            base.lat_rad.to_degrees()
        );
        fs::write(folder.path().join("summary.json"), format!(r#"{{"shared_errors":[{of}]}}"#)).unwrap();
        assess(&request).unwrap().point_errors.remove(0).arms
    };
    let arms = shared(0.18, true).unwrap();
    assert_eq!(arms.each().collect::<Vec<_>>(), [("position of B", [0.3, 0.0, 0.0])]);
    // Another base's share, and one of which not all is known.
    assert_eq!(shared(0.19, true), None);
    assert_eq!(shared(0.18, false), None);
}

#[test]
fn nothing_in_common_is_said_with_what_to_do() {
    let says = |table: &str, change: &dyn Fn(&mut AssessRequest)| {
        let points = ["a", "b", "c", "d"].map(|name| (name, [0.0; 3], ""));
        let (_folder, mut request) = site(&points, table);
        change(&mut request);
        assess(&request).unwrap_err().to_string()
    };
    let table = format!("{HEADER}{}", rows(&[("e", 50.0), ("f", 50.0), ("g", 50.0), ("h", 50.0)]));
    assert_eq!(
        says(&table, &|_| ()),
        "none of the 4 check points belongs to one of the 4 points of the layer by the feature's name or the shot; the layer has \"a\", \
         \"b\", \"c\"; the check points \"e\", \"f\", \"g\"; name the field of the layer that has these names, or match by distance"
    );
    assert_eq!(
        says(&table, &|request| request.within_m = Some(10.0)),
        "none of the 4 check points belongs to one of the 4 points of the layer within 10 m; look at the CRS of the check points, or match \
         by name"
    );
    let unnamed = table.replace("name,", "number,");
    assert!(
        says(&unnamed, &|_| ()).ends_with("checks.csv: no column of names; call it name, say which it is, or match by distance")
    );
    assert!(says(&unnamed, &|request| request.within_m = Some(10.0)).contains("within 10 m"));
    assert!(says(&table, &|request| request.check_crs = Some("EPSG:32632".into())).ends_with("name a geographic CRS for them"));
}

#[test]
fn a_file_is_itself_by_whatever_way() {
    let folder = tempfile::tempdir().unwrap();
    let (one, other) = (folder.path().join("one"), folder.path().join("other"));
    fs::write(&one, "").unwrap();
    fs::write(&other, "").unwrap();
    assert!(is_same_file(&one, &folder.path().join(".").join("one")) && !is_same_file(&one, &other));
    assert!(!is_same_file(&folder.path().join("none"), &folder.path().join("none")));
}
