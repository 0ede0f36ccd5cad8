//! The features layer: one point for each shot that was mapped, with its uncertainty and lineage.

use jiff::Timestamp;

use super::place::{self, HasPlace};
use super::{Definition, Get, or_null, show_local};
use crate::geodesy::covariance::{Covariance, Ellipse, INTERVAL95};
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Field, Layer, LayerKey};
use crate::records::ledger::Flags;
use crate::records::when::When;
use crate::shots::locate::Placed;
use crate::stations::base::HeightKind;

/// A mapped shot.
#[derive(Debug, Clone, Copy)]
pub struct Feature<'r> {
    /// The log's feature name, else its shot id; else the file and line are shown.
    pub feature: Option<&'r str>,
    /// Feature code.
    pub code: Option<&'r str>,
    /// What the catalogue says that the code is.
    pub code_title: Option<&'r str>,
    /// Shot id.
    pub shot: Option<&'r str>,
    /// Base.
    pub base: &'r str,
    /// String name, kind of measurement, role, echo: kept for composed measurements.
    pub string: Option<&'r str>,
    /// See `string`.
    pub measure: Option<&'r str>,
    /// See `string`.
    pub role: Option<&'r str>,
    /// See `string`.
    pub echo: Option<&'r str>,
    /// Date and time.
    pub when: Option<When>,
    /// Position and heights.
    pub placed: Placed,
    /// Whether the layers' CRS has eastings and northings.
    pub projected: bool,
    /// Horizontal distance in metres.
    pub horizontal_m: f64,
    /// True azimuth in radians.
    pub true_azimuth_rad: f64,
    /// Declination in radians; NaN for true and grid azimuths.
    pub declination_rad: f64,
    /// Which height the standard error is of.
    pub height_kind: HeightKind,
    /// Standard error of the step to the other kind of height, in metres; NaN where there is none.
    pub sigma_geoid_m: f64,
    /// Whole covariance.
    pub covariance: Covariance,
    /// The 95 % ellipse of it.
    pub ellipse: Ellipse,
    /// Shares of base, direction and distance in the horizontal variance.
    pub shares: [f64; 3],
    /// Diameter in metres by half of which the point was moved from the near face to the centre; NaN for none.
    pub face_diameter_m: f64,
    /// Side in metres of the cell that the position is the middle of; NaN for an exact one.
    pub coarse_cell_m: f64,
    /// Shots that the point is made of.
    pub shots_used: u32,
    /// Shots to the same feature that a test left out.
    pub shots_aside: u32,
    /// Scatter of the shots about the point in metres; NaN for one shot.
    pub spread_m: f64,
    /// Suspicions.
    pub flags: Flags,
    /// Name of the input file.
    pub source_file: &'r str,
    /// Line in it.
    pub source_line: u64,
}

impl HasPlace for Feature<'_> {
    fn placed(&self) -> &Placed {
        &self.placed
    }

    fn projected(&self) -> bool {
        self.projected
    }
}

/// The fields, in the order of the layer.
pub fn definitions<'r>() -> Vec<Definition<Feature<'r>>> {
    use Get::*;
    type F<'r> = Feature<'r>;
    let d = Definition::new;
    let mut fields: Vec<Definition<Feature<'r>>> = vec![
        name(),
        d("code", "CODE", "Feature code of the log.", Text(|f| f.code)),
        d("shot", "SHOT", "Shot id of the log.", Text(|f| f.shot)),
        d("base", "BASE", "Base that the shot was taken from.", Text(|f| Some(f.base))),
        d("time", "TIME", "Instant of the shot, UTC; null where only the day is known.", Time(|f| instant(f.when))),
        d(
            "time_local",
            "TIME_LOCAL",
            "Local time of the shot with its offset from UTC, or the day alone; ISO 8601.",
            Show(|f: &F, texts| {
                show_local(texts, f.when.and_then(|when| when.instant), f.when.map(|when| when.date));
            }),
        ),
    ];
    fields.extend(place::definitions());
    fields.extend(sight());
    fields.extend(uncertainty());
    fields.extend(lineage());
    fields
}

/// The geoid and the sight.
fn sight<'r>() -> Vec<Definition<Feature<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d(
            "geoid_undulation_m",
            "GEOID_N_M",
            "Height of the geoid above the ellipsoid that joins the two heights, metres; null where none is used.",
            Real(|f| or_null(f.placed.undulation_m())),
        ),
        d(
            "geoid",
            "GEOID",
            "Where that height of the geoid is from: grid (a file of the job), log (the receiver), global (built in).",
            Text(|f| f.placed.undulation.map(|undulation| undulation.source.word())),
        ),
        d(
            "height_kind",
            "HGT_KIND",
            "Kind of height that the base was given in and sigma_up_m is of: ellipsoidal, orthometric, or none where nothing vertical was measured.",
            Text(|f| Some(f.height_kind.word())),
        ),
        d(
            "horizontal_distance_m",
            "HDIST_M",
            "Horizontal distance from the base, metres on the ground at the base.",
            Real(|f| f.horizontal_m),
        ),
        d(
            "true_azimuth_deg",
            "TRUE_AZ",
            "Azimuth from the base, degrees from true north, corrections included.",
            Real(|f| f.true_azimuth_rad.to_degrees()),
        ),
        d(
            "declination_deg",
            "DECLIN",
            "Magnetic declination used, degrees, east positive; null for true and grid azimuths.",
            Real(|f| f.declination_rad.to_degrees()),
        ),
    ]
}

/// How sure the point is, and what that comes from.
fn uncertainty<'r>() -> Vec<Definition<Feature<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d("sigma_east_m", "SIG_EAST_M", "Standard error eastwards, metres on the ground.", Real(|f| f.covariance.ee.sqrt())),
        d("sigma_north_m", "SIG_NORT_M", "Standard error northwards, metres on the ground.", Real(|f| f.covariance.nn.sqrt())),
        d(
            "sigma_up_m",
            "SIG_UP_M",
            "Standard error of the height of the kind in height_kind, metres; null where no height is known.",
            Real(sigma_up),
        ),
        d(
            "sigma_geoid_m",
            "SIG_GEOI_M",
            "Standard error of the geoid, metres: to be added in quadrature for the other kind of height.",
            Real(|f| f.sigma_geoid_m),
        ),
        d("ellipse_major95_m", "ELL_MAJ_M", "Semi-major axis of the 95 % error ellipse, metres.", Real(|f| f.ellipse.major_m)),
        d("ellipse_minor95_m", "ELL_MIN_M", "Semi-minor axis of the 95 % error ellipse, metres.", Real(|f| f.ellipse.minor_m)),
        d(
            "ellipse_azimuth_deg",
            "ELL_AZ",
            "Azimuth of the major axis, degrees from true north, 0 to 180.",
            Real(|f| f.ellipse.azimuth_rad.to_degrees()),
        ),
        d(
            "radius95_m",
            "RADIUS95_M",
            "Radius of the circle that holds the point with 95 % probability, metres.",
            Real(|f| f.ellipse.radius95_m()),
        ),
        d(
            "height95_m",
            "HEIGHT95_M",
            "Half of the 95 % interval of the height of the kind in height_kind, metres.",
            Real(height95_m),
        ),
        d("base_share", "BASE_SHARE", "Share of the base in the horizontal variance, 0 to 1.", Real(|f| f.shares[0])),
        d(
            "direction_share",
            "DIR_SHARE",
            "Share of azimuth, declination and inclination in the horizontal variance.",
            Real(|f| f.shares[1]),
        ),
        d("distance_share", "DIST_SHARE", "Share of the distance in the horizontal variance.", Real(|f| f.shares[2])),
    ]
}

/// What the log says of the shot, what the point is made of, and where it was read.
fn lineage<'r>() -> Vec<Definition<Feature<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d("string", "STRING", "String of the log.", Text(|f| f.string)),
        d("measure", "MEASURE", "Kind of composed measurement of the log.", Text(|f| f.measure)),
        d("role", "ROLE", "Role of the shot in a string or measurement.", Text(|f| f.role)),
        d(
            "face_diameter_m",
            "FACE_DIA_M",
            "Diameter by half of which the point was moved from the near face to the centre, metres; null where it was not.",
            Real(|f| f.face_diameter_m),
        ),
        d("shots_used", "SHOTS_USED", "Shots that the point is made of.", Integer(|f| Some(f.shots_used.into()))),
        d(
            "shots_aside",
            "SHOTS_SIDE",
            "Shots to the same feature that a test left out of it; the ledger says which.",
            Integer(|f| Some(f.shots_aside.into())),
        ),
        d(
            "spread_m",
            "SPREAD_M",
            "Root mean square distance of the shots from the point, metres; null for one shot.",
            Real(|f| f.spread_m),
        ),
        d("return", "RETURN", "Echo that the instrument kept, as the log says.", Text(|f| f.echo)),
        flags(),
        source_file(),
        source_line(),
    ]
}

/// The feature's name, as every layer made of features has it.
pub(super) fn name<'r>() -> Definition<Feature<'r>> {
    Definition::new(
        "feature",
        "FEATURE",
        "Name of the feature: the log's, else the shot id, else file and line.",
        Get::Show(|f: &Feature, texts| match f.feature.or(f.shot) {
            Some(name) => texts.push(Some(name)),
            None => texts.push_display(format_args!("{}:{}", f.source_file, f.source_line)),
        }),
    )
}

/// What the catalogue says that the code is.
pub(super) fn code_title<'r>() -> Definition<Feature<'r>> {
    Definition::new("code_title", "CODE_TITLE", "What the code is, by the catalogue.", Get::Text(|f| f.code_title))
}

/// What is suspicious, likewise.
pub(super) fn flags<'r>() -> Definition<Feature<'r>> {
    Definition::new(
        "flags",
        "FLAGS",
        "Codes of what is suspicious about the row, with spaces between; null where nothing is.",
        Get::Show(|f: &Feature, texts| if f.flags.is_empty() { texts.push(None) } else { texts.push_display(f.flags) }),
    )
}

/// The shot's input file, likewise.
pub(super) fn source_file<'r>() -> Definition<Feature<'r>> {
    Definition::new("source_file", "SRC_FILE", "Input file.", Get::Text(|f| Some(f.source_file)))
}

/// The shot's line in it, likewise.
pub(super) fn source_line<'r>() -> Definition<Feature<'r>> {
    Definition::new("source_line", "SRC_LINE", "Line in the input file, from 1.", Get::Integer(|f| Some(f.source_line as i64)))
}

/// Half of the 95 % interval of the height in metres; NaN where no height is known.
pub fn height95_m(f: &Feature) -> f64 {
    INTERVAL95 * sigma_up(f)
}

fn sigma_up(f: &Feature) -> f64 {
    if f.height_kind == HeightKind::None { f64::NAN } else { f.covariance.uu.sqrt() }
}

fn instant(when: Option<When>) -> Option<Timestamp> {
    when.and_then(|when| when.instant).map(|(instant, _)| instant)
}

/// The fields of a layer of the catalogue, before its attributes.
pub fn coded_definitions<'r>() -> Vec<Definition<Feature<'r>>> {
    let mut fields = definitions();
    fields.insert(2, code_title());
    fields
}

/// The layer, with the carried columns behind its own.
pub fn layer(third: &str, carried: Vec<Field>) -> Layer {
    let mut fields: Vec<Field> = definitions().iter().map(Definition::field).collect();
    fields.extend(carried);
    Layer {
        key: LayerKey::Own(LayerName::Features),
        id: "features".into(),
        title: "Mapped features".into(),
        description: format!(
            "One point for each feature, of one shot or of several to it, with its uncertainty. Third coordinate: {third}. Points without a \
             height have none, or that of the base where the format wants one (-9999 where it has none); height_kind says none. Mapping grade; no \
             licensed survey."
        ),
        geometry: GeometryKind::Point,
        fields,
    }
}
