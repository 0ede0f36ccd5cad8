//! Copies against the published layouts, byte by byte; read back by GDAL; and as PROJ uses them.

use gdal::Dataset;
use tempfile::TempDir;

use super::*;
use crate::geodesy::crs::raw::ProjObject;
use crate::geodesy::geoid::tests::Made;

#[path = "../../../../tests/support/geotiff.rs"]
mod geotiff;

use geotiff::{Band, Image, NO_VALUE};

/// Rough, so that neighbours cannot be taken for one another.
fn rough(row: usize, column: usize) -> f64 {
    30.0 * (row as f64 * 1.7 + 2.0).sin() * (column as f64 * 2.3 + 1.0).cos()
}

fn rough_too(row: usize, column: usize) -> f64 {
    0.1 * rough(row + 5, column + 3)
}

const HEIGHTS: Band =
    Band { description: "geoid_undulation", unit: "metre", items: &[], value: &(rough as fn(usize, usize) -> f64) };
const GEOID_TYPE: &[(&str, &str)] = &[("TYPE", "VERTICAL_OFFSET_GEOGRAPHIC_TO_VERTICAL")];
const SHIFT_TYPE: &[(&str, &str)] = &[("TYPE", "HORIZONTAL_OFFSET")];

fn shift<'a>(description: &'a str, unit: &'a str, value: &'a dyn Fn(usize, usize) -> f64) -> Band<'a> {
    Band { description, unit, items: &[], value }
}

fn image<'a>(items: &'a [(&'a str, &'a str)], bands: Vec<Band<'a>>) -> Image<'a> {
    Image { south: 50.0, west: 4.0, row_step: 0.25, column_step: 0.5, rows: 6, columns: 5, items, bands }
}

/// Writes a GeoTIFF and converts it.
fn converted(folder: &TempDir, images: &[Image]) -> Result<PathBuf, String> {
    let path = folder.path().join("grid.tif");
    geotiff::write(&path, images);
    convert(&path).map_err(|problem| problem.to_string())
}

/// Shift of a position in arc-seconds, east and north, as PROJ takes it from a copy.
fn shifted_by(copy: &Path, lon_deg: f64, lat_deg: f64) -> [f64; 2] {
    let mut proj = ProjObject::new(&format!("+proj=hgridshift +grids={}", copy.display())).unwrap();
    let mut point = [[lon_deg.to_radians(), lat_deg.to_radians(), 0.0]];
    proj.transform(&mut point, &[]);
    [(point[0][0].to_degrees() - lon_deg) * 3600.0, (point[0][1].to_degrees() - lat_deg) * 3600.0]
}

#[test]
fn a_vertical_grid_becomes_gtx_byte_by_byte() {
    let folder = tempfile::tempdir().unwrap();
    let copy = converted(&folder, &[image(GEOID_TYPE, vec![HEIGHTS])]).unwrap();
    assert!(copy.to_str().unwrap().ends_with("-grid.tif.gtx"), "{}", copy.display());
    let made = Made { south: 50.0, west: 4.0, row_step: 0.25, column_step: 0.5, rows: 6, columns: 5 };
    let bytes = std::fs::read(&copy).unwrap();
    assert_eq!(bytes, made.gtx(rough));
    assert_eq!(
        bytes[..40],
        [
            0x40, 0x49, 0, 0, 0, 0, 0, 0, // 50
            0x40, 0x10, 0, 0, 0, 0, 0, 0, // 4
            0x3f, 0xd0, 0, 0, 0, 0, 0, 0, // 0.25
            0x3f, 0xe0, 0, 0, 0, 0, 0, 0, // 0.5
            0, 0, 0, 6, 0, 0, 0, 5,
        ]
    );
    // GDAL has the rows from the north.
    let dataset = Dataset::open(&copy).unwrap();
    let read = dataset.rasterband(1).unwrap().read_as::<f32>((0, 0), (5, 6), (5, 6), None).unwrap();
    let nodes = (0..6).rev().flat_map(|row| (0..5).map(move |column| rough(row, column) as f32));
    assert_eq!(read.data(), nodes.collect::<Vec<_>>());
}

#[test]
fn the_band_of_heights_is_told_by_its_description() {
    let folder = tempfile::tempdir().unwrap();
    let accuracy = shift("geoid_undulation_accuracy", "metre", &|_, _| 0.02);
    let copy = converted(&folder, &[image(&[], vec![accuracy, HEIGHTS])]).unwrap();
    let made = Made { south: 50.0, west: 4.0, row_step: 0.25, column_step: 0.5, rows: 6, columns: 5 };
    assert_eq!(std::fs::read(copy).unwrap(), made.gtx(rough));
}

#[test]
fn a_vertical_node_without_a_value_has_none_in_proj() {
    let folder = tempfile::tempdir().unwrap();
    let holed = |row: usize, column: usize| if row < 2 { NO_VALUE } else { rough(row, column) };
    let copy = converted(&folder, &[image(GEOID_TYPE, vec![shift("geoid_undulation", "metre", &holed)])]).unwrap();
    let mut proj = ProjObject::new(&format!("+proj=vgridshift +grids={} +multiplier=1", copy.display())).unwrap();
    let mut points = [[4.6f64.to_radians(), 50.1f64.to_radians(), 0.0], [4.5f64.to_radians(), 50.5f64.to_radians(), 0.0]];
    proj.transform(&mut points, &[]);
    assert!(!points[0][2].is_finite());
    assert!((points[1][2] - rough(2, 1)).abs() < 1e-5);
}

/// A record of a header: eight bytes of a word, eight of a value.
fn record(key: &[u8; 8], value: [u8; 8]) -> Vec<u8> {
    [*key, value].concat()
}

fn seconds(key: &[u8; 8], value: f64) -> Vec<u8> {
    record(key, value.to_le_bytes())
}

/// The 11 records that a file of shifts begins with.
fn overview(sub_files: u8) -> Vec<u8> {
    [
        record(b"NUM_OREC", [11, 0, 0, 0, 0, 0, 0, 0]),
        record(b"NUM_SREC", [11, 0, 0, 0, 0, 0, 0, 0]),
        record(b"NUM_FILE", [sub_files, 0, 0, 0, 0, 0, 0, 0]),
        record(b"GS_TYPE ", *b"SECONDS "),
        record(b"VERSION ", *b"NTv2.0  "),
        record(b"SYSTEM_F", *b"UNKNOWN "),
        record(b"SYSTEM_T", *b"UNKNOWN "),
        seconds(b"MAJOR_F ", 0.0),
        seconds(b"MINOR_F ", 0.0),
        seconds(b"MAJOR_T ", 0.0),
        seconds(b"MINOR_T ", 0.0),
    ]
    .concat()
}

#[test]
fn horizontal_shifts_become_ntv2_byte_by_byte() {
    let folder = tempfile::tempdir().unwrap();
    let (latitude, longitude) = (
        |row: usize, column: usize| [[1.5, 2.5], [3.5, 4.5]][row][column],
        |row: usize, column: usize| [[-5.25, 6.25], [7.25, 8.25]][row][column],
    );
    let bands = vec![shift("latitude_offset", "arc-second", &latitude), shift("longitude_offset", "arc-second", &longitude)];
    let small = Image { rows: 2, columns: 2, ..image(SHIFT_TYPE, bands) };
    let copy = converted(&folder, &[small]).unwrap();
    let mut bytes = overview(1);
    bytes.extend(
        [
            record(b"SUB_NAME", *b"00000000"),
            record(b"PARENT  ", *b"NONE    "),
            record(b"CREATED ", [b' '; 8]),
            record(b"UPDATED ", [b' '; 8]),
            seconds(b"S_LAT   ", 180_000.0),
            seconds(b"N_LAT   ", 180_900.0),
            seconds(b"E_LONG  ", -16_200.0),
            seconds(b"W_LONG  ", -14_400.0),
            seconds(b"LAT_INC ", 900.0),
            seconds(b"LONG_INC", 1800.0),
            record(b"GS_COUNT", [4, 0, 0, 0, 0, 0, 0, 0]),
        ]
        .concat(),
    );
    // From the south-east to the west, then north; longitudes positive west.
    for node in [[2.5f32, -6.25, -1.0, -1.0], [1.5, 5.25, -1.0, -1.0], [4.5, -8.25, -1.0, -1.0], [3.5, -7.25, -1.0, -1.0]] {
        node.iter().for_each(|number| bytes.extend(number.to_le_bytes()));
    }
    bytes.extend(b"END             ");
    assert_eq!(std::fs::read(copy).unwrap(), bytes);
}

#[test]
fn horizontal_shifts_are_read_back_by_gdal_and_used_by_proj() {
    /// PROJ keeps shifts as 4-byte radians: 2⁻²⁴ of 30 seconds.
    const KEPT_SECONDS: f64 = 3e-6;
    let folder = tempfile::tempdir().unwrap();
    let degrees = |row: usize, column: usize| rough(row, column) / 3600.0;
    let degrees_too = |row: usize, column: usize| rough_too(row, column) / 3600.0;
    let radians = |row: usize, column: usize| degrees(row, column).to_radians();
    let radians_too = |row: usize, column: usize| degrees_too(row, column).to_radians();
    let accuracy = |_: usize, _: usize| 0.5;
    let mut checked = 0;
    for (unit, latitude, longitude) in [
        ("arc-second", &rough as &dyn Fn(usize, usize) -> f64, &rough_too as &dyn Fn(usize, usize) -> f64),
        ("degree", &degrees, &degrees_too),
        ("radian", &radians, &radians_too),
        ("", &rough, &rough_too),
    ] {
        for positive in ["east", "west", ""] {
            let named: [(&str, &str); 1] = [("positive_value", positive)];
            let longitude =
                Band { items: if positive.is_empty() { &[] } else { &named }, ..shift("longitude_offset", unit, longitude) };
            // The order is that of the descriptions.
            let bands =
                vec![shift("latitude_offset_accuracy", unit, &accuracy), longitude, shift("latitude_offset", unit, latitude)];
            let copy = converted(&folder, &[image(SHIFT_TYPE, bands)]).unwrap();
            let east = if positive == "west" { -1.0 } else { 1.0 };
            let dataset = Dataset::open(&copy).unwrap();
            let band = |number| dataset.rasterband(number).unwrap().read_as::<f32>((0, 0), (5, 6), (5, 6), None).unwrap();
            let (latitudes, longitudes) = (band(1), band(2));
            for (row, column) in (0..6).flat_map(|row| (0..5).map(move |column| (row, column))) {
                let (north, west) = (latitudes.data()[(5 - row) * 5 + column], longitudes.data()[(5 - row) * 5 + column]);
                if ["arc-second", ""].contains(&unit) {
                    assert_eq!((north, west), (rough(row, column) as f32, -east as f32 * rough_too(row, column) as f32));
                }
                let [by_east, by_north] = shifted_by(&copy, 4.0 + 0.5 * column as f64, 50.0 + 0.25 * row as f64);
                assert!((by_north - rough(row, column)).abs() < KEPT_SECONDS, "{unit} {by_north}");
                assert!((by_east - east * rough_too(row, column)).abs() < KEPT_SECONDS, "{unit} {positive} {by_east}");
                checked += 1;
            }
        }
    }
    assert_eq!(checked, 4 * 3 * 30);
}

#[test]
fn a_finer_grid_goes_before_the_one_it_lies_in() {
    let folder = tempfile::tempdir().unwrap();
    let constant = |seconds: f64| move |_: usize, _: usize| seconds;
    let (one, two, three, four) = (constant(1.0), constant(2.0), constant(3.0), constant(4.0));
    fn bands<'a>(value: &'a dyn Fn(usize, usize) -> f64) -> Vec<Band<'a>> {
        vec![shift("latitude_offset", "arc-second", value), shift("longitude_offset", "arc-second", value)]
    }
    let names = |named: bool| -> [Vec<(&str, &str)>; 4] {
        let items = |name, parent| if named { vec![("grid_name", name), ("parent_grid_name", parent)] } else { vec![] };
        let top = if named { vec![("grid_name", "wide")] } else { vec![] };
        let away = if named { vec![("grid_name", "elsewhere")] } else { vec![] };
        [top, items("a rather long name", "wide"), items("finest", "a rather long name"), away]
    };
    for named in [true, false] {
        let [top, middle, finest, away] = names(named);
        let images = [
            image(&top, bands(&one)),
            Image { south: 50.25, west: 4.5, row_step: 0.125, column_step: 0.25, ..image(&middle, bands(&two)) },
            Image {
                south: 50.5,
                west: 4.75,
                row_step: 0.0625,
                column_step: 0.125,
                rows: 3,
                columns: 3,
                ..image(&finest, bands(&three))
            },
            Image { south: 50.25, west: 24.5, ..image(&away, bands(&four)) },
        ];
        let copy = converted(&folder, &images).unwrap();
        let bytes = std::fs::read(&copy).unwrap();
        assert_eq!(bytes[..11 * 16], overview(4));
        let parents: Vec<&[u8]> =
            bytes.windows(16).filter(|record| record.starts_with(b"PARENT  ")).map(|record| &record[8..]).collect();
        assert_eq!(parents, [b"NONE    ", b"00000000", b"00000001", b"NONE    "]);
        let at = [(4.2, 50.1, 1.0), (4.6, 50.3, 2.0), (4.8, 50.6, 3.0), (25.0, 50.5, 4.0)];
        for (lon_deg, lat_deg, want) in at {
            for by in shifted_by(&copy, lon_deg, lat_deg) {
                assert!((by - want).abs() < 1e-6, "{named} {lon_deg} {lat_deg}: {by}");
            }
        }
    }
}

#[test]
fn nothing_is_placed_next_to_a_horizontal_node_without_a_value() {
    let folder = tempfile::tempdir().unwrap();
    let holed = |row: usize, column: usize| if (row, column) == (2, 2) { NO_VALUE } else { 1.0 };
    let bands = vec![shift("latitude_offset", "arc-second", &|_, _| 1.0), shift("longitude_offset", "arc-second", &holed)];
    let copy = converted(&folder, &[image(SHIFT_TYPE, bands)]).unwrap();
    assert!(shifted_by(&copy, 5.1, 50.6).iter().all(|by| !by.is_finite()));
    assert!(shifted_by(&copy, 4.1, 50.1).iter().all(|by| (by - 1.0).abs() < 1e-6));
    let mut back = ProjObject::new(&format!("+proj=pipeline +step +inv +proj=hgridshift +grids={}", copy.display())).unwrap();
    let mut point = [[5.1f64.to_radians(), 50.6f64.to_radians(), 0.0]];
    back.transform(&mut point, &[]);
    assert!(!point[0][0].is_finite() && !point[0][1].is_finite(), "{point:?}");
}

#[test]
fn grids_of_no_use_are_refused_with_the_reason() {
    let folder = tempfile::tempdir().unwrap();
    let shifts = |unit: &'static str| {
        vec![shift("latitude_offset", unit, &(rough as fn(usize, usize) -> f64)), shift("longitude_offset", unit, &rough_too)]
    };
    let velocity: &[(&str, &str)] = &[("TYPE", "VELOCITY")];
    let biquadratic: &[(&str, &str)] = &[("TYPE", "HORIZONTAL_OFFSET"), ("interpolation_method", "biquadratic")];
    let south: [(&str, &str); 1] = [("positive_value", "south")];
    let cases: Vec<(Vec<Image>, &str)> = vec![
        (vec![image(velocity, shifts("metre"))], "it holds VELOCITY; only vertical grids and horizontal shifts can be used"),
        (vec![image(&[], vec![shift("", "", &rough), shift("", "", &rough)])], "it does not say what it holds"),
        (vec![image(biquadratic, shifts("arc-second"))], "it is meant for biquadratic interpolation; only bilinear can be used"),
        (vec![image(SHIFT_TYPE, shifts("metre"))], "the unit of its values is \"metre\""),
        (vec![image(SHIFT_TYPE, vec![shift("latitude_offset", "", &rough)])], "it has no band longitude_offset"),
        (vec![image(SHIFT_TYPE, vec![shift("", "", &rough)])], "it has no band longitude_offset"),
        (
            vec![image(
                SHIFT_TYPE,
                vec![shift("latitude_offset", "", &rough), Band { items: &south, ..shift("longitude_offset", "", &rough) }],
            )],
            "its longitude offsets are positive towards \"south\", which is neither east nor west",
        ),
        (
            vec![image(SHIFT_TYPE, vec![shift("latitude_offset", "", &|_, _| -32768.0), shift("longitude_offset", "", &rough)])],
            "the value at latitude 50.0000, longitude 6.0000 is -32768, which is no shift in arc-seconds",
        ),
        (
            vec![image(GEOID_TYPE, vec![HEIGHTS]), image(GEOID_TYPE, vec![HEIGHTS])],
            "it holds 2 vertical grids; a file of one can be used",
        ),
        (vec![image(GEOID_TYPE, vec![shift("accuracy", "metre", &rough)])], "it has no band of heights"),
        (vec![image(GEOID_TYPE, vec![shift("geoid_undulation", "foot", &rough)])], "the unit of its values is \"foot\""),
        (
            vec![image(GEOID_TYPE, vec![shift("geoid_undulation", "metre", &|row, _| if row == 1 { 1e6 } else { 0.0 })])],
            "the value at latitude 50.2500, longitude 4.0000 is 1000000, which is no height in metres",
        ),
    ];
    assert_eq!(cases.len(), 12);
    for (images, message) in cases {
        assert_eq!(converted(&folder, &images).unwrap_err(), message);
    }
}

#[test]
fn damaged_files_are_refused_wherever_they_are_cut() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("cut.tif");
    geotiff::write(&path, &[Image { rows: 40, columns: 40, row_step: 0.01, ..image(GEOID_TYPE, vec![HEIGHTS]) }]);
    let whole = std::fs::read(&path).unwrap();
    convert(&path).unwrap();
    crate::geodesy::crs::seclude_gdal();
    let mut refused = 0;
    for part in (0..whole.len()).step_by(311).chain([whole.len() - 1]) {
        std::fs::write(&path, &whole[..part]).unwrap();
        let problem = convert(&path).unwrap_err().to_string();
        let expected = [
            "it is no GeoTIFF file, or a damaged one",
            "the file does not say where its cells lie",
            "it is cut short or damaged",
        ];
        assert!(expected.contains(&problem.as_str()), "{part}: {problem}");
        refused += 1;
    }
    assert!(refused > 20);
    // Nothing is left of copies that were begun: the lock alone is empty, and every copy is whole.
    std::fs::write(&path, &whole).unwrap();
    let copies = convert(&path).unwrap().parent().unwrap().to_owned();
    let copies = std::fs::read_dir(copies).unwrap().map(|entry| entry.unwrap().path());
    let cut: Vec<_> = copies
        .filter(|copy| copy.to_string_lossy().ends_with("-cut.tif.gtx"))
        .map(|copy| std::fs::metadata(copy).unwrap().len())
        .collect();
    assert_eq!(cut, [40 + 4 * 40 * 40; 2]);
}

#[test]
fn tiff_files_are_told_by_their_first_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let told = |bytes: &[u8]| {
        let path = folder.path().join("x");
        std::fs::write(&path, bytes).unwrap();
        is_tiff(&path)
    };
    assert_eq!(
        [&b"II*\0\x08"[..], b"MM\0*\0", b"II+\0", b"MM\0+", b"II*", b"NUM_OREC", b""].map(told),
        [true, true, true, true, false, false, false]
    );
    assert_eq!(
        ["a.tif", "b.TIF", "c.tiff", "d.gtx", "tif"].map(|name| is_named_tiff(name.as_ref())),
        [true, true, true, false, false]
    );
}
