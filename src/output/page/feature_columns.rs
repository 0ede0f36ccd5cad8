//! The columns of a layer of point features, and a feature as the page keeps it.

use super::items::{MeasuredPoint, PageFeature};
use super::read::{NamedColumns, RecentTexts, integer, owned, reals};
use crate::output::columns::{Column, Position};

/// Columns of texts that features are read from.
const TEXTS: usize = 10;

/// The columns of a layer of point features.
pub struct FeatureColumns<'b> {
    /// The first of them is the name, the second the code.
    pub texts: [Option<&'b Column>; TEXTS],
    reals: [&'b [f64]; 18],
    /// The kind of measurement that a shot belongs to.
    pub measure: Option<&'b Column>,
    whole: [Option<&'b Column>; 3],
}

impl<'b> FeatureColumns<'b> {
    /// Those of a batch, by their names.
    pub fn find(named: &NamedColumns<'b>) -> FeatureColumns<'b> {
        let column = |name| named.column(name);
        FeatureColumns {
            texts: ["feature", "code", "code_title", "base", "time_local", "height_kind", "flags", "source_file", "role", "shot"]
                .map(column),
            reals: [
                "ellipsoid_height_m",
                "orthometric_height_m",
                "horizontal_distance_m",
                "true_azimuth_deg",
                "declination_deg",
                "sigma_east_m",
                "sigma_north_m",
                "sigma_up_m",
                "ellipse_major95_m",
                "ellipse_minor95_m",
                "ellipse_azimuth_deg",
                "radius95_m",
                "height95_m",
                "base_share",
                "direction_share",
                "distance_share",
                "spread_m",
                "coarse_cell_m",
            ]
            .map(|name| reals(column(name))),
            measure: column("measure"),
            whole: ["source_line", "shots_used", "shots_aside"].map(column),
        }
    }

    /// Feature `i`, of a layer with this index.
    pub fn feature(&self, layer: usize, i: usize, at: &Position, recent: &mut RecentTexts) -> PageFeature {
        let mut text = |index: usize| recent.text(index, self.texts[index], i);
        let real = |index: usize| self.reals[index].get(i).copied().unwrap_or(f64::NAN);
        let height_kind = text(5);
        PageFeature {
            layer,
            name: owned(self.texts[0], i),
            code: text(1),
            code_title: text(2),
            base: text(3),
            time: owned(self.texts[4], i),
            at: [at.x, at.y],
            height_m: match &*height_kind {
                "ellipsoidal" => real(0),
                "orthometric" => real(1),
                _ => f64::NAN,
            },
            height_kind,
            flags: text(6),
            file: text(7),
            line: integer(self.whole[0], i).unwrap_or_default(),
            distance_m: real(2),
            azimuth_deg: real(3),
            declination_deg: real(4),
            sigma_m: [real(5), real(6), real(7)],
            ellipse: [real(8), real(9), real(10)],
            radius95_m: real(11),
            height95_m: real(12),
            shares: [real(13), real(14), real(15)],
            spread_m: real(16),
            cell_m: real(17),
            used: integer(self.whole[1], i).unwrap_or(1),
            aside: integer(self.whole[2], i).unwrap_or(0),
        }
    }

    /// Feature `i` as a shot that a measurement is made of.
    pub fn measured(&self, i: usize, at: &Position) -> MeasuredPoint {
        MeasuredPoint {
            measure: owned(self.measure, i),
            name: owned(self.texts[0], i),
            role: owned(self.texts[8], i),
            shot: owned(self.texts[9], i),
            code: owned(self.texts[1], i),
            at: [at.x, at.y, at.z],
        }
    }
}
