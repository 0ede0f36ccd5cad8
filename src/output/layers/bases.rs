//! The bases layer: the positions that shots were taken from.

use super::place::{self, HasPlace};
use super::{Definition, Get, or_null, show_local};
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Field, Layer, LayerKey};
use crate::shots::locate::Placed;
use crate::stations::base::{Base, sigma_geoid_m};
use crate::stations::orientation::Orientation;

/// A base and where it lies in the CRS of the layers.
#[derive(Clone, Copy)]
pub struct PlacedBase<'r> {
    /// The base.
    pub base: &'r Base,
    /// Its position and heights.
    pub placed: Placed,
    /// Whether the layers' CRS has eastings and northings.
    pub projected: bool,
    /// What is added to its azimuths, by backsights.
    pub orientation: Option<Orientation>,
    /// Shots mapped from it.
    pub shots: u64,
    /// Name of the input file.
    pub source_file: &'r str,
}

impl HasPlace for PlacedBase<'_> {
    fn placed(&self) -> &Placed {
        &self.placed
    }

    fn projected(&self) -> bool {
        self.projected
    }
}

/// The fields, in the order of the layer.
pub fn definitions<'r>() -> Vec<Definition<PlacedBase<'r>>> {
    use Get::*;
    let d = Definition::new;
    let mut fields: Vec<Definition<PlacedBase<'r>>> = vec![
        d("base", "BASE", "Name of the base.", Text(|b| Some(&b.base.label))),
        d(
            "time",
            "TIME",
            "Instant of the position, UTC.",
            Time(|b| b.base.row.when.and_then(|when| when.instant).map(|(instant, _)| instant)),
        ),
        d(
            "time_local",
            "TIME_LOCAL",
            "Local time with its offset from UTC, or the day alone; ISO 8601.",
            Show(|b: &PlacedBase, texts| {
                show_local(texts, b.base.row.when.and_then(|when| when.instant), b.base.row.when.map(|when| when.date));
            }),
        ),
    ];
    fields.extend(place::definitions());
    fields.extend(heights());
    fields.extend(orientation());
    fields.extend(occupation());
    fields.extend(lineage());
    fields
}

/// Heights, datum and standard errors.
fn heights<'r>() -> Vec<Definition<PlacedBase<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d(
            "geoid_undulation_m",
            "GEOID_N_M",
            "Height of the geoid above the ellipsoid, metres.",
            Real(|b| or_null(b.placed.undulation_m())),
        ),
        d(
            "geoid",
            "GEOID",
            "Where that height of the geoid is from: grid (a file of the job), log (the receiver), global (built in).",
            Text(|b| b.placed.undulation.map(|undulation| undulation.source.word())),
        ),
        d(
            "height_kind",
            "HGT_KIND",
            "Kind of height that the log gives: ellipsoidal, orthometric or none.",
            Text(|b| Some(b.base.heights.kind.word())),
        ),
        d(
            "sigma_horizontal_m",
            "SIG_HOR_M",
            "Standard error of each horizontal axis, metres.",
            Real(|b| b.base.covariance.ee.sqrt()),
        ),
        d(
            "sigma_vertical_m",
            "SIG_VER_M",
            "Standard error of the height, metres; null where there is none.",
            Real(|b| if b.base.row.height.is_some() { b.base.covariance.uu.sqrt() } else { f64::NAN }),
        ),
        d(
            "sigma_datum_m",
            "SIG_DATU_M",
            "Standard error that the steps between datums add to each axis, metres; part of every feature's.",
            Real(|b| b.base.sigma_datum_m),
        ),
        d(
            "coordinate_epoch",
            "EPOCH",
            "Epoch of the coordinates, a year with its fraction, where it is stated.",
            Real(|b| or_null(b.base.epoch)),
        ),
        d(
            "sigma_geoid_m",
            "SIG_GEOI_M",
            "Standard error of the geoid, metres.",
            Real(|b| or_null(sigma_geoid_m(&b.base.heights))),
        ),
    ]
}

/// The grid at the base, and what its backsights found.
fn orientation<'r>() -> Vec<Definition<PlacedBase<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d(
            "convergence_deg",
            "CONVERG",
            "Convergence at the base: true minus grid azimuth, degrees, east positive.",
            Real(|b| or_null(b.base.grid.map(|grid| grid.convergence_rad.to_degrees()))),
        ),
        d(
            "grid_scale",
            "GRID_SCALE",
            "Point scale factor of the grid at the base.",
            Real(|b| or_null(b.base.grid.map(|grid| grid.scale))),
        ),
        d(
            "azimuth_correction_deg",
            "AZ_CORR",
            "Added to the base's azimuths by its backsights, degrees, east positive; null without backsights.",
            Real(|b| or_null(b.orientation.map(|orientation| orientation.correction_rad.to_degrees()))),
        ),
        d(
            "sigma_azimuth_correction_deg",
            "SIG_AZCORR",
            "Standard error of that correction, degrees.",
            Real(|b| or_null(b.orientation.map(|orientation| orientation.sigma_rad.to_degrees()))),
        ),
        d(
            "backsights",
            "BACKSIGHTS",
            "Sights to known points that the correction is from.",
            Integer(|b| b.orientation.map(|orientation| i64::from(orientation.sights))),
        ),
    ]
}

/// The fixes that the position is the mean of.
fn occupation<'r>() -> Vec<Definition<PlacedBase<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d(
            "epochs",
            "EPOCHS",
            "Fixes averaged; null for a point that was logged as such.",
            Integer(|b| b.base.row.occupation.as_ref().map(|made| made.epochs as i64)),
        ),
        d(
            "epochs_aside",
            "EPOCHS_OUT",
            "Outlying fixes left out of the mean.",
            Integer(|b| b.base.row.occupation.as_ref().map(|made| made.aside as i64)),
        ),
        d(
            "duration_s",
            "DURATION_S",
            "Time from the first fix averaged to the last, seconds.",
            Real(|b| or_null(b.base.row.occupation.as_ref().map(|made| made.duration_s))),
        ),
        d(
            "spread_m",
            "SPREAD_M",
            "Root mean square horizontal distance of the fixes from their mean, metres.",
            Real(|b| or_null(b.base.row.occupation.as_ref().map(|made| made.spread_m))),
        ),
        d("fix_kind", "FIX_KIND", "Kind of fix; of several, each with its count.", Text(|b| b.base.row.quality.kinds.as_deref())),
        d("hdop", "HDOP", "The worst horizontal dilution of precision.", Real(|b| or_null(b.base.row.quality.worst_hdop))),
        d("pdop", "PDOP", "The worst position dilution of precision.", Real(|b| or_null(b.base.row.quality.worst_pdop))),
    ]
}

/// What the position is from, what hangs on it, and what is suspicious.
fn lineage<'r>() -> Vec<Definition<PlacedBase<'r>>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d(
            "placed_by",
            "PLACED_BY",
            "What its position is from: log (a base log), log and network (a log, made better by shots that check it), network (shots alone).",
            Text(|b| {
                Some(match (b.base.from_network, b.base.adjusted) {
                    (true, _) => "network",
                    (false, true) => "log and network",
                    (false, false) => "log",
                })
            }),
        ),
        d("shots", "SHOTS", "Shots mapped from the base.", Integer(|b| Some(b.shots as i64))),
        d(
            "flags",
            "FLAGS",
            "Codes of what is suspicious about the base, with spaces between.",
            Show(
                |b: &PlacedBase, texts| {
                    if b.base.flags.is_empty() { texts.push(None) } else { texts.push_display(b.base.flags) }
                },
            ),
        ),
        d("source_file", "SRC_FILE", "Input file.", Text(|b| (!b.base.from_network).then_some(b.source_file))),
        d(
            "source_line",
            "SRC_LINE",
            "Line in the input file, from 1.",
            Integer(|b| (!b.base.from_network).then_some(b.base.row.line as i64)),
        ),
    ]
}

/// The layer, with the carried columns behind its own.
pub fn layer(third: &str, carried: Vec<Field>) -> Layer {
    let mut fields: Vec<Field> = definitions().iter().map(Definition::field).collect();
    fields.extend(carried);
    Layer {
        key: LayerKey::Own(LayerName::Bases),
        id: "bases".into(),
        title: "GNSS bases".into(),
        description: format!("The ground points that shots were taken from. Third coordinate: {third}."),
        geometry: GeometryKind::Point,
        fields,
    }
}
