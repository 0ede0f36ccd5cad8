//! The features layer: one point for each shot that was mapped, with its uncertainty and lineage.

use jiff::Timestamp;

use super::place::{self, HasPlace};
use super::{Definition, Get, or_null, show_local};
use crate::base::HeightKind;
use crate::covariance::{Covariance, Ellipse, INTERVAL95};
use crate::intake::cell::When;
use crate::job::LayerName;
use crate::ledger::Flags;
use crate::locate::Placed;
use crate::table::{Field, GeometryKind, Layer};

/// A mapped shot.
#[derive(Debug, Clone, Copy)]
pub struct Feature<'r> {
    /// The log's feature name, else its shot id; else the file and line are shown.
    pub feature: Option<&'r str>,
    /// Feature code.
    pub code: Option<&'r str>,
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
    fields.extend([
        d(
            "geoid_undulation_m",
            "GEOID_N_M",
            "Height of the geoid above the ellipsoid that joins the two heights, metres; null where none is used.",
            Real(|f| or_null(f.placed.undulation.map(|undulation| undulation.metres))),
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
            Real(|f| f.covariance.radius95_m()),
        ),
        d(
            "height95_m",
            "HEIGHT95_M",
            "Half of the 95 % interval of the height of the kind in height_kind, metres.",
            Real(|f| INTERVAL95 * sigma_up(f)),
        ),
        d("base_share", "BASE_SHARE", "Share of the base in the horizontal variance, 0 to 1.", Real(|f| f.shares[0])),
        d(
            "direction_share",
            "DIR_SHARE",
            "Share of azimuth, declination and inclination in the horizontal variance.",
            Real(|f| f.shares[1]),
        ),
        d("distance_share", "DIST_SHARE", "Share of the distance in the horizontal variance.", Real(|f| f.shares[2])),
        d("string", "STRING", "String of the log.", Text(|f| f.string)),
        d("measure", "MEASURE", "Kind of composed measurement of the log.", Text(|f| f.measure)),
        d("role", "ROLE", "Role of the shot in a string or measurement.", Text(|f| f.role)),
        d("return", "RETURN", "Echo that the instrument kept, as the log says.", Text(|f| f.echo)),
        d(
            "flags",
            "FLAGS",
            "Codes of what is suspicious about the row, with spaces between; null where nothing is.",
            Show(|f: &F, texts| if f.flags.is_empty() { texts.push(None) } else { texts.push_display(f.flags) }),
        ),
        source_file(),
        source_line(),
    ]);
    fields
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

/// The shot's input file, likewise.
pub(super) fn source_file<'r>() -> Definition<Feature<'r>> {
    Definition::new("source_file", "SRC_FILE", "Input file.", Get::Text(|f| Some(f.source_file)))
}

/// The shot's line in it, likewise.
pub(super) fn source_line<'r>() -> Definition<Feature<'r>> {
    Definition::new("source_line", "SRC_LINE", "Line in the input file, from 1.", Get::Integer(|f| Some(f.source_line as i64)))
}

fn sigma_up(f: &Feature) -> f64 {
    if f.height_kind == HeightKind::None { f64::NAN } else { f.covariance.uu.sqrt() }
}

fn instant(when: Option<When>) -> Option<Timestamp> {
    when.and_then(|when| when.instant).map(|(instant, _)| instant)
}

/// The layer, with the carried columns behind its own.
pub fn layer(third: &str, carried: Vec<Field>) -> Layer {
    let mut fields: Vec<Field> = definitions().iter().map(Definition::field).collect();
    fields.extend(carried);
    Layer {
        name: LayerName::Features,
        id: "features",
        title: "Mapped features",
        description: format!(
            "One point for each shot that was mapped, with its uncertainty. Third coordinate: {third}. Points without a \
             height have none, or that of the base where the format wants one (-9999 where it has none); height_kind says none. Mapping grade; no \
             licensed survey."
        ),
        geometry: GeometryKind::Point,
        fields,
    }
}
