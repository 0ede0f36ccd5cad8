//! The profiles layer: the shots along the line of a profile, with chainage, offset and height.

use super::place::{self, HasPlace};
use super::{Definition, Get};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::Estimate;
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};
use crate::shots::locate::Placed;
use crate::stations::base::HeightKind;

/// A shot of a profile.
#[derive(Debug, Clone)]
pub struct ProfileRecord {
    /// Name of the profile.
    pub profile: String,
    /// Its number along the line, from 1.
    pub number: u64,
    /// The shot id of the log.
    pub shot: Option<String>,
    /// Part that it plays.
    pub role: String,
    /// Feature code.
    pub code: Option<String>,
    /// Along the line from its first point.
    pub chainage_m: Estimate,
    /// From the line, right positive.
    pub offset_m: Estimate,
    /// Kind of height that the base has.
    pub height_kind: HeightKind,
    /// Label of the base.
    pub base: String,
    /// Position and heights.
    pub placed: Placed,
    /// Whether the layers' CRS has eastings and northings.
    pub projected: bool,
    /// Whole covariance.
    pub covariance: Covariance,
    /// Name of the input file.
    pub source_file: String,
    /// Line in it.
    pub source_line: u64,
}

impl HasPlace for ProfileRecord {
    fn placed(&self) -> &Placed {
        &self.placed
    }

    fn projected(&self) -> bool {
        self.projected
    }
}

impl ProfileRecord {
    /// Height of the kind that the base has; NaN where it has none.
    fn height_m(&self) -> f64 {
        let height = match self.height_kind {
            HeightKind::Ellipsoid => self.placed.ellipsoid_height_m,
            HeightKind::Orthometric => self.placed.orthometric_height_m,
            HeightKind::None => None,
        };
        height.unwrap_or(f64::NAN)
    }
}

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<ProfileRecord>> {
    use Get::*;
    type P = ProfileRecord;
    let d = Definition::new;
    let mut fields = vec![
        d("profile", "PROFILE", "Name of the profile: the feature of its rows.", Text(|p: &P| Some(&p.profile))),
        d("number", "NUMBER", "Number along the line, from 1.", Integer(|p: &P| Some(p.number as i64))),
        d("shot", "SHOT", "Shot id of the log.", Text(|p: &P| p.shot.as_deref())),
        d(
            "role",
            "ROLE",
            "point for a shot beside the line; start, end or line for the line's own points.",
            Text(|p: &P| Some(&p.role)),
        ),
        d("code", "CODE", "Feature code of the log.", Text(|p: &P| p.code.as_deref())),
        d(
            "chainage_m",
            "CHAINAGE_M",
            "Horizontal distance along the line from its first point, metres; negative before it.",
            Real(|p: &P| p.chainage_m.value),
        ),
        d("sigma_chainage_m", "SIG_CHAIN", "Standard error of the chainage, metres.", Real(|p: &P| p.chainage_m.sigma)),
        d(
            "offset_m",
            "OFFSET_M",
            "Horizontal distance from the line, metres, right of it positive.",
            Real(|p: &P| p.offset_m.value),
        ),
        d("sigma_offset_m", "SIG_OFFSET", "Standard error of the offset, metres.", Real(|p: &P| p.offset_m.sigma)),
        d("height_m", "HEIGHT_M", "Height of the kind that height_kind says, metres.", Real(P::height_m)),
        d(
            "sigma_height_m",
            "SIG_HGT_M",
            "Standard error of that height, metres; null where none is known.",
            Real(|p: &P| if p.height_m().is_nan() { f64::NAN } else { p.covariance.uu.sqrt() }),
        ),
        d(
            "height_kind",
            "HGT_KIND",
            "Kind of height that the base was given in: ellipsoidal, orthometric, or none.",
            Text(|p: &P| Some(p.height_kind.word())),
        ),
        d("base", "BASE", "Base that the shot was taken from.", Text(|p: &P| Some(&p.base))),
    ];
    fields.extend(place::definitions());
    fields.extend([
        d("source_file", "SRC_FILE", "Input file.", Text(|p: &P| Some(&p.source_file))),
        d("source_line", "SRC_LINE", "Line in the input file, from 1.", Integer(|p: &P| Some(p.source_line as i64))),
    ]);
    fields
}

/// The layer.
pub fn layer(third: &str) -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::Profiles),
        id: "profiles".into(),
        title: "Profiles".into(),
        description: format!(
            "Shots along the lines of profiles: chainage and height make the section, offset tells how far beside the line. Third \
             coordinate: {third}."
        ),
        geometry: GeometryKind::Point,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
