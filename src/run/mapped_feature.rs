//! A feature that is mapped, and what the catalogue has to say of it.

use super::coded::{self, RowCoding};
use super::stage::Stage;
use crate::geodesy::frame::Geodetic;
use crate::job::catalogue::{AttributeValue, Geometry};
use crate::numeric::signs::Signs;
use crate::output::columns::LayerKey;
use crate::output::layers::features::Feature;
use crate::records::ledger::Flag;

/// A feature made of one shot or several.
pub struct MappedFeature<'r> {
    /// Its record.
    pub record: Feature<'r>,
    /// The base of its (first) shot.
    pub base: usize,
    /// Where it is on its base's datum.
    pub end: Geodetic,
    /// What the catalogue says of it.
    pub class: RowCoding<'r>,
    /// Values of its attributes.
    pub values: Vec<AttributeValue>,
}

impl Stage<'_> {
    /// What the catalogue has to say of a feature: attributes, tolerance. Gives the ledger's words.
    pub fn judge<'t>(&self, feature: &mut MappedFeature, cell: impl Fn(usize) -> (&'t str, Signs)) -> String {
        feature.record.flags.join(feature.class.flags);
        let (Some(coded), Some(code)) = (self.coded, feature.class.code) else { return String::new() };
        let read = if matches!(feature.class.layer, LayerKey::Coded(_)) { coded.values(code, cell) } else { Default::default() };
        feature.record.flags.join(read.flags);
        feature.values = read.values;
        if code.geometry == Geometry::Point && coded::misses(code, &feature.record) {
            feature.record.flags.raise(Flag::MissesTolerance);
        }
        read.detail
    }
}
