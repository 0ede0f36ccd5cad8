use super::*;

const SOUND: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>stands</name>
<Folder><name>east</name>
 <Placemark><name>S1</name><description>by the <![CDATA[gate & wall]]></description>
  <TimeStamp><when>2026-05-04T08:00:00Z</when></TimeStamp>
  <ExtendedData><Data name="crew"><value>red</value></Data><SchemaData><SimpleData name="pdop">1.2</SimpleData></SchemaData></ExtendedData>
  <Point><altitudeMode>absolute</altitudeMode><coordinates> -84.94,34.27,215.5 </coordinates></Point></Placemark>
</Folder>
 <Placemark><name>S2</name><Point><coordinates>-84.95,34.28,12</coordinates></Point></Placemark>
 <Placemark><name>road</name><LineString><coordinates>-84.95,34.28 -84.96,34.28</coordinates></LineString></Placemark>
 <Placemark><name>bad</name><Point><coordinates>here</coordinates></Point></Placemark>
</Document></kml>"#;

#[test]
fn placemarks_of_points_are_rows() {
    let kml = read(SOUND, KmlHeights::Standard).unwrap();
    let (headers, rows) = kml.to_table();
    let expected = ["base", "lat_deg", "lon_deg", "orthometric_height_m", "description", "time", "crew", "kml_pdop", "folder"];
    assert_eq!(headers, expected);
    assert_eq!(rows[0].0, 4);
    assert_eq!(rows[0].1, ["S1", "34.27", "-84.94", "215.5", "by the gate & wall", "2026-05-04T08:00:00Z", "red", "1.2", "east"]);
    assert_eq!(rows[1].1[..4], ["S2", "34.28", "-84.95", ""].map(String::from));
    assert_eq!(kml.altitudes_unused, 1);
    let held: Vec<&str> = kml.held.iter().map(|held| held.fault.sentence.as_str()).collect();
    assert_eq!(
        held,
        [
            "the placemark road is a LineString, not a point",
            "the placemark bad has the coordinates \"here\", not longitude, latitude, altitude"
        ]
    );
}

#[test]
fn what_altitudes_are_above_can_be_said() {
    let kml = read(SOUND, KmlHeights::Ellipsoid).unwrap();
    assert_eq!((kml.placemarks[1].altitude_m, kml.altitudes_unused), (Some(12.0), 0));
    assert_eq!(kml.to_table().0[3], "ellipsoid_height_m");
}

#[test]
fn what_is_no_kml_is_refused() {
    assert!(!looks_like("<gpx/>"));
    assert_eq!(
        read("<gpx/>", KmlHeights::Standard).unwrap_err().to_string(),
        "line 1: this is no KML: its outermost element is <gpx>"
    );
    assert!(unpack(b"PK").unwrap_err().to_string().starts_with("the KMZ archive cannot be opened"));
}
