//! Files in the shape of the GPX 1.1 schema's example, with invented places.

use proptest::prelude::*;

use super::*;

const SOUND: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<!-- <wpt lat="1" lon="1"/> is no waypoint here -->
<gpx version="1.1" creator="receiver" xmlns="http://www.topografix.com/GPX/1/1"
     xmlns:own="https://example.invalid/own/1">
  <metadata><name>Skerrow survey</name><time>2026-05-04T06:00:00Z</time><bounds minlat="46" minlon="7" maxlat="47" maxlon="8"/></metadata>
  <wpt lat="46.123456789" lon="7.987654321">
    <ele>1204.35</ele>
    <time>2026-05-04T08:00:01Z</time>
    <magvar>2.5</magvar>
    <geoidheight>51.7</geoidheight>
    <name>B1 &amp; <![CDATA[<north>]]> &#x2191;</name>
    <cmt>on the ledge</cmt>
    <desc><![CDATA[by <b>the</b> cairn]]></desc>
    <src>averaged</src>
    <link href="https://example.invalid/b1.jpg"><text>photo</text><type>image/jpeg</type></link>
    <sym>Flag</sym>
    <type>base</type>
    <fix>dgps</fix>
    <sat>11</sat>
    <hdop>0.8</hdop>
    <vdop>1.3</vdop>
    <pdop>1.5</pdop>
    <extensions>
      <own:quality><own:accuracy>0.35</own:accuracy><own:name>not the name</own:name></own:quality>
    </extensions>
  </wpt>
  <wpt lat="-12.5" lon="-77"/>
  <rte>
    <name>approach</name>
    <rtept lat="46.2" lon="7.5"><name>ford</name></rtept>
    <rtept lat="46.3" lon="7.6"><time>2026-05-04T07:00:00+02:00</time></rtept>
  </rte>
  <trk>
    <name>occupation</name>
    <trkseg>
      <trkpt lat="46.10" lon="7.10"><ele>1200</ele><time>2026-05-04T08:00:00Z</time><fix>3d</fix><sat>9</sat><hdop>1.1</hdop></trkpt>
      <trkpt lat="46.11" lon="7.11"><time>2026-05-04T08:00:01.5Z</time><fix>none</fix></trkpt>
    </trkseg>
    <trkseg>
      <trkpt lat="46.12" lon="7.12"><ele>1202.5</ele><time>2026-05-04T08:00:02</time><geoidheight>51.5</geoidheight><pdop>2.0</pdop></trkpt>
      <trkpt lat="46.13" lon="7.13"><ele>1203</ele></trkpt>
    </trkseg>
  </trk>
  <extensions><own:wpt lat="1" lon="2"/></extensions>
</gpx>
"#;

fn sound() -> GpxLog {
    read(SOUND, 3, GpxHeights::Orthometric).unwrap()
}

fn one(inner: &str) -> GpxLog {
    read(&format!("<gpx>\n{inner}\n</gpx>"), 0, GpxHeights::Orthometric).unwrap()
}

fn faults(lines: &[HeldLine]) -> Vec<(u64, Reason, &str)> {
    lines.iter().map(|held| (held.line, held.fault.reason, held.fault.sentence.as_str())).collect()
}

#[test]
fn a_waypoint_keeps_all_it_says() {
    let gpx = sound();
    let [first, second] = gpx.waypoints.as_slice() else { panic!("{:?}", gpx.waypoints) };
    assert_eq!((first.number, first.line, first.lat_deg, first.lon_deg), (1, 6, 46.123456789, 7.987654321));
    assert_eq!(first.name, "B1 & <north> ↑");
    assert_eq!(first.time.unwrap().to_string(), "2026-05-04T08:00:01Z");
    assert_eq!((first.elevation_m, first.separation_m), (Some(1204.35), Some(51.7)));
    assert_eq!((first.fix.as_deref(), first.kind, first.satellites), (Some("dgps"), FixKind::Differential, Some(11)));
    assert_eq!((first.hdop, first.pdop), (Some(0.8), Some(1.5)));
    let extras: Vec<(&str, &str)> = first.extras.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    assert_eq!(
        extras,
        [
            ("magvar", "2.5"),
            ("cmt", "on the ledge"),
            ("desc", "by <b>the</b> cairn"),
            ("src", "averaged"),
            ("link", "https://example.invalid/b1.jpg"),
            ("sym", "Flag"),
            ("type", "base"),
            ("vdop", "1.3"),
            ("extension_accuracy", "0.35"),
            ("extension_name", "not the name"),
        ]
    );
    assert!(first.raw.starts_with("<wpt lat=\"46.123456789\"") && first.raw.ends_with("</wpt>"));
    assert_eq!((second.number, second.line, second.lat_deg, second.lon_deg), (2, 27, -12.5, -77.0));
    assert_eq!((second.name.as_str(), second.time, second.elevation_m, second.kind), ("", None, None, FixKind::Unknown));
    assert_eq!(second.raw, "<wpt lat=\"-12.5\" lon=\"-77\"/>");
    assert_eq!(gpx.held, []);
}

#[test]
fn points_of_tracks_and_routes_are_fixes_in_order() {
    let gpx = sound();
    let fixes: Vec<(u64, String, Coordinates)> =
        gpx.tracks.fixes.iter().map(|fix| (fix.line, fix.instant.to_string(), fix.coordinates)).collect();
    let at = |lat_deg, lon_deg| Coordinates::Geographic { lat_deg, lon_deg };
    assert_eq!(
        fixes,
        [
            (31, "2026-05-04T05:00:00Z".to_owned(), at(46.3, 7.6)),
            (36, "2026-05-04T08:00:00Z".to_owned(), at(46.1, 7.1)),
            // The schema has times in UTC, named or not.
            (40, "2026-05-04T08:00:02Z".to_owned(), at(46.12, 7.12)),
        ]
    );
    let [_, second, third] = gpx.tracks.fixes.as_slice() else { panic!() };
    assert_eq!((second.file, second.kind, second.satellites, second.hdop), (3, FixKind::Single, Some(9), Some(1.1)));
    assert_eq!((second.height, second.separation_m), (Some(Height::Orthometric(1200.0)), None));
    assert_eq!((third.height, third.separation_m), (Some(Height::Orthometric(1202.5)), Some(51.5)));
    assert_eq!((third.kind, third.pdop, third.sigma_m), (FixKind::Unknown, Some(2.0), None));
    let no_time = "has no time, so that it belongs to no occupation; record with times, or as waypoints";
    assert_eq!(
        faults(&gpx.tracks.held),
        [
            (30, Reason::NotATime, format!("the route point {no_time}").as_str()),
            (37, Reason::NoFix, "fix none: the receiver had no fix here"),
            (41, Reason::NotATime, format!("the track point {no_time}").as_str()),
        ]
    );
    assert_eq!(gpx.tracks.held[2].raw, "<trkpt lat=\"46.13\" lon=\"7.13\"><ele>1203</ele></trkpt>");
    let ellipsoid = read(SOUND, 0, GpxHeights::Ellipsoid).unwrap();
    assert_eq!(ellipsoid.tracks.fixes[1].height, Some(Height::Ellipsoid(1200.0)));
}

#[test]
fn waypoints_as_rows() {
    let (headers, rows) = sound().to_table();
    assert_eq!(
        headers.join(","),
        "lat_deg,lon_deg,base,time,orthometric_height_m,separation_m,hdop,pdop,fix,fix_kind,sat,magvar,cmt,desc,src,link,sym,type,vdop,\
         extension_accuracy,extension_name"
    );
    assert_eq!(rows.len(), 2);
    assert_eq!(
        (rows[0].0, rows[0].1[..11].join("|")),
        (6, "46.123456789|7.987654321|B1 & <north> ↑|2026-05-04T08:00:01Z|1204.35|51.7|0.8|1.5|dgps|differential|11".to_owned())
    );
    assert_eq!((rows[1].0, rows[1].1.join("|")), (27, "-12.5|-77|||||||||||||||||||".to_owned()));
    assert!(rows.iter().all(|(_, cells)| cells.len() == headers.len()));
    let ellipsoid = read(SOUND, 0, GpxHeights::Ellipsoid).unwrap().to_table().0;
    assert_eq!(ellipsoid[4], "ellipsoid_height_m");
}

#[test]
fn columns_that_no_waypoint_has_are_left_out_and_none_stands_twice() {
    let (headers, rows) = one(r#"<wpt lat="1.5" lon="2"><Base>other</Base><name>P</name></wpt>"#).to_table();
    assert_eq!(headers, ["lat_deg", "lon_deg", "base", "gpx_Base"]);
    assert_eq!(rows, [(2, ["1.5", "2", "P", "other"].map(str::to_owned).to_vec())]);
    assert_eq!(one("").to_table(), (["lat_deg", "lon_deg", "base"].map(str::to_owned).to_vec(), Vec::new()));
}

#[test]
fn prefixes_of_namespaces_do_not_matter_and_other_namespaces_do() {
    let text = r#"<g:gpx version="1.1" xmlns:g="http://www.topografix.com/GPX/1/1" xmlns:o="urn:o">
<g:wpt lat="1" lon="2"><g:name>A</g:name><o:name>B</o:name><o:ele>9</o:ele></g:wpt>
<o:wpt lat="3" lon="4"/>
</g:gpx>"#;
    let gpx = read(text, 0, GpxHeights::Orthometric).unwrap();
    assert_eq!(gpx.waypoints.len(), 1);
    let [waypoint] = gpx.waypoints.as_slice() else { panic!() };
    assert_eq!((waypoint.name.as_str(), waypoint.elevation_m), ("A", None));
    let extras = [("extension_name", "B"), ("extension_ele", "9")].map(|(name, value)| (name.to_owned(), value.to_owned()));
    assert_eq!(waypoint.extras, extras);
}

#[test]
fn points_that_are_held() {
    let held = |inner: &str| {
        let gpx = one(inner);
        assert_eq!((gpx.waypoints.len(), gpx.held.len()), (0, 1), "{inner}");
        let fault = gpx.held[0].fault.clone();
        assert_eq!((gpx.held[0].line, gpx.held[0].raw.as_str()), (2, inner));
        (fault.reason, fault.column, fault.value, fault.sentence)
    };
    let fault =
        |reason, column: &str, value: &str, sentence: &str| (reason, column.to_owned(), value.to_owned(), sentence.to_owned());
    assert_eq!(
        held(r#"<wpt lat="90.5" lon="2"/>"#),
        fault(Reason::PositionRange, "lat", "90.5", "lat 90.5 is outside -90 to 90 degrees; are latitude and longitude swapped?")
    );
    assert_eq!(
        held(r#"<wpt lat="9" lon="-180.01"/>"#),
        fault(
            Reason::PositionRange,
            "lon",
            "-180.01",
            "lon -180.01 is outside -180 to 180 degrees; are latitude and longitude swapped?"
        )
    );
    assert_eq!(
        held(r#"<wpt lat="46,5" lon="7"/>"#),
        fault(Reason::NotAnAngle, "lat", "46,5", "lat \"46,5\": not a number; GPX wants decimal degrees with a decimal point")
    );
    assert_eq!(held(r#"<wpt lat="46.5"/>"#), fault(Reason::NoPosition, "lon", "", "the point has no lon"));
    assert_eq!(
        held(r#"<wpt lat="46.5" lon="7"><ele>12,5</ele></wpt>"#),
        fault(Reason::NotANumber, "ele", "12,5", "ele \"12,5\": not a number; GPX wants metres with a decimal point")
    );
    assert_eq!(
        held(r#"<wpt lat="46.5" lon="7"><ele>12</ele><ele>13</ele></wpt>"#).2,
        "12; 13",
        "two elevations contradict each other"
    );
    assert_eq!(
        held(r#"<wpt lat="46.5" lon="7"><time>yesterday</time></wpt>"#),
        fault(
            Reason::NotATime,
            "time",
            "yesterday",
            "time \"yesterday\": not a date and time; GPX wants them as in 2026-05-04T08:00:01Z"
        )
    );
    assert_eq!(
        held(r#"<wpt lat="46.5" lon="7"><sat>many</sat></wpt>"#),
        fault(Reason::NotANumber, "sat", "many", "sat \"many\": not a number of satellites; GPX wants a whole number")
    );
    assert_eq!(held(r#"<wpt lat="46.5" lon="7"><fix>none</fix></wpt>"#).0, Reason::NoFix);
    // The number counts the held ones, so that it is the place in the file.
    let gpx = one("<wpt lat=\"91\" lon=\"0\"/>\n<wpt lat=\"90\" lon=\"180\"/>");
    assert_eq!((gpx.waypoints[0].number, gpx.waypoints[0].line), (2, 3));
}

#[test]
fn values_that_say_nothing_are_missing() {
    let gpx = one(
        r#"<wpt lat="1" lon="2"><ele/><time></time><hdop>NaN</hdop><pdop> 2.5 </pdop><geoidheight>-9999</geoidheight></wpt>"#,
    );
    let waypoint = &gpx.waypoints[0];
    assert_eq!((waypoint.elevation_m, waypoint.time, waypoint.hdop), (None, None, None));
    assert_eq!((waypoint.pdop, waypoint.separation_m), (Some(2.5), None));
}

#[test]
fn damaged_files_are_refused_with_the_line() {
    let refused = |text: &str| read(text, 0, GpxHeights::Orthometric).unwrap_err().to_string();
    let head = "<gpx>\n<trk><trkseg>\n";
    let cases = [
        (
            format!("{head}<trkpt lat=\"1\" lon=\"2\">\n<ele>3"),
            "line 4: the file ends before <ele> of line 4 does: it was cut short; copy it anew",
        ),
        (format!("{head}</trkseg>\n"), "line 3: the file ends before <trk> of line 2 does: it was cut short; copy it anew"),
        (
            format!("{head}<trkpt lat=\"1\" lon=\"2"),
            "line 3: what begins here never ends: the file is damaged or was cut short; copy it anew",
        ),
        (
            format!("{head}<trkpt lat=\"1\"\n lon=\"2\"><ele>3</trkpt>"),
            "line 4: </trkpt> stands where <ele> of line 4 must end first",
        ),
        ("<gpx>\n</gpx>\n</trk>".to_owned(), "line 3: </trk> ends what never began"),
        (
            "<gpx>\n<wpt lat=\"1\" lon=\"2\">\n<name>A & B</name></wpt></gpx>".to_owned(),
            "line 3: a lone & stands here; in a GPX file it is written &amp;",
        ),
        (
            "<gpx>\n<wpt lat=\"1\" lon=\"2\"><name>&eacute;</name></wpt></gpx>".to_owned(),
            "line 2: &eacute; stands for nothing here; write & as &amp;",
        ),
        ("<gpx>\n<wpt lat=\"1\" lat=\"2\"/></gpx>".to_owned(), "line 2: the attributes of <wpt> are damaged"),
        ("<gpx/>\n<gpx/>".to_owned(), "line 2: <gpx> stands behind the outermost element: are two files run together?"),
        ("<gpx/>\nand more".to_owned(), "line 1: text stands behind the outermost element: this is no sound XML"),
        ("\n<kml/>".to_owned(), "line 2: this is no GPX file: its outermost element is <kml>, not <gpx>"),
        ("base,lat_deg,lon_deg\nB1,46,7\n".to_owned(), "line 1: text stands before the outermost element: this is no sound XML"),
        (String::new(), "this is no GPX file: there is no element in it"),
    ];
    for (text, sentence) in cases {
        assert_eq!(refused(&text), sentence, "{text}");
    }
}

#[test]
fn gpx_is_told_by_its_outermost_element() {
    assert!(looks_like(SOUND));
    assert!(looks_like("\u{feff}<?xml version='1.0'?>\n<!DOCTYPE gpx>\n<g:gpx xmlns:g='urn:g'>"));
    assert!(looks_like(&SOUND[..400]), "the begin of a file is enough");
    for text in ["", "<kml><gpx/></kml>", "gpx", "lat_deg,lon_deg\n", "<gpx", "<<gpx>>"] {
        assert!(!looks_like(text), "{text}");
    }
}

/// Pieces of XML in any order, so that the text is often nearly sound.
fn shreds() -> impl Strategy<Value = String> {
    let shreds: Vec<&'static str> =
        SOUND.split_inclusive(['>', ' ', '"', ';']).chain(["&", "<", "]]>", "<![CDATA[", "<!--", "\u{feff}"]).collect();
    proptest::collection::vec(proptest::sample::select(shreds), 0..40).prop_map(|shreds| shreds.concat())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_makes_it_panic(text in any::<String>(), shreds in shreds(), cut in 0..SOUND.len()) {
        let cut = (cut..).find(|at| SOUND.is_char_boundary(*at)).unwrap();
        for text in [text.as_str(), shreds.as_str(), &format!("<gpx>{shreds}</gpx>"), &SOUND[..cut], &format!("{}{shreds}{}", &SOUND[..cut], &SOUND[cut..])] {
            looks_like(text);
            if let Ok(gpx) = read(text, 0, GpxHeights::Orthometric) {
                let (headers, rows) = gpx.to_table();
                prop_assert_eq!(rows.len(), gpx.waypoints.len());
                prop_assert!(rows.iter().all(|(_, cells)| cells.len() == headers.len()));
            }
        }
    }

    #[test]
    fn a_cut_file_is_never_taken_for_a_whole_one(cut in 0..SOUND.len()) {
        let cut = (cut..).find(|at| SOUND.is_char_boundary(*at)).unwrap();
        let end = SOUND.rfind('>').unwrap();
        prop_assert_eq!(read(&SOUND[..cut], 0, GpxHeights::Orthometric).is_ok(), cut > end);
    }

    #[test]
    fn numbers_come_back_to_the_last_digit(lat in -90f64..=90.0, lon in -180f64..=180.0, ele in -500f64..9000.0) {
        let gpx = one(&format!("<wpt lat=\"{lat}\" lon=\"{lon}\"><ele>{ele}</ele></wpt>"));
        let row = gpx.to_table().1.remove(0).1;
        let numbers: Vec<f64> = [0, 1, 3].iter().map(|i: &usize| row[*i].parse().unwrap()).collect();
        prop_assert_eq!(numbers, vec![lat, lon, ele]);
    }
}
