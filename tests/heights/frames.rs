//! Frames of heights: a geoid's undulations and an ellipsoidal height count from the ellipsoids of their own frames, and only within
//! one frame is H = h − N. Values are those of `tests/reference/height_frames.csv`: heights carried between frames by another binding of
//! PROJ, undulations published for the model.

use super::common::{Field, Run};
use super::{field, gtx, heights, number};

/// The published undulations are printed to a millimetre and met within 5 mm; bilinear interpolation between corners adds 2 cm.
const MODEL_M: f64 = 0.025;
/// A carried height: written to 0.1 mm, at a place that moved by metres between the frames.
const CARRIED_M: f64 = 0.001;

struct Reference {
    frame: String,
    place: String,
    height_m: f64,
    common_height_m: f64,
    orthometric_height_m: f64,
}

fn reference(frame: &str) -> Reference {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/height_frames.csv");
    let mut rows = csv::Reader::from_path(path).unwrap().into_records().map(|row| row.unwrap());
    let row = rows.find(|row| &row[0] == frame).unwrap_or_else(|| panic!("{frame}"));
    let number = |i: usize| row[i].parse::<f64>().unwrap();
    Reference {
        frame: frame.to_owned(),
        place: format!("{},{}", &row[1], &row[2]),
        height_m: number(3),
        common_height_m: number(4),
        orthometric_height_m: number(6),
    }
}

/// A base at the place of a reference row, in a CRS, with the height of the row.
fn job(reference: &Reference, bases_crs: &str, crs: &str) -> Field {
    let bases = format!("base,lat_deg,lon_deg,ellipsoid_height_m\nA,{},{}\n", reference.place, reference.height_m);
    let mut field = field(&bases, &["A"]);
    field.job = field.job.replace("EPSG:4979", bases_crs).replace("EPSG:32632", crs);
    field
}

fn orthometric_m(run: &Run) -> f64 {
    number(&run.bases[0], "orthometric_height_m")
}

#[track_caller]
fn assert_model(got_m: f64, want_m: f64) {
    assert!((got_m - want_m).abs() < MODEL_M, "{got_m}, not {want_m}");
}

#[test]
fn the_built_in_model_is_taken_off_in_its_own_frame() {
    for (frame, crs) in [("EPSG:6319", "EPSG:6318"), ("EPSG:7843", "EPSG:7844"), ("EPSG:4979", "EPSG:4326")] {
        let reference = reference(frame);
        let run = job(&reference, frame, crs).map();
        assert_model(orthometric_m(&run), reference.orthometric_height_m);
        assert_eq!(number(&run.bases[0], "ellipsoid_height_m"), reference.height_m);
        // H = h − N in the layers' own datum, of a feature as of a base.
        for record in [&run.bases[0], &run.features[0]] {
            let [h, orthometric, n] =
                ["ellipsoid_height_m", "orthometric_height_m", "geoid_undulation_m"].map(|name| number(record, name));
            assert!((h - orthometric - n).abs() < 0.000_2, "{h} {orthometric} {n}");
        }
        let rise = ["ellipsoid_height_m", "orthometric_height_m"]
            .map(|name| number(&run.features[0], name) - number(&run.bases[0], name));
        assert!((rise[0] - rise[1]).abs() < 0.02, "{rise:?}");
    }
    // What it was off by, in the United States: 1.16 m, at a stated standard error of 1 m.
    let reference = reference("EPSG:6319");
    assert!((reference.height_m - reference.common_height_m - 1.155).abs() < 0.001);
}

/// NAD83 as it is named without its realisation, which PROJ ties to WGS 84 by nothing but a null transformation; its realisations agree
/// within some centimetres.
#[test]
fn nad83_without_its_realisation_is_carried_by_that_of_the_region() {
    let reference = reference("EPSG:6319");
    for frame in ["EPSG:4269", "EPSG:4893"] {
        let run = job(&reference, frame, if frame == "EPSG:4269" { "EPSG:4269" } else { "EPSG:4759" }).map();
        assert_model(orthometric_m(&run), reference.orthometric_height_m);
    }
    let harn = self::reference("EPSG:4957");
    let run = job(&harn, "EPSG:4957", "EPSG:4152").map();
    assert_model(orthometric_m(&run), harn.orthometric_height_m);
}

/// An orthometric height becomes an ellipsoidal one on the datum of the base by the same law.
#[test]
fn the_other_way_round_too() {
    let reference = reference("EPSG:6319");
    let bases = format!("base,lat_deg,lon_deg,orthometric_height_m\nA,{},{}\n", reference.place, reference.orthometric_height_m);
    let mut field = field(&bases, &["A"]);
    field.job = field.job.replace("EPSG:4979", "EPSG:6319").replace("EPSG:32632", "EPSG:6318");
    assert_model(number(&field.map().bases[0], "ellipsoid_height_m"), reference.height_m);
}

#[test]
fn on_an_old_datum_the_job_says_from_which_ellipsoid_heights_count() {
    for (frame, crs, away) in [("EPSG:4230", "EPSG:4326", "71 m above"), ("EPSG:4202", "EPSG:4326", "7 m above")] {
        let reference = reference(frame);
        let mut unsaid = job(&reference, frame, crs);
        unsaid.job = unsaid.job.replace("formats", "allow_missing_grids = true\nformats");
        let message = unsaid.refusal();
        assert!(
            message.starts_with("bases.crs: positions on ") && message.contains(&format!("lies {away} it here")),
            "{message}"
        );
        assert!(message.contains("ellipsoid_heights_crs = \"EPSG:4979\""), "{message}");
        // Its own ellipsoid.
        let said = |definition: &str| {
            let field = job(&reference, frame, crs);
            let job = field.job.replace("formats", "allow_missing_grids = true\nformats");
            let field = Field { job, ..field };
            field.with("BASES", &format!("ellipsoid_heights_crs = \"{definition}\"")).map()
        };
        let run = said(&reference.frame);
        let carried = number(&run.bases[0], "ellipsoid_height_m");
        assert!((carried - reference.common_height_m).abs() < 0.02, "{carried}, not {}", reference.common_height_m);
        // The place itself moves by 130 m, over which the geoid falls by some millimetres.
        assert_model(orthometric_m(&run), reference.orthometric_height_m);
        // That of WGS 84, as a receiver counts.
        let run = said("EPSG:4979");
        assert_eq!(number(&run.bases[0], "ellipsoid_height_m"), reference.height_m);
        let undulation_m = reference.common_height_m - reference.orthometric_height_m;
        assert_model(orthometric_m(&run), reference.height_m - undulation_m);
    }
}

/// A plane of undulations around the place in the United States.
fn with_grid(field: Field, lines: &str) -> Run {
    field.write("geoid.gtx", gtx([38.0, -91.0], 0.5, 4, 4, |_, _| -32.0));
    heights(field, &format!("geoid_grid = \"geoid.gtx\"\n{lines}")).map()
}

#[test]
fn the_frame_of_a_grid_is_a_key_with_a_default() {
    let reference = reference("EPSG:6319");
    let lowered_m = reference.height_m - reference.common_height_m;
    let of = |bases_crs: &str, crs: &str, lines: &str| orthometric_m(&with_grid(job(&reference, bases_crs, crs), lines));
    let near = |got_m: f64, want_m: f64| assert!((got_m - want_m).abs() < CARRIED_M, "{got_m}, not {want_m}");
    // Without a vertical CRS the grid is of the bases' datum.
    near(of("EPSG:6319", "EPSG:6318", ""), 232.0);
    near(of("EPSG:4979", "EPSG:4326", ""), 232.0);
    // Named.
    near(of("EPSG:6319", "EPSG:6318", "geoid_grid_crs = \"EPSG:6319\""), 232.0);
    near(of("EPSG:6319", "EPSG:6318", "geoid_grid_crs = \"EPSG:7912\""), 232.0 - lowered_m);
    near(of("EPSG:4979", "EPSG:4326", "geoid_grid_crs = \"EPSG:6319\""), 232.0 + lowered_m);
    // By the vertical CRS: the geoid models of NAVD88 stand on NAD83, whatever the layers' own datum; that of EGM2008 on WGS 84.
    near(of("EPSG:6319", "EPSG:6318+5703", ""), 232.0);
    let on_wgs84 = of("EPSG:4979", "EPSG:4326+5703", "");
    assert!((on_wgs84 - (232.0 + lowered_m)).abs() < 0.03, "{on_wgs84}");
    near(of("EPSG:6319", "EPSG:6318+3855", ""), 232.0 - lowered_m);
    // A mistaken one is an error.
    let field = heights(job(&reference, "EPSG:6319", "EPSG:6318"), "geoid_grid_crs = \"EPSG:1\"");
    assert!(field.refusal().starts_with("heights: \"EPSG:1\" is not a coordinate reference system"), "{}", field.refusal());
}

/// A separation in a table stands on the datum of the table, one in a receiver's sentences on WGS 84; the job can say otherwise.
#[test]
fn separations_have_a_frame_too() {
    let reference = reference("EPSG:6319");
    let lowered_m = reference.height_m - reference.common_height_m;
    let bases = format!("base,lat_deg,lon_deg,ellipsoid_height_m,separation_m\nA,{},200,-32\n", reference.place);
    let of = |lines: &str| {
        let mut field = field(&bases, &["A"]);
        field.job = field.job.replace("EPSG:4979", "EPSG:6319").replace("EPSG:32632", "EPSG:6318");
        orthometric_m(&heights(field, lines).map())
    };
    assert!((of("") - 232.0).abs() < CARRIED_M);
    assert!((of("separation_crs = \"EPSG:4979\"") - (232.0 - lowered_m)).abs() < CARRIED_M);
}
