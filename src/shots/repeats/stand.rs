//! The bases of repeated shots in one frame, and the shots' points there.

use std::collections::BTreeMap;

use super::Repeat;
use super::linear::{Matrix3, Vector3, apply, minus, plus, transposed};
use crate::geodesy::frame::LocalFrame;
use crate::geodesy::register::Origin;

/// A base in the frame of the computation.
pub(super) struct BaseInFrame {
    /// Its ground point.
    pub(super) at: Vector3,
    /// From its axes to those of the frame.
    pub(super) turn: Matrix3,
}

impl BaseInFrame {
    pub(super) fn in_frame(base: &Origin, frame: &LocalFrame) -> BaseInFrame {
        let (own, to) = (base.frame.axes(), frame.axes());
        BaseInFrame {
            at: frame.from_earth_centred(base.frame.to_earth_centred([0.0; 3])),
            turn: std::array::from_fn(|r| std::array::from_fn(|c| (0..3).map(|k| to[r][k] * own[c][k]).sum())),
        }
    }

    /// A point of the frame in the base's own axes.
    pub(super) fn seen(&self, point: Vector3) -> Vector3 {
        apply(&transposed(&self.turn), minus(point, self.at))
    }

    /// A vector from the base as a point of the frame.
    pub(super) fn placed(&self, vector: Vector3) -> Vector3 {
        plus(self.at, apply(&self.turn, vector))
    }
}

/// The bases of shots, in the frame of the one with the lowest index: the same whatever the order of the shots.
pub(super) fn stands(bases: &[Origin], shots: &[Repeat]) -> Option<(LocalFrame, BTreeMap<usize, BaseInFrame>)> {
    let frame = bases.get(shots.iter().map(|shot| shot.base).min()?)?.frame;
    let mut stands = BTreeMap::new();
    for shot in shots {
        if let (false, Some(base)) = (stands.contains_key(&shot.base), bases.get(shot.base)) {
            stands.insert(shot.base, BaseInFrame::in_frame(base, &frame));
        }
    }
    Some((frame, stands))
}

/// The shot's point in the frame, and whether it has a height.
pub(super) fn point(stands: &BTreeMap<usize, BaseInFrame>, shot: &Repeat) -> Option<(Vector3, bool)> {
    let v = &shot.vector;
    Some((stands.get(&shot.base)?.placed([v.east_m, v.north_m, v.up_m.unwrap_or(0.0)]), v.up_m.is_some()))
}
